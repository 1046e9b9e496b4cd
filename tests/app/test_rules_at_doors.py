"""Every recording act before the rules: what breaks one is refused by its name, says what is needed, and writes nothing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from intake.app.act_recording import RulesBroken
from intake.app.commands import (
    announce_shipment,
    count_animals,
    maintain_vats,
    move_animals,
    order_treatment,
    receive_shipment,
    record_observation,
    take_stock,
)
from intake.app.commands.count_animals import Count
from intake.app.commands.order_treatment import Order
from intake.app.queries.biosecurity.standing_breaches import reasons_given
from intake.app.session import House
from intake.errors import BadInput
from tests.app.deliveries import LANDED, Open, announced, received

LATER = LANDED + timedelta(hours=3)
STOCK = b"vat,name,group,size_mm,count,since,stage\nG1,Tridacna derasa,clam_medium,80,900,2026-01-01,grow-out\n"

ACTS: dict[str, tuple[set[str], Callable[[House], object]]] = {
    "move a lot out of quarantine": ({"not-free"}, lambda house: move_animals.move(house, "S1-01", "Q1", "sold", 5)),
    "count half of a lot dead": (
        {"count-many"},
        lambda house: count_animals.count(house, "S1-01", "Q1", Count(dead=25)),
    ),
    "cut a clam": ({"cut-kind"}, lambda house: move_animals.cut(house, "S1-01", 4, "Q1")),
    "clean a vat with animals": ({"clean-occupied"}, lambda house: maintain_vats.clean(house, "Q1")),
    "a finding where nobody stood": (
        {"finding-elsewhere"},
        lambda house: record_observation.finding(house, "S1-01", "perkinsus", vat="G1"),
    ),
    "a reading in Fahrenheit": (
        {"reading-unit"},
        lambda house: record_observation.reading(house, "Q1", "temperature_c", 79.5),
    ),
    "a reading far off": (
        {"reading-far"},
        lambda house: record_observation.reading(house, "Q1", "temperature_c", 36.6),
    ),
    "copper for clams": (
        {"copper"},
        lambda house: order_treatment.order(
            house, "S1-01", "fish-copper-bath", Order("spots", "vet", "RX", "copper", "as told", None, "RX")
        ),
    ),
    "free text that is copper": (
        {"copper", "prescription"},
        lambda house: order_treatment.order(house, "S1-02", "coral-iodine-dip", Order("spots", strength="Cu 0.2")),
    ),
    "a prescription without its dose": (
        {"prescription"},
        lambda house: order_treatment.order(house, "S1-02", "coral-flatworm-bath", Order("flatworms")),
    ),
    "a bath too long": (
        {"contact-time"},
        lambda house: order_treatment.order(house, "S1-02", "coral-iodine-dip", Order("wounds", minutes=60.0)),
    ),
    "more than came": (
        {"above-line"},
        lambda house: receive_shipment.came_extra(house, "S1-01", "Q1", 30),
    ),
    "rebook more than the line": (
        {"above-line"},
        lambda house: receive_shipment.rebook_wrong(house, "S1-01", "Q1", 41, name="Tridacna squamosa"),
    ),
}
BREAKS_MORE = {"free text that is copper": "copper"}


@pytest.mark.parametrize("name", ACTS)
def test_an_act_is_refused_by_its_rule_and_nothing_is_written(house_at: Open, name: str) -> None:
    """With where, need, have and a source for each."""
    received(house_at)
    house = house_at(LATER)
    rules, act = ACTS[name]
    before = house.view.count()
    with pytest.raises(RulesBroken) as caught:
        act(house)
    told = {str(rule["id"]) for rule in caught.value.rules}
    assert told == rules or (name in BREAKS_MORE and BREAKS_MORE[name] in told)
    for rule in caught.value.rules:
        assert all(rule[key] for key in ("id", "severity", "what", "where", "need", "have", "source"))
    assert house_at(LATER).view.count() == before


def test_a_receipt_into_a_closed_vat_places_nobody_and_offers_the_plan(house_at: Open) -> None:
    """Every placement that broke is named; opened again the receipt goes through."""
    announced(house_at())
    maintain_vats.close_vat(house_at(LANDED), "Q1", "crack in the glass")
    before = house_at(LATER).view.count()
    with pytest.raises(RulesBroken, match="vatside plan") as caught:
        receive_shipment.receive(house_at(LATER), "S1")
    assert [rule["where"] for rule in caught.value.rules] == ["Q1"]
    assert house_at(LATER).view.count() == before
    maintain_vats.open_vat(house_at(LATER), "Q1")
    receive_shipment.receive(house_at(LATER), "S1")
    assert house_at(LATER).floor().in_vat("Q1")


def test_an_order_does_not_land_in_the_past(house_at: Open) -> None:
    """It is received instead."""
    announced(house_at())
    house = house_at(LANDED - timedelta(hours=1))
    before = house.view.count()
    with pytest.raises(RulesBroken, match="vatside receive"):
        announce_shipment.amend(house, "S1", lands=LANDED - timedelta(days=1))
    assert house_at(LANDED).view.count() == before


def test_a_reason_is_kept_shown_and_counted(house_at: Open) -> None:
    """Two words are refused; three are kept with the entry, and the report lists them by rule."""
    received(house_at)
    before = house_at(LATER).view.count()
    with pytest.raises(BadInput, match="three words"):
        move_animals.move(house_at(LATER), "S1-01", "Q1", "sold", 5, despite="vet agrees")
    assert house_at(LATER).view.count() == before
    told = move_animals.move(house_at(LATER), "S1-01", "Q1", "sold", 5, despite="returned to the sender")
    assert any("In spite of" in line for line in told.said)
    (row,) = reasons_given(house_at(LATER))
    assert (row["about"], row["rule"], row["reason"]) == ("S1-01", "not-free", "returned to the sender")


def test_an_overfull_stocktake_needs_a_reason_and_then_stands_in_the_check(house_at: Open) -> None:
    """An old farm opens; what stands broken is listed and blocks nothing."""
    from intake.app.queries.biosecurity.standing_breaches import standing_breaches

    house = house_at()
    with pytest.raises(RulesBroken, match="bench-area"):
        take_stock.take_stock(house, STOCK, "stock.csv")
    take_stock.take_stock(house_at(), STOCK, "stock.csv", despite="they stand there already")
    assert "bench-area" in {one.id for one in standing_breaches(house_at())}
    count_animals.count(house_at(), "H1", "G1", Count(dead=1))


def test_a_receipt_with_counts_is_not_undone(house_at: Open) -> None:
    """What stands on it is listed."""
    received(house_at)
    key = house_at(LATER).standing("received")[0].key
    count_animals.count(house_at(LATER), "S1-01", "Q1", Count(dead=1))
    before = house_at(LATER).view.count()
    with pytest.raises(RulesBroken, match="later entries stand on it"):
        count_animals.undo(house_at(LATER), key, whole=True)
    assert house_at(LATER).view.count() == before
