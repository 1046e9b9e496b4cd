"""Which vats to offer to the batches of a step: all if few, else those in use, those with most room and some by chance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from intake.plan.model.occupancy import Occupancy, Spot
from intake.plan.problem import Problem
from intake.plan.search.seeded_random import draw
from intake.plan.tuning import OFFERED_VATS, OFFERED_VATS_BESIDE

__all__ = ["offered"]


def offered(
    occupancy: Occupancy,
    owners: Sequence[int],
    mine: Mapping[Spot, int],
    *,
    key: str,
    focus: str = "",
    given: Mapping[int, set[int]] | None = None,
) -> set[Spot] | None:
    """Spots worth offering: those in use, vats just emptied, those with most room, and some by chance; all if few.

    Parameters
    ----------
    focus
        The stage to look at; in the others those in use are offered, and few more to batches that lack places.  All
        stages if empty.
    given
        For each batch the vats it may have in stages kept lot by lot, beside those in use; any if not given.
    """
    if (
        given is None
        and not focus
        and all(len(vats) <= OFFERED_VATS for owner in owners for vats in occupancy.stage_vats[owner])
    ):
        return None
    spots = set(mine)
    emptied = {vat for _, _, vat in mine}
    complete = _complete(occupancy.problem, mine)
    for owner in owners:
        for position, vats in enumerate(occupancy.stage_vats[owner]):
            if given is not None and occupancy.by_lots(owner, position):
                spots.update((owner, position, vat) for vat in vats if vat in given.get(owner, ()))
                continue
            beside = bool(focus) and occupancy.problem.batches[owner].stages[position].stage != focus
            if beside and owner in complete:
                continue
            most = OFFERED_VATS_BESIDE if beside else OFFERED_VATS
            rooms = sorted((vat not in emptied, -occupancy.most((owner, position, vat)), vat) for vat in vats)
            open_vats = [vat for _, room, vat in rooms if room]
            spots.update((owner, position, vat) for vat in open_vats[: most // 2])
            rest = open_vats[most // 2 :]
            for turn in range(min(most // 2, len(rest))):
                spots.add((owner, position, rest.pop(draw(f"{key}/{owner}/{position}/{turn}", len(rest)))))
    return spots


def _complete(problem: Problem, mine: Mapping[Spot, int]) -> set[int]:
    """Batches of which every animal has its place."""
    placed: dict[int, int] = {}
    for (owner, position, _), count in mine.items():
        placed[owner] = placed.get(owner, 0) + (count if position == 0 else 0)
    return {owner for owner, count in placed.items() if count == problem.batches[owner].count}
