"""Losses grouped: the same deaths whichever way they are cut, and rates with exact intervals."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy.stats import chi2

from intake.errors import UnknownName
from intake.ledger import Entry, batch_payload
from intake.report import curve
from intake.report.groupings import BY, box_label, daily_hazard, losses_by, rate
from intake.report.stays import animal_days, spans
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import CLAMS, POLYPS

SYSTEMS = {"Q1": "north", "Q2": "north", "Q3": "south"}
NOW = hour(24 * 40)


def books() -> list[Entry]:
    """Two batches over three vats of two waters, one of them moved between waters; invented."""
    scribe = Scribe()
    clams, polyps = replace(CLAMS, boxes=("7",)), replace(POLYPS, boxes=("7", "8"))
    return [
        *[scribe.note("batch", b.id, -48, **batch_payload(b)) for b in (clams, polyps)],  # type: ignore[arg-type]
        scribe.move("S1-01", "supplier > vat:Q1", 100),
        scribe.move("S1-01", "vat:Q1 > doa", 5, 1),
        scribe.move("S1-01", "vat:Q1 > dead", 3, 48),
        scribe.move("S1-01", "vat:Q1 > vat:Q2", 40, 72),
        scribe.move("S1-01", "vat:Q2 > dead", 2, 24 * 10),
        scribe.move("S1-01", "vat:Q1 > vat:Q3", 20, 24 * 12),
        scribe.move("S1-01", "vat:Q3 > dead", 4, 24 * 20),
        scribe.move("S1-02", "supplier > dock", 40),
        scribe.move("S1-02", "dock > dead", 1, 1),
        scribe.move("S1-02", "dock > vat:Q3", 39, 2),
        scribe.move("S1-02", "vat:Q3 > sold", 9, 24 * 30),
    ]


@pytest.mark.parametrize("by", BY)
def test_the_same_deaths_whichever_way_they_are_told_apart(by: str) -> None:
    """A death belongs to one vat, one water, one batch: none is lost or counted twice."""
    rows = losses_by(books(), NOW, by, systems=SYSTEMS)
    assert sum(row.doa for row in rows) == 5
    assert sum(row.dead_first_week for row in rows) == 3 + 1
    assert sum(row.dead_later for row in rows) == 2 + 4
    whole = animal_days(spans(books(), NOW))
    assert sum(row.animal_days for row in rows) == pytest.approx(whole)


def test_moving_within_one_water_is_no_new_stay_and_between_waters_it_is() -> None:
    """Q1 and Q2 share water: 100 came to it once; 20 left for the south, where 39 others stood."""
    rows = {row.key: row for row in losses_by(books(), NOW, "system", systems=SYSTEMS)}
    assert (rows["north"].came, rows["south"].came) == (100, 20 + 39)
    vats = {row.key: row for row in losses_by(books(), NOW, "vat", systems=SYSTEMS)}
    assert (vats["Q1"].came, vats["Q2"].came, vats["Q3"].came) == (100, 40, 59)
    assert vats["Q3"].batches == ("S1-01", "S1-02")
    assert vats["dock"].dead_first_week == 1


def test_survival_of_one_batch_is_the_curve_of_that_batch() -> None:
    """Cut by batch, the estimate is the one the batch page shows."""
    entries = books()
    for row in losses_by(entries, NOW, "batch"):
        told = curve(entries, row.key, NOW)
        assert told is not None
        assert row.day_30 is not None
        assert row.day_30.survival == told.at(30.0).survival  # type: ignore[union-attr]


def test_a_vat_filled_late_says_nothing_of_days_before() -> None:
    """Animals that came to a vat on day 12 say nothing about day 7 there."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.note("batch", "S1-01", -48, **batch_payload(CLAMS)),  # type: ignore[arg-type]
        scribe.move("S1-01", "supplier > vat:Q1", 10),
        scribe.move("S1-01", "vat:Q1 > vat:Q3", 10, 24 * 12),
    ]
    rows = {row.key: row for row in losses_by(entries, NOW, "vat")}
    assert rows["Q3"].day_7 is None
    assert rows["Q3"].day_30 is not None


def test_found_alive_again_is_taken_off() -> None:
    """An animal counted dead on arrival that opens later was neither dead nor new."""
    entries = [*books(), Scribe().move("S1-01", "doa > vat:Q1", 1, 3, key="found")]
    rows = {row.key: row for row in losses_by(entries, NOW, "vat", systems=SYSTEMS)}
    assert (rows["Q1"].doa, rows["Q1"].came) == (4, 100)


@pytest.mark.parametrize("deaths", [0, 1, 5, 40])
def test_the_rate_has_the_exact_poisson_interval(deaths: int) -> None:
    """Chi-square form of Garwood's interval (1936); with no death only the upper limit says something: 3.689."""
    found = rate(deaths, 10.0)
    assert found is not None
    low = chi2.ppf(0.025, 2 * deaths) / 20 if deaths else 0.0
    assert (found.low, found.high) == pytest.approx((low, chi2.ppf(0.975, 2 * deaths + 2) / 20))
    assert rate(deaths, 0.0) is None


def test_the_hazard_by_day_adds_up_to_deaths_and_animal_days() -> None:
    """Days are cut where they border; nothing falls between."""
    told = curve(books(), ("S1-01", "S1-02"), NOW)
    assert told is not None
    days = daily_hazard(told)
    assert sum(day.deaths for day in days) == told.deaths
    exposure = sum(life.count * (life.left_days - life.entered_days) for life in told.observed)
    assert sum(day.animal_days for day in days) == pytest.approx(exposure)
    assert [day.day for day in days if day.deaths] == [0, 1, 9, 19]


@pytest.mark.parametrize(
    ("boxes", "label"),
    [((), "no box"), (("3",), "3"), (("1", "2", "3"), "1–3"), (("1", "2", "9", "A7"), "1–2+9+A7"), (("2", "1"), "2+1")],
)
def test_boxes_in_a_row_are_written_as_a_range(boxes: tuple[str, ...], label: str) -> None:
    """Twenty boxes of one line must fit a table."""
    assert box_label(replace(CLAMS, boxes=boxes)) == label


def test_an_unknown_way_is_refused_with_the_known_ones() -> None:
    """The command offers them."""
    with pytest.raises(UnknownName, match="vat"):
        losses_by(books(), NOW, "moon")
