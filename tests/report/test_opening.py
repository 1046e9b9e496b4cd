"""Losses at opening by box: rows add up to the books, and a bad box is named by a corrected exact test."""

from __future__ import annotations

import pytest
from scipy.stats import fisher_exact

from intake.farm.floor import Batch
from intake.ledger import Entry, batch_payload, batches
from intake.report.causes import arrival_groups, common
from intake.report.opening import BoxRow, box_rows
from tests.ledger.books import Scribe, hour

CLAMS = Batch("S1-01", "Tridacna maxima", "clam_small", 40.0, 150, "S1", 1, "one", ("7", "8", "10"))
POLYPS = Batch("S1-02", "Zoanthus", "zoanthid", 30.0, 40, "S1", 2, "one", ("10",))


def books(*, told: bool = True) -> list[Entry]:
    """Three boxes of clams, one shared with polyps: nineteen dead clams, 16 of them in box 8, one of an unnamed box."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.note("batch", CLAMS.id, **batch_payload(CLAMS)),  # type: ignore[arg-type]
        scribe.note("batch", POLYPS.id, **batch_payload(POLYPS)),  # type: ignore[arg-type]
        scribe.move("S1-01", "supplier > dock", 150),
        scribe.move("S1-02", "supplier > dock", 40),
        scribe.move("S1-01", "dock > doa", 16, 1, key="k1"),
        scribe.move("S1-01", "dock > doa", 2, 1, key="k2"),
        scribe.move("S1-01", "dock > doa", 1, 1, key="k3"),
        scribe.move("S1-01", "dock > missing", 3, 1, key="k4"),
        scribe.move("S1-02", "dock > doa", 1, 1, key="k5"),
    ]
    if told:
        entries += [
            scribe.note("box", "S1-01", 1, box="8", movement="k1", count=16),
            scribe.note("box", "S1-01", 1, box="7", movement="k2", count=2),
            scribe.note("box", "S1-01", 1, box="8", held=50),
        ]
    return entries


def rows(entries: list[Entry]) -> dict[str, BoxRow]:
    """Rows by box."""
    return {row.box: row for row in box_rows(entries, batches(entries), hour(9), lambda _: True)}


def test_each_box_has_its_own_and_what_was_not_told_stands_apart() -> None:
    """Nothing is lost or reported twice; nobody spoke of the clams of box 10, so they are not said to be without losses."""
    found = rows(books())
    assert list(found) == ["S1 7", "S1 8", "S1 10", ""]
    assert {box: row.doa for box, row in found.items()} == {"S1 7": 2, "S1 8": 16, "S1 10": 1, "": 1}
    assert (found[""].missing, found[""].came, found[""].doa_share) == (3, 49, None)
    assert found["S1 8"].came == 50
    assert found["S1 8"].came_told
    assert not found["S1 7"].came_told
    assert found["S1 10"].batches == ("S1-02",)
    share = found["S1 8"].doa_share
    assert share is not None
    assert (share.estimate, round(share.low, 4), round(share.high, 4)) == (0.32, 0.2076, 0.4581)


def test_rows_add_up_to_the_books_whether_or_not_boxes_were_told() -> None:
    """Twenty dead, three missing and all that came, either way."""
    for told in (True, False):
        found = rows(books(told=told)).values()
        assert sum(row.doa for row in found) == 20
        assert sum(row.came for row in found) == 187
        assert sum(row.missing for row in found) == 3
    untold = rows(books(told=False))
    assert list(untold) == ["S1 10", ""]
    assert (untold[""].doa, untold[""].came) == (19, 147)
    share = untold[""].doa_share
    assert share is not None
    assert share.estimate == pytest.approx(19 / 147)


def test_the_bad_box_is_named_by_the_exact_test() -> None:
    """Box 8: 16 of 50 against 4 of 137 elsewhere, as Fisher's one-sided test; first of all looks after Holm."""
    entries = books()
    groups = arrival_groups(entries, batches(entries), hour(9), lambda _: True)
    assert sum(group.dead for group in groups) == 20
    first = common(groups)[0]
    assert first.names == (("box", "S1 8"),)
    elsewhere = sum(group.animals for group in groups) - 50
    table = [[16, 34], [4, elsewhere - 4]]
    assert first.chance == pytest.approx(fisher_exact(table, alternative="greater").pvalue)
    assert first.corrected < 1e-4


def test_without_boxes_told_a_batch_stays_whole() -> None:
    """No box is blamed for dead that nobody named the box of."""
    entries = books(told=False)
    named = {group.shares["box"] for group in arrival_groups(entries, batches(entries), hour(9), lambda _: True)}
    assert named == {"S1 7–8+10", "S1 10"}
