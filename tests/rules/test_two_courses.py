"""A medicine in the water beside a course of tank transfers, from either side."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from intake.farm.floor import Floor, Ordered, Stay
from intake.rules import Transferring, Treating
from tests.rules.ground import LIBRARY, NOW, asked, batch, days, done, floor, ids

FISH = batch("F1", "fish_reef_safe")
WRITTEN = {"prescriber": "a vet", "reference": "RX 1", "agent": "copper", "strength": "as told", "dose_source": "RX 1"}


def copper(where: str = "vat", **other: object) -> Treating:
    """Copper ordered for the fish."""
    told = {"minutes": 14 * 1440.0, **WRITTEN, **other}
    agents = LIBRARY.agents("fish-copper-bath")
    return Treating(NOW, FISH, ("B1",), "fish-copper-bath", agents, where, **told)  # type: ignore[arg-type]


def moved(*ago: float) -> Floor:
    """The fish in B1, moved so many days ago."""
    here = floor((FISH, "B1", 5))
    transfers = tuple(
        replace(done(FISH, "fish-tank-transfer", "B1", NOW - days(one)), kind="transfer", to="B1") for one in ago
    )
    return replace(here, stays=(Stay(FISH.id, "B1", 5, NOW - days(min(ago)), "quarantine"),), done=transfers)


def test_copper_beside_a_running_course_needs_a_reason() -> None:
    """Begun and not finished; before its first move and after its last, long after it was left, or in a tub, nothing is said."""
    (breach,) = [one for one in asked(moved(2, 5), copper()) if one.id == "two-courses"]
    assert (breach.severity, breach.have, breach.animals) == ("reason", "2 of 4 transfers", (FISH.id,))
    assert "S54" in breach.source
    assert "two-courses" not in ids(floor((FISH, "B1", 5)), copper())
    assert "two-courses" not in ids(moved(2, 5, 8, 11), copper())
    assert "two-courses" in ids(moved(6), copper())
    assert "two-courses" not in ids(moved(6.1), copper())
    assert "two-courses" not in ids(moved(2, 5), copper("tub"))
    assert "two-courses" not in ids(moved(2, 5), copper(test=True))
    other = replace(moved(2), done=tuple(replace(one, batch="S9-01") for one in moved(2).done))
    assert "two-courses" not in ids(other, copper())


def test_a_transfer_while_copper_is_ordered_needs_a_reason() -> None:
    """As long as the order runs; a bath of minutes, an order that ended and one for others are no course."""
    act = Transferring(NOW, FISH, ("B1",), "A1", 5)
    agents = LIBRARY.agents("fish-copper-bath")
    order = Ordered(FISH.id, "fish-copper-bath", agents, "vet", "RX 1", "told", NOW - days(2), NOW + days(9))
    here = replace(floor((FISH, "B1", 5)), orders=(order,))
    (breach,) = [one for one in asked(here, act) if one.id == "two-courses"]
    assert (breach.severity, breach.have) == ("reason", "fish-copper-bath")
    for spoiled in (
        replace(order, until=None),
        replace(order, until=NOW),
        replace(order, at=NOW + timedelta(hours=1)),
        replace(order, batch="S9-01"),
        replace(order, agents=("tank-transfer",)),
    ):
        assert "two-courses" not in ids(replace(here, orders=(spoiled,)), act)
