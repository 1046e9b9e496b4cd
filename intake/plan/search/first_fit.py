"""First fit decreasing: a complete first plan within a second, for the solver to start from and to stand if stopped."""

from __future__ import annotations

from intake.plan.model.occupancy import Layout, Occupancy, Spot

__all__ = ["first_plan", "place_batch"]


def first_plan(occupancy: Occupancy) -> Layout:
    """Place batch after batch, the most bench area × days first; present stock stays where it is.

    Parameters
    ----------
    occupancy
        Filled with present stock only; on return also with the animals placed.
    """
    counts: dict[Spot, int] = {}
    for owner in _order(occupancy):
        counts.update(place_batch(occupancy, owner))
    homes = tuple(occupancy.vat_index[standing.vat] for standing in occupancy.problem.standing)
    return Layout(dict(sorted(counts.items())), homes)


def _order(occupancy: Occupancy) -> list[int]:
    def bulk(owner: int) -> tuple[int, str]:
        batch = occupancy.problem.batches[owner]
        days = sum(stage.end_day - stage.start_day for stage in batch.stages)
        return (-batch.count * batch.footprint_mm2 * days, batch.id)

    return sorted(range(len(occupancy.problem.batches)), key=bulk)


def place_batch(occupancy: Occupancy, owner: int) -> dict[Spot, int]:
    """Put as many animals of one batch as fit into its fullest-suited vats, stage by stage, and return the spots."""
    batch = occupancy.problem.batches[owner]
    if batch.excluded:
        return {}
    target = batch.count
    while target >= batch.min_portion:
        portions: dict[Spot, int] = {}
        reached = target
        for position in range(len(batch.stages)):
            portions |= (share := _spread(occupancy, owner, position, target))
            reached = min(reached, sum(share.values()))
        if reached == target:
            return portions
        for spot, count in portions.items():
            occupancy.take(occupancy.tenant(spot, count))
        target = reached
    return {}


def _spread(occupancy: Occupancy, owner: int, position: int, target: int) -> dict[Spot, int]:
    """Spread animals over the vats of one stage, those with most room first; what was put stays put."""
    batch = occupancy.problem.batches[owner]
    share: dict[Spot, int] = {}
    left = target
    while left and len(share) < batch.max_vats:
        best, most = _roomiest(occupancy, owner, position, share)
        count = min(most, left)
        if 0 < left - count < batch.min_portion:
            count = left - batch.min_portion if most < left and left >= 2 * batch.min_portion else count
        if best < 0 or count < batch.min_portion:
            break
        share[owner, position, best] = count
        occupancy.put(occupancy.tenant((owner, position, best), count))
        left -= count
    return share


def _roomiest(occupancy: Occupancy, owner: int, position: int, share: dict[Spot, int]) -> tuple[int, int]:
    """The vat with most room; among equals one its lot already uses, then one in water its supplier uses."""
    batch = occupancy.problem.batches[owner]
    best, key = -1, (0, False, False)
    for vat in occupancy.stage_vats[owner][position]:
        if (owner, position, vat) in share:
            continue
        room = occupancy.most((owner, position, vat))
        if room < max(1, batch.min_portion) or room < key[0]:
            continue
        used = any(other.lot == batch.lot for other in occupancy.inside[vat])
        water = any(
            other.supplier == batch.supplier
            for near in occupancy.vats_of[occupancy.system_of[vat]]
            for other in occupancy.inside[near]
        )
        if (room, used, water) > key:
            best, key = vat, (room, used, water)
    return best, key[0]
