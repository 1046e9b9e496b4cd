"""The answer of an acclimation: its rows, the water it takes, the tubs it needs, and why it is done this way."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from intake.receiving.acclimation.load import Load, Tub, TubSetup
from intake.receiving.acclimation.waters import BagWater, Limits, Mode, VatWater

__all__ = ["Acclimation", "Draw", "Step", "Table"]


@dataclass(frozen=True, slots=True)
class Step:
    """One row of the table: what to do at this minute and what the animals then sit in.

    Attributes
    ----------
    minute, action
        When, and what to do.
    volume_l, temperature_c, salinity_psu
        Water around the animals.
    ph_nbs, nh3_n_mg_per_l
        None where no pH was given.
    poured_l
        Water poured so far, clean and vat's.
    o2_mg_per_l
        None in a sealed bag that was not read.
    tan_n_mg_per_l
        Total ammonia as N.
    added_l, removed_l
        Poured in, and taken out or spilled, since the row before.
    water
        What the animals are in: the ``sealed`` bag, a ``tub`` or the ``vat``.
    bag_share
        Share of bag water in what they entered last: 1 in the bag, 0 in clean water and in the vat.
    """

    minute: int
    action: str
    volume_l: float
    temperature_c: float
    salinity_psu: float
    ph_nbs: float | None
    nh3_n_mg_per_l: float | None
    poured_l: float = 0.0
    o2_mg_per_l: float | None = None
    tan_n_mg_per_l: float = 0.0
    added_l: float = 0.0
    removed_l: float = 0.0
    water: Literal["sealed", "tub", "vat"] = "tub"
    bag_share: float = 1.0


@dataclass(frozen=True, slots=True)
class Draw:
    """Water a table takes: from one minute to another, liters, °C and PSU."""

    minute: int
    until: int
    litres: float
    temperature_c: float
    salinity_psu: float


@dataclass(frozen=True, slots=True)
class Table:
    """The steps of one mode, for one tub.

    Attributes
    ----------
    steps
        In order of time; the last one puts the animals in the vat.
    water_used_l
        Vat-quality water poured, rinsing not counted.
    minutes
        From opening (or floating) to the vat.
    first_breach
        None, or the first step at which a limit is passed, and which.
    warnings
        What the numbers rest on and what to watch, as sentences.
    """

    steps: tuple[Step, ...]
    water_used_l: float
    minutes: int
    first_breach: str | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Acclimation:
    """The mode chosen, why, and its table for one tub; with the facts it was made from.

    Attributes
    ----------
    setup
        Tubs, air and heater; each tub follows ``steps``.
    load, tub
        The animals of all tubs, and the kind of tub; no animals where none were given.
    """

    mode: Mode
    reason: str
    steps: tuple[Step, ...]
    water_used_l: float
    minutes: int
    first_breach: str | None
    warnings: tuple[str, ...]
    bag: BagWater
    vat: VatWater
    limits: Limits
    setup: TubSetup = field(default_factory=TubSetup)
    load: Load | None = None
    tub: Tub = field(default_factory=Tub)

    @property
    def tub_minutes(self) -> int:
        """Minutes the animals spend in a tub; 0 when they go from the sealed bag into the vat."""
        inside = [step.minute for step in self.steps if step.water == "tub"]
        return self.minutes - inside[0] if inside else 0

    @property
    def draws(self) -> tuple[Draw, ...]:
        """Water one tub takes: what it is filled with, made up to that row's water, then the vat's water dripped in."""
        rows: list[Draw] = []
        before: Step | None = None
        for step in self.steps:
            entering = before is None or before.water != "tub"
            if step.water == "tub" and step.added_l > 0 and entering:
                rows.append(Draw(step.minute, step.minute, step.added_l, step.temperature_c, step.salinity_psu))
            elif step.water == "tub" and step.added_l > 0 and before is not None:
                vat = self.vat
                rows.append(Draw(before.minute, step.minute, step.added_l, vat.temperature_c, vat.salinity_psu))
            before = step
        return tuple(rows)
