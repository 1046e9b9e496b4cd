"""Lot placement: a plan made lot by lot in the vats a water assignment or an aggregate gave, other stages repaired."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

from intake.plan.search.candidates import offered
from intake.plan.search.destroy_and_repair import Steps
from intake.plan.search.neighbourhoods import Chooser, ReportLeft, finish, one_step, shipments
from intake.plan.solvers.interface import no_report
from intake.plan.tuning import LOT_SECONDS, PLACEMENT_STALE_STEPS

__all__ = ["planned"]


def planned(
    steps: Steps,
    given: Mapping[int, set[int]],
    seconds: float,
    meant: Sequence[int] = (),
    report: ReportLeft = no_report,
) -> None:
    """Make a plan in which batches kept lot by lot are in the vats given to them, the bulkiest lot first.

    A lot that found its other places taken by the one solved beside it is tried once more; when the time is over,
    whoever is left is placed by first fit.

    Parameters
    ----------
    meant
        How many animals of each batch the vats given were meant for: the other stages are then reassigned among
        some batches at a time until so many have places, or it seems that they cannot.
    report
        Called with what is left over; a true answer ends that.
    """
    lots = shipments(steps.problem)
    end = steps.charged + seconds
    steps.clear()
    _place_lots(steps, given, lots, end)
    chooser = Chooser(steps, given, meant) if meant else None
    while chooser and steps.charged < end and chooser.stale < PLACEMENT_STALE_STEPS and one_step(steps, chooser):
        if report(steps.left_over()):
            break
    finish(steps)


def _place_lots(steps: Steps, given: Mapping[int, set[int]], lots: Sequence[Sequence[int]], end: float) -> None:
    """Place lot after lot exactly, twice where needed; by first fit those for whom no time is left."""
    for turn in range(2):
        for number, lot in enumerate(lots):
            if steps.charged >= end or any(steps.placed[owner] for owner in lot):
                continue
            if steps.full:
                steps.end()
            choose = partial(offered, given=given, key=f"{steps.seed}/{turn}/{number}")
            steps.begin(lot, (), LOT_SECONDS, choose)
        while steps.queue:
            steps.end()
    for lot in lots:
        if not any(steps.placed[owner] for owner in lot):
            for owner in lot:
                steps.add(owner)
