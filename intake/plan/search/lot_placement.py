"""A plan built by placing lot after lot into the waters assigned to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

from intake.plan.search.candidates import offered
from intake.plan.search.destroy_and_repair import Steps
from intake.plan.search.neighbourhoods import Chooser, Tell, finish, one_step, shipments
from intake.plan.solvers.interface import unheard

__all__ = ["planned"]


_LOT_SECONDS = 0.6
"""Time to place one lot."""

_STALE = 20
"""Steps in a row without a gain after which other stages are no longer dealt out anew."""


def planned(
    steps: Steps, given: Mapping[int, set[int]], seconds: float, meant: Sequence[int] = (), tell: Tell = unheard
) -> None:
    """Make a plan in which batches kept lot by lot stand in the vats given to them, the bulkiest lot first.

    A lot that found its other places taken by the one solved beside it is tried once more; when the time is over,
    whoever is left is placed by first fit.

    Parameters
    ----------
    meant
        How many animals of each batch the vats given were meant for: the other stages are then dealt out anew among
        some batches at a time until so many have places, or it seems that they cannot.
    tell
        Hears of what is left over; a true answer ends that.
    """
    lots = shipments(steps.problem)
    end = steps.charged + seconds
    steps.clear()
    for turn in range(2):
        for number, lot in enumerate(lots):
            if steps.charged >= end or any(steps.placed[owner] for owner in lot):
                continue
            if steps.full:
                steps.end()
            choose = partial(offered, given=given, key=f"{steps.seed}/{turn}/{number}")
            steps.begin(lot, (), _LOT_SECONDS, choose)
        while steps.queue:
            steps.end()
    for lot in lots:
        if not any(steps.placed[owner] for owner in lot):
            for owner in lot:
                steps.add(owner)
    chooser = Chooser(steps, given, meant) if meant else None
    while chooser and steps.charged < end and chooser.stale < _STALE and one_step(steps, chooser):
        if tell(steps.left_over()):
            break
    finish(steps)
