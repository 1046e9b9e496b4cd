"""What a failing database means to the person at the vats, and what to do about it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from intake.errors import Finding, StoreTrouble

__all__ = ["DatabaseFault", "busy", "told", "trouble"]

DatabaseFault = SQLAlchemyError
"""What a failing database raises inside an act, before :func:`told` puts it in words."""

_BUSY: Final = ("a free database", "The ledger is in use. Wait a moment and try again. Nothing was saved.")
_READONLY: Final = (
    "a database that may be written",
    "Check who owns the file and its folder, and that the disk can be written. Reading commands go on working.",
)
_FULL: Final = ("free disk space", "Free some space, then try again. Nothing was saved.")
_DAMAGED: Final = (
    "an intact database",
    "Stop using it and restore the last backup: vatside restore --last --replace (it keeps the damaged file).",
)
_CANNOT_OPEN: Final = (
    "a database file in a folder that exists and may be entered",
    "Check the path and its permissions.",
)
_DISK: Final = (
    "a disk that reads and writes",
    "Copy the folder first. Then check free space, the disk and its cable. Nothing was saved.",
)
_UNREACHABLE: Final = ("a database server that answers", "Check the address, the network and that the server runs.")
_OTHER: Final = ("a database that works", "Repeat; if it stays, run the check command and look at the last backup.")

_ROOM_BYTES: Final = (
    256 * 1024
)  # the log's index is lengthened by 32 KiB at once (https://www.sqlite.org/walformat.html)

# Primary result codes of SQLite (https://www.sqlite.org/rescode.html); the low byte of the extended code.
_BY_SQLITE_CODE: Final = {
    5: _BUSY,
    6: _BUSY,
    8: _READONLY,
    10: _DISK,
    11: _DAMAGED,
    13: _FULL,
    14: _CANNOT_OPEN,
    26: _DAMAGED,
}

# First characters of SQLSTATE (PostgreSQL manual, appendix A), longest match first.
_BY_SQLSTATE: Final = (
    ("25006", _READONLY),
    ("42501", _READONLY),
    ("55P03", _BUSY),
    ("40", _BUSY),
    ("53100", _FULL),
    ("XX", _DAMAGED),
    ("58", _DISK),
    ("08", _UNREACHABLE),
    ("57", _UNREACHABLE),
    ("28", _UNREACHABLE),
    ("3D", _UNREACHABLE),
)


def trouble(where: str, error: Exception) -> StoreTrouble:
    """Turn a failure of the database into words.

    Parameters
    ----------
    where
        Database as its owner would name it, without a password.
    error
        What SQLAlchemy or the driver raised.
    """
    original = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    expected, do = _advice(original)
    if (expected, do) == _CANNOT_OPEN and Path(where).is_file():
        expected, do = _READONLY
    if (expected, do) == _DISK and _is_full(Path(where)):
        expected, do = _FULL
    return StoreTrouble(Finding(where, str(original).strip().split("\n")[0], expected, do))


def _is_full(file: Path) -> bool:
    """Whether a file's disk has no room: SQLite reports only a failed read or write when it cannot lengthen its index."""
    try:
        return shutil.disk_usage(file.parent).free < _ROOM_BYTES
    except OSError:
        return False


def busy(where: str) -> StoreTrouble:
    """Say that another thread of this program has been writing for longer than anybody should wait."""
    return StoreTrouble(Finding(where, "database is locked", *_BUSY))


def _advice(original: BaseException) -> tuple[str, str]:
    code = getattr(original, "sqlite_errorcode", None)
    if code is not None:
        return _BY_SQLITE_CODE.get(code & 0xFF, _OTHER)
    state = getattr(original, "sqlstate", None)
    if state is None:
        words = str(original).lower()  # a driver that reached no one has no state to give
        if "decode" in words:  # the driver of SQLite reports damaged text without a code
            return _DAMAGED
        return _UNREACHABLE if "connect" in words or "resolve" in words else _OTHER
    return next((advice for start, advice in _BY_SQLSTATE if state.startswith(start)), _OTHER)


@contextmanager
def told(where: str) -> Iterator[None]:
    """Raise whatever the database does wrong inside as :class:`StoreTrouble`.

    Raises
    ------
    StoreTrouble
        Locked, read-only, damaged, full, unreachable or otherwise failing; nothing was written.
    """
    try:
        yield
    except SQLAlchemyError as error:
        raise trouble(where, error) from error
