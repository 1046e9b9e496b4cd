"""Vector packing with a known optimum: bins cut up into items, so that the bins cut are the fewest that hold them all.

Public sets of three dimensions exist only as archives whose text could not be had, so these are drawn here; those that
could be had are read by ``public``.  Each bin of 100 by 100 by 100 is cut into items.  A *triplet* bin is cut into
three and filled exactly; a *mixed* bin into two to five with a little left over, in all less than one bin of the
scarcest dimension.  So no fewer bins can hold the items.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from random import Random

from intake.plan import BatchNeed, Problem, StageNeed, SystemOffer, VatOffer

__all__ = ["SIZE", "Packing", "as_plan", "mixed", "triplets"]

SIZE = 100
DIMENSIONS = 3
Item = tuple[int, int, int]


@dataclass(frozen=True)
class Packing:
    """Items to be packed into as few bins as possible, how few that is, and what one bin holds in each dimension."""

    name: str
    items: tuple[Item, ...]
    fewest: int
    size: Item = (SIZE, SIZE, SIZE)


def triplets(bins: int, seed: int) -> Packing:
    """Three items a bin, nothing left over in any dimension."""
    rng = Random(f"triplets/{bins}/{seed}")
    items = [item for _ in range(bins) for item in _cut(rng, 3, [0] * DIMENSIONS)]
    rng.shuffle(items)
    return Packing(f"triplets {len(items)} #{seed}", tuple(items), bins)


def mixed(bins: int, seed: int) -> Packing:
    """Two to five items a bin, a little left over; in the first dimension less than one bin in all."""
    rng = Random(f"mixed/{bins}/{seed}")
    items: list[Item] = []
    for _ in range(bins):
        loss = [rng.randint(0, (SIZE - 1) // bins), rng.randint(0, 20), rng.randint(0, 20)]
        items += _cut(rng, rng.randint(2, 5), loss)
    rng.shuffle(items)
    return Packing(f"mixed {len(items)} #{seed}", tuple(items), bins)


def _cut(rng: Random, parts: int, loss: list[int]) -> list[Item]:
    """Items that together fill a bin but for the loss in each dimension."""
    columns = []
    for lost in loss:
        room = SIZE - lost
        least = room // (3 * parts)
        marks = sorted(rng.randint(0, room - parts * least) for _ in range(parts - 1))
        edges = [0, *marks, room - parts * least]
        columns.append([high - low + least for low, high in pairwise(edges)])
    return [(columns[0][part], columns[1][part], columns[2][part]) for part in range(parts)]


def as_plan(packing: Packing, bins: int) -> Problem:
    """The same question to the planner: every bin a vat in water of its own, every item a batch of one animal.

    Bench area, oxygen and the filter of the vat's own water are the three dimensions; no other rule can bind.
    """
    names = [f"V{number:02}" for number in range(bins)]
    area, oxygen, ammonia = packing.size
    return Problem(
        date(2030, 1, 1),
        tuple(SystemOffer(name, "grow-out", ammonia) for name in names),
        tuple(VatOffer(name, name, area, oxygen) for name in names),
        tuple(
            BatchNeed(
                f"I{number:02}", f"S{number:02}", "P", "thing", 1, *item, (StageNeed("grow-out", 0, 1, tuple(names)),),
                max_vats=1,
            )
            for number, item in enumerate(packing.items)
        ),
    )  # fmt: skip
