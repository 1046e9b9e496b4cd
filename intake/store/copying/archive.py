"""A farm's files in one zip with a manifest of hashes: written, read again, and unpacked with nothing trusted."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Final

from intake.errors import Finding, StoreTrouble

__all__ = ["MANIFEST", "File", "Manifest", "read_manifest", "unpack", "write_archive"]

MANIFEST: Final = "manifest.json"
_FORMAT: Final = 1
_STORED: Final = frozenset({".jpg", ".jpeg", ".png", ".zip", ".webp", ".xlsx", ".ods", ".pdf"})
_OTHER: Final = "Use another copy; nothing was changed."
_BLOCK: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class File:
    """One file of the farm: its path below the folder with ``/``, its length, hash, and the archive that holds it.

    ``archive`` is empty for this one, else the name of an earlier archive in the same folder.
    """

    name: str
    bytes: int
    sha256: str
    archive: str = ""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What an archive says of itself: facts as plain data, and its files."""

    facts: Mapping[str, Any]
    files: tuple[File, ...]

    def as_dict(self) -> dict[str, Any]:
        """As it is written."""
        rows = [{"name": f.name, "bytes": f.bytes, "sha256": f.sha256, "archive": f.archive} for f in self.files]
        return {"format": _FORMAT, **self.facts, "files": rows}


def write_archive(
    target: Path, sources: Mapping[str, Path], facts: Mapping[str, Any], held: Iterable[File] = ()
) -> Manifest:
    """Write a zip of files, read it again and compare every hash.

    Parameters
    ----------
    sources
        Name in the archive → file on disk.
    held
        Files that an earlier archive holds: one of the same name and hash is named in the manifest and not written again.

    Raises
    ------
    StoreTrouble
        What was written is not what was read.
    """
    known = {(file.name, file.sha256): file for file in held}
    rows: list[File] = []
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, source in sorted(sources.items()):
            digest, length = _digest(source)
            before = known.get((name, digest))
            rows.append(before or File(name, length, digest))
            if before is None:
                how = zipfile.ZIP_STORED if source.suffix.lower() in _STORED else zipfile.ZIP_DEFLATED
                packed.write(source, name, how)
        manifest = Manifest(facts, tuple(rows))
        packed.writestr(MANIFEST, json.dumps(manifest.as_dict(), ensure_ascii=False, indent=1))
    with _opened(target) as packed:
        for row in manifest.files:
            if not row.archive:
                _copied(packed, row, None, target)
    return manifest


def read_manifest(archive: Path) -> Manifest:
    """What an archive says of itself.

    Raises
    ------
    StoreTrouble
        It is none of ours, or names a path outside the farm.
    """
    with _opened(archive) as packed:
        try:
            told = json.loads(packed.read(MANIFEST))
            files = tuple(
                File(str(row["name"]), int(row["bytes"]), str(row["sha256"]), str(row["archive"]))
                for row in told["files"]
            )
            if told["format"] != _FORMAT:
                raise ValueError(f"format {told['format']}")
        except (KeyError, ValueError, TypeError, RecursionError) as error:
            raise StoreTrouble(Finding(str(archive), str(error), "an archive of vatside backup", _OTHER)) from error
    for file in files:
        path = PurePosixPath(file.name)
        outside = path.is_absolute() or ".." in path.parts or "\\" in file.name or ":" in file.name or not path.parts
        if outside or PurePosixPath(file.archive).name != file.archive:
            raise StoreTrouble(Finding(f"{archive}, {file.name}", file.archive, "a path inside the farm", _OTHER))
    facts = {name: value for name, value in told.items() if name not in ("format", "files")}
    return Manifest(facts, files)


def unpack(archive: Path, into: Path) -> Manifest:
    """Unpack an archive, and what earlier archives beside it hold for it, into an empty folder; every hash is compared.

    Raises
    ------
    StoreTrouble
        A file lacks, is longer than it says or has another hash, or an earlier archive is not beside it.
    """
    manifest = read_manifest(archive)
    by_archive: dict[str, list[File]] = {}
    for file in manifest.files:
        by_archive.setdefault(file.archive, []).append(file)
    for name, files in sorted(by_archive.items()):
        source = archive.with_name(name) if name else archive
        if not source.is_file():
            do = f"Put {name} beside it: it holds {len(files)} of its files."
            raise StoreTrouble(Finding(str(archive), f"{name} is not beside it", "the archives it goes on from", do))
        with _opened(source) as packed:
            for file in files:
                target = into.joinpath(*PurePosixPath(file.name).parts)
                target.parent.mkdir(parents=True, exist_ok=True)
                _copied(packed, file, target, source)
    return manifest


@contextmanager
def _opened(archive: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(archive) as packed:
            yield packed
    except (zipfile.BadZipFile, EOFError, NotImplementedError) as error:
        raise StoreTrouble(Finding(str(archive), str(error), "a whole archive of vatside backup", _OTHER)) from error
    except OSError as error:
        raise StoreTrouble(
            Finding(str(archive), error.strerror or str(error), "a file that can be read", _OTHER)
        ) from error


def _copied(packed: zipfile.ZipFile, file: File, target: Path | None, archive: Path) -> None:
    """Read a file of the archive, no further than it is said to be long, and compare its hash."""
    found, length = hashlib.sha256(), 0
    try:
        with packed.open(file.name) as source:
            out = None if target is None else target.open("wb")
            try:
                while block := source.read(_BLOCK):
                    length += len(block)
                    if length > file.bytes:
                        break
                    found.update(block)
                    if out is not None:
                        out.write(block)
            finally:
                if out is not None:
                    out.close()
    except KeyError as error:
        raise StoreTrouble(
            Finding(f"{archive}, {file.name}", "it lacks", "every file of its manifest", _OTHER)
        ) from error
    if length != file.bytes or found.hexdigest() != file.sha256:
        raise StoreTrouble(Finding(f"{archive}, {file.name}", "altered", f"SHA-256 {file.sha256}", _OTHER))


def _digest(file: Path) -> tuple[str, int]:
    found, length = hashlib.sha256(), 0
    with file.open("rb") as opened:
        while block := opened.read(_BLOCK):
            found.update(block)
            length += len(block)
    return found.hexdigest(), length
