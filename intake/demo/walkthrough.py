"""The invented farm walked through its whole path, with the clock turned by hand: lists, plan, work, losses, claim."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from pathlib import Path

from intake.app import system_clock
from intake.demo import before_landing, landing_day, second_shipment, six_weeks
from intake.demo.story import Story, Tell, demo_file
from intake.errors import BadInput, Finding, Refused
from intake.farm.reading import read_site

__all__ = ["walk"]

_LANDS = time(8, 40)

_CHAPTERS = (
    before_landing.settle,
    before_landing.plan,
    before_landing.prepare,
    before_landing.slip,
    landing_day.receive,
    six_weeks.record,
    second_shipment.report,
    second_shipment.second,
)


def walk(
    folder: Path, *, days: int = 46, tell: Tell, working: Tell, now: datetime | None = None, store: str = ""
) -> Path:
    """Create a sample farm and run six weeks on it.

    Parameters
    ----------
    folder
        A folder that does not exist yet, or is empty.
    days
        Days recorded since the first delivery landed, 1 to 60: a landing that slipped, a claim settled by day 12, a pest
        found on day 10, the first lots free after six weeks.
    store
        Address of a PostgreSQL database for the ledger; a file in the folder when empty.
    tell, working
        Take a line of the story, and what is being worked on.

    Raises
    ------
    Refused
        The folder holds something.
    BadInput
        ``days`` out of range.
    """
    if not 1 <= days <= 60:
        raise BadInput(Finding("--days", str(days), "1 to 60"))
    if folder.exists() and any(folder.iterdir()):
        raise Refused(Finding(str(folder), "not empty", "a new or empty folder", "Name another: vatside demo DIR"))
    present = now or system_clock.now()
    zone = read_site(demo_file("farm.toml")).farm.zone
    first = datetime.combine(present.astimezone(zone).date() - timedelta(days=days), _LANDS, zone)
    story = Story(folder, first, present, days, tell, working, store=store)
    try:
        for chapter in _CHAPTERS:
            chapter(story)
    finally:
        story.read_again()  # lets go of the ledger
    return folder
