"""What every timetable is made of in CP-SAT, whatever it costs: starts, lags between them, and what has limited room.

The solver's library is handed in, so that importing this costs nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

__all__ = ["Core"]


class Core:
    """Starts, lags and rooms of one model; costs are put on top of it by whoever builds it.

    Parameters
    ----------
    library
        The module ``ortools.sat.python.cp_model``.

    Attributes
    ----------
    model
        The model of the solver's library.
    start
        Key of a job → its start.
    """

    def __init__(self, library: Any) -> None:
        self.cp = library
        self.model = library.CpModel()
        self.start: dict[int, Any] = {}
        self.size: dict[int, int] = {}
        self._intervals: dict[tuple[int, int], Any] = {}

    def job(self, key: int, slots: int, spans: Sequence[Sequence[int]], hint: int | None = None) -> Any:
        """A job of so many slots that starts within one of the spans (first and last slot).

        Returns
        -------
        Any
            Its start, a variable of the model.
        """
        start = self.model.new_int_var_from_domain(self.cp.Domain.from_intervals([list(span) for span in spans]), "")
        if hint is not None:
            self.model.add_hint(start, hint)
        self.start[key], self.size[key] = start, slots
        return start

    def interval(self, key: int, after: int = 0) -> Any:
        """The time from the start of a job to its end and so many slots ``after`` it."""
        if (key, after) not in self._intervals:
            size = self.size[key] + after
            self._intervals[key, after] = self.model.new_fixed_size_interval_var(self.start[key], size, "")
        return self._intervals[key, after]

    def lag(self, first: Any, slots: int, then: Any) -> None:
        """``then`` is no sooner than ``slots`` after ``first``; a negative number is a greatest lag the other way.

        Both are starts: variables of the model, or fixed slots.
        """
        self.model.add(then >= first + slots)

    def room(
        self,
        asked: Mapping[int, int],
        has: int,
        taken: Iterable[tuple[int, int, int]] = (),
        *,
        after: int = 0,
    ) -> None:
        """Jobs never ask at once for more than there is.

        Parameters
        ----------
        asked
            Key of a job → how much it takes while it lasts and ``after`` slots longer.
        has
            How much there is.
        taken
            First slot, slot after the last, and how much of it is taken by what does not move.
        """
        rows = [self.interval(key, after) for key in asked]
        amounts = list(asked.values())
        for first, end, used in taken:
            rows.append(self.model.new_fixed_size_interval_var(first, end - first, ""))
            amounts.append(min(used, has))
        if len(rows) < 2:
            return
        if all(2 * amount > has for amount in amounts):
            self.model.add_no_overlap(rows)
        else:
            self.model.add_cumulative(rows, amounts, has)

    def finish(self, horizon: int) -> Any:
        """The slot at which the last job ends, to be made small."""
        end = self.model.new_int_var(0, horizon, "")
        for key, start in self.start.items():
            self.model.add(end >= start + self.size[key])
        return end
