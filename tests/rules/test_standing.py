"""Breaches that stand, by vat: what an act would be refused for is listed, each once, and nothing that asks of entering."""

from __future__ import annotations

from dataclasses import replace

from intake.farm.floor import Closure, Past
from intake.rules import RULES, standing
from tests.rules.ground import LIBRARY, NOW, SITE, batch, days, done, floor, found, staged

CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")


def listed(here: object, site: object = SITE) -> list[tuple[str, str]]:
    """Rule and place of each standing breach."""
    return [(one.id, one.where) for one in standing(site, LIBRARY, here)]  # type: ignore[arg-type]


def test_a_farm_in_order_lists_nothing() -> None:
    """Also with stock in a reserve vat, in bright light, and after somebody else."""
    assert listed(floor()) == []
    here = floor((CLAM, "A1", 100), (CLAM, "AR", 10), (batch("S1-02"), "A2", 10))
    assert listed(here) == []
    assert listed(floor((CLAM, "BRIGHT", 10))) == []
    assert listed(replace(floor((CLAM, "A1", 100)), past=(Past("S1-01", "A1", NOW - days(30), NOW - days(10)),))) == []
    assert listed(staged(floor((CLAM, "G1", 100)), "quarantine")) == []


def test_what_stands_broken_is_told_once_each() -> None:
    """Too full, wrong company, wrong water, two lots, two suppliers."""
    assert listed(floor((CLAM, "A1", 900))) == [("bench-area", "A1")]
    assert listed(floor((CLAM, "A1", 10), (FISH, "A2", 10))) == [("company-water", "qa")]
    assert listed(floor((CLAM, "W1", 10))) == [("temperature", "W1")]
    other = batch("S2-01", shipment="S2", supplier="two")
    assert listed(floor((CLAM, "A1", 10), (other, "A1", 10))) == [("other-lot", "A1"), ("other-supplier", "qa")]
    assert listed(floor((CLAM, "A1", 10), (other, "A2", 10))) == [("other-supplier", "qa")]
    young = batch("S1-20", "fish_reef_safe", size_mm=200.0)
    assert ("filter", "young") in listed(floor((young, "Y1", 400)))


def test_two_pairs_of_different_batches_are_two_breaches() -> None:
    """Each with its animals."""
    more = batch("S1-02")
    told = standing(SITE, LIBRARY, floor((CLAM, "A1", 10), (more, "A1", 10), (FISH, "A2", 10)))
    assert sorted(one.animals for one in told) == [("S1-01", "S1-12"), ("S1-02", "S1-12")]


def test_cautions_are_not_breaches() -> None:
    """Goniopora and Montipora in one water."""
    assert (
        listed(
            floor((batch("a", "stony_massive_porites", "Goniopora"), "B1", 1), (batch("b", "stony_montipora"), "B2", 1))
        )
        == []
    )


def test_a_closed_vat_is_a_breach_only_for_those_who_came_after() -> None:
    """The stock stands since ten days."""
    for since, listed_ in ((-11, True), (-9, False)):
        here = replace(floor((CLAM, "A1", 10)), closures=(Closure("A1", NOW + days(since), None, "crack"),))
        assert listed(here) == ([("vat-closed", "A1")] if listed_ else [])
    assert listed(floor((CLAM, "AC", 10))) == []


def test_invertebrates_in_water_that_held_copper_stand_broken() -> None:
    """Whenever they came."""
    here = replace(floor((CLAM, "B1", 10)), done=(done(FISH, "fish-copper-bath", "B2", NOW - days(400)),))
    here = replace(here, batches={**here.batches, FISH.id: FISH})
    assert listed(here) == [("copper-water", "B1")]


def test_findings_and_medicines_ask_of_entering_only() -> None:
    """Those who stand there are the ones who are ill."""
    here = replace(floor((FISH, "B1", 10)), found=(found(FISH, "white-spot", "B1", NOW - days(2)),))
    assert listed(replace(here, done=(done(FISH, "fish-chloroquine-bath", "B1", NOW - days(1)),))) == []


def test_stock_of_vats_and_groups_that_are_gone_does_not_stop_the_list() -> None:
    """An old farm opens."""
    odd = batch("H9", "no_such_group")
    here = floor((CLAM, "A1", 900), (CLAM, "GONE", 10), (odd, "A2", 3))
    assert listed(here) == [("bench-area", "A1")]


def test_every_rule_is_told_in_words_with_a_source() -> None:
    """Ids are unique, short and of one form; each rule judges some act."""
    names = [rule.id for rule in RULES]
    assert len(names) == len(set(names)) > 40
    for rule in RULES:
        assert rule.id == rule.id.lower().replace(" ", "-")
        assert rule.words[0].isupper()
        assert not rule.words.endswith(".")
        assert rule.source
        assert rule.acts
