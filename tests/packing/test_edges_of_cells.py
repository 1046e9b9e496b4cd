"""Edges of single cells and rows: zones, measures, rows summed up, money within a cent, times on the way."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from intake.packing.asking import Inquiry
from intake.packing.columns import Column, ColumnMap, Header
from intake.packing.counts import count_in, measure_of
from intake.packing.figures import boxes_of, moment_of
from intake.packing.grid import Cell, Sheet
from intake.packing.legends import legend_of
from intake.packing.list_zones import parted_zone, zone_of_heading
from intake.packing.moments import packed_at
from intake.packing.number_words import in_figures
from intake.packing.row_words import bare
from intake.packing.rows import amount_agrees, at, sorted_rows
from tests.packing.books import understood

JAKARTA = ZoneInfo("Asia/Jakarta")
LANDS = datetime(2026, 4, 5, 10, 0, tzinfo=UTC)


def cell(value: Any) -> Cell:
    """One cell with its text."""
    return Cell(2, 1, str(value), value)


@pytest.mark.parametrize(
    ("text", "rest", "zone"),
    [
        ("2026-04-03 14:30 WIB", "2026-04-03 14:30", JAKARTA),
        ("2026-04-03 14:30 (wit)", "2026-04-03 14:30", ZoneInfo("Asia/Jayapura")),
        ("2026-04-03 14:30 Z", "2026-04-03 14:30", UTC),
        ("2026-04-03 14:30 GMT", "2026-04-03 14:30", UTC),
        ("2026-04-03 14:30 GMT+8", "2026-04-03 14:30", timezone(timedelta(hours=8))),
        ("2026-04-03 14:30 UTC-03:30", "2026-04-03 14:30", timezone(-timedelta(hours=3, minutes=30))),
        ("2026-04-03 14:30 +0545", "2026-04-03 14:30", timezone(timedelta(hours=5, minutes=45))),
        ("2026-04-03 14:30 +14:00", "2026-04-03 14:30", timezone(timedelta(hours=14))),
        ("2026-04-03 14:30 +14:01", "2026-04-03 14:30 +14:01", None),
        ("2026-04-03 14:30", "2026-04-03 14:30", None),
        ("2026-04-03 +8", "2026-04-03 +8", None),
    ],
)
def test_a_zone_behind_a_time_of_day_is_parted_from_it(text: str, rest: str, zone: object) -> None:
    """Up to 14 hours from Greenwich, as the clocks of the world go; without a time of day nothing is a zone."""
    left, found = parted_zone(cell(text))
    assert left.text == rest
    assert found == zone


@pytest.mark.parametrize(
    ("heading", "hours"),
    [("Packed (WIB)", 7), ("Packed GMT+8", 8), ("Packed UTC", 0), ("Packed JST", 9), ("Packed", 7)],
)
def test_the_zone_of_a_column_is_that_of_its_heading_else_the_suppliers(heading: str, hours: int) -> None:
    """The supplier's is Jakarta's here."""
    inquiry = Inquiry({})
    zone = zone_of_heading(heading, "Asia/Jakarta", inquiry)
    assert datetime(2026, 4, 3, tzinfo=zone).utcoffset() == timedelta(hours=hours)
    assert not inquiry.open
    assert bool(inquiry.evidence) is (heading != "Packed")


def test_a_zone_no_one_knows_is_asked_and_the_answer_taken() -> None:
    """EST is two places' time; UTC where that is answered, else the supplier's."""
    asked = Inquiry({})
    assert zone_of_heading("Packed XST", "Asia/Jakarta", asked) == JAKARTA
    assert list(asked.open) == ["zone"]
    assert zone_of_heading("Packed XST", "Asia/Jakarta", Inquiry({"zone": "UTC"})) == UTC
    assert zone_of_heading("Packed XST", "Asia/Jakarta", Inquiry({"zone": "supplier-time"})) == JAKARTA


@pytest.mark.parametrize(
    ("text", "animals"),
    [
        ("10 x 5", 50),
        ("10×5 pcs", 50),
        ("10 x 5 doz", None),
        ("2 doz", 24),
        ("1 pr", 2),
        ("pr 3", 6),
        ("7 trio", 21),
        ("12", 12),
    ],
)
def test_a_count_is_units_times_the_animals_in_one(text: str, animals: int | None) -> None:
    """Pairs, dozens and products; what is written behind a product may only be pieces."""
    found = count_in(cell(text), ".")
    assert (None if found is None else found.animals) == animals


def test_a_cell_of_forty_signs_may_be_a_count_and_one_more_is_a_remark() -> None:
    """Nobody writes a count in so many letters."""
    assert count_in(cell("2 " + "x" * 38), ".") is not None
    assert count_in(cell("2 " + "x" * 39), ".") is None
    assert (measure_of("Dozen"), measure_of("(pcs.)"), measure_of("gaggle")) == (12, 1, 0)


@pytest.mark.parametrize(("amount", "fits"), [("540.61", True), ("540.62", False), ("539.39", True), ("539.38", False)])
def test_an_amount_may_miss_by_half_a_cent_an_animal_and_a_cent(amount: str, fits: bool) -> None:
    """120 at 4.50 are 540: a price shown to the cent may hide half a cent each."""
    assert amount_agrees(Decimal(120), Decimal("4.50"), Decimal(amount)) is fits


COLUMNS = ColumnMap(
    fingerprint="x",
    columns=tuple(
        Column(field=field, column=number)
        for number, field in enumerate(("name", "count", "unit_price", "amount", "measure"), start=1)
    ),
)
HEADER = Header(
    1, 1, ("Species", "Qty", "Price", "Amount", "Unit"), ("name", "count", "unit_price", "amount", "measure")
)


def listed(*rows: tuple[object, ...]) -> Sheet:
    """A list of species, count, price, amount and unit."""
    return Sheet("List", (("Species", "Qty", "Price", "Amount", "Unit"), *rows))


def test_each_field_is_read_from_its_own_column() -> None:
    """A price is no count, and a dozen beside a count makes twelve of it."""
    sheet = listed(("Tridacna maxima", Decimal(3), Decimal("4.5"), Decimal("162"), "doz"))
    found = [at(sheet, 2, COLUMNS, name, ".") for name in ("count", "unit_price", "amount", "boxes")]
    assert found == [36, Decimal("4.5"), 162, None]


@pytest.mark.parametrize(
    ("figure", "kinds"),
    [
        (30, ["line", "line", "sum"]),
        (29, ["line", "line", "line"]),
        (0, ["line", "line", "line"]),
    ],
)
def test_a_nameless_figure_is_a_sum_where_it_is_one(figure: int, kinds: list[str]) -> None:
    """Ten and twenty above: thirty is their sum, anything else a line that lacks its name."""
    rows = [("Tridacna maxima", Decimal(10)), ("Tridacna crocea", Decimal(20)), (None, Decimal(figure))]
    assert [row.kind for row in sorted_rows(listed(*rows), HEADER, COLUMNS, ".")] == kinds


def test_nothing_is_no_sum_after_a_sum() -> None:
    """Since the last sum nothing was listed: a nameless nought is no sum of it; nor is one line a sum of itself."""
    rows = [("Tridacna maxima", Decimal(10)), ("Tridacna crocea", Decimal(20)), (None, Decimal(30)), (None, Decimal(0))]
    assert [row.kind for row in sorted_rows(listed(*rows), HEADER, COLUMNS, ".")][2:] == ["sum", "line"]
    alone = [("Tridacna maxima", Decimal(10)), (None, Decimal(10))]
    assert [row.kind for row in sorted_rows(listed(*alone), HEADER, COLUMNS, ".")] == ["line", "line"]


@pytest.mark.parametrize(
    ("text", "fine"),
    [
        ("2026-03-26 17:00", True),
        ("2026-03-26 16:59", False),
        ("2026-04-05 17:00", True),
        ("2026-04-05 17:01", False),
        ("2026-04-05", True),
        ("2026-04-06", True),
        ("2026-04-07", False),
    ],
)
def test_a_bag_was_closed_in_the_ten_days_before_it_landed(text: str, fine: bool) -> None:
    """Landed at 17:00 in Jakarta: that minute and ten days before it count; a day without a time may be the next one's start."""
    inquiry = Inquiry({})
    found = packed_at(cell(text), "ymd", JAKARTA, LANDS, inquiry)
    assert (found is not None) is fine
    assert bool(inquiry.problems) is not fine


@pytest.mark.parametrize(("day", "swapped"), [(4, (4, 3)), (12, (12, 3)), (13, (3, 13))])
def test_day_and_month_are_exchanged_where_both_can_be_months(day: int, swapped: tuple[int, int]) -> None:
    """A real date of the 12th may be December's third; the 13th has no month of its own."""
    written = datetime(2026, 3, day, 9)  # noqa: DTZ001  # as a spreadsheet keeps it
    lands = datetime(2026, *swapped, 20, tzinfo=JAKARTA)
    found = packed_at(cell(written), "dmy", JAKARTA, lands, Inquiry({}), exchanged=True)
    assert found is not None
    assert (found.month, found.day) == swapped


@pytest.mark.parametrize(
    ("serial", "day"),
    [
        (Decimal("46115.5"), (2026, 4, 3, 12)),
        (Decimal(36526), (2000, 1, 1, 0)),
        (Decimal(36525), None),
        (Decimal(73051), None),
    ],
)
def test_days_since_1899_are_dates_of_this_century(serial: Decimal, day: tuple[int, ...] | None) -> None:
    """A spreadsheet keeps 3 April 2026, noon, as 46115.5 (Excel's own serial number)."""
    found = moment_of(cell(serial), "dmy")
    assert (None if found is None else (found.year, found.month, found.day, found.hour)) == day


@pytest.mark.parametrize(
    ("text", "boxes"),
    [
        ("1-3", ("1", "2", "3")),
        ("A1-A3", ("A1", "A2", "A3")),
        ("007-009", ("007", "008", "009")),
        ("4, 5 and 4", ("4", "5")),
        ("A1-B3", ("A1-B3",)),
        ("Box 3", ("3",)),
        ("1-500", tuple(str(number) for number in range(1, 501))),
    ],
)
def test_ranges_of_boxes_are_written_out(text: str, boxes: tuple[str, ...]) -> None:
    """Both ends included, five hundred at most, zeros in front kept, each box once."""
    assert boxes_of(cell(text)) == boxes


@pytest.mark.parametrize("text", ["3-1", "1-501"])
def test_a_range_backwards_or_longer_than_any_shipment_is_refused(text: str) -> None:
    """Such a cell is a slip."""
    with pytest.raises(Exception, match="the smaller first"):
        boxes_of(cell(text))


def test_a_legend_is_believed_where_it_does_not_contradict_itself() -> None:
    """S is 2 to 4 cm, L 6 to 8; M stands with two meanings and is left out."""
    rows = ("S = 2-4 cm, M = 4-6 cm", "L: 6-8 cm", "M = 5-6 cm")
    sheet = Sheet("Notes", tuple((text,) for text in rows))
    assert legend_of([(sheet, (1, 2, 3))]) == {"s": (20.0, 40.0), "l": (60.0, 80.0)}
    alone = Sheet("Notes", (("S 2-4 cm",), ("S 2-4 cm M 4-6 cm",)))
    assert legend_of([(alone, (1,))]) == {}
    assert legend_of([(alone, (2,))]) == {"s": (20.0, 40.0), "m": (40.0, 60.0)}


@pytest.mark.parametrize(("last", "stated"), [("", None), ("Grand total,,41\n", 41)])
def test_a_subtotal_is_not_what_the_list_states_in_all(last: str, stated: int | None) -> None:
    """Two sections with their sums: nothing is stated of the whole until a grand total is."""
    text = (
        "Species,Size (cm),Qty\nTridacna maxima,4,10\nTridacna crocea,4,20\nSubtotal,,30\n"
        "Acropora tenuis,4,5\nZoanthus,4,6\nSubtotal,,11\n"
    )
    told = understood(text + last)
    assert (told.totals.animals, told.totals.stated) == (41, stated)


@pytest.mark.parametrize(
    "tens",
    [
        "venti trenta quaranta cinquanta sessanta settanta ottanta novanta",
        "vinte trinta quarenta cinquenta sessenta setenta oitenta noventa",
        "twenty thirty forty fifty sixty seventy eighty ninety",
        "zwanzig dreißig vierzig fünfzig sechzig siebzig achtzig neunzig",
    ],
)
def test_tens_in_words_are_tens(tens: str) -> None:
    """Italian, Portuguese, English and German, from twenty to ninety, as any grammar lists them."""
    found = [in_figures(bare(f"total {word} pieces")) for word in tens.split()]
    assert [[int(part) for part in one.split() if part.isdigit()] for one in found] == [[n] for n in range(20, 100, 10)]
