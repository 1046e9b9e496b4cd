"""One box of a receiving day: what is in it and what it takes to get its animals into a vat."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from intake.errors import BadInput, Finding

__all__ = ["BoxDraw", "BoxLine", "BoxNeed"]


@dataclass(frozen=True, slots=True)
class BoxLine:
    """So many animals of one batch in one box."""

    batch: str
    count: int


@dataclass(frozen=True, slots=True)
class BoxDraw:
    """Water one box takes: minutes after its acclimation starts, liters, °C and PSU."""

    after_minutes: int
    litres: float
    temperature_c: float
    salinity_psu: float


@dataclass(frozen=True, slots=True)
class BoxNeed:
    """One box: what is in it, how long it has been closed, and what it takes to get its animals into a vat.

    Attributes
    ----------
    box
        Id within the day, ``shipment/box``.
    packed_at
        When the first of its bags was closed, time-zone aware.
    sensitivity
        Of the most sensitive animal in it (library ``handling``), above 0; it weighs the hours.
    amber_h, red_h
        Hours in the bag at which it is pressing and at risk: the shortest of its animals.
    leaking, off_temperature
        Either makes it jump the queue.
    open_minutes, count_minutes
        Open, photograph, measure; then count and sort.  One person at one table does both without a break.
    setup_minutes
        A person's time at the start of acclimation, which follows the count at once: an opened bag does not wait.
    acclimation_minutes
        In the tub at least so long; the tub is held until someone takes the animals out.
    dip_minutes, place_minutes
        One person dips and then places without a break; 0 minutes of dip is no dip.
    water_l, drip_lines
        Mixed water drawn when acclimation starts, liters; drip lines in use meanwhile.
    draws
        That water by minute and kind, as its step tables take it; empty: all at the start, as the vat's.
    tubs
        Acclimation places it takes side by side.
    fish
        Holds fish: everybody who handles it needs the skill ``fish`` too.
    """

    box: str
    shipment: str
    lines: tuple[BoxLine, ...]
    packed_at: datetime
    sensitivity: float
    amber_h: float
    red_h: float
    open_minutes: int
    count_minutes: int
    setup_minutes: int
    acclimation_minutes: int
    place_minutes: int
    dip_minutes: int = 0
    water_l: float = 0.0
    drip_lines: int = 0
    draws: tuple[BoxDraw, ...] = ()
    tubs: int = 1
    fish: bool = False
    leaking: bool = False
    off_temperature: bool = False

    def __post_init__(self) -> None:
        faults = [
            Finding(f"box {self.box}, {name}", str(value), expected)
            for name, value, expected, ok in self._rules()
            if not ok
        ]
        if faults:
            raise BadInput(faults)

    def _rules(self) -> Iterable[tuple[str, object, str, bool]]:
        yield "packed_at", self.packed_at, "a time with its time zone", self.packed_at.tzinfo is not None
        yield "sensitivity", self.sensitivity, "above 0, at most 100", 0 < self.sensitivity <= 100
        yield (
            "red_h",
            self.red_h,
            f"at least amber_h = {self.amber_h:g}, which is above 0",
            0 < self.amber_h <= self.red_h,
        )
        for name in ("open", "count", "setup", "acclimation", "dip", "place"):
            minutes = getattr(self, f"{name}_minutes")
            low = 1 if name in {"open", "place", "setup"} else 0
            yield f"{name}_minutes", minutes, f"whole minutes, {low} to 2880", low <= minutes <= 2880
        yield "water_l", self.water_l, "liters, 0 or more", 0 <= self.water_l < 1e6
        yield "drip_lines", self.drip_lines, "0 or more", self.drip_lines >= 0
        yield "tubs", self.tubs, "1 to 100", 1 <= self.tubs <= 100

    @property
    def urgent(self) -> bool:
        """Whether the box jumps the queue."""
        return self.leaking or self.off_temperature

    @property
    def weight(self) -> int:
        """Sensitivity in hundredths, at least 1: the aims count weighted minutes in whole numbers."""
        return max(1, round(self.sensitivity * 100))

    @property
    def animals(self) -> int:
        """Animals announced in the box."""
        return sum(line.count for line in self.lines)

    @property
    def whole_litres(self) -> int:
        """Mixed water drawn, rounded up to whole liters."""
        return ceil(self.water_l)

    @property
    def opening_minutes(self) -> int:
        """Minutes on the table."""
        return self.open_minutes + self.count_minutes

    @property
    def tub_minutes(self) -> int:
        """Least minutes in the tub."""
        return max(self.acclimation_minutes, self.setup_minutes)

    @property
    def finishing_minutes(self) -> int:
        """Minutes of dip and placing."""
        return self.dip_minutes + self.place_minutes

    @property
    def opening_skills(self) -> frozenset[str]:
        """What the person at the table must be able to do."""
        return self._with_fish("open")

    @property
    def setup_skills(self) -> frozenset[str]:
        """What the person who starts the acclimation must be able to do."""
        return self._with_fish("acclimate")

    @property
    def finishing_skills(self) -> frozenset[str]:
        """What the person who dips and places must be able to do."""
        return self._with_fish("dip" if self.dip_minutes else "acclimate")

    def _with_fish(self, skill: str) -> frozenset[str]:
        return frozenset((skill, "fish")) if self.fish else frozenset((skill,))
