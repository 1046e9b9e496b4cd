"""Dates in one order per column, sizes with their unit, box numbers and ranges."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tests.packing.books import keys, understood, xlsx_of

JAKARTA = ZoneInfo("Asia/Jakarta")


def packed(*texts: str) -> str:
    """A list with these packing times."""
    lines = "".join(f"Tridacna maxima;{n};10;{text}\n" for n, text in enumerate(texts, start=3))
    return f"Species;Size (cm);Qty;Packed\n{lines}"


def test_a_date_that_reads_both_ways_is_asked_not_guessed() -> None:
    """03/04/2026 is 3 April or 4 March; the landing date sorts the choices and decides nothing."""
    asked = understood(packed("03/04/2026 14:30"))
    assert keys(asked) == ["dates"]
    assert asked.questions[0].choices == ("dmy", "mdy")
    assert not asked.ready
    told = understood(packed("03/04/2026 14:30"), {"dates": "dmy"})
    assert told.lines[0].packed_at == datetime(2026, 4, 3, 14, 30, tzinfo=JAKARTA)


def test_one_value_above_twelve_settles_the_whole_column() -> None:
    """30/03 has one reading, so 03/04 in the same column has one too."""
    shipment = understood(packed("30/03/2026", "03/04/2026"))
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert [line.packed_at.day for line in shipment.lines if line.packed_at] == [30, 3]


def test_a_column_in_two_orders_is_refused() -> None:
    """One bad row must not be read the other way round in silence: 13/04 among month-first dates is a fault."""
    shipment = understood(packed("03/31/2026", "04/01/2026", "13/04/2026"))
    assert [problem.where for problem in shipment.problems] == ["D2 and D4, packed"]


@pytest.mark.parametrize("text", ["2026-04-03 14:30", "3 Apr 2026 14:30", "April 3, 2026 2:30 pm", "3-APR-2026 14.30"])
def test_dates_that_read_one_way_only_are_not_asked(text: str) -> None:
    """ISO and month names leave no doubt."""
    shipment = understood(packed(text))
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert shipment.lines[0].packed_at == datetime(2026, 4, 3, 14, 30, tzinfo=JAKARTA)


@pytest.mark.parametrize("text", ["2026-04-06 14:30", "2026-02-03", "31/02/2026", "soon"])
def test_a_packing_time_that_cannot_be_is_refused(text: str) -> None:
    """After landing, weeks before it, no such day, no date at all."""
    assert len(understood(packed(text)).problems) == 1


def test_real_dates_mixed_with_text_dates_are_asked_about() -> None:
    """A spreadsheet set to another country exchanges day and month of the dates it can, and leaves the rest as text."""
    rows: list[list[Any]] = [
        ["Species", "Size (cm)", "Qty", "Packed"],
        ["Tridacna maxima", 4, 10, datetime(2026, 3, 4)],  # noqa: DTZ001
        ["Tridacna gigas", 4, 10, "31/03/2026"],
    ]
    data = xlsx_of(rows)
    assert keys(understood(data)) == ["typed-dates"]
    exchanged = understood(data, {"typed-dates": "exchanged"})
    assert exchanged.ready, exchanged.problems
    assert exchanged.lines[0].packed_at == datetime(2026, 4, 3, tzinfo=JAKARTA)


def sized(size: str, heading: str = "Size", answers: dict[str, str] | None = None) -> tuple[float, float, list[str]]:
    """Both ends of a size in mm and the questions asked."""
    shipment = understood(f"Species;{heading};Qty\nTridacna maxima;{size};10\n", answers)
    return shipment.lines[0].size_min_mm, shipment.lines[0].size_max_mm, keys(shipment)


@pytest.mark.parametrize(
    ("size", "heading", "ends"),
    [
        ("4-5 cm", "Size", (40, 50)),
        ("4 - 5", "Size (cm)", (40, 50)),
        ("4,5", "Size (cm)", (45, 45)),
        ('1.5"-2"', "Size", (38.1, 50.8)),
        ('1 1/2"', "Size", (38.1, 38.1)),
        ("2.5 in", "Size (cm)", (63.5, 63.5)),
        ("45", "Size mm", (45, 45)),
        ("2 to 3", "Size (inch)", (50.8, 76.2)),
    ],
)
def test_sizes_carry_their_unit_from_cell_or_heading(size: str, heading: str, ends: tuple[float, float]) -> None:
    """The cell's own unit wins over the heading's; both ends are kept."""
    low, high, asked = sized(size, heading)
    assert (low, high) == pytest.approx(ends)
    assert asked == []


def test_a_size_without_a_unit_is_asked_once_and_remembered() -> None:
    """45 may be mm or, for a giant, cm: the floor space differs a hundredfold."""
    assert sized("45") == (0.0, 0.0, ["size-unit"])
    assert sized("45", answers={"size-unit": "mm"}) == (45.0, 45.0, [])


def test_units_mixed_in_one_column_are_read_cell_by_cell() -> None:
    """Cells with a unit keep theirs; the bare ones are asked, not given their neighbour's."""
    text = "Species;Size;Qty\nTridacna maxima;4 cm;1\nTridacna gigas;2 in;1\nHippopus hippopus;5;1\n"
    shipment = understood(text)
    assert [line.size_max_mm for line in shipment.lines] == [40.0, 50.8, 0.0]
    assert keys(shipment) == ["size-unit"]


def test_millimetres_under_a_heading_in_centimetres_are_confirmed() -> None:
    """'45-50' under 'Size (cm)' would make a boring clam half a metre long, and its floor space a hundredfold."""
    assert sized("45-50", "Size (cm)")[2] == ["odd-sizes"]
    assert sized("45-50", "Size (cm)", {"odd-sizes": "as-read"}) == (450.0, 500.0, [])
    assert sized("45-50", "Size (cm)", {"odd-sizes": "in-mm"}) == (45.0, 50.0, [])
    assert sized("35 cm")[2] == []


def test_a_size_class_in_letters_is_asked_once_per_class() -> None:
    """What a supplier calls M is theirs to say."""
    text = "Species;Size;Qty\nTridacna maxima;M;1\nTridacna gigas;M;1\nHippopus hippopus;L;1\n"
    assert keys(understood(text)) == ["size:m", "size:l"]
    shipment = understood(text, {"size:m": "4-5 cm", "size:l": "8-10 cm"})
    assert [line.size_max_mm for line in shipment.lines] == [50.0, 50.0, 100.0]
    assert understood(text, {"size:m": "biggish", "size:l": "9 cm"}).problems


def test_a_size_in_the_name_is_used_when_there_is_no_size_column() -> None:
    """'Tridacna maxima 4-5 cm' says it all; a line without any size is asked."""
    shipment = understood("Species;Qty\nTridacna maxima 4-5 cm;10\nTridacna gigas;5\n")
    assert (shipment.lines[0].name, shipment.lines[0].size_max_mm) == ("Tridacna maxima", 50.0)
    assert keys(shipment) == ["size:tridacna-gigas"]


def test_a_size_the_spreadsheet_turned_into_a_date_is_refused() -> None:
    """'4-5' typed into a spreadsheet becomes the fourth of May."""
    rows: list[list[Any]] = [["Species", "Size (cm)", "Qty"], ["Tridacna maxima", datetime(2026, 5, 4), 10]]  # noqa: DTZ001
    problem = understood(xlsx_of(rows)).problems[0]
    assert problem.where == "row 2, B2, size"
    assert "date" in problem.expected


@pytest.mark.parametrize("size", ["0 cm", "-4 cm", "5-4 cm", ">10 cm", "10 km", "2 m"])
def test_a_size_that_is_none_is_not_taken(size: str) -> None:
    """Zero, backwards, open-ended, absurd: asked or refused, the line has no size."""
    shipment = understood(f"Species;Size;Qty\nTridacna maxima;{size};10\n")
    assert not shipment.ready
    assert shipment.lines[0].size_max_mm == 0.0


@pytest.mark.parametrize(
    ("cell", "boxes"),
    [
        ("3", ("3",)),
        ("1-3", ("1", "2", "3")),
        ("4, 5", ("4", "5")),
        ("A1-A3", ("A1", "A2", "A3")),
        ("1-2;7", ("1", "2", "7")),
        ("Box 4", ("4",)),
        ("08-10", ("08", "09", "10")),
        ("2 & 3", ("2", "3")),
    ],
)
def test_box_numbers_and_ranges(cell: str, boxes: tuple[str, ...]) -> None:
    """Every box of a range is named, since it is opened by its number."""
    text = f"Box|Species|Size (cm)|Qty\n{cell}|Tridacna maxima|4|10\n"
    assert understood(text).lines[0].boxes == boxes


@pytest.mark.parametrize("cell", ["3-1", "1-9999"])
def test_a_box_range_that_cannot_be_is_refused(cell: str) -> None:
    """Backwards, or longer than any shipment."""
    assert (
        understood(f"Box,Species,Size (cm),Qty\n{cell},Tridacna maxima,4,10\n").problems[0].where == "row 2, A2, boxes"
    )


def test_how_many_boxes_is_not_which_box() -> None:
    """A column 'No. of boxes' is left alone."""
    shipment = understood("Species,Size (cm),Qty,No. of boxes\nTridacna maxima,4,10,2\n")
    assert shipment.ready
    assert shipment.lines[0].boxes == ()
