"""Who met whom: shared water, entry after entry, moves, plumbing, tools; and traces that run with time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from intake.quarantine.exposure import Cleaned, Contact, Presence, Replumbed, holds_after, meetings, presences_of, trace
from intake.quarantine.exposure_picture import layout
from tests.timetable.farms import MONDAY, site_of


def day(number: float) -> datetime:
    """Days after the Monday of the tests."""
    return MONDAY + timedelta(days=number)


def stay(batch: str, vat: str, start: float, end: float | None) -> Presence:
    """A stay in days; the water is named by the first two letters of the vat."""
    return Presence(batch, vat, vat[:2], day(start), None if end is None else day(end))


def pairs(rows: Sequence[Presence], **more: Any) -> set[tuple[str, str, str]]:
    """Who could pass something to whom, and how."""
    return {(met.source, met.target, met.how) for met in meetings(rows, until=day(100), **more)}


def test_lots_that_stand_in_one_water_at_the_same_time_met_both_ways() -> None:
    """Different vats of one system: the water is the unit of exposure (husbandry 5.1)."""
    rows = [stay("A", "Q1a", 0, 10), stay("B", "Q1b", 5, 20)]
    assert pairs(rows) == {("A", "B", "shared water"), ("B", "A", "shared water")}


def test_lots_in_different_water_did_not_meet() -> None:
    """Next-door vats on other plumbing are apart."""
    assert pairs([stay("A", "Q1a", 0, 10), stay("B", "Q2a", 0, 10)]) == set()


def test_entry_after_another_lot_counts_one_way_unless_cleaned_between() -> None:
    """Only the later lot is exposed; disinfecting and drying the system ends it, cleaning too early does not."""
    rows = [stay("A", "Q1a", 0, 10), stay("B", "Q1a", 15, 20)]
    assert pairs(rows) == {("A", "B", "entered after")}
    assert pairs(rows, cleaned=[Cleaned("Q1", day(12))]) == set()
    assert pairs(rows, cleaned=[Cleaned("Q1a", day(12))]) == set()
    assert pairs(rows, cleaned=[Cleaned("Q1", day(9))]) == {("A", "B", "entered after")}


def test_one_clean_vat_does_not_make_running_water_clean() -> None:
    """Where the system's vats are known, all of them must have been cleaned."""
    rows = [stay("A", "Q1a", 0, 10), stay("B", "Q1a", 15, 20)]
    vats = {"Q1": ("Q1a", "Q1b")}
    assert pairs(rows, cleaned=[Cleaned("Q1a", day(12))], vats=vats) == {("A", "B", "entered after")}
    assert pairs(rows, cleaned=[Cleaned("Q1a", day(12)), Cleaned("Q1b", day(13))], vats=vats) == set()


def test_a_tool_carries_weakly_and_one_way() -> None:
    """A net from one vat to another is a weaker exposure and is said to be so."""
    rows = [stay("A", "Q1a", 0, 10), stay("B", "Q2a", 0, 10)]
    net = Contact("Q1a", "Q2a", day(3), "net 4")
    assert pairs(rows, contacts=[net]) == {("A", "B", "tool or person")}
    found = trace("A", meetings(rows, contacts=[net], until=day(9)), since=day(0), direction="forward", until=day(9))
    assert [(row.batch, row.weak) for row in found] == [("B", True)]


def test_a_trace_runs_with_time_and_through_moves() -> None:
    """A infects B in Q1, B is moved to Q2 and infects C; D left Q2 before B came and is clean."""
    rows = [
        stay("A", "Q1a", 0, None),
        stay("B", "Q1b", 2, 6),
        stay("B", "Q2a", 6, None),
        stay("C", "Q2b", 8, None),
        stay("D", "Q2a", 0, 5),
    ]
    met = meetings(rows, until=day(30))
    found = trace("A", met, since=day(1), direction="forward", until=day(30))
    assert [(row.batch, row.at, row.steps, row.through) for row in found] == [
        ("B", day(2), 1, "A"),
        ("C", day(8), 2, "B"),
    ]
    back = trace("C", met, since=day(0), direction="back", until=day(30))
    assert {row.batch for row in back} == {"A", "B", "D"}
    assert [row.steps for row in back if row.batch == "A"] == [2]


def test_infection_late_in_time_does_not_reach_lots_that_had_left() -> None:
    """From day 12 on, A can no longer reach B, who had left on day 10."""
    rows = [stay("A", "Q1a", 0, None), stay("B", "Q1b", 2, 10), stay("C", "Q1b", 20, None)]
    met = meetings(rows, until=day(30))
    found = trace("A", met, since=day(12), direction="forward", until=day(30))
    assert [row.batch for row in found] == ["C"]


def test_replumbing_cuts_a_stay_in_two_waters() -> None:
    """A vat joined to another system carries its animals into other company."""
    site = site_of()
    rows = presences_of(
        [("A", "Q1a", day(0), day(20)), ("B", "Q2b", day(0), None)], site, [Replumbed("Q1a", "Q2", day(10))]
    )
    assert [(row.batch, row.system, row.start) for row in rows if row.batch == "A"] == [
        ("A", "before Q2", day(0)),
        ("A", "Q2", day(10)),
    ]
    met = meetings(rows, until=day(30))
    assert {(one.source, one.target, one.start) for one in met} == {("A", "B", day(10)), ("B", "A", day(10))}


def test_a_vat_taken_from_a_known_water_was_in_its_company_until_then() -> None:
    """Whoever stood in the water it left is met up to that moment, and not after."""
    stays = [("A", "Q1a", day(0), day(20)), ("B", "Q1b", day(0), None), ("C", "Q2b", day(0), None)]
    rows = presences_of(stays, site_of(), [Replumbed("Q1a", "Q2", day(10), "Q1")])
    met = {(one.source, one.target): (one.start, one.end) for one in meetings(rows, until=day(30))}
    assert met["A", "B"] == (day(0), day(10))
    assert met["A", "C"] == (day(10), day(20))
    assert ("B", "C") not in met


stays_of = st.lists(
    st.tuples(
        st.sampled_from("ABCDEF"),
        st.sampled_from(["Q1a", "Q1b", "Q2a", "Q2b"]),
        st.integers(0, 20),
        st.integers(1, 12),
    ),
    min_size=1,
    max_size=9,
)


@settings(max_examples=60, deadline=None)
@given(stays_of)
def test_forward_and_back_are_each_other_turned_round(rows: list[tuple[str, str, float, float]]) -> None:
    """If A could have infected B by the end, then tracing back from B finds A, and the other way about."""
    met = meetings([stay(batch, vat, start, start + days) for batch, vat, start, days in rows], until=day(40))
    lots = sorted({row[0] for row in rows})
    forward = {
        (one, row.batch) for one in lots for row in trace(one, met, since=day(0), direction="forward", until=day(40))
    }
    back = {(row.batch, one) for one in lots for row in trace(one, met, since=day(0), direction="back", until=day(40))}
    assert forward == back


def test_the_picture_has_a_lane_a_water_and_dashes_what_is_weak() -> None:
    """Rows of one water stand together; links carry their words; nothing is shown by color alone."""
    rows = [stay("A", "Q1a", 0, None), stay("B", "Q1b", 2, 6), stay("C", "Q2a", 1, None)]
    net = Contact("Q1a", "Q2a", day(3), "net 4")
    met = meetings(rows, contacts=[net], until=day(10))
    found = trace("A", met, since=day(0), direction="forward", until=day(10))
    picture = layout(rows, found, batch="A", start=day(0), end=day(10))
    assert [(lane.system, lane.first_row, lane.last_row) for lane in picture.lanes] == [("Q1", 0, 1), ("Q2", 2, 2)]
    assert {bar.batch: bar.mark for bar in picture.bars} == {"A": "asked", "B": "reached", "C": "weak"}
    assert [(link.from_row, link.to_row, link.day, link.dashed) for link in picture.links] == [
        (0, 1, 2.0, False),
        (0, 2, 3.0, True),
    ]
    assert (picture.days, picture.rows) == (10.0, 3)


def test_a_finding_holds_what_shared_water_and_only_points_at_what_a_tool_touched() -> None:
    """Each hold carries its reason; a weak contact is looked at, not held."""
    rows = [stay("A", "Q1a", 0, None), stay("B", "Q1b", 2, None), stay("C", "Q2a", 1, None)]
    net = Contact("Q1a", "Q2a", day(3), "net 4")
    met = meetings(rows, contacts=[net], until=day(10))
    held = holds_after("A", "snails", trace("A", met, since=day(0), direction="forward", until=day(10)))
    assert [batch for batch, _ in held] == ["A", "B"]
    assert "shared the water of Q1" in held[1][1]
