"""Headers of two lines: the second may name what the first spans, or only give the units."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from intake.farm.site import Supplier
from intake.library import load
from intake.library.names import load_names
from intake.packing import Understanding, read, understand
from intake.packing.fields import field_of

SUPPLIER = Supplier(id="one", currency="EUR", time_zone="Indian/Maldives", claim_window_h=8)
LANDS = datetime(2027, 3, 14, 9, tzinfo=UTC)


def understood(text: str) -> Understanding:
    """An invented list as it is understood without any answer."""
    grid = read(text.encode(), "list.csv")
    return understand(
        grid, supplier=SUPPLIER, library=load(), names=load_names(), lands=LANDS, shipment_id="S1", answers={}
    )


def test_a_second_line_that_only_tells_the_units_belongs_to_the_header() -> None:
    """'mm' below 'Size' is no animal; it says in what the sizes are given, so the sizes need not be asked for."""
    found = understood("Box;Species;Size;Pieces\nNo.;scientific or trade;mm;\nA;Sarcophyton sp.;60-80;18\n;TOTAL;;18\n")
    assert found.ready
    assert [(line.name, line.size_max_mm, line.count) for line in found.lines] == [("Sarcophyton sp.", 80.0, 18)]


@pytest.mark.parametrize("below", ["A;Sarcophyton sp.;60-80;18", "A;Sinularia sp.;;12"])
def test_a_line_with_a_figure_is_never_taken_for_the_header(below: str) -> None:
    """An animal lost to the header would never be received."""
    found = understood(f"Box;Species;Size mm;Pieces\n{below}\nB;Zoanthus sp.;30-40;30\n")
    assert [line.count for line in found.lines] == [int(below.rsplit(";", 1)[1]), 30]


@pytest.mark.parametrize("label", ["EUR/pc", "USD each", "$/ea", "€ / Stück", "US$ per pc", "GBP/piece"])
def test_money_a_piece_is_a_price_and_no_number_of_animals(label: str) -> None:
    """A price column taken for the count would claim for 9 animals at 40 dollars instead of 40 at 9."""
    assert field_of(label) == "unit_price"


def test_a_price_a_piece_beside_the_count_leaves_no_doubt() -> None:
    """Two headings that name pieces, one of them in money: nothing is asked."""
    found = understood("Box;Species;Size;pcs;EUR/pc\n1;Tridacna maxima;3 cm;40;9,50\n")
    assert found.ready
    assert [(line.count, line.unit_price) for line in found.lines] == [(40, Decimal("9.50"))]
