"""Sums and looks that one wrong figure would change unseen: allowances at their edge, heads, freight, days looked back."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from decimal import Decimal

import pytest

from intake.ledger import Entry, batch_payload
from intake.report import assess, curve, facts_of, survival_steps
from intake.report.chart_frame import marks_of
from intake.report.charts import IntervalRow, interval_rows
from intake.report.comparing.clustered import likeness
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import CLAMS, TERMS, arrival
from tests.report.test_farm_watch import deaths, watch, watch_of


def _of(count: int, doa: int, *, price: Decimal | None = Decimal("4.50")) -> list[Entry]:
    """One line of so many clams received, some of them dead."""
    scribe = Scribe()
    batch = replace(CLAMS, announced=count, unit_price=price)
    return [
        scribe.note("batch", batch.id, -48, **batch_payload(batch)),  # type: ignore[arg-type]
        scribe.note("shipment", "S1", -48, supplier="northern reef"),
        scribe.note("received", "S1", 0),
        scribe.move(batch.id, "supplier > vat:Q1", count, 0),
        scribe.move(batch.id, "vat:Q1 > doa", doa, 1),
    ]


@pytest.mark.parametrize(("received", "allowed"), [(33, 0), (34, 1), (99, 2), (100, 3), (132, 3), (134, 4)])
@pytest.mark.parametrize("by", ["line", "shipment"])
def test_an_allowance_counts_whole_animals_only(received: int, allowed: int, by: str) -> None:
    """3 % of 33 is 0.99: no animal is free; of 34 it is 1.02: one is.  The sum of the claim says the same."""
    entries = _of(received, 10)
    claim = assess(facts_of(entries, "S1"), replace(TERMS, allowance_by=by), entries, hour(5))
    assert claim.sums.allowance == allowed
    assert claim.sums.claimable == 10 - allowed


def test_the_values_of_the_heads_add_up_to_the_lines() -> None:
    """Dead, missing and wrong animals of a line are worth together what the line is worth."""
    entries = arrival(Scribe())
    for line in assess(facts_of(entries, "S1"), TERMS, entries, hour(5)).lines:
        assert sum((one.value or Decimal(0)) for one in line.heads) == line.value
    clams = assess(facts_of(entries, "S1"), TERMS, entries, hour(5)).lines[0]
    assert {one.head: one.value for one in clams.heads} == {
        "dead": Decimal("22.50"),
        "missing": Decimal("9.00"),
        "wrong": Decimal("0.00"),
    }


def test_freight_of_animals_without_a_price_is_all_there_is_to_claim() -> None:
    """Half of 280.00 by 7 of 100 animals is 9.80, and nothing is added to it."""
    entries = [*_of(100, 10, price=None), Scribe().note("claim", "S1", 2, key="f", state="facts", freight="280.00")]
    claim = assess(facts_of(entries, "S1"), replace(TERMS, freight_share_percent=50), entries, hour(5))
    assert claim.freight == Decimal("9.80")
    assert claim.totals == (("EUR", Decimal("9.80")),)


@pytest.mark.parametrize(("back", "seen"), [(6, False), (7, True)])
def test_days_looked_back_at_are_counted_with_today(back: int, seen: bool) -> None:
    """Nine dead on day 8 still alarm in the look at day 14; on day 20 that is seven days back, today the first."""
    assert bool(watch_of({8: 9}, days=20, back=back).alarms) == seen


def test_a_chart_counts_the_animals_of_its_own_batch() -> None:
    """The first of six batches by name has 200 at risk, less those that died, and no other's."""
    scribe = Scribe()
    entries = deaths(scribe, "watched", 200, {12: 8}, vat="Q3")
    for number in range(5):
        entries += deaths(scribe, f"quiet {number}", 200, {2 + number: 1, 9 + number: 1})
    found = watch(entries, ["watched", *(f"quiet {number}" for number in range(5))], 20, 30)
    risks = {look.day: look.at_risk for look in found.charts["watched"]}
    assert risks[11] == 200
    assert max(risks.values()) == 200
    assert risks[max(risks)] == 192


@pytest.mark.parametrize(
    ("largest", "marks"),
    [
        (3, [0, 1, 2, 3]),
        (7, [0, 1, 2, 3, 4, 5, 6, 7]),
        (8, [0, 2, 4, 6, 8]),
        (45, [0, 10, 20, 30, 40]),
        (100, [0, 20, 40, 60, 80, 100]),
        (400, [0, 100, 200, 300, 400]),
    ],
)
def test_scales_are_marked_at_round_figures(largest: float, marks: list[float]) -> None:
    """Ones, twos, fives and tens, so that a reader can count."""
    assert marks_of(largest) == marks


def test_likeness_is_told_by_units_that_stand_beside_others() -> None:
    """Boxes of three lines; a line of one box says nothing of how alike boxes of a line are, however many died in it."""
    lines = [[(1, 20), (9, 20)], [(0, 20), (8, 20)], [(2, 20), (7, 20)]]
    alone = [(5, 60)]
    assert likeness([*lines, alone]) == likeness(lines)
    assert likeness([alone]) is None
    found = likeness(lines)
    assert found is not None
    assert 0 < found < 1


def test_every_word_of_a_chart_stands_on_it() -> None:
    """A label below the picture's edge is a label nobody reads: all text lies inside the width and the height."""
    rows = [IntervalRow(f"row {number}", number, number / 2, 2.0 * number) for number in range(1, 8)]
    shape = curve(_of(50, 5), CLAMS.id, hour(24 * 20))
    assert shape is not None
    steps = survival_steps([("S1-01", shape)], title="Share alive by day")
    for picture in (interval_rows(rows, title="Deaths by vat", axis="deaths a day, %"), steps):
        drawn = ET.fromstring(picture)
        _, _, width, height = (float(side) for side in drawn.attrib["viewBox"].split())
        words = [one for one in drawn.iter() if one.tag.endswith("text")]
        assert len(words) > 5
        for one in words:
            assert 0 <= float(one.attrib["x"]) <= width, one.text
            assert 0 < float(one.attrib["y"]) <= height, one.text
