"""How late a landing day must end at least: the solver is asked whether it can end by a minute, the aims before it kept.

Asked to find the soonest end, the solver spends itself on days; asked whether the day can end by a minute, it has a deadline
for every box to reason from, and says no at once where that is much too soon.  A no stands for every earlier minute too: a
destructive bound (Klein & Scholl, 1999, Eur. J. Oper. Res. 112:322-346; from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from intake.receiving.solving.day_model import DayModel

__all__ = ["can_end_by", "least_end"]


def least_end(low: int, high: int, ends_by: Callable[[int], bool | None], *, step: int) -> int:
    """The latest minute found before which the day cannot end.

    Parameters
    ----------
    low, high
        A bound known before, and when a known day ends.
    ends_by
        Whether the day can end by a minute; ``None`` where it is not known.
    step
        Minutes of the first stride; it doubles after every no, then what is left between no and not known is halved.
    """
    open_at = high
    while low < open_at:
        asked = min(low + step, open_at - 1)
        if ends_by(asked) is False:
            low, step = asked + 1, 2 * step
        else:
            open_at = asked
            step = (open_at - low) // 2
    return low


def can_end_by(model: DayModel, minute: int, solve: Callable[[Any], Any], answers: tuple[Any, Any, Any]) -> bool | None:
    """Whether a day of the model can end by a minute; ``None`` if the solver gives up.

    Parameters
    ----------
    model
        With the aims before the finish limited to what is kept.
    solve
        Solves a constraint model and gives its status.
    answers
        The solver's words for optimal, feasible and infeasible.
    """
    optimal, feasible, infeasible = answers
    model.cp.clear_objective()
    with model.ending_by(minute):
        status = solve(model.cp)
    if status == infeasible:
        return False
    return True if status in (optimal, feasible) else None
