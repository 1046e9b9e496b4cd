"""Release asks for the clean inspection that a move out of the water asks for: one rule at both doors."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from intake.farm.floor import Floor, Found
from intake.quarantine import release
from intake.quarantine.needs import Need
from tests.quarantine.test_protocol import work
from tests.rules.ground import LIBRARY, NOW, SITE, batch, days, floor, found, ids, staged
from tests.rules.test_placing import place

SNAILS = batch("S1-10", "grazing_snail", "Trochus")
CLAM = batch("S1-01")
AGO = days(LIBRARY.groups["grazing_snail"].quarantine.days + 1)


def ill(*more: Found) -> Floor:
    """Snails that carried pyramidellids, their quarantine from then on over; clams stand in grow-out."""
    here = staged(floor((CLAM, "G1", 10), (SNAILS, "B1", 10)), "quarantine")
    stays = tuple(
        replace(one, since=NOW - AGO - days(3), stage="grow-out" if one.vat == "G1" else "quarantine")
        for one in here.stays
    )
    return replace(here, stays=stays, found=(found(SNAILS, "pyramidellid-snail", "B1", NOW - AGO), *more))


def in_the_way(here: Floor) -> list[str]:
    """What release says of the snails about inspections."""
    told = release(SNAILS, here, LIBRARY, SITE, here.at)
    assert told.releasable is not bool(told.stands_in_the_way)
    return [words for words in told.stands_in_the_way if "no clean inspection" in words]


@pytest.mark.parametrize(
    ("more", "free"),
    [
        ((), False),
        ((found(SNAILS, "", "B1", NOW - days(3)),), False),
        ((found(SNAILS, "", "B1", NOW - timedelta(hours=1)),), True),
        ((found(CLAM, "", "G1", NOW - timedelta(hours=1)),), False),
    ],
)
def test_release_and_move_ask_for_the_same_inspection(more: tuple[Found, ...], free: bool) -> None:
    """None, one too early, one in time, and one of another lot."""
    here = ill(*more)
    carries = "carries-finding" in ids(here, place(SNAILS, "G2", 5, source="B1", door="move"))
    assert carries is not free
    assert bool(in_the_way(here)) is not free


def test_release_says_from_when_the_inspection_counts() -> None:
    """A whole quarantine after the finding, and the command that records it."""
    (words,) = in_the_way(ill())
    due = (NOW - days(1)).date()
    assert f"on or after {due}" in words
    assert "vatside finding S1-10 clean" in words


def test_the_release_check_in_the_timetable_says_what_to_look_for() -> None:
    """Whoever does the check must record the lot clean of what it carried."""
    here = ill()

    def check(ground: Floor) -> Need:
        return work([], at=NOW, site=SITE, floor=ground)["S1-10/release-check"]

    assert "look for pyramidellid-snail once more" in check(here).why
    assert "once more" not in check(ill(found(SNAILS, "", "B1", NOW - timedelta(hours=1)))).why
