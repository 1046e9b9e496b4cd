"""Quarantine counted to the end: how many animals no plan can place, and vats from which a plan may do as well."""

from __future__ import annotations

from dataclasses import dataclass

from intake.plan.branching import branch
from intake.plan.problem import Problem
from intake.plan.runs import Answer
from intake.plan.scene import Scene
from intake.plan.seating import claims_counted, seated
from intake.plan.waters import Waters, quarantined, rooms_in

__all__ = ["Counted", "counted"]

_MOST_ROWS = 3_000
"""With more rows the start alone takes longer than all the rest of the search may."""


@dataclass(frozen=True, slots=True)
class Counted:
    """What came of counting: the model and the answer, and the vats it gives to each batch (empty if it found none)."""

    model: Waters
    answer: Answer
    given: dict[int, set[int]]

    @property
    def proved(self) -> bool:
        """Whether nothing more can be learnt from counting quarantine alone."""
        return self.answer.status == "OPTIMAL"


def counted(problem: Problem, *, nodes: int) -> Counted | None:
    """Solve the counted quarantine of a problem by branch and bound.

    Parameters
    ----------
    nodes
        How many nodes to look at.

    Returns
    -------
    Counted or None
        None where the farm is too large for this, or nobody is to be quarantined.
    """
    scene = Scene(problem, loose=True)
    model = quarantined(scene, range(len(problem.batches)), rooms_in(scene))
    if not any(hall.crowds for hall in model.halls) or len(model.rows.row_vars) > _MOST_ROWS:
        return None
    answer = branch(model.rows, model.terms(), nodes=nodes)
    return Counted(model, answer, seated(scene, claims_counted(model, answer.values)) if answer.values else {})
