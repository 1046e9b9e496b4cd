"""One opened farm and one transaction: farm file, library and ledger, at one moment."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

from intake.app import system_clock
from intake.app.input_files import read_file
from intake.errors import BadInput, Finding, Refused, StoreTrouble
from intake.farm.floor import Batch, Floor, Reading
from intake.farm.reading import read_site
from intake.farm.site import Farm, Site
from intake.language import ENGLISH, Language, language_of
from intake.ledger import Entry, Record, readings
from intake.library import FILES as LIBRARY_FILES
from intake.library import Library, load
from intake.store import Books, DatabaseFault, Reach, Unit, View, Writing

__all__ = [
    "COPIES",
    "NAME_OF_COPY",
    "Act",
    "DatabaseFault",
    "House",
    "Reach",
    "as_of_last_entry",
    "followed_by",
    "on_time",
    "open_books",
    "open_house",
]

_LARGEST_FARM_FILE: Final = 2_000_000
"""Bytes of the largest farm.toml read: a hundred vats with comments take a hundredth."""


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
    language
        Of whoever reads what is made now: the farm's, unless :meth:`speaking` says another.
    """

    folder: Path
    site: Site
    library: Library
    books: Books
    who: str
    now: datetime
    refuses: Finding | None = None
    """Why nothing may be recorded: the clock stands before the last entry, or far behind it and nobody confirmed the day."""
    language: Language = ENGLISH
    confirmed: str = ""
    """The day somebody confirmed as today, ``2027-11-30``, where the last entry is of long ago."""
    _views: list[View] = field(default_factory=list, repr=False)
    _floors: dict[datetime, Floor] = field(default_factory=dict, repr=False)
    _waiting: list[set[tuple[str, str]]] = field(default_factory=list, repr=False)

    @property
    def today(self) -> date:
        """The date at the farm."""
        return self.now.astimezone(self.site.farm.zone).date()

    def at(self, moment: datetime) -> House:
        """The same farm, with the clock at another moment."""
        return replace(self, now=moment, _views=[], _floors={})

    def speaking(self, code: str) -> House:
        """The same farm at the same moment, for a reader of another language."""
        return self if self.language.code == code else replace(self, language=language_of(code))

    @property
    def view(self) -> View:
        """The ledger at one moment of reading, the same for every question until something is written here."""
        if not self._views:
            self._views.append(self.books.view())
        return self._views[0]

    def entries(self) -> tuple[Entry, ...]:
        """All entries: only for the check, reports, exports and copies, since the cost grows with the farm's age."""
        return self.view.entries()

    def floor(self, at: datetime | None = None) -> Floor:
        """What the ledger says is true now, or was at another moment.

        Now: everything alive, and what happened in the last :data:`~intake.ledger.present.LATELY`; every batch is
        found in ``floor.batches`` by its id, but going through all of them reads every batch there ever was.  At
        a moment of the last month: the same, counted back from then.  Longer ago: everything, folded from all entries.
        """
        moment = at or self.now
        if moment not in self._floors:
            self._floors[moment] = self.view.floor(moment)
        return self._floors[moment]

    def floor_of(self, *batches: str) -> Floor:
        """What the ledger says now of these batches only: reads their entries and no others."""
        return self._floors.get(self.now) or self.view.floor_of(batches, self.now)

    def latest(self, kind: str) -> dict[str, Record]:
        """Subject → its last standing record of one kind, in the order the subjects were first recorded."""
        return self.view.latest(kind)

    def latest_from(self, kind: str, topic: str, subjects: Iterable[str] = ()) -> dict[str, Record]:
        """As :meth:`latest`, of these subjects and of those recorded with this topic or a later one."""
        return self.view.latest_from(kind, topic, subjects)

    def last(self, kind: str, subject: str) -> Record | None:
        """The last standing record of one kind and subject: cheaper than :meth:`latest` where there are many."""
        return self.view.last(kind, subject)

    def standing(
        self, kind: str, subject: str | None = None, *, since: datetime | None = None, loose: bool = False
    ) -> tuple[Record, ...]:
        """Records of one kind neither replaced nor withdrawn, in the order they happened.

        Parameters
        ----------
        since
            Only what happened from this moment on.
        loose
            Only what belongs to no batch.
        """
        return self.view.standing(kind, subject, since, loose=loose)

    def stream(self, *batches: str) -> tuple[Entry, ...]:
        """Every movement and record of these batches, in the order it was recorded."""
        return self.view.stream(batches)

    def shipment_stream(self, shipment: str) -> tuple[Entry, ...]:
        """Everything of a shipment and its batches, in the order it was recorded."""
        return self.view.shipment_stream(shipment)

    def about(self, kind: str, *topics: str) -> tuple[Record, ...]:
        """Records of one kind with these topics (:class:`~intake.ledger.streams.Stream`), replaced ones too, as recorded."""
        return self.view.about(kind, topics)

    def readings_of(self, *places: str) -> tuple[Record, ...]:
        """Standing readings of these places, of any age, in the order they happened."""
        return self.view.readings_of(places)

    def measured(self, *places: str, since: datetime | None = None) -> tuple[Reading, ...]:
        """Readings of these places of any age, or of all places since a moment, in the order they were measured."""
        return readings(self.view.readings_of(places) if places else self.standing("reading", since=since))

    def moved(self) -> tuple[Entry, ...]:
        """All movements ever, without the records: for reports over every batch that was here."""
        return self.view.moved()

    def lately(self, days: int = 0) -> tuple[Entry, ...]:
        """Everything of the batches that are alive or of which something was recorded in the last days (90 or more)."""
        return self.view.lately(self.now, timedelta(days=days))

    def lines_of(self, shipment: str) -> tuple[Batch, ...]:
        """Batches of one shipment, in the order they were first recorded."""
        return self.view.lines_of(shipment)

    def alive(self) -> dict[tuple[str, str], int]:
        """(batch, place) → animals alive now in the vats and on the dock."""
        return self.view.alive(self.now)

    def act_of(self, key: str) -> tuple[Entry, ...]:
        """Entries an act wrote with its key; none for a key never used."""
        return self.view.act(key)

    def corrections(self, keys: Iterable[str]) -> tuple[Entry, ...]:
        """Entries that correct those of these keys."""
        return self.view.corrections(keys)

    def told_before(self, key: str) -> Entry | None:
        """The entry an act recorded before with this key began with; ``None`` for a new key or none."""
        return next((entry for entry in self.view.act(key) if entry.key == key), None) if key else None

    @contextmanager
    def act(self, key: str = "") -> Iterator[Act]:
        """One command's worth of entries: all of them are written, or none.

        Raises
        ------
        Refused
            The clock stands before the last entry, or far after it and no one confirmed the day.
        """
        if self.refuses is not None:
            raise Refused(self.refuses)
        leap = system_clock.leap(self.now, self.view.last_recorded(), self.site.farm.zone, self.confirmed)
        if leap is not None:
            raise Refused(leap)
        followers = [] if self._waiting else [load() for load in _FOLLOWERS]  # loaded before others wait for the lock
        with self.books.write() as unit:
            act = Act(self, unit, key or system_clock.fresh_key(), again=bool(key))
            yield act
            if self._waiting:
                self._waiting[-1].update((kind, one) for kind in act.written for one in act.subjects[kind])
            elif act.written:
                for follow in followers:
                    follow(act)
        self.books.learn(act.seen)
        self._views.clear()
        self._floors.clear()

    @contextmanager
    def together(self) -> Iterator[None]:
        """Several acts after which timetable and calendars are brought up to the ledger once: for bulk work only."""
        self._waiting.append(set())
        try:
            yield
        finally:
            waited = self._waiting.pop()
            if waited:
                self._views.clear()
                last = self.view.last_recorded() or self.now  # an act among them may have been of a later moment
                with self.at(max(last, self.now)).act() as act:
                    for kind, subject in waited:
                        act.written.add(kind)
                        act.subjects[kind].add(subject)
                self._views.clear()
                self._floors.clear()


_FOLLOWERS: list[Callable[[], Callable[[Act], None]]] = []


def followed_by(load: Callable[[], Callable[[Act], None]]) -> None:
    """Have every act followed, inside its transaction, by what must agree with the ledger: timetable and calendars.

    Parameters
    ----------
    load
        Gives the function that follows an act; called before the first act takes the writers' lock.
    """
    _FOLLOWERS.append(load)


class Act(Writing):
    """What one command writes, and what it sees while it does."""

    def __init__(self, house: House, unit: Unit, key: str, *, again: bool = False) -> None:
        super().__init__(house, unit, key, again=again)
        self._house: House = house
        self.seen: View | None = None

    def inside(self) -> House:
        """The farm as this transaction sees it, its own entries among them."""
        self.seen = (self.seen or self._house.view).within(self._unit.ask, self._unit.entries)
        return replace(self._house, _views=[self.seen], _floors={}, _waiting=[])

    @property
    def alone(self) -> bool:
        """Whether no one has written since this farm was read; what this act itself wrote counts too."""
        return self._unit.ask.reach() == self._house.view.reach

    def unchanged(self, kind: str, subject: str | None = None, *, what: str, since: Reach | None = None) -> None:
        """Refuse if someone recorded something of this kind since this command read the ledger.

        Parameters
        ----------
        subject
            Only of this subject; of any when ``None``.
        what
            What was read and would be overruled, for the message: ``"the accepted plan"``.
        since
            How far the ledger had been read then; as this command's session reads it when ``None``.

        Raises
        ------
        Refused
            Naming who recorded what, and when.
        """
        newer = self._unit.ask.of_kind(kind, subject, after=since or self._house.view.reach)
        others = [record for record in newer if not record.key.startswith(self._key)]
        if others:
            zone = self._house.site.farm.zone
            last = others[-1]
            told = f"{last.who} changed it at {last.recorded_at.astimezone(zone):%Y-%m-%d %H:%M} ({last.subject})"
            do = "Look at it again, then repeat if it is still right. Nothing was saved."
            raise Refused(Finding(what, told, "as it was when this command read it", do))


COPIES: Final = "backups"
"""Folder of the copies, in the farm's own."""

NAME_OF_COPY: Final = re.compile(r"^books-(\d{8}T\d{6}Z)\.db$")
"""Name of a copy of the ledger, with the moment it was made."""


def open_books(folder: Path, farm: Farm) -> Books:
    """Open the ledger a farm file names: ``farm.db`` in the folder, or this site's part of a server.

    Raises
    ------
    StoreTrouble
        They cannot be opened; they are gone though copies exist; or they hold only other sites' entries.
    """
    if farm.store:
        return Books.open(farm.store, create=False, site=farm.site, aside=folder / COPIES)
    file = folder / "farm.db"
    fresh = not file.exists()
    if (fresh or file.stat().st_size == 0) and _evidence(folder):
        do = "Put the last backup in its place: vatside restore --last --replace."
        raise StoreTrouble(Finding("books", str(file), "the ledger, of which there are traces in this folder", do))
    books = Books.open(file, create=fresh, site=farm.site)
    with suppress(OSError):  # another's file, or a disk that may only be read
        if file.stat().st_mode & 0o077:
            file.chmod(0o600)
    return books


def _evidence(folder: Path) -> bool:
    """Whether there were books here: copies, photos, claims as sent, lists read, calendars, or a log without database."""
    log = folder / "farm.db-wal"
    kept = (folder / name for name in (COPIES, "photos", "claims", "inbox", "out/feeds"))
    return (log.is_file() and log.stat().st_size > 0) or any(one.is_dir() and any(one.iterdir()) for one in kept)


def open_house(
    folder: str | Path, *, who: str = "", now: datetime | None = None, confirmed: str = "", books: Path | None = None
) -> House:
    """Read farm file and library, open the ledger.

    Parameters
    ----------
    confirmed
        The day someone confirmed as today, for the first entry after a long silence.
    books
        File of another ledger than the farm file names: a copy that is made ready to be put back.

    Raises
    ------
    BadInput
        No farm here, or a fault in its files; every fault is named.
    StoreTrouble
        The ledger cannot be opened.
    """
    here = Path(folder)
    site, library = _read(here)
    person = who or next(iter(site.people), "owner")
    if site.people:
        site.person(person)
    opened = open_books(here, site.farm) if books is None else Books.open(books, create=False, site=site.farm.site)
    return House(here, site, library, opened, person, now or system_clock.now(), confirmed=confirmed,
                 language=language_of(site.farm.language))  # fmt: skip


def as_of_last_entry(house: House) -> House:
    """The farm as its last entry left it, refusing to record, where the clock stands before that entry; else as it is."""
    try:
        on_time(house)
    except Refused as error:
        return replace(house.at(house.view.last_recorded() or house.now), refuses=error.findings[0])
    return house


def on_time(house: House) -> None:
    """Refuse a clock that stands before the last entry: whatever it was asked, the farm would look as it did then.

    Raises
    ------
    Refused
        Naming both moments.
    """
    found = system_clock.behind(house.now, house.view.last_recorded(), house.site.farm.zone)
    if found is not None:
        raise Refused(found)


def _read(here: Path) -> tuple[Site, Library]:
    file = here / "farm.toml"
    if not file.is_file():
        raise BadInput(
            Finding(
                str(file), "", "a farm folder with farm.toml", "Run `vatside init DIR`, or name it with --farm DIR."
            )
        )
    overrides = {
        name: read_file(here / "library" / name, "a table of the library")
        for name in LIBRARY_FILES
        if (here / "library" / name).exists()
    }
    try:
        return read_site(read_file(file, "a farm file", largest=_LARGEST_FARM_FILE), str(file)), load(overrides)
    except OSError as error:
        raise StoreTrouble(Finding(str(error.filename), error.strerror or str(error), "a readable file")) from error
