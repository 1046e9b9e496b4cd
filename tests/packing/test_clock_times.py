"""Clock times in packing lists: noon and midnight of the twelve-hour clock, and hours that do not exist."""

from __future__ import annotations

from datetime import datetime

import pytest

from intake.packing.figures import DateOrder, moment_of
from intake.packing.grid import Cell
from intake.packing.plaintext import delimiter_of
from tests.packing.books import understood
from tests.packing.test_dates_sizes_boxes import JAKARTA, packed


@pytest.mark.parametrize(
    ("text", "hour", "minute"),
    [
        ("12:00 AM", 0, 0),
        ("12:30 am", 0, 30),
        ("1:05 AM", 1, 5),
        ("11:59 AM", 11, 59),
        ("12:00 PM", 12, 0),
        ("12:30 pm", 12, 30),
        ("1:05 PM", 13, 5),
        ("11:59 PM", 23, 59),
        ("00:30", 0, 30),
        ("12:30", 12, 30),
        ("23:59", 23, 59),
    ],
)
@pytest.mark.parametrize("day", ["2026-04-03", "3 Apr 2026", "April 3, 2026"])
def test_noon_is_pm_and_midnight_is_am(text: str, hour: int, minute: int, day: str) -> None:
    """12 AM is the first hour of the day and 12 PM its thirteenth: twelve hours of bag time lie between the two."""
    shipment = understood(packed(f"{day} {text}"))
    assert shipment.ready, shipment.problems
    assert shipment.lines[0].packed_at == datetime(2026, 4, 3, hour, minute, tzinfo=JAKARTA)


@pytest.mark.parametrize("text", ["0:30 AM", "13:00 PM", "24:00", "12:60 PM", "0:15 pm"])
def test_an_hour_that_no_clock_shows_is_refused(text: str) -> None:
    """The twelve-hour clock runs from 1 to 12, the other from 0 to 23; anything else is a fault of the list."""
    shipment = understood(packed(f"2026-04-03 {text}"))
    assert not shipment.ready
    assert shipment.problems


@pytest.mark.parametrize(("year", "fine"), [("1999", False), ("2000", True), ("2099", True), ("2100", False)])
def test_years_of_another_century_are_no_dates(year: str, fine: bool) -> None:
    """A list of 2199 is a slip of the hand."""
    assert (moment_of(Cell(1, 1, f"{year}-04-03 10:00", f"{year}-04-03 10:00"), "ymd") is not None) == fine


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("3/4/2026", "dmy", (2026, 4, 3)),
        ("3/4/26", "dmy", (2026, 4, 3)),
        ("13/4/2026", "mdy", None),
        ("2026-4-3", "ymd", (2026, 4, 3)),
        ("26-04-03", "ymd", None),
        ("003/04/2026", "dmy", None),
        ("03/004/2026", "dmy", None),
        ("03/04/126", "dmy", None),
    ],
)
def test_days_and_years_have_their_own_lengths(text: str, order: DateOrder, day: tuple[int, int, int] | None) -> None:
    """One or two figures for a day or a month, two or four for a year, four where the year comes first."""
    read = moment_of(Cell(1, 1, text, text), order)
    assert (None if read is None else (read.year, read.month, read.day)) == day


def test_a_first_line_that_names_the_delimiter_settles_it() -> None:
    """Spreadsheets write ``sep=;`` above the table: the character after the sign is taken, whatever the rows suggest."""
    assert delimiter_of("sep=;\na,b;c\n")[0] == ";"
    assert delimiter_of("SEP=|\na,b|c\n")[0] == "|"


def test_a_heading_repeated_on_each_page_is_no_line() -> None:
    """Printed lists repeat their heading; a lone word that is also a heading repeats nothing."""
    heading = "Species;Size (cm);Qty\n"
    shipment = understood(f"{heading}Tridacna maxima;3;10\n{heading}Tridacna gigas;4;5\n")
    assert shipment.ready, shipment.problems
    assert [(line.name, line.count) for line in shipment.lines] == [("Tridacna maxima", 10), ("Tridacna gigas", 5)]
