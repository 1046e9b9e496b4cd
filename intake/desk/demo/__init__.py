"""The invented farm walked through its whole path, with the clock turned by hand: lists, plan, work, losses, claim."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from pathlib import Path

from intake.desk import clock
from intake.desk.demo import after, before, landing, weeks
from intake.desk.demo.story import Story, Tell, demo_file
from intake.errors import BadInput, Finding, Refused
from intake.farm.reading import read_site

__all__ = ["walk"]

_LANDS = time(8, 40)

_CHAPTERS = (
    before.settle,
    before.plan,
    before.prepare,
    before.slip,
    landing.receive,
    weeks.record,
    after.report,
    after.second,
)


def walk(folder: Path, *, days: int = 46, tell: Tell, working: Tell, now: datetime | None = None) -> Path:
    """Write the invented farm and walk the whole path on it.

    Parameters
    ----------
    folder
        A folder that does not exist yet, or is empty.
    days
        Days recorded since the first delivery landed, 1 to 60: a landing that slipped, a claim settled by day 12, a pest
        found on day 10, the first lots free after six weeks.
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
    present = now or clock.now()
    zone = read_site(demo_file("farm.toml")).farm.zone
    first = datetime.combine(present.astimezone(zone).date() - timedelta(days=days), _LANDS, zone)
    story = Story(folder, first, present, days, tell, working)
    for chapter in _CHAPTERS:
        chapter(story)
    return folder
