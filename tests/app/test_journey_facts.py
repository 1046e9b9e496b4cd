"""Journey facts of each box: hours by absolute time across zones, temperature on opening, a courier's delay."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from intake.app.landing.kept_day import keep_day, planned_day
from intake.app.landing.receiving_day import Slip
from intake.app.queries.overview.journey_facts import box_journeys
from intake.app.session import House
from intake.ledger import batch_payload
from tests.app.test_receiving import LANDS, announced, read_box

Open = Callable[..., House]


def test_a_reading_on_a_box_says_when_and_how_warm_it_was_opened(house_at: Open) -> None:
    """Hours count from packing in the exporter's zone to opening in the farm's, whatever the clocks show."""
    house = house_at()
    first = announced(house)[0]
    packed = datetime(2027, 3, 4, 1, 0, tzinfo=ZoneInfo("Pacific/Auckland"))
    with house.act() as act:
        act.note("batch", first.id, batch_payload(replace(first, packed_at=packed)))
    read_box(house, "S1/1", 10)
    row = next(one for one in box_journeys(house_at(), "S1") if one.box == "S1/1")
    opened = LANDS + timedelta(minutes=10)
    assert row.opened_at == opened
    assert row.temperature_c == 24.0
    assert row.hours_in_bag is not None
    assert abs(row.hours_in_bag * 3600 - (opened.timestamp() - packed.timestamp())) < 1
    assert [one.opened_at for one in box_journeys(house, "S1") if one.box != "S1/1"] == [None] * 8


def test_a_box_said_to_be_opened_counts_from_then(house_at: Open) -> None:
    """``--opened`` stands for a reading that no one took: the hours are known, the temperature is not."""
    house = house_at()
    batches = announced(house)
    at = LANDS + timedelta(minutes=25)
    keep_day(house, batches, planned_day(house, batches, slip=Slip(opened={"S1/2": at}), seconds=0.0))
    row = next(one for one in box_journeys(house_at(), "S1") if one.box == "S1/2")
    assert row.opened_at == at
    assert row.temperature_c is None
    assert row.hours_in_bag is not None
