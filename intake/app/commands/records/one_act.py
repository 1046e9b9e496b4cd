"""Several commands as one act: all they record is saved together, or nothing of it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any, cast

from intake.app.session import Act, House

__all__ = ["in_one_act"]


@dataclass(frozen=True, slots=True)
class _InsideBooks:
    """The ledger inside an act that has not ended: what a command writes goes to that act, and the next one sees it."""

    outer: Act

    @contextmanager
    def write(self) -> Iterator[Any]:
        """The unit of the outer act."""
        yield self.outer._unit  # noqa: SLF001  # an act gives its unit to no one else

    def view(self) -> Any:
        """The ledger with what the act has written so far."""
        return self.outer.inside().view

    def learn(self, seen: Any) -> None:
        """Nothing yet: the outer act leaves what was read to the next one, once it is on disk."""


@contextmanager
def in_one_act(house: House) -> Iterator[House]:
    """A farm whose commands are one act: timetable and calendars follow once, and an error undoes all of them.

    Raises
    ------
    Refused
        As :meth:`~intake.app.session.House.act`.
    """
    with house.act() as outer:
        waiting: list[set[tuple[str, str]]] = [set()]
        books = cast("Any", _InsideBooks(outer))
        yield replace(outer.inside(), books=books, _waiting=waiting)
        for kind, subject in waiting[0]:
            outer.written.add(kind)
            outer.subjects[kind].add(subject)
