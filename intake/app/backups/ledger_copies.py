"""Where a farm's ledger is, their copies on disk, and moving them: backup, restore and transfer."""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from intake.app.session import COPIES as FOLDER
from intake.app.session import NAME_OF_COPY as _NAME
from intake.app.session import open_books
from intake.errors import BadInput, Finding, StoreTrouble
from intake.farm.reading import read_site
from intake.farm.site import Farm
from intake.ledger import Entry, balances
from intake.ledger.entries import is_vat
from intake.store import Books, expendable, restore, transfer, verify

__all__ = ["Copy", "Made", "Restored", "back_up", "clear_leftovers", "copies", "delete", "loose", "move_to", "put_back"]

_SITE: Final = re.compile(r"^([A-Za-z0-9][A-Za-z0-9_.-]{0,39})?$")  # as in farm.toml
_STAMP: Final = "%Y%m%dT%H%M%SZ"


@dataclass(frozen=True, slots=True)
class Copy:
    """A copy of the ledger on disk.

    Attributes
    ----------
    file
        The copy.
    made_at
        When it was made, by its name, in UTC.
    entries, alive
        Entries in it, and animals alive in vats and on the dock by them; 0 when it is not sound.
    last
        When its last entry was recorded; ``None`` when it has none.
    trouble
        What is wrong with it; empty when it is sound.
    """

    file: Path
    made_at: datetime
    entries: int
    alive: int
    last: datetime | None
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Made:
    """A backup just made: the copy, the older copies deleted, and what was noticed."""

    copy: Copy
    deleted: tuple[Path, ...]
    warnings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back, where, where the ledger that stood there is kept (``None``: none did), and what was said of it."""

    copy: Copy
    where: str
    kept: Path | None
    said: tuple[str, ...] = ()


def back_up(folder: Path, now: datetime, *, out: Path | None = None, rotate: bool = False) -> Made:
    """Copy the ledger to one file while others write, read it again and check that every animal is in it.

    Parameters
    ----------
    folder
        The farm's folder.
    now
        The present, for the copy's name.
    out
        File to write; a name with the time in ``backups/`` of the folder when left out.
    rotate
        Delete copies in ``backups/`` that are no longer needed: the newest of each of the last 24 hours, 14 days and
        8 weeks with copies stay.  Nothing is deleted when the ledger lacks entries that the copy before has.

    Raises
    ------
    BadInput
        ``rotate`` with a file elsewhere.
    StoreTrouble
        The ledger cannot be read or are not sound, or the copy cannot be written; older copies stay.
    """
    if out is not None and rotate:
        raise BadInput(Finding("--rotate", str(out), "copies in the farm's own folder", "Omit --out."))
    farm = _farm(folder)
    clear_leftovers(folder)
    before = _last_sound(folder)
    target = out or _made(folder / FOLDER) / f"books-{now.astimezone(UTC).strftime(_STAMP)}.db"
    with open_books(folder, farm) as books:
        books.backup(target)
    entries = verify(target)
    lost = () if before is None else (*_lost(before[0], before[1], entries), *_retold(before[0].file, target))
    deleted, stuck = _thin_out(folder, target) if rotate and not lost else ((), ())
    return Made(_told(target, now, entries), deleted, (*lost, *stuck))


def clear_leftovers(folder: Path) -> None:
    """Remove what a copy that was cut off left behind; one that is being made now is younger than a day."""
    yesterday = datetime.now(UTC).timestamp() - 86_400
    for file in (folder / FOLDER).glob("*") if (folder / FOLDER).is_dir() else ():
        if file.name.endswith(".part") and file.is_file() and file.stat().st_mtime < yesterday:
            file.unlink(missing_ok=True)
        elif file.name.startswith(".packing-") and file.is_dir() and file.stat().st_mtime < yesterday:
            shutil.rmtree(file, ignore_errors=True)


def _thin_out(folder: Path, newest: Path) -> tuple[tuple[Path, ...], tuple[Finding, ...]]:
    """Delete copies no one needs; one that is not the past of the newest may be the last that agrees with a printed head."""
    old = _named(folder / FOLDER)
    gone = [old[moment] for moment in sorted(expendable(old)) if old[moment] != newest]
    return delete(file for file in gone if not _retold(file, newest))


def delete(files: Iterable[Path]) -> tuple[tuple[Path, ...], tuple[Finding, ...]]:
    """Delete copies no one needs; gives those deleted, and those that could not be."""
    deleted: list[Path] = []
    stuck: list[Finding] = []
    for file in files:
        try:
            file.unlink()
        except OSError as error:
            stuck.append(Finding(str(file), error.strerror or str(error), "a copy that may be deleted", "Delete it."))
        else:
            deleted.append(file)
    return tuple(deleted), tuple(stuck)


def _lost(before: Copy, had: tuple[Entry, ...], entries: tuple[Entry, ...]) -> tuple[Finding, ...]:
    """Entries of the copy before that are gone: the ledger only ever grow."""
    gone = {(type(e), e.key) for e in had} - {(type(e), e.key) for e in entries}
    if not gone:
        return ()
    do = f"Compare with {before.file.name}; restore it if no one put back older books on purpose. No copy was deleted."
    return (Finding("books", f"{len(gone)} entries fewer", f"all {len(had)} entries of the copy before", do),)


def _retold(before: Path, target: Path) -> tuple[Finding, ...]:
    """Whether the new copy goes on from the head of the one before: if not, the last that agrees with a printed head stays."""
    with tempfile.TemporaryDirectory() as beside:
        older, newer = Path(beside) / "older.db", Path(beside) / "newer.db"
        restore(before, older)
        restore(target, newer)
        with Books.open(older) as then, Books.open(newer) as now:
            if then.sites() != now.sites() or len(now.sites()) > 1:
                return ()  # copies of a shared store are compared entry by entry alone
        site = next(iter(_sites(older)), "")
        with Books.open(older, site=site) as then, Books.open(newer, site=site) as now:
            return tuple(now.differs_from(then.head()))


def _sites(file: Path) -> tuple[str, ...]:
    with Books.open(file) as books:
        return books.sites()


def copies(folder: Path) -> tuple[Copy, ...]:
    """Copies in ``backups/``, the newest first, each read and checked."""
    return tuple(_checked(file, made_at)[0] for made_at, file in sorted(_named(folder / FOLDER).items(), reverse=True))


def put_back(
    folder: Path,
    file: Path | None,
    *,
    replace: bool = False,
    ready: Callable[[Path, Path], tuple[str, ...]] | None = None,
) -> Restored:
    """Put a copy in the place of the ledger; what is there is kept beside as ``….before-restore``.

    Everything that may be refused is done to a passing copy first: the ledger is replaced as the last step, or not at all.

    Parameters
    ----------
    folder
        The farm's folder.
    file
        The copy; ``None`` for the newest sound one in ``backups/``.
    replace
        Whether books that are there, sound or damaged, are moved aside.
    ready
        Writes into the passing copy what must not be forgotten, given the farm's folder and the copy; says what it did.

    Raises
    ------
    Refused
        ``ready`` could not write.
    StoreTrouble
        No sound copy; it is of another site; books are there; another program has them open; or the farm's store is a
        server where this site has entries, which nothing deletes.
    """
    farm = _farm(folder)
    if file is None:
        found = _last_sound(folder)
        if found is None:
            do = "Name a copy from elsewhere: vatside restore FILE."
            raise StoreTrouble(Finding(str(folder / FOLDER), "no intact backup", "at least one", do))
        file = found[0].file
    copy, _ = _checked(file, datetime.fromtimestamp(file.stat().st_mtime, UTC) if file.is_file() else None)
    if copy.trouble:
        raise StoreTrouble(Finding(str(file), copy.trouble, "a sound copy", "Use another copy; nothing was changed."))
    with loose(file, farm.site) as passing:
        said = () if ready is None else ready(folder, passing)
        if farm.store:
            where = move_to(folder, farm.store, source=str(passing))["where"]
            return Restored(copy, str(where), None, said)
        kept = restore(passing, folder / "farm.db", replace=replace)
    return Restored(copy, str(folder / "farm.db"), kept, said)


@contextmanager
def loose(file: Path, site: str) -> Iterator[Path]:
    """A passing copy of a copy, known to be of this site: opening it may bring it up to date, the copy itself stays."""
    with tempfile.TemporaryDirectory() as beside:
        passing = Path(beside) / "books.db"
        restore(file, passing)
        with Books.open(passing, site=site) as books:
            sites = books.sites()
        if sites and site not in sites:
            do = "Set `site` in farm.toml to the copy's, or use vatside transfer."
            raise StoreTrouble(Finding(f"site of {file}", " and ".join(map(repr, sites)), f"site {site!r}", do))
        yield passing


def move_to(folder: Path, to: str, *, source: str = "", site: str = "") -> dict[str, object]:
    """Copy the farm's ledger into another database and prove the copy; the ledger that are there stay.

    Parameters
    ----------
    folder
        The farm's folder.
    to
        File, or ``postgresql://…``.
    source
        Books to copy instead of those the farm file names; file or address.
    site
        Name of the site in the new store; as before when empty.

    Returns
    -------
    dict
        ``entries``, ``alive``, ``where``, ``site``, and ``farm_toml``, the lines to write there.

    Raises
    ------
    Refused
        The target has entries of this site.
    StoreTrouble
        Source or target cannot be used, or the copy is not the same.
    """
    farm = _farm(folder)
    name = site or farm.site
    if not _SITE.match(name):
        raise BadInput(Finding("--site", name, "up to 40 letters, digits, '_', '.' or '-', beginning with no sign"))
    start = source or farm.store or str(folder / "farm.db")
    aside = folder / FOLDER
    with (
        Books.open(start, create=False, site=farm.site, aside=aside) as given,
        Books.open(to, site=name, aside=aside) as taken,
    ):
        entries = transfer(given, taken)
        where = taken.where
    shown = to if "://" in to else ""
    if sys.stdout is None or not sys.stdout.isatty():  # a log keeps what it is reported: no password goes there
        shown = re.sub(r"(://[^:/@]+):[^@]*@", r"\1:PASSWORD@", shown)
    lines = [f'store = "{shown}"', f'site = "{name}"']
    return {"entries": len(entries), "alive": _alive(entries), "where": where, "site": name, "farm_toml": lines}


def _farm(folder: Path) -> Farm:
    file = folder / "farm.toml"
    try:
        return read_site(file.read_bytes(), str(file)).farm
    except OSError as error:
        do = "Run `vatside init DIR`, or name it with --farm DIR."
        raise BadInput(Finding(str(file), error.strerror or str(error), "a farm folder with farm.toml", do)) from error


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        do = "Check who owns it, and that the disk is writable; nothing was changed."
        raise StoreTrouble(
            Finding(str(folder), error.strerror or str(error), "a folder that can be made", do)
        ) from error
    return folder


def _named(folder: Path) -> dict[datetime, Path]:
    """Copies by the moment in their names; other files are no one's business here."""
    if not folder.is_dir():
        return {}
    found = ((_NAME.match(file.name), file) for file in folder.iterdir())
    return {datetime.strptime(name[1], _STAMP).replace(tzinfo=UTC): file for name, file in found if name}


def _last_sound(folder: Path) -> tuple[Copy, tuple[Entry, ...]] | None:
    for made_at, file in sorted(_named(folder / FOLDER).items(), reverse=True):
        copy, entries = _checked(file, made_at)
        if not copy.trouble:
            return copy, entries
    return None


def _checked(file: Path, made_at: datetime | None) -> tuple[Copy, tuple[Entry, ...]]:
    moment = made_at or datetime.fromtimestamp(0, UTC)
    try:
        entries = verify(file)
    except StoreTrouble as error:
        return Copy(file, moment, 0, 0, None, str(error).split("\n")[0]), ()
    return _told(file, moment, entries), entries


def _told(file: Path, made_at: datetime, entries: tuple[Entry, ...]) -> Copy:
    last = max((entry.recorded_at for entry in entries), default=None)
    return Copy(file, made_at, len(entries), _alive(entries), last)


def _alive(entries: tuple[Entry, ...]) -> int:
    return sum(count for (_, place), count in balances(entries).items() if is_vat(place) or place == "dock")
