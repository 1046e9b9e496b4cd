"""Acts of several phones that wait for one another, written in one transaction: timetable and calendars follow once."""

from __future__ import annotations

import contextvars
import threading
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from typing import Any, Final

from intake.app.commands.records.one_act import in_one_act
from intake.app.session import House

__all__ = ["GroupCommit"]

MOST: Final = 32
"""Acts in one transaction: as many as a crowd of phones sends while one act is written (design default)."""


@dataclass(slots=True)
class _Waiting:
    """One act that waits for its turn, and what became of it."""

    who: str
    act: Callable[[House], Any]
    context: contextvars.Context = field(default_factory=contextvars.copy_context)
    answer: Any = None
    fault: BaseException | None = None
    over: bool = False

    def done(self, house: House) -> Any:
        """Do it, in the context of who sent it."""
        return self.context.run(self.act, house)

    def alone(self, house: Callable[[str], House]) -> None:
        """Do it by itself, and keep what it came to, a ledger that cannot be read included: no one may wait for ever."""
        try:
            self.answer = self.done(house(self.who))
        except BaseException as fault:  # noqa: BLE001  # it is raised again in the thread that sent it
            self.fault = fault
        self.over = True


class GroupCommit:
    """The queue of one farm.

    Whoever gets the writers' lock first does every act that waits, so that eight phones that count at once cost little more
    than one.  No act can harm another: where one of them is refused nothing of the group is kept, and each is done alone.

    Parameters
    ----------
    lock
        Held by whoever writes.
    house
        The farm as on record now, for a person.
    """

    def __init__(self, lock: AbstractContextManager[Any], house: Callable[[str], House]) -> None:
        self._lock, self._house = lock, house
        self._guard = threading.Lock()
        self._waiting: list[_Waiting] = []

    def do(self, who: str, act: Callable[[House], Any]) -> Any:
        """Do an act, with those of others that wait; gives its answer once it is on disk.

        Raises
        ------
        Exception
            Whatever the act itself raises; then nothing of it is kept.
        """
        mine = _Waiting(who, act)
        with self._guard:
            self._waiting.append(mine)
        with self._lock:
            while not mine.over:
                with self._guard:
                    group, self._waiting = self._waiting[:MOST], self._waiting[MOST:]
                self._write(group)
        if mine.fault is not None:
            raise mine.fault
        return mine.answer

    def _write(self, group: Sequence[_Waiting]) -> None:
        if len(group) > 1 and self._together(group):
            return
        for one in group:
            one.alone(self._house)

    def _together(self, group: Sequence[_Waiting]) -> bool:
        """Whether all could be written in one transaction; if not, nothing of it is kept."""
        try:
            with in_one_act(self._house("")) as inside:
                answers = [one.done(replace(inside, who=one.who)) for one in group]
        except Exception:  # noqa: BLE001  # each is done again alone, where its fault is kept for who sent it
            return False
        for one, answer in zip(group, answers, strict=True):
            one.answer, one.over = answer, True
        return True
