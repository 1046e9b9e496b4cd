"""What happens in one minute of the ledger, and the small words of a refusal."""

from __future__ import annotations

from dataclasses import replace

from intake.farm.floor import Past
from intake.rules import Placing, Portion
from intake.rules.scene import Scene
from tests.rules.ground import LIBRARY, NOW, SITE, asked, batch, days, done, floor, found, ids

CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")


def test_copper_of_this_very_moment_is_in_the_water() -> None:
    """Dosed and stocked in one minute; copper of tomorrow is not there yet."""
    here = replace(floor(), batches={FISH.id: FISH}, done=(done(FISH, "fish-copper-bath", "B1", NOW),))
    act = Placing(NOW, (Portion(CLAM, "B2", 5),), "receive")
    assert ids(here, act) == {"copper-water"}
    assert ids(replace(here, done=(replace(here.done[0], at=NOW + days(1)),)), act) == set()


def test_a_day_is_one_day() -> None:
    """Left today, yesterday and the day before."""
    other = batch("S9-01", shipment="S9")
    said = []
    for ago in (0, 1, 2):
        here = replace(
            floor(), batches={other.id: other}, past=(Past(other.id, "A1", NOW - days(40), NOW - days(ago)),)
        )
        told = {one.id: one for one in asked(here, Placing(NOW, (Portion(CLAM, "A1", 5),), "receive"))}
        said.append(told["fallow"].what.partition("only ")[2])
    assert said == ["0 days ago.", "1 day ago.", "2 days ago."]


def test_the_last_who_left_begins_the_fallow() -> None:
    """A lot of last month and one of yesterday."""
    first, last = batch("S8-01", shipment="S8"), batch("S9-01", shipment="S9")
    past = (
        Past(last.id, "A1", NOW - days(20), NOW - days(1)),
        Past(first.id, "A1", NOW - days(60), NOW - days(30)),
    )
    here = replace(floor(), batches={first.id: first, last.id: last}, past=past)
    told = {one.id: one for one in asked(here, Placing(NOW, (Portion(CLAM, "A1", 5),), "receive"))}
    assert "A1 was left by S9-01 only 1 day ago" in told["fallow"].what


def test_who_is_still_in_a_water_comes_back_to_it_by_undoing() -> None:
    """One of its own counted out by mistake, others beside it; a lot that is not there is a newcomer."""
    other = batch("S1-13", "fish_reef_safe", "Gobiodon")
    here = replace(floor((other, "B1", 5), (FISH, "B2", 5)), found=(found(FISH, "white-spot", "B2", NOW - days(5)),))
    undone = Placing(NOW, (Portion(FISH, "B2", 1),), "undo")
    assert "water-finding" not in ids(here, undone)
    third = batch("S1-14", "fish_reef_safe")
    assert "water-finding" in ids(here, replace(undone, rows=(Portion(third, "B2", 1),)))


def test_work_named_by_batch_and_dip_alone_has_the_agents_of_the_dip() -> None:
    """As the oldest entries are."""
    scene = Scene(SITE, LIBRARY, floor((FISH, "A1", 5)))
    bath = replace(done(FISH, "fish-copper-bath", "A1", NOW), task=f"{FISH.id}/fish-copper-bath")
    assert "copper-ionic" in scene.agents_of(bath)
