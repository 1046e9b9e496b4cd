"""One opened farm and one transaction: farm file, library and ledger, at one moment."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from intake.app import system_clock
from intake.app.backups import open_books
from intake.errors import BadInput, Finding, Refused, StoreTrouble
from intake.farm.floor import Floor
from intake.farm.reading import read_site
from intake.farm.site import Site
from intake.ledger import Entry, Movement, Record, fold
from intake.ledger.conservation import CLOCK_SLACK
from intake.library import FILES as LIBRARY_FILES
from intake.library import Library, load
from intake.store import Books, Unit

__all__ = ["House", "on_time", "open_house"]


@dataclass(frozen=True, slots=True)
class House:
    """One farm folder, read and checked.

    Attributes
    ----------
    folder
        The farm's folder.
    site, library
        What ``farm.toml`` and ``library/`` say.
    books
        The ledger.
    who
        Person who answers for what is recorded now.
    now
        The present, read once for the whole command.
    """

    folder: Path
    site: Site
    library: Library
    books: Books
    who: str
    now: datetime
    _entries: list[tuple[Entry, ...]] = field(default_factory=list, repr=False)
    _floors: dict[datetime, Floor] = field(default_factory=dict, repr=False)

    @property
    def today(self) -> date:
        """The date at the farm."""
        return self.now.astimezone(self.site.farm.zone).date()

    def at(self, moment: datetime) -> House:
        """The same farm, with the clock at another moment."""
        return House(self.folder, self.site, self.library, self.books, self.who, moment)

    def entries(self) -> tuple[Entry, ...]:
        """All entries, read once until something is written."""
        if not self._entries:
            self._entries.append(self.books.entries())
        return self._entries[0]

    def floor(self, at: datetime | None = None) -> Floor:
        """Everything the books say is true at a moment (now), folded once until something is written."""
        moment = at or self.now
        if moment not in self._floors:
            self._floors[moment] = fold(self.entries(), moment)
        return self._floors[moment]

    def told_before(self, key: str) -> Entry | None:
        """The entry an act told before under this key began with; ``None`` for a new key or none."""
        return next((entry for entry in self.entries() if entry.key == key), None) if key else None

    @contextmanager
    def act(self, key: str = "") -> Iterator[Act]:
        """One command's worth of entries: all of them are written, or none."""
        with self.books.write() as unit:
            act = Act(self, unit, key or system_clock.fresh_key(), again=bool(key))
            yield act
        self._entries.clear()
        self._floors.clear()


class Act:
    """What one command writes: entries share the moment, the person and a key with a running number."""

    def __init__(self, house: House, unit: Unit, key: str, *, again: bool = False) -> None:
        self._house, self._unit, self._key, self._number = house, unit, key, 0
        self._again = again

    def _when(self, key: str, at: datetime | None) -> datetime:
        """The time given; else, for an act told again under its key, the time it was first told with; else now."""
        if at is None and self._again:
            at = self._unit.happened(key)
        return at or self._house.now

    def _next_key(self) -> str:
        self._number += 1
        return self._key if self._number == 1 else f"{self._key}.{self._number}"

    def move(  # a movement has these facts, all named at the call
        self,
        batch: str,
        source: str,
        target: str,
        count: int,
        *,
        at: datetime | None = None,
        note: str = "",
        corrects: str | None = None,
    ) -> str:
        """Move animals between two places; gives the entry's key."""
        key = self._next_key()
        house = self._house
        when = self._when(key, at)
        entry = Movement(batch, source, target, count, when, house.now, house.who, key, corrects, note)
        self._unit.move(entry)
        return key

    def note(
        self,
        kind: str,
        subject: str,
        payload: Mapping[str, object],
        *,
        at: datetime | None = None,
        corrects: str | None = None,
    ) -> str:
        """Write down a fact that moves no animal; gives the entry's key."""
        key = self._next_key()
        house = self._house
        when = self._when(key, at)
        self._unit.note(Record(kind, subject, dict(payload), when, house.now, house.who, key, corrects))
        return key

    def entries(self, kind: str | None = None, subject: str | None = None) -> tuple[Entry, ...]:
        """Entries inside this transaction, its own among them; of one kind and subject (a movement's batch) if named."""
        return self._unit.entries(kind, subject)


def open_house(folder: str | Path, *, who: str = "", now: datetime | None = None) -> House:
    """Read farm file and library, open the books.

    Raises
    ------
    BadInput
        No farm here, or a fault in its files; every fault is named.
    StoreTrouble
        The books cannot be opened.
    """
    here = Path(folder)
    site, library = _read(here)
    person = who or next(iter(site.people), "owner")
    if site.people:
        site.person(person)
    return House(here, site, library, open_books(here, site.farm), person, now or system_clock.now())


def on_time(house: House) -> None:
    """Refuse a clock that stands before the last entry: whatever it was asked, the farm would look as it did then.

    Raises
    ------
    Refused
        Naming both moments.
    """
    last = max((entry.recorded_at for entry in house.entries()), default=house.now)
    if house.now < last - CLOCK_SLACK:
        zone = house.site.farm.zone
        raise Refused(
            Finding(
                "clock of this computer",
                f"{house.now.astimezone(zone):%Y-%m-%d %H:%M}",
                f"a time after the last entry, {last.astimezone(zone):%Y-%m-%d %H:%M}",
                "Set this computer's clock and repeat.",
            )
        )


def _read(here: Path) -> tuple[Site, Library]:
    file = here / "farm.toml"
    if not file.is_file():
        raise BadInput(
            Finding(
                str(file), "", "a farm folder with farm.toml", "Run `vatside init DIR`, or name it with --farm DIR."
            )
        )
    overrides = {
        name: (here / "library" / name).read_bytes() for name in LIBRARY_FILES if (here / "library" / name).is_file()
    }
    try:
        return read_site(file.read_bytes(), str(file)), load(overrides)
    except OSError as error:
        raise StoreTrouble(Finding(str(error.filename), error.strerror or str(error), "a readable file")) from error
