"""Backups made by the server itself: the ledger every hour in which anything was recorded, the whole farm every day."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from intake.app.backups.farm_archive import Archived, archives, last_copy, pack
from intake.app.backups.ledger_copies import back_up
from intake.app.session import open_house
from intake.errors import IntakeError

__all__ = ["FARM_EVERY", "LEDGER_EVERY", "Due", "make_due"]

LEDGER_EVERY: Final = timedelta(hours=1)
FARM_EVERY: Final = timedelta(days=1)
"""How often copies are made (house rule, common practice, no source)."""


class Due:
    """What was copied last, so that an hour without an entry makes no copy.

    Attributes
    ----------
    head
        Head of the ledger in the last copy this server made; empty before the first.
    """

    def __init__(self) -> None:
        self.head = ""


def make_due(folder: Path, now: datetime, due: Due, *, passphrase: str = "") -> tuple[str, ...]:
    """Make the copies that are due, rotated; gives a sentence for each, and for everything someone should look at.

    Parameters
    ----------
    folder
        The farm's folder.
    now
        The present.
    due
        What was copied last.
    passphrase
        When given, archives of the whole farm are sealed with it.

    Raises
    ------
    StoreTrouble
        The ledger is not sound, or the copy cannot be written.
    """
    head = _head(folder)
    farms, newest = archives(folder), last_copy(folder)
    if not farms or now - max(farms) >= FARM_EVERY:
        made = _pack(folder, now, farms[max(farms)] if farms else None, passphrase)
        said, warnings = f"{made.file}: the whole farm, {made.manifest.facts['entries']} entries", made.warnings
    elif head != due.head and (newest is None or now - newest >= LEDGER_EVERY):
        copy = back_up(folder, now, rotate=True)
        said, warnings = f"{copy.copy.file}: the ledger, {copy.copy.entries} entries", copy.warnings
    else:
        return ()
    due.head = head
    return (said, *(str(one) for one in warnings))


def _head(folder: Path) -> str:
    house = open_house(folder)
    try:
        return str(house.books.head())
    finally:
        house.books.close()


def _pack(folder: Path, now: datetime, since: Path | None, passphrase: str) -> Archived:
    """The farm, going on from the archive before where that can be read; else whole."""
    if since is not None:
        with suppress(IntakeError):  # damaged, or sealed with another passphrase: this one holds everything itself
            return pack(folder, now, passphrase=passphrase, since=since, rotate=True)
    return pack(folder, now, passphrase=passphrase, rotate=True)
