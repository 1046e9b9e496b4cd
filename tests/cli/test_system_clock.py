"""Commands that read the real clock and call no solver, with that clock frozen: what they write down and what they refuse.

The clock is frozen in UTC and turned into the farm's zone by the tool (a frozen offset shifts aware times, too); modules are
imported before the freeze, since a model made while it lasts has no schema.
"""

from __future__ import annotations

import json
import pkgutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from freezegun import freeze_time

import intake
from intake.app import system_clock
from intake.app.session import open_house
from intake.cli.command_table import vatside
from intake.ledger.conservation import CLOCK_SLACK
from intake.store import Books
from tests.app.deliveries import LANDED

LAST = LANDED + timedelta(hours=1)
"""When the last entry of the stocked farm was written."""


@pytest.fixture(scope="module", autouse=True)
def _modules_first() -> None:
    for found in pkgutil.walk_packages(intake.__path__, "intake."):
        if not found.name.endswith("__main__"):
            import_module(found.name)


@pytest.fixture(autouse=True)
def _unwatched(stocked: Path) -> Iterator[None]:
    yield
    assert system_clock.now() - datetime.now(UTC) < timedelta(minutes=1), "the clock was left frozen"


def give(farm: Path, *words: str) -> Result:
    """One command at the frozen moment."""
    return CliRunner().invoke(vatside, ["--farm", str(farm), *words])


def test_an_entry_carries_the_moment_it_was_made(stocked: Path) -> None:
    """Recorded and happened are the clock's own moment, in UTC, to the microsecond."""
    moment = LAST + timedelta(hours=20, minutes=7, seconds=3, microseconds=5)
    with freeze_time(moment):
        done = give(stocked, "count", "S1-01", "--vat", "Q1", "--dead", "1")
    assert done.exit_code == 0, done.output
    with Books.open(stocked / "farm.db") as books:
        entry = books.entries()[-1]
    assert (entry.recorded_at, entry.happened_at) == (moment, moment)


@pytest.mark.parametrize(
    ("moment", "day"),
    [
        (datetime(2027, 3, 5, 0, 30, tzinfo=UTC), "2027-03-05"),  # Lisbon keeps UTC in winter
        (datetime(2027, 6, 30, 23, 30, tzinfo=UTC), "2027-07-01"),  # and is an hour ahead in summer
        (datetime(2027, 6, 30, 22, 59, tzinfo=UTC), "2027-06-30"),
    ],
)
def test_today_is_the_farms_day_not_utcs(stocked: Path, moment: datetime, day: str) -> None:
    """Half an hour before midnight UTC in summer it is tomorrow on the farm."""
    with freeze_time(moment):
        house = open_house(stocked)
    assert house.today.isoformat() == day
    house.books.close()


@pytest.mark.parametrize(
    ("back", "code"), [(timedelta(0), 0), (CLOCK_SLACK, 0), (CLOCK_SLACK + timedelta(seconds=1), 2)]
)
def test_a_clock_behind_the_books_is_refused_past_its_slack(stocked: Path, back: timedelta, code: int) -> None:
    """To the slack a clock may differ from another machine's; one second more warns who reads and refuses who writes."""
    with freeze_time(LAST - back):
        asked = give(stocked, "report", "vats")
        told = give(stocked, "reading", "quarantine", "temperature_c", "26")
    assert asked.exit_code == 0, "reading goes on, with a warning"
    assert ("this computer's clock" in asked.stderr) == bool(code)
    assert told.exit_code == code, told.output
    if code:
        assert "this computer's clock" in told.stderr
        with Books.open(stocked / "farm.db") as books:
            assert max(entry.recorded_at for entry in books.entries()) == LAST


@pytest.mark.parametrize("past", [False, True])
def test_a_claim_is_open_to_the_last_second_of_its_24_hours(stocked: Path, past: bool) -> None:
    """24 h from receipt are the supplier's terms: a second before they end it is open, a second after it is frozen."""
    with freeze_time(LAST + timedelta(minutes=5)):
        assert give(stocked, "count", "S1-01", "--vat", "Q1", "--doa", "6").exit_code == 0
    with freeze_time(LAST + timedelta(hours=24, seconds=1 if past else -1)):
        shown = json.loads(give(stocked, "claim", "--json").stdout)
    assert [one["frozen"] for one in shown] == [past]


def test_a_copy_is_named_by_the_moment_it_was_made(stocked: Path) -> None:
    """Copies made at two moments stand beside each other, and the name says when."""
    for hour in (6, 18):
        with freeze_time(datetime(2027, 3, 9, hour, 5, tzinfo=UTC)):
            assert give(stocked, "backup").exit_code == 0
    names = sorted(path.name for path in (stocked / "backups").iterdir())
    assert len(names) == 2
    assert all("2027" in name for name in names), names
