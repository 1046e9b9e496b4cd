"""First fit decreasing: a complete first plan within a second, for the solver to start from and to stand if stopped."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from intake.plan.model.occupancy import Layout, Occupancy, Occupant, Spot

__all__ = ["ends_open", "first_plan", "later_ends", "place_batch"]


def first_plan(occupancy: Occupancy) -> Layout:
    """Place batch after batch, the most bench area × days first; current stock stays where it is.

    Parameters
    ----------
    occupancy
        Filled with current stock only; on return also with the animals placed.
    """
    counts: dict[Spot, int] = {}
    for owner in _order(occupancy):
        counts.update(place_batch(occupancy, owner))
    homes = tuple(occupancy.vat_index[standing.vat] for standing in occupancy.problem.standing)
    return Layout(dict(sorted(counts.items())), homes, later_ends(occupancy, {owner for owner, _, _ in counts}))


def later_ends(occupancy: Occupancy, owners: Iterable[int]) -> dict[int, int]:
    """Of some batches those that leave quarantine later than on their own, with the day."""
    own = occupancy.own_ends
    return {owner: occupancy.ends[owner] for owner in sorted(owners) if occupancy.ends[owner] > own[owner]}


def _order(occupancy: Occupancy) -> list[int]:
    def bulk(owner: int) -> tuple[int, str]:
        batch = occupancy.problem.batches[owner]
        days = sum(stage.end_day - stage.start_day for stage in batch.stages)
        return (-batch.count * batch.footprint_mm2 * days, batch.id)

    order = sorted(range(len(occupancy.problem.batches)), key=bulk)
    lots: dict[tuple[str, int], list[int]] = {}
    for owner in order:
        lots.setdefault(occupancy.problem.batches[owner].lot, []).append(owner)
    for owners in lots.values():
        owners.sort(
            key=lambda owner: -occupancy.own_ends[owner]
        )  # who must stay longest comes first, the others wait for it
    return [lots[occupancy.problem.batches[owner].lot].pop(0) for owner in order]


def place_batch(occupancy: Occupancy, owner: int) -> dict[Spot, int]:
    """Put as many animals of one batch as fit into its fullest-suited vats, stage by stage, and return the spots.

    It leaves quarantine on its own day, or with a lot that stands where it goes and stays longer; no one who is there waits
    for it.  Of days on which as many animals find a place the first is taken.
    """
    batch = occupancy.problem.batches[owner]
    best: dict[Spot, int] = {}
    chosen = occupancy.own_ends[owner]
    for end in [] if batch.excluded else ends_open(occupancy, owner):
        portions = _place_until(occupancy, owner, end)
        if _placed(portions) > _placed(best):
            best, chosen = portions, end
        for spot, count in portions.items():
            occupancy.take(occupancy.tenant(spot, count))
        if _placed(best) == batch.count:
            break
    occupancy.ends[owner] = chosen
    for spot, count in best.items():
        occupancy.put(occupancy.tenant(spot, count))
    return best


def _placed(portions: Mapping[Spot, int]) -> int:
    return sum(count for (_, position, _), count in portions.items() if position == 0)


def ends_open(occupancy: Occupancy, owner: int) -> list[int]:
    """The batch's own end, and those of lots that stand where it may go, for which it would wait."""
    own, most = occupancy.own_ends[owner], occupancy.problem.most_days_held
    waters = _quarantine_waters(occupancy, owner)
    later = {one.free or own for one in _waited_for(occupancy, owner, waters)}
    return [own, *sorted(end for end in later if own < end <= own + most)]


def _quarantine_waters(occupancy: Occupancy, owner: int) -> set[int]:
    place = occupancy.in_quarantine[owner]
    return {occupancy.system_of[vat] for vat in occupancy.stage_vats[owner][place]} if place >= 0 else set()


def _waited_for(occupancy: Occupancy, owner: int, waters: Iterable[int]) -> list[Occupant]:
    """Lots in some waters that entered by the batch's own end and end later themselves."""
    own = occupancy.own_ends[owner]
    return [
        one
        for water in waters
        for vat in occupancy.vats_of[water]
        for one in occupancy.inside[vat]
        if one.free is not None and one.start <= own < one.own and occupancy.problem.together
    ]


def _place_until(occupancy: Occupancy, owner: int, end: int) -> dict[Spot, int]:
    """Place a batch that leaves quarantine on a day, later than its own only in waters where it waits for someone."""
    occupancy.ends[owner] = end
    batch, closed = occupancy.problem.batches[owner], set[int]()
    if end > occupancy.own_ends[owner]:
        waters = _quarantine_waters(occupancy, owner)
        closed = {one for one in waters if all(lot.free != end for lot in _waited_for(occupancy, owner, [one]))}
    target = batch.count
    while target >= batch.min_portion:
        portions: dict[Spot, int] = {}
        reached = target
        for position in range(len(batch.stages)):
            shut = closed if position == batch.quarantine else set()
            portions |= (share := _spread(occupancy, owner, position, target, shut))
            reached = min(reached, sum(share.values()))
        if reached == target:
            return portions
        for spot, count in portions.items():
            occupancy.take(occupancy.tenant(spot, count))
        target = reached
    return {}


def _spread(occupancy: Occupancy, owner: int, position: int, target: int, shut: Collection[int]) -> dict[Spot, int]:
    """Spread animals over the vats of one stage outside some waters, those with most room first; what was put stays put."""
    batch = occupancy.problem.batches[owner]
    share: dict[Spot, int] = {}
    left = target
    while left and len(share) < batch.max_vats:
        best, most = _roomiest(occupancy, owner, position, share, shut)
        count = min(most, left)
        if 0 < left - count < batch.min_portion:
            count = left - batch.min_portion if most < left and left >= 2 * batch.min_portion else count
        if best < 0 or count < batch.min_portion:
            break
        share[owner, position, best] = count
        occupancy.put(occupancy.tenant((owner, position, best), count))
        left -= count
    return share


def _roomiest(
    occupancy: Occupancy, owner: int, position: int, share: Mapping[Spot, int], shut: Collection[int]
) -> tuple[int, int]:
    """The vat with most room; among equals one its lot already uses, then one in water its supplier uses."""
    batch = occupancy.problem.batches[owner]
    best, key = -1, (0, False, False)
    for vat in occupancy.stage_vats[owner][position]:
        if (owner, position, vat) in share or occupancy.system_of[vat] in shut:
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
