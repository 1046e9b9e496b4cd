"""What the chapters of the invented farm share: its folder, its days, who listens, and chance that repeats itself."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo

from intake.app.calendars import feed_publication
from intake.app.commands import announce_shipment
from intake.app.output_files import save
from intake.app.queries.planning import packing_list
from intake.app.session import House, open_house

__all__ = ["PLAN_SECONDS", "QUICK_SECONDS", "TABLE_SECONDS", "Story", "Tell", "chance", "dated", "demo_file", "of"]

PLAN_SECONDS = 4.0
TABLE_SECONDS = 4.0
QUICK_SECONDS = 1.0

_ANSWERS = {"lagoon": {"columns": "proposed"}, "atoll": {"columns": "proposed"}}
"""What the invented owner answers; further answers are taken from the choices the tool offers first."""

Tell = Callable[[str], None]


@dataclass
class Story:
    """The folder, the days and who listens.

    Attributes
    ----------
    lands
        When the first delivery really lands.
    now, days
        The last moment of the story, and how many days it lies after the landing.
    """

    folder: Path
    lands: datetime
    now: datetime
    days: int
    tell: Tell
    working: Tell
    files: list[Path] = field(default_factory=list)
    told_once: set[str] = field(default_factory=set)
    store: str = ""
    """Where the ledger is kept, if not in the folder: ``postgresql://…``."""
    _house: House | None = None

    @property
    def out(self) -> Path:
        """Where paper, calendars and charts go."""
        return self.folder / "out"

    def at(self, moment: datetime) -> House:
        """The farm at a moment of the story; its files are read once."""
        if self._house is None:
            self._house = open_house(self.folder, now=moment)
        return self._house.at(moment)

    def read_again(self) -> None:
        """Read the farm's files again after one of them was changed."""
        if self._house is not None:
            self._house.books.close()
        self._house = None

    def take_list(self, house: House, supplier: str, lands: datetime) -> None:
        """Read a packing list of the invented suppliers, answering what is asked, and enter it."""
        zone = ZoneInfo(house.site.supplier(supplier).time_zone)
        packed = (lands - timedelta(hours=31)).astimezone(zone)
        text = dated(demo_file(f"{supplier}.csv").decode(), lands.date(), f"{packed:%Y-%m-%d %H:%M}")
        path = save(self.folder / "inbox" / f"{supplier}.csv", text.encode(), own=True)
        answers = dict(_ANSWERS[supplier])
        found = packing_list.expect(house, path, supplier, lands, answers=answers)
        asked = 0
        while found.questions and asked < 20:
            question = found.questions[0]
            answers[question.key] = question.choices[0] if question.choices else ""
            self.tell(f"  asked: {question.what} → {answers[question.key]}")
            found = packing_list.expect(house, path, supplier, lands, answers=answers)
            asked += 1
        batches = announce_shipment.enter(house, found, lands, answers=answers)
        self.files.append(path)
        self.tell(
            f"Packing list {path.name}: {found.totals.animals} animals in {len(batches)} lines, "
            f"{len(found.totals.boxes)} boxes, lands {lands:%a %d %b %H:%M} as {found.shipment}."
        )

    def publish(self, moment: datetime) -> str:
        """Publish the calendars and write the farm's; gives in words what a subscriber sees of it."""
        path = self.out / "farm.ics"
        before = _events_of(path)
        self.files.append(feed_publication.write(self.at(moment), "farm", path))
        after = _events_of(path)
        # compared as files: every act publishes its own changes, so that little is left to publish here
        changed, same = len(after - before), len(before & after)
        events = "1 event" if changed == 1 else f"{changed} events"
        return f"Calendar: {events} new or changed, {same} of {len(before)} untouched."


def _events_of(path: Path) -> set[bytes]:
    """The events of a calendar file as written; none when there is no file yet."""
    if not path.exists():
        return set()
    return set(path.read_bytes().partition(b"END:VCALENDAR")[0].split(b"BEGIN:VEVENT")[1:])


def demo_file(name: str) -> bytes:
    """A file of the invented farm: beside the package in a wheel, in the demo folder of a checkout."""
    shipped = resources.files("intake").joinpath("_demo_files", name)
    if shipped.is_file():
        return shipped.read_bytes()
    return (Path(__file__).parents[2] / "demo" / name).read_bytes()


def dated(text: str, day: date, packed: str) -> str:
    """A file of the invented farm with its placeholders filled in: days counted from one, and a packing time."""
    text = re.sub(r"@day([+-]\d+)@", lambda found: str(day + timedelta(days=int(found[1]))), text)
    return text.replace("@packed@", packed)


def chance(*parts: object) -> float:
    """A number between 0 and 1 that is the same for the same words: invented losses that do not change between runs."""
    digest = hashlib.sha256("/".join(map(str, parts)).encode()).digest()
    return int.from_bytes(digest[:6], "big") / 2**48


def of(count: int, share: float, *parts: object) -> int:
    """A share of a count as a whole number, rounded by chance."""
    expected = count * share
    return int(expected) + (1 if chance(*parts) < expected - int(expected) else 0)
