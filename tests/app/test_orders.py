"""Dips ordered for one batch: what needs a prescriber is refused without one, and nothing has a default dose."""

from collections.abc import Callable

import pytest

from intake.app.commands import order_treatment
from intake.app.commands.order_treatment import Order
from intake.app.commands.take_stock import take_stock
from intake.app.queries.planning import timetable_needs
from intake.app.session import House
from intake.errors import BadInput, Refused, UnknownName

Open = Callable[..., House]
STOCK = b"vat,name,group,size_mm,count,since,stage\nQ1,Acropora,stony_branching_acropora,60,12,2027-03-01,quarantine\n"


def test_a_prescription_bath_needs_prescriber_reference_agent_and_strength(house_at: Open) -> None:
    """The library ships no dose and the tool invents none."""
    house = house_at()
    take_stock(house, STOCK, "stock.csv")
    with pytest.raises(Refused, match="--prescriber, --reference, --agent, --strength"):
        order_treatment.order(house, "H1", "coral-flatworm-bath", Order("flatworms seen"))
    assert not [need for need in timetable_needs.needs(house) if need.dip == "coral-flatworm-bath"]


def test_an_ordered_bath_is_placed_in_the_prescribers_words(house_at: Open) -> None:
    """Agent, strength and minutes are printed as prescribed."""
    house = house_at()
    take_stock(house, STOCK, "stock.csv")
    told = Order("flatworms seen", "invented vet", "RX-1", "agent as ordered", "as ordered", 60.0, "the prescription")
    order_treatment.order(house, "H1", "coral-flatworm-bath", told)
    placed = [need for need in timetable_needs.needs(house) if need.dip == "coral-flatworm-bath"]
    assert placed
    assert {(need.agent, need.strength, need.contact_min, need.unsourced) for need in placed} == {
        ("agent as ordered", "as ordered (as prescribed: invented vet, RX-1)", 60.0, False)
    }


def test_an_order_needs_a_reason_and_a_known_dip(house_at: Open) -> None:
    """What is off by default was off for a reason; switching it on needs another."""
    house = house_at()
    take_stock(house, STOCK, "stock.csv")
    with pytest.raises(BadInput, match="reason"):
        order_treatment.order(house, "H1", "coral-egg-scrape", Order("  "))
    with pytest.raises(UnknownName):
        order_treatment.order(house, "H1", "moonlight", Order("why not"))
