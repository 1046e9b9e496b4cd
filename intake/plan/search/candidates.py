"""Which vats to offer to the batches of a step: all if few, else those in use, those with most room and some by chance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from intake.plan.model.occupancy import Scene, Spot
from intake.plan.problem import Problem
from intake.plan.search.seeded_random import draw

__all__ = ["offered"]

_OFFERED = 40
"""Vats offered to one batch in one stage of a step."""

_FEW = 6
"""Vats offered in a stage that is not looked at."""


def offered(
    scene: Scene,
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
        and all(len(vats) <= _OFFERED for owner in owners for vats in scene.stage_vats[owner])
    ):
        return None
    spots = set(mine)
    emptied = {vat for _, _, vat in mine}
    complete = _complete(scene.problem, mine)
    for owner in owners:
        for position, vats in enumerate(scene.stage_vats[owner]):
            if given is not None and scene.by_lots(owner, position):
                spots.update((owner, position, vat) for vat in vats if vat in given.get(owner, ()))
                continue
            beside = bool(focus) and scene.problem.batches[owner].stages[position].stage != focus
            if beside and owner in complete:
                continue
            most = _FEW if beside else _OFFERED
            rooms = sorted((vat not in emptied, -scene.most((owner, position, vat)), vat) for vat in vats)
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
