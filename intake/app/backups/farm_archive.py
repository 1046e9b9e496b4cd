"""The whole farm in one archive, and back: ledger, farm file, library, permits, photos, frozen claims and inbox."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from intake import __version__
from intake.app.backups.ledger_copies import clear_leftovers, delete, loose, put_back
from intake.app.input_files import read_file
from intake.app.session import COPIES, open_books
from intake.errors import BadInput, Finding, IntakeError, Refused, StoreTrouble
from intake.farm.reading import read_site
from intake.farm.site import Farm
from intake.ledger import balances, is_vat
from intake.ledger.head import Head, parse
from intake.store import expendable, verify
from intake.store.copying.archive import File, Manifest, read_manifest, unpack, write_archive
from intake.store.copying.backup import ensure_closed
from intake.store.copying.passphrase import is_sealed, seal_file, unseal_file

__all__ = ["Archived", "archives", "is_archive", "last_copy", "pack", "unpack_farm"]

_BOOKS: Final = "books.db"
_STAMP: Final = "%Y%m%dT%H%M%SZ"
_ENDINGS: Final = (".zip", ".zip.sealed")
_NOT_KEPT: Final = frozenset({COPIES, "out", "tls"})
_NOT_KEPT_STARTS: Final = ("before-restore-", "farm.db", ".", "sign-in-link")
"""Copies of copies, and what is printed again at any time; frozen claims are kept elsewhere and are in the archive."""


@dataclass(frozen=True, slots=True)
class Archived:
    """An archive just made: its file, its manifest, the older ones deleted, and what was noticed."""

    file: Path
    manifest: Manifest
    deleted: tuple[Path, ...] = ()
    warnings: tuple[Finding, ...] = ()

    @property
    def elsewhere(self) -> int:
        """Files named in it that an earlier archive in the same folder holds."""
        return sum(1 for file in self.manifest.files if file.archive)


def pack(
    folder: Path,
    now: datetime,
    *,
    out: Path | None = None,
    passphrase: str = "",
    since: Path | None = None,
    rotate: bool = False,
) -> Archived:
    """Write the whole farm to one verified archive while others go on recording.

    Parameters
    ----------
    folder
        The farm's folder.
    now
        The present, for the name.
    out
        File to write; a name with the time in ``backups/`` when ``None``.
    passphrase
        When given, the archive is sealed with it.
    since
        An earlier archive in the same folder: photos and other files it holds unchanged are not written again.
    rotate
        Delete archives in ``backups/`` that are no longer needed, as :mod:`intake.store.copying.rotation` says, and which
        none that stays goes on from.  Nothing is deleted when the ledger does not go on from the archive before.

    Raises
    ------
    BadInput
        ``rotate`` with a file elsewhere, or a passphrase that is not the earlier archive's.
    StoreTrouble
        The ledger is not sound or cannot be read, or the archive cannot be written.
    """
    site = read_site(read_file(folder / "farm.toml", "a farm file"), str(folder / "farm.toml"))
    ending = _ENDINGS[bool(passphrase)]
    if out is not None and rotate:
        raise BadInput(Finding("--rotate", str(out), "archives in the farm's own folder", "Omit --out."))
    target = out or folder / COPIES / f"farm-{now.astimezone(UTC).strftime(_STAMP)}{ending}"
    if target.exists():
        raise StoreTrouble(Finding("backup", str(target), "a name not used yet", "A backup is never overwritten."))
    held = () if since is None else _held(since, target, passphrase)
    earlier = _head_before(folder, passphrase)
    clear_leftovers(folder)
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(target.name + ".part")
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=".packing-") as beside:
        books = Path(beside) / _BOOKS
        with open_books(folder, site.farm) as opened:
            opened.backup(books)
            head = opened.head()
            changed = () if earlier is None else tuple(opened.differs_from(earlier))
        alive = sum(count for (_, place), count in balances(verify(books)).items() if is_vat(place))
        facts: dict[str, Any] = {
            "farm": site.farm.name,
            "site": site.farm.site,
            "made_at": now.astimezone(UTC).isoformat(),
            "program": __version__,
            "head": str(head),
            "entries": head.entries,
            "alive": alive,
        }
        plain = Path(beside) / "farm.zip"
        manifest = write_archive(plain, {**_kept_files(folder), _BOOKS: books}, facts, held)
        if passphrase:
            seal_file(plain, part, passphrase)
            _same_again(part, plain, passphrase, Path(beside))
        else:
            plain.replace(part)
        part.chmod(0o600)
        part.replace(target)
    deleted, stuck = _thin_out(folder, site.farm, target, passphrase) if rotate and not changed else ((), ())
    return Archived(target, manifest, deleted, (*changed, *stuck))


def _head_before(folder: Path, passphrase: str) -> Head | None:
    """Head of the ledger in the newest archive that can be read; ``None`` when there is none."""
    for _, file in sorted(archives(folder).items(), reverse=True):
        with suppress(IntakeError), _plain(file, passphrase, alone=True) as plain:
            return parse(str(read_manifest(plain).facts.get("head", "")))
    return None


def _thin_out(folder: Path, farm: Farm, newest: Path, passphrase: str) -> tuple[tuple[Path, ...], tuple[Finding, ...]]:
    """Delete what no one needs: not while an archive that stays cannot be read, since it may go on from any other.

    Nor one whose ledger is not the past of today's: it may be the last that agrees with a head on paper.
    """
    old = archives(folder)
    gone = expendable(old)
    needed = {newest.name}
    unwanted: list[Path] = []
    with open_books(folder, farm) as books:
        for moment, file in sorted(old.items()):
            try:
                with _plain(file, passphrase, alone=True) as plain:
                    manifest = read_manifest(plain)
            except IntakeError as error:
                if moment in gone:
                    continue
                found = error.findings[0].value if error.findings else str(error)
                do = "Use the passphrase it was made with, or move it elsewhere. No archive was deleted."
                return (), (Finding(str(file), found, "an archive that can be read", do),)
            if moment not in gone:
                needed |= {row.archive for row in manifest.files}
            elif not books.differs_from(parse(str(manifest.facts.get("head", "")))):
                unwanted.append(file)
    return delete(file for file in unwanted if file.name not in needed)


def _same_again(sealed: Path, plain: Path, passphrase: str, beside: Path) -> None:
    """Open a sealed archive again: a copy no one can open is none."""
    again = beside / "again.zip"
    unseal_file(sealed, again, passphrase)
    if again.read_bytes() != plain.read_bytes():
        raise StoreTrouble(Finding(str(sealed), "another file when opened", "the archive that was sealed", "Repeat."))


def _kept_files(folder: Path) -> dict[str, Path]:
    """Every file of the farm but the ledger's own, copies and print-outs; links are not followed."""
    found: dict[str, Path] = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder)
        first = name.parts[0]
        skipped = first in _NOT_KEPT or first.startswith(_NOT_KEPT_STARTS) or path.suffix == ".part"
        if path.is_file() and not path.is_symlink() and not skipped and not path.name.startswith("."):
            found[name.as_posix()] = path
    return found


def _held(since: Path, target: Path, passphrase: str) -> tuple[File, ...]:
    if since.parent.resolve() != target.parent.resolve():
        raise BadInput(Finding("--since", str(since), f"an archive in {target.parent}", "Copy it there first."))
    with _plain(since, passphrase, alone=True) as plain:
        manifest = read_manifest(plain)
    return tuple(File(f.name, f.bytes, f.sha256, f.archive or since.name) for f in manifest.files if f.name != _BOOKS)


@contextmanager
def _plain(archive: Path, passphrase: str, *, alone: bool = False) -> Iterator[Path]:
    """The archive without its seal, in a folder that goes away; unless ``alone``, earlier ones beside it are opened too."""
    if not archive.is_file():
        raise StoreTrouble(Finding("archive", str(archive), "a file that exists", "Check the path."))
    if not is_sealed(archive):
        yield archive
        return
    if not passphrase:
        do = "Say --passphrase, or set VATSIDE_PASSPHRASE."
        raise BadInput(Finding(str(archive), "sealed", "its passphrase", do))
    with tempfile.TemporaryDirectory() as beside:
        many = archive.name.startswith("farm-") and not alone
        for one in sorted(archive.parent.glob("farm-*")) if many else [archive]:
            if one.name <= archive.name and is_sealed(one):
                unseal_file(one, Path(beside) / one.name, passphrase)
            elif one.name <= archive.name:
                (Path(beside) / one.name).symlink_to(one.resolve())
        yield Path(beside) / archive.name


def archives(folder: Path) -> dict[datetime, Path]:
    """Archives in ``backups/`` by the moment in their names."""
    found: dict[datetime, Path] = {}
    for file in sorted((folder / COPIES).glob("farm-*")) if (folder / COPIES).is_dir() else ():
        ending = next((one for one in reversed(_ENDINGS) if file.name.endswith(one)), "")
        try:
            stem = file.name.removeprefix("farm-").removesuffix(ending)
            moment = datetime.strptime(stem, _STAMP).replace(tzinfo=UTC)
        except ValueError:
            continue
        if ending:
            found[moment] = file
    return found


def last_copy(folder: Path) -> datetime | None:
    """When the newest copy in ``backups/`` was made, of the farm or of the ledger alone; ``None`` when there is none."""
    from intake.app.session import NAME_OF_COPY

    books = folder / COPIES
    named = [NAME_OF_COPY.match(file.name) for file in books.iterdir()] if books.is_dir() else []
    moments = [datetime.strptime(found[1], _STAMP).replace(tzinfo=UTC) for found in named if found]
    return max([*moments, *archives(folder)], default=None)


def is_archive(file: Path) -> bool:
    """Whether a file is an archive of a whole farm, sealed or not, and no copy of a ledger."""
    with file.open("rb") as opened:
        start = opened.read(4)
    return start == b"PK\x03\x04" or is_sealed(file)


def unpack_farm(
    archive: Path,
    folder: Path,
    *,
    passphrase: str = "",
    replace: bool = False,
    ready: Callable[[Path, Path], tuple[str, ...]] | None = None,
) -> dict[str, object]:
    """Put a whole farm back from its archive alone; everything is verified before anything is changed.

    Parameters
    ----------
    folder
        Where the farm shall stand: an empty or absent folder, or with ``replace`` a farm.  Files that differ there are
        kept in ``before-restore-…``, the ledger as ``farm.db.before-restore``.
    ready
        As for :func:`~intake.app.backups.ledger_copies.put_back`.

    Returns
    -------
    dict
        ``where``, ``entries``, ``alive``, ``head``, ``files``, ``kept``, where what stood there is now, and ``said``.

    Raises
    ------
    Refused
        A farm is there and ``replace`` was not said, or ``ready`` could not write.
    StoreTrouble
        The archive is not whole, or the folder cannot be written.
    """
    if (folder / "farm.toml").exists() and not replace:
        do = "Say --replace: what is there is kept beside. Or name another folder with --farm."
        raise Refused(Finding(str(folder), "a farm is there", "an empty folder", do))
    with _plain(archive, passphrase) as plain, tempfile.TemporaryDirectory() as beside:
        into = Path(beside)
        manifest = unpack(plain, into)
        files = [file for file in manifest.files if file.name != _BOOKS]
        verify(into / _BOOKS)
        if (folder / "farm.db").exists():
            ensure_closed(folder / "farm.db")
        site = read_site((into / "farm.toml").read_bytes(), f"{archive}, farm.toml").farm.site
        with loose(into / _BOOKS, site) as passing:
            said = () if ready is None else ready(into, passing)
            with _laid_down(into, folder, [file.name for file in files], manifest.facts) as kept:
                done = put_back(folder, passing, replace=replace)
    return {
        "where": str(folder),
        "entries": manifest.facts.get("entries"),
        "alive": manifest.facts.get("alive"),
        "head": manifest.facts.get("head"),
        "made_at": manifest.facts.get("made_at"),
        "files": len(files),
        "kept": [str(path) for path in (kept, done.kept) if path is not None],
        "said": said,
    }


@contextmanager
def _laid_down(unpacked: Path, folder: Path, names: list[str], facts: Mapping[str, Any]) -> Iterator[Path | None]:
    """Unpacked files in their places, and the folder of those that stood there; all as before if what follows fails."""
    stamp = str(facts.get("made_at", "")).replace(":", "").replace("-", "")[:15]
    aside = folder / f"before-restore-{stamp}"
    moved: list[tuple[Path, Path | None]] = []
    try:
        for name in names:
            source, target = unpacked / name, folder / name
            if target.is_file() and target.read_bytes() == source.read_bytes():
                continue
            was = aside / name if target.exists() else None
            if was is not None:
                was.parent.mkdir(parents=True, exist_ok=True)
                target.replace(was)
            moved.append((target, was))
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(source.read_bytes())
            target.chmod(0o600)
        yield aside if any(was is not None for _, was in moved) else None
    except BaseException:
        for target, was in reversed(moved):
            target.unlink(missing_ok=True)
            if was is not None:
                was.replace(target)
        shutil.rmtree(aside, ignore_errors=True)
        raise
