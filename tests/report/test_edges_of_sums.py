"""Edges of the sums: days 7 and 30, borders of two days, first in first out, boxes, and a chart's words."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from intake.ledger import Entry, batch_payload
from intake.report import curve
from intake.report.alarms.death_record import DeathRecord
from intake.report.alarms.looks import look
from intake.report.chart_frame import TITLE, WIDTH, titled
from intake.report.charts import survival_steps
from intake.report.comparing.journeys import _hours
from intake.report.comparing.past_shipments import PastLine, group_factors
from intake.report.comparing.suppliers import scorecard
from intake.report.groupings import daily_hazard, losses_by
from intake.report.losses import by_day, summary
from intake.report.stays import animal_days, spans
from intake.report.survival import Life, kaplan_meier
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import CLAMS

SVG = "{http://www.w3.org/2000/svg}"


def moved(*moves: tuple[str, int, float]) -> list[Entry]:
    """One batch with its movements, times in days."""
    scribe = Scribe()
    return [
        scribe.note("batch", CLAMS.id, -48, **batch_payload(CLAMS)),  # type: ignore[arg-type]
        *(scribe.move(CLAMS.id, way, count, 24 * day) for way, count, day in moves),
    ]


def test_the_shares_alive_are_those_of_day_seven_and_day_thirty() -> None:
    """Three die before day 7, five just after it; two before day 30, four just after: 97 % and 90 %."""
    dead = ((3, 6.9), (5, 7.5), (2, 29.9), (4, 30.5))
    books = moved(("supplier > vat:Q1", 100, 0), *(("vat:Q1 > dead", count, day) for count, day in dead))
    (row,) = losses_by(books, hour(24 * 40), "batch")
    assert row.day_7 is not None
    assert row.day_30 is not None
    assert (row.day_7.survival, row.day_30.survival) == pytest.approx((0.97, 0.90))
    assert (row.dead_first_week, row.dead_later) == (3, 11)


def test_the_day_seven_to_the_second_is_still_the_first_week() -> None:
    """A death at exactly 168 h is the journey's, by batch and by vat; one of a second later is not."""
    books = moved(("supplier > vat:Q1", 100, 0), ("vat:Q1 > dead", 3, 7), ("vat:Q1 > dead", 5, 7 + 1 / 86400))
    for by in ("batch", "vat"):
        (row,) = losses_by(books, hour(24 * 40), by)
        assert (row.dead_first_week, row.dead_later) == (3, 5)


def test_a_death_on_the_border_of_two_days_belongs_to_the_earlier() -> None:
    """Ten animals; one dies at exactly day 2, one within day 2: days 1 and 2 have one each, and part days count in part."""
    lives = [Life(0.0, 2.0, 1, True), Life(0.0, 2.25, 1, True), Life(0.5, 4.0, 8, False)]
    shape = kaplan_meier(lives)
    found = daily_hazard(shape)
    assert [row.deaths for row in found] == [0, 1, 1, 0]
    assert [row.animal_days for row in found] == pytest.approx([2 + 4, 10, 8.25, 8])
    assert [row.day for row in found] == [0, 1, 2, 3]


def test_who_entered_first_leaves_first() -> None:
    """Ten on day 0 and ten on day 4; twelve leave on day 6: ten after six days, two after two, eight still there on day 10."""
    books = moved(("supplier > vat:Q1", 10, 0), ("supplier > vat:Q1", 10, 4), ("vat:Q1 > sold", 12, 6))
    found = spans(books, hour(240))
    days = sorted((one.went, one.count, (one.left_at - one.entered_at).days) for one in found)
    assert days == [("", 8, 6), ("sold", 2, 2), ("sold", 10, 6)]
    assert animal_days(found) == pytest.approx(8 * 6 + 2 * 2 + 10 * 6)


def test_at_one_moment_animals_come_before_they_leave() -> None:
    """Booked in and dead at one instant, however the entries are ordered: nobody is lost."""
    books = moved(("vat:Q1 > dead", 2, 1), ("supplier > vat:Q1", 10, 1))
    assert sorted((one.went, one.count) for one in spans(books, hour(48))) == [("", 8), ("dead", 2)]


def test_each_day_of_losses_counts_what_came_and_went_in_it() -> None:
    """Missing only out of a vat; dead before any vat were at risk that day; dead on arrival, late or not, never were."""
    books = moved(
        ("supplier > dock", 100, 0),
        ("dock > doa", 4, 0.1),
        ("dock > missing", 1, 0.1),
        ("dock > dead", 2, 0.2),
        ("dock > vat:Q1", 93, 0.3),
        ("vat:Q1 > doa", 3, 0.4),
        ("vat:Q1 > missing", 5, 1.5),
        ("vat:Q1 > sold", 10, 1.6),
        ("vat:Q1 > dead", 1, 2.5),
    )
    days = by_day(books, CLAMS.id, hour(24 * 2.6))
    assert [(one.day, one.at_risk, one.dead, one.missing, one.doa) for one in days] == [
        (0, 92, 2, 0, 7),
        (1, 90, 0, 5, 0),
        (2, 75, 1, 0, 0),
    ]
    assert by_day(books, CLAMS.id, hour(24 * 2.5))[-1].dead == 1, "a death of this very moment counts"
    assert len(by_day(books, CLAMS.id, hour(48))) == 3
    assert len(by_day(books, CLAMS.id, hour(47.9))) == 2


@pytest.mark.parametrize(("day", "came"), [(1.0, 98), (1.0 + 1 / 86400, 100)])
def test_animals_missed_within_a_day_of_the_first_movement_never_came(day: float, came: int) -> None:
    """24 h to unpack, the last instant included; missed later they came and were lost from sight."""
    books = moved(("supplier > vat:Q1", 100, 0), ("vat:Q1 > missing", 2, day))
    found = summary(books, CLAMS.id, hour(24 * 9))
    assert found is not None
    assert (found.came, found.missing, found.on_hand) == (came, 2, 98)


def boxes(*, missing: bool) -> list[Entry]:
    """Two boxes of one batch with nine and one dead on arrival; three missing of the first where asked for."""
    scribe = Scribe()
    batch = replace(CLAMS, boxes=("7", "8"), announced=100)
    rows: list[Entry] = [
        scribe.note("batch", batch.id, -48, **batch_payload(batch)),  # type: ignore[arg-type]
        scribe.move(batch.id, "supplier > dock", 100),
        scribe.move(batch.id, "dock > doa", 9, 1, key="a"),
        scribe.note("box", batch.id, 1, box="7", movement="a", count=9),
        scribe.move(batch.id, "dock > doa", 1, 1, key="b"),
        scribe.note("box", batch.id, 1, box="8", movement="b", count=1),
        scribe.note("box", batch.id, 1, box="7", held=50),
        scribe.note("box", batch.id, 1, box="8", held=50),
    ]
    if missing:
        rows += [
            scribe.move(batch.id, "dock > wrong", 3, 1, key="c"),
            scribe.note("box", batch.id, 1, box="8", movement="c", count=3),
        ]
    return rows


def test_how_alike_boxes_are_is_asked_of_the_dead_on_arrival_alone() -> None:
    """Wrong animals counted out of a box are no dead: the likeness of boxes stays as it was."""
    plain, other = (scorecard(boxes(missing=one), hour(48)).likeness["doa, box"] for one in (False, True))
    assert plain is not None
    assert plain > 0
    assert other == plain


def test_a_group_seen_in_one_past_shipment_has_no_factor() -> None:
    """Animals of one landing share their fate: two shipments are the least that say something, and the factor has limits."""

    def line(shipment: str, group: str, dead: int) -> PastLine:
        return PastLine(shipment, "one", date(2026, 1, 5), group, "", 100, 0, 0, dead, None)

    assert group_factors([line("a", "clam_small", 30), line("a", "clam_small", 30)]) == {}
    found = group_factors([line("a", "clam_small", 100), line("b", "clam_small", 100), line("c", "zoanthid", 1)])
    assert found == {"clam_small": 3.0}


def test_a_batch_that_has_died_out_is_no_second_one_in_its_water() -> None:
    """Two rows in one water, one without animals for ten weeks: the water is looked at only where two batches stand."""
    days = 70
    risk = np.array([[100.0] * days, [100.0] * 3 + [0.0] * (days - 3)])
    alone = look(DeathRecord.of(np.zeros((2, days)), risk, np.full((2, days), 20)), days - 1)
    both = look(DeathRecord.of(np.zeros((2, days)), np.full((2, days), 100.0), np.full((2, days), 20)), days - 1)
    assert alone is not None
    assert both is not None
    assert (alone.standing.tolist(), both.standing.tolist()) == ([1, 1], [2, 2])


def test_names_of_curves_stand_three_in_a_row_and_the_title_above() -> None:
    """Six names: three columns of 220, two rows of 18; the picture grows upward by the height of its title."""
    shape = curve(moved(("supplier > vat:Q1", 10, 0), ("vat:Q1 > dead", 1, 2)), CLAMS.id, hour(24 * 9))
    assert shape is not None
    text = survival_steps([(f"lot {number}", shape) for number in range(6)], title="Alive")
    names = [one for one in ET.fromstring(text).iter(f"{SVG}text") if (one.text or "").startswith("lot ")]
    xs, ys = ([float(one.attrib[side]) for one in names] for side in "xy")
    assert [x - xs[0] for x in xs] == [0, 220, 440, 0, 220, 440]
    assert [y - ys[0] for y in ys] == [0, 0, 0, 18, 18, 18]
    plain, above = (ET.fromstring(one).attrib["viewBox"].split() for one in (text, titled(text)))
    assert above == ["0", str(-TITLE), str(WIDTH), str(int(plain[3]) + TITLE)]


def test_hours_in_the_bag_are_hours() -> None:
    """Packed thirty hours and a half before it landed."""
    assert _hours(replace(CLAMS, packed_at=hour(-30.5)), hour(0)) == 30.5
    assert _hours(replace(CLAMS, packed_at=None), hour(0)) is None
