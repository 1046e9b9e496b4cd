"""One farm held open for as long as the server runs: read again when a file changed, written by one at a time."""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from intake.app import system_clock
from intake.app.access import devices
from intake.app.access.devices import Device
from intake.app.commands.phones.group_commit import GroupCommit
from intake.app.session import House, open_house
from intake.errors import IntakeError
from intake.library import FILES as LIBRARY_FILES

__all__ = ["OpenFarm"]

log = logging.getLogger("vatside.board")

_LIBRARY = (*LIBRARY_FILES, "names.csv")
Stamp = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class _Read:
    """Open devices, as the ledger had them at one state of their files."""

    stamp: Stamp
    devices: dict[str, Device]


class OpenFarm:
    """The farm behind the board.

    Attributes
    ----------
    lock
        Held by whoever writes: one writer at a time, so that what a page checked is still true when it writes.
    group
        Counts of phones, written together where several wait.
    trouble
        What is wrong with the farm file as it stands now, empty when it could be read; the last good one is used.
    """

    def __init__(self, folder: Path, now: Callable[[], datetime] = system_clock.now) -> None:
        self.folder = folder
        self.lock = threading.RLock()
        self.trouble = ""
        self._now = now
        self._files = self._stamp_of_files()
        self._house = open_house(folder, now=now())
        self._known: _Read | None = None
        self._notes: dict[str, deque[str]] = {}
        self.group = GroupCommit(self.lock, self.house)

    def close(self) -> None:
        """Close the ledger."""
        self._house.books.close()

    def now(self) -> datetime:
        """The present."""
        return self._now()

    def stamp(self) -> Stamp:
        """State of the ledger and of the farm's files: the same state, the same content.

        Raises
        ------
        StoreTrouble
            The ledger cannot be read.
        """
        return (*self._fresh().books.stamp(), self._files)

    def house(self, who: str = "", now: datetime | None = None) -> House:
        """The farm for one request: its own moment (the present) and person, and entries as on record now."""
        base = self._fresh()
        return replace(base, who=who or base.who, now=now or self._now(), _views=[base.books.view()], _floors={})

    def face(self) -> House:
        """The farm's file and clock for one request, without a question to the ledger until something asks it one."""
        return replace(self._fresh(), now=self._now(), _views=[], _floors={})

    @contextmanager
    def writing(self, who: str = "") -> Iterator[House]:
        """The farm for one act: no one else writes from this server until it is over."""
        with self.lock:
            yield self.house(who)

    def device(self, hashed: str) -> Device | None:
        """The open device whose token has this hash, if it may still come in."""
        base = self._fresh()
        found = self._read().devices.get(hashed)
        if found is None or found.until <= self._now():
            return None
        return found if devices.welcome(base, found) else None

    def tell(self, device: str, words: str) -> None:
        """Keep a sentence for the next page a device opens."""
        if len(self._notes) > 500:
            self._notes.clear()
        self._notes.setdefault(device, deque(maxlen=5)).append(words)

    def told(self, device: str) -> list[str]:
        """Sentences saved for this device, given once."""
        return list(self._notes.pop(device, ()))

    def _read(self) -> _Read:
        stamp = self.stamp()
        known = self._known
        if known is None or known.stamp != stamp:
            # Stamped before reading: whatever is written in between makes the next request read again.
            self._known = known = _Read(stamp, devices.open_devices(self.face()))
        return known

    def _stamp_of_files(self) -> tuple[tuple[int, int], ...]:
        return _stamp(self.folder / "farm.toml", *(self.folder / "library" / name for name in _LIBRARY))

    def _fresh(self) -> House:
        files = self._stamp_of_files()
        if files != self._files:
            with self.lock:
                if files != self._files:
                    self._files = files
                    self._open_again()
        return self._house

    def _open_again(self) -> None:
        try:
            fresh = open_house(self.folder, now=self._now())
        except IntakeError as error:
            self.trouble = str(error)
            log.warning("farm files changed and cannot be used; going on with the last good ones: %s", error)
            return
        before, self._house, self._known, self.trouble = self._house, fresh, None, ""
        before.books.close()
        log.info("farm files read again")


def _stamp(*files: Path) -> tuple[tuple[int, int], ...]:
    found = []
    for file in files:
        try:
            stat = file.stat()
            found.append((stat.st_mtime_ns, stat.st_size))
        except OSError:
            found.append((0, 0))
    return tuple(found)
