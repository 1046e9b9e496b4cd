"""Readings outside their limits are alarms at once, and a water nobody read is reported; a logger's file is read whole."""

from __future__ import annotations

import csv
import io
from datetime import timedelta

import pytest

from intake.app.act_recording import RulesBroken
from intake.app.commands import record_observation
from intake.app.commands.records.read_logger import import_readings
from intake.app.queries.biosecurity.reading_alarms import reading_alarms
from intake.errors import BadInput
from tests.app.deliveries import LANDED, Open, received

LATER = LANDED + timedelta(hours=3)


@pytest.mark.parametrize(("value", "alarm"), [(26.4, False), (28.5, False), (28.6, True), (31.0, True)])
def test_a_warm_vat_is_an_alarm_at_once(house_at: Open, value: float, alarm: bool) -> None:
    """28.5 °C is the corals' limit; the reading is recorded either way."""
    received(house_at)
    told = record_observation.reading(house_at(LATER), "Q1", "temperature_c", value)
    assert [one.id for one in told.rules] == (["reading-alarm"] if alarm else [])
    assert [(one.place, one.value) for one in reading_alarms(house_at(LATER))] == ([("Q1", value)] if alarm else [])


def test_the_alarm_ends_with_a_reading_between_the_limits(house_at: Open) -> None:
    """And not before."""
    received(house_at)
    record_observation.reading(house_at(LATER), "Q1", "temperature_c", 29.0)
    record_observation.reading(house_at(LATER + timedelta(hours=1)), "Q1", "temperature_c", 27.0)
    assert reading_alarms(house_at(LATER + timedelta(hours=2))) == ()


def test_a_water_nobody_has_read_for_a_day_is_told(house_at: Open) -> None:
    """Only on a farm that reads at all, and only where animals stand."""
    received(house_at)
    assert reading_alarms(house_at(LATER + timedelta(days=3))) == ()
    record_observation.reading(house_at(LATER), "quarantine", "temperature_c", 26.4)
    assert reading_alarms(house_at(LATER + timedelta(hours=23))) == ()
    (missing,) = reading_alarms(house_at(LATER + timedelta(hours=25)))
    assert (missing.place, missing.value) == ("quarantine", None)
    assert "no temperature was read" in missing.words


def table(rows: list[tuple[str, ...]], sign: str = ",") -> bytes:
    """A CSV file."""
    text = io.StringIO()
    csv.writer(text, delimiter=sign).writerows(rows)
    return text.getvalue().encode()


def minutes(number: int, warm: str = "26.4") -> list[tuple[str, ...]]:
    """A reading a minute up to now."""
    start = LATER - timedelta(minutes=number)
    return [((start + timedelta(minutes=step)).isoformat(), warm) for step in range(number)]


def test_a_hundred_thousand_rows_are_read_and_none_twice(house_at: Open) -> None:
    """Kept by day: the ledger grows by days, not by rows; the same file again adds nothing."""
    received(house_at)
    data = table([("Time", "Temp (°C)"), *minutes(100_000)])
    before = house_at(LATER).view.count()
    told = import_readings(house_at(LATER), data, "probe.csv", "Q1")
    assert (told.rows, told.fresh) == (100_000, 100_000)
    assert house_at(LATER).view.count() - before <= 72
    again = import_readings(house_at(LATER), data, "probe.csv", "Q1")
    assert (again.rows, again.fresh) == (100_000, 0)
    more = table([("Time", "Temp (°C)"), *minutes(10), (LATER.isoformat(), "26.5")])
    assert import_readings(house_at(LATER), more, "probe.csv", "Q1").fresh == 1


def test_another_value_for_a_moment_on_record_is_told_and_not_saved(house_at: Open) -> None:
    """A second probe on the same vat, or a file in the wrong place: what was read first stands, and nobody is left to guess."""
    received(house_at)
    import_readings(house_at(LATER), table([("time", "Temperature"), *minutes(5)]), "probe.csv", "Q1")
    told = import_readings(house_at(LATER), table([("time", "Temperature"), *minutes(3, "27.1")]), "other.csv", "Q1")
    assert told.fresh == 0
    (words,) = (one for one in told.recorded.said if "another value" in one)
    assert words.startswith(
        "Q1: 3 of temperature_c are another value than on record at the same moment, first 27.1 against 26.4"
    )
    again = import_readings(house_at(LATER), table([("time", "Temperature"), *minutes(5)]), "probe.csv", "Q1")
    assert not any("another value" in one for one in again.recorded.said)


def test_fahrenheit_in_the_heading_is_read_as_such_and_elsewhere_named(house_at: Open) -> None:
    """79.5 under °F is 26.4 °C; without a unit it is refused, with the unit it looks like; nothing is saved."""
    received(house_at)
    import_readings(house_at(LATER), table([("time", "Temperature °F"), *minutes(3, "79.5")]), "p.csv", "Q1")
    read = [one.value for one in house_at(LATER).floor().readings if one.place == "vat:Q1"]
    assert read == pytest.approx([26.389] * len(read), abs=0.01)
    before = house_at(LATER).view.count()
    with pytest.raises(RulesBroken, match="looks like °F"):
        import_readings(house_at(LATER), table([("time", "Temperature"), *minutes(3, "79.5")]), "p.csv", "Q2")
    assert house_at(LATER).view.count() == before


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([("Time", "Temp")], "no rows"),
        ([("a", "b"), ("2027-03-04T10:00", "26")], "heading for time"),
        ([("Time", "b"), ("2027-03-04T10:00", "26")], "heading for a quantity"),
        ([("Time", "Temp"), ("yesterday", "26")], "row 2"),
        ([("Time", "Temp"), ("2027-03-04T10:00", "warm")], "row 2"),
        ([("Time", "Temp"), ("2027-03-04T10:00", "nan")], "row 2"),
        ([("Time", "Temp"), ("03/04/2027 10:00", "26")], "--dates"),
        ([("Time", "Temp"), ("2099-03-04T10:00", "26")], "not after now"),
        ([("Time", "Salinity PSU"), ("2027-03-04T10:00", "900")], "0 to 60"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_its_row(
    house_at: Open, rows: list[tuple[str, ...]], says: str
) -> None:
    """Dates that may be read two ways are asked about, never guessed; nothing is saved."""
    received(house_at)
    before = house_at(LATER).view.count()
    with pytest.raises(BadInput) as caught:
        import_readings(house_at(LATER), table(rows), "probe.csv", "Q1")
    assert says in str(caught.value)
    assert house_at(LATER).view.count() == before


def test_columns_and_decimal_commas_can_be_told(house_at: Open) -> None:
    """A semicolon file with commas, its headings named by hand."""
    received(house_at)
    data = table([("Wann", "Fühler 1"), ("04.03.2027 09:00", "26,4"), ("04.03.2027 09:10", "26,6")], ";")
    told = import_readings(
        house_at(LATER), data, "p.csv", "quarantine", columns={"time": "Wann", "temperature_c": "Fühler 1"}, dates="dmy"
    )
    assert told.fresh == 2
