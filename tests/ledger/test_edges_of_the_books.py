"""Edges of what the books say: the first receipt and the last cleaning over several batches, and animals shared over boxes."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.ledger import Entry, Record, check
from intake.ledger.balance import Parts, floor_of
from intake.ledger.boxes import _evenly
from intake.ledger.clock_ahead import CLOCK, believed, span_payload, spans_of
from intake.ledger.closures import closed_payload, closures_of, opened_of, opened_payload
from intake.ledger.head import Head, digest, parse
from intake.ledger.streams import Stream, by_batch, stream_of
from tests.ledger.books import Scribe, hour


def test_the_first_receipt_and_the_last_cleaning_count_whoevers_record_they_are() -> None:
    """Accounts of several batches are put together in any order: the moments decide."""
    early, late = (hour(1), 1), (hour(5), 2)
    rows = [
        Parts(received=((late, "S1"), (early, "S2")), cleaned=((late, "Q1"), (early, "Q2"))),
        Parts(received=((early, "S1"), (late, "S2")), cleaned=((early, "Q1"), (late, "Q2"))),
    ]
    for parts in (rows, rows[::-1]):
        here = floor_of(parts, hour(9))
        assert here.received == {"S1": hour(1), "S2": hour(1)}
        assert here.cleaned == {"Q1": hour(5), "Q2": hour(5)}


def test_a_box_that_lost_one_more_than_its_share_leaves_the_rest_to_the_others() -> None:
    """Eleven came in two boxes, six dead in the second: five lay in the first, and the boxes add up to eleven."""
    assert _evenly(11, ["7", "8"], {"8": 6}) == {"7": 5, "8": 6}
    assert _evenly(11, ["7", "8"], {"7": 6}) == {"7": 6, "8": 5}
    assert _evenly(11, ["7", "8"], {}) == {"7": 6, "8": 5}
    assert _evenly(0, ["7"], {"7": 2}) == {"7": 2}
    assert _evenly(5, [], {}) == {}


@given(total=st.integers(0, 60), least=st.lists(st.integers(0, 25), min_size=1, max_size=6))
def test_shared_animals_add_up_and_no_box_holds_fewer_than_it_lost(total: int, least: list[int]) -> None:
    """Where more were lost than came, what was lost; boxes that lost no more than their share differ by one at most."""
    lost = {f"box {number}": count for number, count in enumerate(least)}
    found = _evenly(total, list(lost), lost)
    assert sum(found.values()) == max(total, sum(found[box] for box in lost if found[box] == lost[box]))
    assert all(found[box] >= lost[box] for box in lost)
    rest = [found[box] for box in lost if found[box] > lost[box]]
    assert max(rest, default=0) - min(rest, default=0) <= 1
    if sum(least) <= total:
        assert sum(found.values()) == total


def farm(*acts: tuple[float, str, str, float | None]) -> list[Record]:
    """Records of vats closed (until an hour, or without an end) and opened."""
    scribe = Scribe()
    rows = []
    for at, what, vat, until in acts:
        ends = None if until is None else hour(until)
        payload = closed_payload(vat, "leak", ends) if what == "closed" else opened_payload(vat)
        rows.append(scribe.note("farm", f"closing of {vat}", at, **payload))  # type: ignore[arg-type]
    return rows


@pytest.mark.parametrize(
    ("acts", "ends", "opened"),
    [
        ([(1, "closed", "Q1", None)], [None], {}),
        ([(1, "closed", "Q1", 9)], [9], {}),
        ([(1, "closed", "Q1", 9), (5, "opened", "Q1", None)], [5], {"Q1": 5}),
        ([(1, "closed", "Q1", 4), (5, "opened", "Q1", None)], [4], {"Q1": 5}),
        ([(1, "closed", "Q1", 9), (5, "opened", "Q2", None)], [9], {"Q2": 5}),
        ([(1, "closed", "Q1", 9), (5, "closed", "Q1", 20)], [5, 20], {}),
        ([(5, "opened", "Q1", None), (1, "closed", "Q1", None)], [5], {"Q1": 5}),
        ([(1, "opened", "Q1", None), (5, "closed", "Q1", None)], [None], {}),
    ],
)
def test_a_closure_ends_by_its_day_an_opening_or_the_next_one(
    acts: list[tuple[float, str, str, float | None]], ends: list[float | None], opened: dict[str, float]
) -> None:
    """Whichever comes first; of the same vat alone; by the moments, not the order of recording."""
    found = closures_of(farm(*acts))
    assert [one.until for one in found] == [None if end is None else hour(end) for end in ends]
    assert all(one.reason == "leak" for one in found)
    assert opened_of(farm(*acts)) == {vat: hour(at) for vat, at in opened.items()}


def test_a_head_is_read_as_it_was_printed() -> None:
    """Counts, and 80 bits over both seals (SHA-256 by its own library); blanks and capitals do not matter, a digit less does."""
    head = Head(812, 2310, digest("a", "b"))
    assert head.hash == hashlib.sha256(b"a\nb").hexdigest()[:20]
    assert str(head) == f"812-2310-{head.hash}"
    assert head.entries == 3122
    assert parse(f" {str(head).upper()[:9]} {str(head).upper()[9:]}") == head
    for wrong in (str(head)[:-1], f"{head}0", "812-2310", f"x{head}", f"1234567890123-1-{head.hash}"):
        with pytest.raises(BadInput):
            parse(wrong)


def test_entries_of_a_wrong_clock_are_passed_over_and_those_after_them_are_not() -> None:
    """A clock stood a hundred hours ahead; said so, its entry is no fault, but one recorded before the first still is."""
    scribe = Scribe()
    span = (hour(100), hour(101))
    rows: list[Entry] = [
        scribe.move("S1-01", "supplier > vat:Q1", 5, 0, recorded=2),
        scribe.move("S1-01", "vat:Q1 > dead", 1, 100, recorded=100),
        scribe.note(CLOCK, "clock", 3, recorded=3, **span_payload(span)),  # type: ignore[arg-type]
    ]
    assert check(rows) == []
    assert len(check([*rows, scribe.move("S1-01", "vat:Q1 > dead", 1, 1, recorded=1)])) == 1
    assert spans_of(rows[2:]) == (span,)  # type: ignore[arg-type]
    assert [believed(hour(at), [span]) for at in (99.99, 100, 101, 101.01)] == [True, False, False, True]


@pytest.mark.parametrize(
    ("kind", "subject", "payload", "stream"),
    [
        ("batch", "S1-01", {"shipment": "S1"}, Stream("S1-01", "S1", "")),
        ("stage", "S1-01/Q1", {"batch": "S1-01"}, Stream("S1-01", "", "")),
        ("stage", "S1-01", {}, Stream("S1-01", "", "")),
        ("finding", "vat:Q1", {}, Stream("", "", "")),
        ("finding", "S1-01", {}, Stream("S1-01", "", "")),
        ("finding", "vat:Q1", {"batch": "S1-01"}, Stream("S1-01", "", "")),
        ("finding", "S1-01", {"batch": ""}, Stream("", "", "")),
        ("prescription", "S1-01/salt", {"batch": "H1"}, Stream("H1", "", "")),
        ("prescription", "S1-01/salt", {}, Stream("S1-01", "", "")),
        ("done", "t1", {"batch": "S1-01"}, Stream("S1-01", "", "")),
        ("done", "t1", {}, Stream("", "", "")),
    ],
)
def test_a_record_belongs_to_the_batch_it_names(
    kind: str, subject: str, payload: dict[str, object], stream: Stream
) -> None:
    """Named in the payload, else by the subject where that is a batch."""
    found = stream_of(Scribe().note(kind, subject, **payload))  # type: ignore[arg-type]
    assert (found.batch, found.shipment) == (stream.batch, stream.shipment)


def test_entries_are_parted_by_batch_once() -> None:
    """Movements and records about batches; what is about a vat belongs to none."""
    scribe = Scribe()
    rows: list[Entry] = [
        scribe.move("S1-01", "supplier > vat:Q1", 5),
        scribe.note("batch", "S1-02", id="S1-02"),
        scribe.note("cleaned", "Q1"),
        scribe.move("S1-01", "vat:Q1 > dead", 1, 1),
    ]
    assert by_batch(rows) == {"S1-01": [rows[0], rows[3]], "S1-02": [rows[1]]}
