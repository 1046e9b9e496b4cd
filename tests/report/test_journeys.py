"""Journeys by supplier, group and hours in the bag; predictions that hold, and silence where nothing is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy.stats import betabinom

from intake.errors import BadInput
from intake.ledger import Entry, batch_payload
from intake.report import IntervalRow, interval_rows
from intake.report.comparing.journeys import (
    Journey,
    bag_class,
    expected_losses,
    journey_rows,
    journeys,
    predict,
    season,
)
from intake.report.intervals import shrink_together
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import CLAMS


def seen(*cells: tuple[str, str, str, float, float]) -> list[Journey]:
    """Journeys (supplier, group, hours, lost, of), each a shipment of its own in one season."""
    return [
        Journey(f"S{number}", supplier, group, hours, "Mar–May", {"doa": (lost, of)})
        for number, (supplier, group, hours, lost, of) in enumerate(cells)
    ]


def test_journeys_come_from_the_books_with_their_hours_on_absolute_time() -> None:
    """Packed 30 h before the landing in whatever zone; 6 of 60 dead on arrival."""
    scribe = Scribe()
    batch = replace(CLAMS, packed_at=hour(-30))
    entries: list[Entry] = [
        scribe.note("batch", "S1-01", -48, **batch_payload(batch)),  # type: ignore[arg-type]
        scribe.note("received", "S1", 0),
        scribe.move("S1-01", "supplier > dock", 60),
        scribe.move("S1-01", "dock > doa", 6, 1),
        scribe.move("S1-01", "dock > vat:Q1", 54, 1),
    ]
    (one,) = journeys(entries, hour(48))
    assert (one.supplier, one.group, one.hours, one.season) == ("northern reef", "clam_small", "24–36 h", "Dec–Feb")
    assert one.lost == {"doa": (6.0, 60.0)}
    assert journeys(entries, hour(-1)) == ()


@pytest.mark.parametrize(
    ("hours", "words"), [(0.0, "under 24 h"), (36.0, "24–36 h"), (36.1, "over 36 h"), (None, "unknown")]
)
def test_classes_of_hours_border_without_gap(hours: float | None, words: str) -> None:
    """36 h is still within what is allowed without care; unknown is a class of its own."""
    assert bag_class(hours) == words


def test_seasons_wrap_around_the_year() -> None:
    """December belongs to the winter of January."""
    assert season(hour(0).replace(month=12)) == season(hour(0).replace(month=2)) == "Dec–Feb"
    assert season(hour(0) + timedelta(days=150)) == "Jun–Aug"


def test_long_journeys_stand_apart_and_small_ones_are_drawn_to_the_usual() -> None:
    """Two suppliers; the small cell's raw 0 % is not believed."""
    rows = journey_rows(
        seen(*(("one", "clam", "under 24 h", lost, 200) for lost in (4, 5, 6, 5)),
             *(("one", "clam", "over 36 h", lost, 200) for lost in (30, 31, 34, 33)),
             ("two", "clam", "under 24 h", 0, 6)),
        "doa",
    )  # fmt: skip
    told = {(row.supplier, row.hours): row for row in rows}
    assert told["one", "over 36 h"].shrunk.low > told["one", "under 24 h"].shrunk.high
    small = told["two", "under 24 h"].shrunk
    assert small.estimate > 0.005
    assert small.high > 0.1
    assert told["one", "over 36 h"].shipments == 4
    assert journey_rows([], "doa") == ()


def test_seasons_are_told_apart_only_where_there_is_enough_of_two() -> None:
    """Two shipments in each of two seasons; before that no season is named."""
    some = seen(*[("one", "clam", "24–36 h", 5, 100)] * 3)
    assert {row.season for row in journey_rows(some, "doa")} == {""}
    more = [*some, *(replace(one, shipment=f"w{n}", season="Dec–Feb") for n, one in enumerate(some[:2]))]
    assert {row.season for row in journey_rows(more, "doa")} == {"Mar–May", "Dec–Feb"}


def test_the_nearest_kind_of_journey_is_used_and_said() -> None:
    """Two of the same kind; else the supplier's group; else the group; else anything; else nothing."""
    asked = replace(CLAMS, supplier="one", group="clam")
    same = ("one", "clam", "24–36 h", 5.0, 100.0)
    long = ("one", "clam", "over 36 h", 20.0, 100.0)
    other = ("two", "clam", "24–36 h", 9.0, 100.0)

    def basis(*cells: tuple[str, str, str, float, float]) -> str:
        found = expected_losses(seen(*cells), "doa", asked, 50, "24–36 h")
        return "" if found is None else found.basis

    assert basis(same, same) == "this supplier, group and hours in the bag"
    assert basis(same, long) == "this supplier and group"
    assert basis(same, other) == "this group, all suppliers"
    assert basis(other, ("two", "fish", "24–36 h", 1, 40)) == "all suppliers and groups"
    assert basis(same) == ""
    assert basis() == ""


def test_two_lines_of_one_shipment_are_one_journey() -> None:
    """A shipment with two groups does not count twice."""
    twice = [replace(one, shipment="S0") for one in seen(("one", "clam", "x", 5, 100), ("one", "fish", "x", 5, 100))]
    assert expected_losses(twice, "doa", replace(CLAMS, supplier="one"), 50, "x") is None


def test_many_alike_shipments_predict_like_the_beta_binomial_of_scipy() -> None:
    """With 400 shipments drawn from one beta distribution the prediction is that distribution's beta-binomial."""
    rng = np.random.default_rng(31)
    counts = [(float(rng.binomial(100, share)), 100.0) for share in rng.beta(6, 54, 400)]
    low, high, mean = predict(counts, 60, 0.9)
    there = betabinom(60, 6, 54)
    assert abs(low - there.ppf(0.05)) <= 1
    assert abs(high - there.ppf(0.95)) <= 1
    assert mean == pytest.approx(there.mean(), rel=0.06)
    assert predict(counts, 0) == (0, 0, 0.0)


def test_the_next_shipment_is_less_certain_than_what_is_usual() -> None:
    """Shipments differ: the next one's interval is wider than any shipment's own."""
    counts = [(2.0, 200.0), (20.0, 200.0), (8.0, 200.0), (30.0, 200.0)]
    low, high, _ = predict(counts, 200, 0.95)
    _, own = shrink_together(counts)
    assert high - low > 200 * max(one.high - one.low for one in own)
    with pytest.raises(BadInput):
        predict([(1, 10)], 10)


def test_predictions_hold_as_often_as_they_say() -> None:
    """Five shipments known of a beta distribution: 90 % intervals hold the sixth at least so often, and are of use."""
    rng = np.random.default_rng(29)
    held = width = 0
    for _ in range(100):
        shares = rng.beta(3, 57, 6)
        counts = [(float(rng.binomial(150, share)), 150.0) for share in shares[:5]]
        low, high, _ = predict(counts, 150, 0.9)
        held += low <= rng.binomial(150, shares[5]) <= high
        width += high - low
    assert held >= 85
    assert width / 100 < 40


def test_the_picture_has_a_dot_and_a_line_for_every_row() -> None:
    """Also where one interval runs off the axis, which an arrow shows."""
    rows = [IntervalRow(f"row {n}", 1.0, 0.5, 2.0) for n in range(3)] + [IntervalRow("none died", 0.0, 0.0, 400.0)]
    picture = interval_rows(rows, title="t & t", axis="%")
    assert picture.count('class="estimate"') == picture.count('class="interval"') == 4
    assert picture.count('class="beyond"') == 1
    assert "t &amp; t" in picture
    with pytest.raises(BadInput):
        interval_rows([], title="t", axis="%")
