"""What a new plan does otherwise than the accepted one, batch by batch, and why, in words for those who must do it."""

from __future__ import annotations

from collections.abc import Mapping

from intake.plan.model.occupancy import Layout, Occupancy, Occupant, Spot, full_occupancy
from intake.plan.problem import BatchNeed, Problem
from intake.plan.solution import Change

__all__ = ["changes_between"]

_Places = dict[int, int]

_BARS = {
    "closed": "{vat} is out of service then",
    "lot": "{vat} holds another lot then, or is fallow after it",
    "company": "{vat} holds incompatible animals",
    "supplier": "animals of another supplier are in the water of {vat} then",
    "release": "lots in the water of {vat} would leave quarantine on another day",
    "water": "animals it may not share water with are in the water of {vat} then",
}


def changes_between(problem: Problem, old: Mapping[Spot, int], new: Layout) -> tuple[Change, ...]:
    """Every stage of every batch of the accepted plan that changes, and every stay in the water that is moved.

    Parameters
    ----------
    old
        Animals by place in the accepted plan; batches it does not know cannot change.
    """
    found = []
    known = sorted({spot[0] for spot in old})
    for owner in known:
        for position, stage in enumerate(problem.batches[owner].stages):
            before, after = (_at(counts, owner, position) for counts in (old, new.counts))
            if before != after:
                why = _why(problem, old, new, (owner, position))
                found.append(
                    Change(
                        problem.batches[owner].id, stage.stage, _named(problem, before), _named(problem, after),
                        len(before.keys() ^ after.keys()), why,
                    )
                )  # fmt: skip
    for stay, home in zip(problem.standing, new.homes, strict=True):
        vat = problem.vats[home].id
        if vat != stay.vat:
            why = f"its room in {stay.vat} lets expected animals be placed"
            found.append(Change(stay.batch, stay.stage, ((stay.vat, stay.count),), ((vat, stay.count),), 1, why))
    return tuple(found)


def _at(counts: Mapping[Spot, int], owner: int, position: int) -> _Places:
    return {spot[2]: count for spot, count in sorted(counts.items()) if spot[:2] == (owner, position) and count}


def _named(problem: Problem, places: _Places) -> tuple[tuple[str, int], ...]:
    return tuple((problem.vats[vat].id, count) for vat, count in places.items())


def _why(problem: Problem, old: Mapping[Spot, int], new: Layout, at: tuple[int, int]) -> str:
    """The first reason that holds: of the numbers, of an old vat by itself, of who is there now, of who comes."""
    owner, position = at
    batch = problem.batches[owner]
    before, after = _at(old, owner, position), _at(new.counts, owner, position)
    number = _numbers(batch, sum(before.values()), new.placed(owner))
    gone = [vat for vat in before if vat not in after]
    present = Occupancy(problem, homes=new.homes)
    reasons = [_of_vat(present, (owner, position, vat), before[vat]) for vat in gone]
    if not any(reasons):
        full = full_occupancy(problem, new)
        for vat, count in after.items():
            full.take(full.tenant((owner, position, vat), count))
        reasons = [_of_others(full, (owner, position, vat), before[vat]) for vat in gone]
    said = [reason for reason in (number, *reasons) if reason]
    return "; ".join(dict.fromkeys(said)) or "to fit as many animals as possible"


def _numbers(batch: BatchNeed, before: int, placed: int) -> str:
    words = ""
    if batch.count != before:
        words = f"{batch.count} animals are announced, {before} had a place"
    if placed < batch.count and placed != before:
        words = f"{words}, now {placed or 'none'}" if words else f"{placed or 'none'} of {batch.count} are placed"
    return words


def _only(room: int) -> str:
    return f"only {room}" if room else "none"


def _of_vat(occupancy: Occupancy, spot: Spot, count: int) -> str:
    """Why a place is no longer any good even without the other animals still to come."""
    owner, position, vat = spot
    name = occupancy.problem.vats[vat].id
    if vat not in occupancy.stage_vats[owner][position]:
        return f"{name} no longer suits it"
    barred = occupancy.barred(occupancy.tenant(spot, 0))
    if barred:
        return _BARS[barred].format(vat=name) + _who(occupancy, spot, barred)
    room = occupancy.most(spot)
    return f"{_only(room)} of {count} fit into {name} beside what is there" if room < count else ""


def _of_others(occupancy: Occupancy, spot: Spot, count: int) -> str:
    """Why a place is no longer any good with the other animals where the new plan has them."""
    name = occupancy.problem.vats[spot[2]].id
    barred = occupancy.barred(occupancy.tenant(spot, 0))
    if barred:
        return _BARS[barred].format(vat=name) + _who(occupancy, spot, barred)
    room = occupancy.most(spot)
    return f"{_only(room)} of {count} fit into {name} beside those still to come" if room < count else ""


def _who(occupancy: Occupancy, spot: Spot, barred: str) -> str:
    """The groups that are in the way, where someone is."""
    if barred == "closed":
        return ""
    newcomer = occupancy.tenant(spot, 0)
    vats = [spot[2]] if barred in {"lot", "company"} else occupancy.vats_of[occupancy.system_of[spot[2]]]
    gap = occupancy.problem.vats[spot[2]].fallow_days if barred == "lot" else 0

    def meets(other: Occupant) -> bool:
        return other.start < newcomer.end + gap and newcomer.start < other.end + gap

    lots = {
        f"{other.lot[0] or other.group}"
        for vat in vats
        for other in occupancy.inside[vat]
        if meets(other) and other.lot != newcomer.lot
    }
    return f" ({', '.join(sorted(lots))})" if lots else ""
