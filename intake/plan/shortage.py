"""Why animals have no place: the smallest set of facts that keeps a batch out, found by planning it again without them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

from intake.plan.model.occupancy import Layout, Occupant
from intake.plan.model.waived_occupancy import BARS, RESOURCES, Fact, WaivedOccupancy
from intake.plan.problem import BatchNeed, Problem
from intake.plan.search.first_fit import place_batch
from intake.plan.solution import Binding, Short
from intake.plan.tuning import REASONS_MOST_PLANNED, REASONS_MOST_TOLD

__all__ = ["shortages"]


_WORDS = {
    "area": "bench area m²",
    "oxygen": "oxygen mg/h",
    "ammonia": "ammonia budget mg N/h",
    "finding": "water without a standing finding",
    "closed": "vats in service",
    "lot": "quarantine vats free of other lots",
    "fallow": "quarantine vats whose fallow days are over",
    "company": "vats with no incompatible animals",
    "supplier": "quarantine systems not used by another supplier",
    "water": "systems with no incompatible animals",
    "release": "quarantine systems whose lots leave on the same day",
    "portion": "smallest portion, animals",
    "vats": "vats per batch",
}

_SCALE = {"area": 1e6, "oxygen": 1e3, "ammonia": 1e3}


def shortages(problem: Problem, layout: Layout) -> tuple[Short, ...]:
    """Every batch with animals left over and what keeps them out, what would help most first.

    A fact counts as a reason when the batch, planned again without it with everyone else where the plan has them, places more
    animals.  Where no fact by itself would do, the facts of an irreducible set are reported: without all of them it places
    more, and without any one of them being gone it does not (deletion filter: Chinneck & Dravnieks 1991).  ``gain`` is what the
    batch places more without the fact alone, 0 for a fact that only counts together with the others reported.
    """
    asked = _Asked(problem, layout)
    left = {owner: batch.count - layout.placed(owner) for owner, batch in enumerate(problem.batches)}
    why = {owner: asked.why(owner, left[owner]) for owner in sorted(left, key=lambda one: -left[one]) if left[owner]}
    return tuple(Short(problem.batches[owner].id, left[owner], why[owner]) for owner in sorted(why))


@dataclass(frozen=True, slots=True)
class _Seen:
    """What stands in the way of a batch in one system: vats it would suit, bars by vat, the days of the last in the way."""

    vats: tuple[int, ...]
    stage: str
    start: int
    end: int


class _Asked:
    """The farm as planned, asked batch by batch; after so many plannings only the facts are counted."""

    def __init__(self, problem: Problem, layout: Layout) -> None:
        self.problem, self.layout = problem, layout
        self.occupancy = WaivedOccupancy(problem, homes=layout.homes)
        self.occupancy.fill(layout)
        self.tries = 0

    def why(self, owner: int, left: int) -> tuple[Binding, ...]:
        batch = self.problem.batches[owner]
        excluded = [one for stage in batch.stages if not stage.vats for one in stage.excluded]
        if excluded:
            return tuple(Binding(one.resource, one.where, one.need, one.have, left) for one in excluded)
        mine = [spot for spot in self.layout.counts if spot[0] == owner]
        kept = self.occupancy.ends[owner]
        for spot in mine:
            self.occupancy.take(self.occupancy.tenant(spot, self.layout.counts[spot]))
        facts = self._facts(owner)
        told = self._told(owner, facts)
        bindings = tuple(self._binding(owner, fact, facts[fact], gain) for fact, gain in told.items())
        self.occupancy.waive(frozenset())
        self.occupancy.ends[owner] = kept
        for spot in mine:
            self.occupancy.put(self.occupancy.tenant(spot, self.layout.counts[spot]))
        return bindings or (Binding("free places that fit together", "whole farm", left, 0),)

    # ── which facts there are ───────────────────────────────────────────────────────────────────────────────────────

    def _facts(self, owner: int) -> dict[Fact, _Seen]:
        """Facts in the way somewhere, system by system; the batch itself stands nowhere."""
        batch, found = self.problem.batches[owner], dict[Fact, _Seen]()
        for position, stage in enumerate(batch.stages):
            vats = self.occupancy.stage_vats[owner][position]
            start, end = self.occupancy.days(owner, position, self.occupancy.own_ends[owner])
            for system in dict.fromkeys(self.occupancy.system_of[vat] for vat in vats):
                here = tuple(vat for vat in vats if self.occupancy.system_of[vat] == system)
                seen = _Seen(here, stage.stage, start, end)
                found |= {(kind, system): seen for kind in self._active(owner, position, seen)}
            for opening in stage.opening:
                shut = tuple(self.occupancy.vat_index[vat] for vat in opening.vats)
                found["finding", self.occupancy.system_of[shut[0]]] = _Seen(shut, stage.stage, start, end)
        if batch.min_portion > 1:
            found["portion", -1] = _Seen((), "", 0, 0)
        if any(len(vats) > batch.max_vats for vats in self.occupancy.stage_vats[owner]):
            found["vats", -1] = _Seen((), "", 0, 0)
        return found

    def _active(self, owner: int, position: int, seen: _Seen) -> Iterator[str]:
        batch = self.problem.batches[owner]
        bars = {
            kind
            for vat in seen.vats
            for kind in self.occupancy.bars(
                self.occupancy.tenant((owner, position, vat), 0, self.occupancy.own_ends[owner])
            )
        }
        rooms: dict[str, int] = {}
        for vat in seen.vats:
            one = self.occupancy.tenant((owner, position, vat), 1, self.occupancy.own_ends[owner])
            for kind, room in self.occupancy.rooms(one, batch.count):
                rooms[kind] = rooms.get(kind, 0) + room if kind != "ammonia" else room
        yield from (kind for kind in BARS if kind in bars)
        yield from (kind for kind in RESOURCES if kind in rooms and rooms[kind] < batch.count)

    # ── which of them count ─────────────────────────────────────────────────────────────────────────────────────────

    def _told(self, owner: int, facts: Mapping[Fact, _Seen]) -> dict[Fact, int]:
        """Facts to report, each with what its going alone would gain."""
        if self.tries * len(self.problem.vats) > REASONS_MOST_PLANNED:
            return dict.fromkeys(list(facts)[:REASONS_MOST_TOLD], 0)
        before = max(self._places(owner, ()), self.layout.placed(owner))
        gains = {fact: self._places(owner, (fact,)) - before for fact in facts}
        helps = [(fact, gain) for fact, gain in gains.items() if gain > 0]
        alone = dict(sorted(helps, key=lambda one: (-one[1], one[0][0] in RESOURCES)))
        wanted = self.problem.batches[owner].count
        if any(before + gain >= wanted for gain in alone.values()):
            return dict(list(alone.items())[:REASONS_MOST_TOLD])
        together = self._irreducible(owner, list(facts), alone)
        order = [*alone, *(fact for fact in facts if fact in together and fact not in alone)]  # the same on every run
        kept = [fact for fact in order if fact in together or fact in alone]
        return {fact: max(0, gains[fact]) for fact in kept[:REASONS_MOST_TOLD]}

    def _irreducible(self, owner: int, facts: list[Fact], alone: Collection[Fact]) -> set[Fact]:
        """Facts that let in all that can be let in when all of them are gone, none of which can be left out of that."""
        most = self._places(owner, facts)
        if most <= self._places(owner, ()):
            return set()
        kept = list(facts)
        crowd = {fact: sum(other[1] == fact[1] for other in facts) for fact in facts}
        for fact in sorted(facts, key=lambda one: (one in alone, -crowd[one], facts.index(one))):
            less = [one for one in kept if one != fact]
            if self._places(owner, less) >= most:
                kept = less
        return set(kept)

    def _places(self, owner: int, without: Collection[Fact]) -> int:
        """Animals of the batch that find a place once some facts are gone, everyone else where the plan has them."""
        self.tries += 1
        self.occupancy.waive(frozenset(without))
        batch = self.problem.batches[owner]
        kinds = {kind for kind, _ in without}
        freer = replace(
            batch,
            min_portion=1 if "portion" in kinds else batch.min_portion,
            max_vats=len(self.problem.vats) if "vats" in kinds else batch.max_vats,
        )
        self._ask_as(owner, freer)
        closed = self._open(owner, {system for kind, system in without if kind == "finding"})
        spots = place_batch(self.occupancy, owner)
        self.occupancy.stage_vats[owner] = closed
        for spot, count in spots.items():
            self.occupancy.take(self.occupancy.tenant(spot, count))
        self._ask_as(owner, batch)
        return sum(count for (_, position, _), count in spots.items() if position == 0)

    def _open(self, owner: int, systems: Collection[int]) -> list[list[int]]:
        """Let the batch have the vats of some waters that a finding closes to it; what it had before."""
        before = self.occupancy.stage_vats[owner]
        index, system_of = self.occupancy.vat_index, self.occupancy.system_of
        self.occupancy.stage_vats[owner] = [
            [*vats, *(index[vat] for one in stage.opening for vat in one.vats if system_of[index[vat]] in systems)]
            for vats, stage in zip(before, self.problem.batches[owner].stages, strict=True)
        ]
        return before

    def _ask_as(self, owner: int, batch: BatchNeed) -> None:
        problem = self.occupancy.problem
        if batch != problem.batches[owner]:
            batches = (*problem.batches[:owner], batch, *problem.batches[owner + 1 :])
            self.occupancy.problem = replace(problem, batches=batches)

    # ── in words and numbers ────────────────────────────────────────────────────────────────────────────────────────

    def _binding(self, owner: int, fact: Fact, seen: _Seen, gain: int) -> Binding:
        kind, system = fact
        batch = self.problem.batches[owner]
        if kind == "portion":
            return Binding(_WORDS[kind], "whole farm", batch.min_portion, 1, gain)
        if kind == "vats":
            return Binding(_WORDS[kind], "whole farm", batch.max_vats + 1, batch.max_vats, gain)
        where = f"{seen.stage} in {self.problem.systems[system].id}"
        if kind == "finding":
            return Binding(_WORDS[kind], f"{where} ({self._opens(batch, seen.vats)})", 1, 0, gain)
        if kind in RESOURCES:
            return self._resource(batch, kind, seen, where, gain)
        stage = next(place for place, one in enumerate(batch.stages) if one.stage == seen.stage)
        shut = [vat for vat in seen.vats if kind in self._bars_of(owner, stage, vat)]
        names = ", ".join(self.problem.vats[vat].id for vat in shut)
        told = "" if kind in {"supplier", "release", "water"} else f": {names}"
        who = self._in_the_way(owner, stage, kind, shut)
        if kind in {"supplier", "release", "water"}:
            return Binding(_WORDS[kind], f"{where}{who}", 1, 0, gain)
        return Binding(_WORDS[kind], f"{where}{told}{who}", len(seen.vats), len(seen.vats) - len(shut), gain)

    def _opens(self, batch: BatchNeed, vats: Collection[int]) -> str:
        """When a water that a finding closes is open to the batch, in words."""
        names = {self.problem.vats[vat].id for vat in vats}
        return next(one.words for stage in batch.stages for one in stage.opening if names == set(one.vats))

    def _bars_of(self, owner: int, stage: int, vat: int) -> set[str]:
        return set(self.occupancy.bars(self.occupancy.tenant((owner, stage, vat), 0, self.occupancy.own_ends[owner])))

    def _in_the_way(self, owner: int, stage: int, kind: str, shut: list[int]) -> str:
        """Who stands there and until when; empty for what is nobody's doing."""
        if kind == "closed" or not shut:
            return ""
        system = self.occupancy.system_of[shut[0]]
        newcomer = self.occupancy.tenant((owner, stage, shut[0]), 0, self.occupancy.own_ends[owner])
        whole = kind in {"supplier", "release", "water"}
        vats = self.occupancy.vats_of[system] if whole else shut
        others = [one for vat in vats for one in self.occupancy.inside[vat] if self._counts(newcomer, one, kind)]
        if not others:
            return ""
        last = max(others, key=lambda one: one.end)
        name = last.supplier if kind == "supplier" and last.supplier else last.name or last.lot[0] or last.group
        return f" ({name} {self._until(last)})"

    def _counts(self, newcomer: Occupant, other: Occupant, kind: str) -> bool:
        gap = max(self.problem.vats[vat].fallow_days for vat in range(len(self.problem.vats)))
        near = other.start <= newcomer.end + gap and newcomer.start <= other.end + gap
        if kind == "supplier":
            return near and other.supplier != newcomer.supplier
        if kind == "release":
            return near and other.free is not None and other.free != newcomer.free
        return near and (kind not in {"lot", "fallow"} or other.lot != newcomer.lot)

    def _until(self, other: Occupant) -> str:
        day = self.problem.day_zero + timedelta(days=min(other.end, 20_000))
        known = other.end < 9_000
        return f"until {day.isoformat()}" if known else "with no day of leaving"

    def _resource(self, batch: BatchNeed, kind: str, seen: _Seen, where: str, gain: int) -> Binding:
        """What the whole batch needs of a resource against what whole animals can use of it there."""
        owner = self.problem.batches.index(batch)
        place = next(n for n, stage in enumerate(batch.stages) if stage.stage == seen.stage)
        ones = [self.occupancy.tenant((owner, place, vat), 1, self.occupancy.own_ends[owner]) for vat in seen.vats]
        last = ones[0].pieces()[-1]
        each = {"area": last.area, "oxygen": last.oxygen, "ammonia": last.ammonia}[kind]
        self.occupancy.waive(frozenset())
        rooms = [dict(self.occupancy.rooms(one, batch.count)).get(kind, 0) for one in ones]
        have = (max(rooms, default=0) if kind == "ammonia" else sum(rooms)) * each
        scale = _SCALE[kind]
        return Binding(_WORDS[kind], where, round(each * batch.count / scale, 3), round(have / scale, 3), gain)
