"""A lot does not leave while work is still due on another in its water, though its date was reckoned as if it were done."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from intake.farm.floor import Done, Floor
from intake.library import load
from intake.quarantine import Release, needs_for, release
from tests.timetable.farms import MONDAY, ZONE, floor_of, site_of

LIBRARY = load()
ENTERED = MONDAY - timedelta(days=42, hours=8)


def brushed(batch: str, *days: float) -> list[Done]:
    """Brushings of a batch, in days from its entry."""
    return [
        Done(f"{batch}/clam-brushing/{vat}/{number}", batch, "inspection", ENTERED + timedelta(days=day), "ann")
        for vat in ("Q1a" if batch == "T-1" else "Q1b",)
        for number, day in enumerate(days, start=1)
    ]


def floor(late: tuple[float, ...], *, other: str = "Q1b") -> Floor:
    """Two lots of clams entered together; T-2 was brushed in time, T-1 as given."""
    here = floor_of([("T-1", "clam_small", 100, "Q1a", ENTERED), ("T-2", "clam_small", 60, other, ENTERED)])
    weekly = (0.3, 7.3, 14.3, 21.3, 28.3, 35.3)
    second = [replace(one, task=one.task.replace("Q1b", other)) for one in brushed("T-2", *weekly)]
    return replace(here, done=(*brushed("T-1", *late), *second))


def asked(here: Floor, batch: str = "T-2") -> Release:
    """The answer for a lot."""
    return release(here.batches[batch], here, LIBRARY, site_of(), here.at)


LATE = (0.3, 8.9, 15.3, 22.3, 28.3, 35.3)
"""The second after 8.6 d: the series began again with it, and the sixth of the new one is due on day 42."""


@pytest.mark.parametrize(
    ("late", "other", "free"), [(LATE, "Q1b", False), (LATE, "Q2a", True), ((*LATE, 42.2), "Q1b", True)]
)
def test_the_last_brushing_of_one_lot_keeps_the_other_until_it_is_recorded(
    late: tuple[float, ...], other: str, free: bool
) -> None:
    """In a year's run S7-02 was carried out on the day on which S7-01, in its water, was still to be brushed."""
    told = asked(floor(late, other=other))
    assert told.releasable is free, told.stands_in_the_way
    assert any("T-1 shares its water" in words for words in told.stands_in_the_way) is not free


def test_the_release_check_tells_the_hour_of_release_on_the_farms_clock() -> None:
    """A calendar showed the day alone; what is due at 16:45 cannot be carried out at 09:00."""
    here = floor((0.3, 7.3, 14.3, 21.3, 28.3, 35.3))
    needs = {one.uid: one for one in needs_for(here.stays, here, LIBRARY, site_of(), now=here.at)}
    end = ENTERED + timedelta(days=42)
    assert f"not released before {end.astimezone(ZONE):%a %d %b %H:%M}" in needs["T-1/release-check"].why
    late = floor(LATE)
    waiting = {one.uid: one for one in needs_for(late.stays, late, LIBRARY, site_of(), now=late.at)}
    assert f"not released before {late.at.astimezone(ZONE):%a %d %b}" in waiting["T-2/release-check"].why
