"""The ground of every judgement: farm, library and floor at a moment, asked who stands where and what the water has seen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from intake.farm.floor import Batch, Done, Floor, Stay
from intake.farm.site import Site, System
from intake.library import Group, Library
from intake.library.treatments import COPPER
from intake.rules.acts import Placing, Portion

__all__ = ["COPPER_CLEAR_UG_PER_L", "MEDICINE_DAYS", "Scene"]

COPPER_CLEAR_UG_PER_L = 5.0
"""Copper readings below this on two days, after cleaning, clear water that once held copper (study K02, default)."""

MEDICINE_DAYS = 30
"""Days a medicine put into water is taken to be there still, unless every vat was cleaned since (design default)."""


@dataclass(frozen=True, slots=True)
class Scene:
    """Farm, library and floor at the moment of the floor."""

    site: Site
    library: Library
    floor: Floor

    def day(self, moment: datetime) -> date:
        """The date at the farm."""
        return moment.astimezone(self.site.farm.zone).date()

    def day_words(self, moment: datetime) -> str:
        """The date at the farm, in words."""
        return f"{self.day(moment):%a} {self.day(moment).day} {self.day(moment):%b}"

    def group(self, batch: Batch) -> Group:
        """Husbandry group of a batch."""
        return self.library.group(batch.group, f"batch {batch.id}, group")

    def kin(self, batch: Batch) -> str:
        """Group of a batch, with its genus or family where company depends on them."""
        return self.library.kin(batch.group, batch.name)

    def taxa(self, batch: Batch) -> frozenset[str]:
        """Genus and family of a batch."""
        return self.library.taxa.scopes(batch.name)

    def batch(self, identity: str) -> Batch:
        """A batch of the ledger."""
        return self.floor.batches[identity]

    def system(self, vat: str) -> System:
        """The water of a vat."""
        return self.site.system_of(vat)

    def waters(self, vats: Iterable[str]) -> tuple[System, ...]:
        """The systems of some vats, each once."""
        return tuple({self.system(vat).id: self.system(vat) for vat in vats if vat in self.site.vats}.values())

    def in_water(self, system: str) -> tuple[Stay, ...]:
        """Everybody who is in a system."""
        vats = {vat.id for vat in self.site.vats_of(system)}
        return tuple(stay for stay in self.floor.stays if stay.vat in vats)

    def after(self, act: Placing) -> Scene:
        """The scene as it would be with these animals in their vats."""
        if act.door == "check":
            return self
        stays = {(stay.batch, stay.vat): stay for stay in self.floor.stays}
        for row in act.rows:
            left = stays.get((row.batch.id, row.source))
            if left is not None:
                stays[row.batch.id, row.source] = replace(left, count=left.count - row.count)
        for row in act.rows:
            here = stays.get((row.batch.id, row.vat))
            fresh = Stay(row.batch.id, row.vat, row.count, act.at, row.stage)
            stays[row.batch.id, row.vat] = replace(here, count=here.count + row.count) if here else fresh
        batches = {**self.floor.batches, **{row.batch.id: row.batch for row in act.rows}}
        kept = tuple(stay for stay in stays.values() if stay.count > 0)
        return replace(self, floor=replace(self.floor, stays=kept, batches=batches))

    def closed_words(self, vat: str, at: datetime, entered: datetime | None = None) -> str:
        """Why a vat is closed at a moment, in words; empty when it is open.

        ``entered``: only closures that already stood when the animals entered.
        """
        asked = at if entered is None else entered
        for one in self.floor.closures:
            if one.vat == vat and one.holds(at) and one.since <= asked:
                until = f" to {self.day_words(one.until)}" if one.until else ""
                return f"closed from {self.day_words(one.since)}{until}: {one.reason}"
        opened, day = self.floor.opened.get(vat), self.day(at)
        for gap in self.site.vat(vat).closed:
            for first, last in gap.spans(day, day):
                lifted = opened is not None and self.day(opened) >= first
                if first <= day <= last and first <= self.day(asked) and not lifted:
                    why = f": {gap.why}" if gap.why else ""
                    return f"closed from {first} to {last} by the farm file{why}"
        return ""

    def agents_of(self, done: Done) -> tuple[str, ...]:
        """Agent classes of work done, also where the ledger was written before they were kept."""
        if done.agents:
            return done.agents
        parts = done.task.split("/")
        return self.library.agents(parts[1]) if len(parts) > 1 and parts[1] in self.library.dips else ()

    def where_of(self, done: Done) -> str:
        """Where work was done: in the water of the vat, or beside it."""
        if done.where:
            return done.where
        agents = self.agents_of(done)
        treatment = self.library.treatments.of_agent(agents[0]) if agents else None
        return treatment.where if treatment is not None else "tub"

    def medicines(self, system: str, at: datetime) -> tuple[tuple[str, datetime], ...]:
        """(agent, when) of what was put into a water and not cleaned out of every vat since; copper is asked apart."""
        vats = self.site.vats_of(system)
        names = {vat.id for vat in vats}
        found = []
        for done in self.floor.done:
            if done.vat not in names or done.at > at or self.where_of(done) != "vat" or done.kind == "test":
                continue
            cleaned = all(self.floor.cleaned.get(vat.id, done.at) > done.at for vat in vats)
            if not cleaned and at - done.at <= timedelta(days=MEDICINE_DAYS):
                found += [(agent, done.at) for agent in self.agents_of(done) if agent not in COPPER]
        return tuple(found)

    def copper(self, system: str, at: datetime) -> datetime | None:
        """When copper was last in a water that has not been shown clear of it since; ``None`` when never or cleared."""
        vats = self.site.vats_of(system)
        names = {vat.id for vat in vats}
        times = [
            done.at
            for done in self.floor.done
            if done.vat in names
            and done.at <= at
            and self.where_of(done) == "vat"
            and COPPER & set(self.agents_of(done))
        ]
        if not times:
            return None
        last = max(times)
        cleaned = [self.floor.cleaned.get(vat.id, last) for vat in vats]
        after = max(cleaned)
        places = {system, *(f"vat:{name}" for name in names), *names}
        readings = [
            one
            for one in self.floor.readings
            if one.place in places and one.quantity == "copper_ug_per_l" and after < one.at <= at
        ]
        days = {self.day(one.at) for one in readings}
        clear = min(cleaned) > last and len(days) >= 2 and all(one.value < COPPER_CLEAR_UG_PER_L for one in readings)
        return None if clear else last

    def last_left(self, vat: str, before: datetime) -> tuple[datetime, str] | None:
        """When the last animals left a vat, and which batch they were."""
        ends = [(one.end, one.batch) for one in self.floor.past if one.vat == vat and one.end <= before]
        return max(ends, default=None)

    def origin(self, batch: Batch) -> Batch:
        """The batch a cutting was taken from, through all its parents; the batch itself when it is none."""
        seen = {batch.id}
        while not batch.shipment and batch.parent in self.floor.batches and batch.parent not in seen:
            batch = self.floor.batches[batch.parent]
            seen.add(batch.id)
        return batch

    def supplier(self, batch: Batch) -> str:
        """Who sent a batch, or the parent it was cut from; ``house`` for stock of the house."""
        return self.origin(batch).supplier or "house"

    def lot(self, batch: Batch, since: datetime) -> str:
        """The lot of a batch: its shipment, or its parent's; for stock of the house the day it entered."""
        return self.origin(batch).shipment or f"house stock of {self.day(since)}"


def portions(stays: Sequence[Stay], floor: Floor) -> tuple[Portion, ...]:
    """Stays as portions that stand where they are."""
    return tuple(Portion(floor.batches[one.batch], one.vat, one.count, one.vat, one.stage) for one in stays)
