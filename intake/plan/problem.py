"""The vat plan's question as numbers: vats, systems, batches with their stages, current stock and who keeps apart.

Quantities are integers (mm², µg per hour, days counted from ``day_zero``) so that the solver, the greedy and a judge
can agree to the last animal.  Nothing here knows how a group's needs were found; that is ``framing``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import pairwise
from typing import Literal

from intake.errors import BadInput, Finding
from intake.plan.tuning import MOST_DAYS_HELD

AWAY = "away"
"""Role of a system that stands for leaving the farm."""

__all__ = [
    "AWAY",
    "Apart",
    "BatchNeed",
    "Excluded",
    "Grown",
    "Opening",
    "Problem",
    "StageNeed",
    "Standing",
    "SystemOffer",
    "VatOffer",
]

Apart = Literal["touch", "vat", "water"]
Stage = Literal["quarantine", "healing", "grow-out"]


@dataclass(frozen=True, slots=True)
class VatOffer:
    """What one vat offers.

    Attributes
    ----------
    area_mm2
        Bench area that may be filled, after the headroom the farm keeps free.
    oxygen_ug_per_h
        Oxygen that through-flow and aeration can supply before the strictest group's alarm is reached.
    fallow_days
        Days empty, cleaned and dry between two quarantine lots.
    divided
        Has dividers or trays, so that groups which may not touch can share it.
    closed
        Half-open ranges of days on which it holds no animals.
    weekly_cents
        What a vat kept in reserve costs a week when it is used; 0 for every other.
    """

    id: str
    system: str
    area_mm2: int
    oxygen_ug_per_h: int
    fallow_days: int = 0
    divided: bool = False
    closed: tuple[tuple[int, int], ...] = ()
    weekly_cents: int = 0


@dataclass(frozen=True, slots=True)
class SystemOffer:
    """Vats that share water.

    Attributes
    ----------
    ammonia_ug_per_h
        Ammonia nitrogen the mature filter takes up.
    new_filter_ug_per_h
        What it takes up before ``matured_day``.
    suppliers_share
        Whether lots of different suppliers may share this water in quarantine.
    prefers
        Suppliers and groups this quarantine water is meant for; anybody if empty.
    """

    id: str
    role: str
    ammonia_ug_per_h: int
    new_filter_ug_per_h: int = 0
    matured_day: int = 0
    suppliers_share: bool = False
    prefers: tuple[str, ...] = ()

    def stranger(self, batch: BatchNeed) -> bool:
        """Whether this quarantine water is meant for others than a batch."""
        meant_for = not self.prefers or batch.supplier in self.prefers or batch.group in self.prefers
        return self.role == "quarantine" and not meant_for

    def ammonia_on(self, day: int) -> int:
        """Ammonia budget on a day, in µg N per hour."""
        return self.ammonia_ug_per_h if day >= self.matured_day else self.new_filter_ug_per_h


@dataclass(frozen=True, slots=True)
class Excluded:
    """The rule that leaves a batch without a vat in one stage, in numbers."""

    resource: str
    where: str
    need: float
    have: float


@dataclass(frozen=True, slots=True)
class Opening:
    """Vats that suit a batch from a day on, when their water has stood free of hosts long enough, and that in words."""

    day: int
    vats: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class StageNeed:
    """One stage of a batch: half-open days and the vats whose water, light, flow and depth suit it.

    In quarantine the days are those of the batch's own clock; what follows moves along with a later end.  ``reserve`` names
    vats that would suit as well but are kept in reserve and have a price; ``opening`` is water that is closed on the first
    day and opens by waiting.
    """

    stage: Stage
    start_day: int
    end_day: int
    vats: tuple[str, ...]
    excluded: tuple[Excluded, ...] = ()
    reserve: tuple[str, ...] = ()
    opening: tuple[Opening, ...] = ()


@dataclass(frozen=True, slots=True)
class Grown:
    """Needs of one animal from a day on, once it has grown: never less than before."""

    from_day: int
    footprint_mm2: int
    oxygen_ug_per_h: int
    ammonia_ug_per_h: int

    def shifted(self, days: int) -> Grown:
        """The same growth so many days later."""
        return replace(self, from_day=self.from_day + days)


@dataclass(frozen=True, slots=True)
class BatchNeed:
    """One batch to be placed; the three needs are those of one animal during the batch's first stage.

    Attributes
    ----------
    grown
        Needs in the stages after the first, by the day from which each holds, in order of days; before the first of them, and
        without any, they are those of the first stage.
    weight
        Worth of one animal placed, against the others; 1 counts heads.
    min_portion
        Fewest animals put into one vat; a smaller batch stays together.
    max_vats
        Most vats for the batch in one stage.
    price_cents
        Price of one animal in cents of ``currency``; 0 where it is not known.
    stages
        In order of time; an animal placed is placed in every one of them.
    """

    id: str
    shipment: str
    supplier: str
    group: str
    count: int
    footprint_mm2: int
    oxygen_ug_per_h: int
    ammonia_ug_per_h: int
    stages: tuple[StageNeed, ...]
    weight: int = 1
    min_portion: int = 1
    max_vats: int = 4
    handling_seconds: int = 0
    name: str = ""
    price_cents: int = 0
    currency: str = ""
    grown: tuple[Grown, ...] = ()

    @property
    def lot(self) -> tuple[str, int]:
        """Which animals may enter a quarantine vat together: those of one shipment on one day."""
        return (self.shipment or self.id, self.stages[0].start_day if self.stages else 0)

    @property
    def quarantine(self) -> int:
        """Place of the quarantine among the stages; -1 without one."""
        return next((place for place, stage in enumerate(self.stages) if stage.stage == "quarantine"), -1)

    @property
    def own_end(self) -> int:
        """Day on which quarantine ends by the batch's own clock, other lots aside; 0 without quarantine."""
        return self.stages[self.quarantine].end_day if self.quarantine >= 0 else 0

    @property
    def excluded(self) -> bool:
        """Whether some stage has no vat at all."""
        return any(not stage.vats for stage in self.stages)


@dataclass(frozen=True, slots=True)
class Standing:
    """Animals already in a vat, or promised a vat by an accepted plan, for half-open days.

    Attributes
    ----------
    movable
        Whether the plan may put them into one of ``move_to`` instead, at a cost; only once quarantine is served.
    move_day
        The day of that move; until then they are in ``vat``.
    grown
        Needs of one animal from a day on, in order of days; those of the stay before that, and all through quarantine.
    left
        From a day on, how many are still there, as some are sold: fewer each time.
    served_day
        The day from which they may be moved or sold: quarantine has been served and nothing holds them.
    gather_to
        Quarantine vats whose water takes them as strays by the rules; ``None`` where nothing is known of that.
    """

    batch: str
    vat: str
    stage: str
    count: int
    group: str
    from_day: int
    until_day: int
    footprint_mm2: int
    oxygen_ug_per_h: int
    ammonia_ug_per_h: int
    shipment: str = ""
    supplier: str = ""
    movable: bool = False
    move_to: tuple[str, ...] = ()
    move_day: int = 0
    served_day: int = 0
    handling_seconds: int = 0
    gather_to: tuple[str, ...] | None = None
    grown: tuple[Grown, ...] = ()
    left: tuple[tuple[int, int], ...] = ()

    @property
    def lot(self) -> tuple[str, int]:
        """Which animals may enter a quarantine vat together: those of one shipment on one day."""
        return (self.shipment or self.batch, self.from_day)


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything the plan is made from; checked on construction.

    Parameters
    ----------
    apart
        Pairs of groups (sorted; a group may pair with itself) and how they are kept apart.
    together
        Whether lots that are in one quarantine water together must leave it on one day, as release will have it.  Days of
        stages are then those of the batch's own clock, and a plan may give later ones.
    most_days_held
        Most days a batch may be planned to stay longer than its own clock asks, because of other lots in its water.

    Raises
    ------
    BadInput
        With a finding per fault: unknown vats or systems, a negative quantity, days in the wrong order, an id twice.
    """

    day_zero: date
    systems: tuple[SystemOffer, ...]
    vats: tuple[VatOffer, ...]
    batches: tuple[BatchNeed, ...]
    standing: tuple[Standing, ...] = ()
    apart: Mapping[tuple[str, str], Apart] = field(default_factory=dict)
    together: bool = True
    most_days_held: int = MOST_DAYS_HELD

    def __post_init__(self) -> None:
        faults = [*_twice("system", self.systems), *_twice("vat", self.vats), *_twice("batch", self.batches)]
        systems = {system.id for system in self.systems}
        vats = {vat.id for vat in self.vats}
        faults += [
            Finding(f"plan, system {system.id}, new filter", str(system.new_filter_ug_per_h), "0 to the mature budget")
            for system in self.systems
            if not 0 <= system.new_filter_ug_per_h <= system.ammonia_ug_per_h
        ]
        for vat in self.vats:
            faults += _vat_faults(vat, systems)
        for batch in self.batches:
            faults += _batch_faults(batch, vats)
        for standing in self.standing:
            faults += _standing_faults(standing, vats)
        if faults:
            raise BadInput(faults)

    @property
    def announced(self) -> int:
        """Animals to be placed."""
        return sum(batch.count for batch in self.batches)

    @property
    def money(self) -> str | None:
        """The one currency of all prices, empty where none is named; ``None`` where they cannot be added up."""
        named = {batch.currency for batch in self.batches}
        return named.pop() if len(named) == 1 else None

    def kept_apart(self, one: str, other: str) -> Apart | Literal[""]:
        """How two groups are kept apart: not at all, by a divider, by a vat, or by separate water."""
        return self.apart.get((one, other) if one <= other else (other, one), "")


def _twice(kind: str, entries: Iterable[VatOffer | SystemOffer | BatchNeed]) -> list[Finding]:
    seen: set[str] = set()
    faults = []
    for entry in entries:
        if entry.id in seen:
            faults.append(Finding(f"plan, {kind} {entry.id}", entry.id, "each id once", "Rename one of the two."))
        seen.add(entry.id)
    return faults


def _vat_faults(vat: VatOffer, systems: set[str]) -> list[Finding]:
    where = f"plan, vat {vat.id}"
    faults = []
    if vat.system not in systems:
        faults.append(Finding(f"{where}, system", vat.system, "a system of this farm"))
    if vat.area_mm2 < 0 or vat.oxygen_ug_per_h < 0 or vat.fallow_days < 0:
        faults.append(Finding(where, f"{vat.area_mm2} mm², {vat.oxygen_ug_per_h} µg/h", "no negative quantity"))
    return faults


def _batch_faults(batch: BatchNeed, vats: set[str]) -> list[Finding]:
    where = f"plan, batch {batch.id}"
    faults = []
    if batch.count <= 0:
        faults.append(Finding(f"{where}, count", str(batch.count), "at least one animal"))
    if min(batch.footprint_mm2, batch.oxygen_ug_per_h, batch.ammonia_ug_per_h) < 0 or batch.weight < 1:
        faults.append(Finding(where, str(batch.weight), "no negative need and a weight of at least 1"))
    if not batch.stages:
        faults.append(Finding(f"{where}, stages", "", "at least one stage"))
    if not 1 <= batch.min_portion <= max(1, batch.count) or batch.max_vats < 1:
        faults.append(Finding(f"{where}, min_portion", str(batch.min_portion), "1 to the number of animals"))
    if not _only_grows(batch, batch.grown):
        faults.append(
            Finding(f"{where}, growth", str(len(batch.grown)), "days in order, and needs that never get less")
        )
    for stage in batch.stages:
        if stage.end_day <= stage.start_day:
            faults.append(Finding(f"{where}, {stage.stage}", f"{stage.start_day} to {stage.end_day}", "a day or more"))
        faults += [
            Finding(f"{where}, {stage.stage}", vat, "a vat of this farm") for vat in stage.vats if vat not in vats
        ]
    return faults


def _standing_faults(standing: Standing, vats: set[str]) -> list[Finding]:
    where = f"plan, {standing.batch} in {standing.vat}"
    faults = [Finding(where, vat, "a vat of this farm") for vat in (standing.vat, *standing.move_to) if vat not in vats]
    if standing.count < 0 or min(standing.footprint_mm2, standing.oxygen_ug_per_h, standing.ammonia_ug_per_h) < 0:
        faults.append(Finding(where, str(standing.count), "no negative quantity"))
    if standing.movable and (standing.served_day > standing.move_day or not standing.move_to):
        faults.append(
            Finding(f"{where}, movable", standing.stage, "stock that has served its quarantine, and a vat for it")
        )
    leaving = [standing.count, *(count for _, count in standing.left)]
    days = [day for day, _ in standing.left]
    in_order = (
        sorted(set(days)) == days and sorted(leaving, reverse=True) == leaving and min(leaving[1:], default=0) >= 0
    )
    if not (in_order and _only_grows(standing, standing.grown)):
        faults.append(
            Finding(f"{where}, growth and sales", str(leaving), "days in order, needs never less, animals never more")
        )
    if standing.until_day < standing.from_day:
        faults.append(
            Finding(where, f"{standing.from_day} to {standing.until_day}", "the first day on or before the last")
        )
    return faults


def _only_grows(first: BatchNeed | Standing, grown: tuple[Grown, ...]) -> bool:
    """Whether needs follow each other in order of days and none ever gets less."""
    needs = [(one.footprint_mm2, one.oxygen_ug_per_h, one.ammonia_ug_per_h) for one in (first, *grown)]
    days = [one.from_day for one in grown]
    return sorted(set(days)) == days and all(
        before <= after for one, other in pairwise(needs) for before, after in zip(one, other, strict=True)
    )
