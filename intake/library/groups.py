"""Husbandry groups: the generic kinds of animal that set what a batch needs of water, light, room and quarantine."""

from __future__ import annotations

from math import exp, pi
from typing import Literal

from pydantic import Field, model_validator

from intake.library.library_values import Sourced, Strict

__all__ = ["Group"]


class Band(Sourced):
    """A range in which the animals are kept, with alarm limits outside it (°C or PSU)."""

    min: float
    max: float
    alarm_low: float | None = None
    alarm_high: float | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Band:
        marks = [self.alarm_low, self.min, self.max, self.alarm_high]
        present = [mark for mark in marks if mark is not None]
        if present != sorted(present):
            msg = "alarm_low ≤ min ≤ max ≤ alarm_high"
            raise ValueError(msg)
        return self

    def holds(self, value: float) -> bool:
        """Whether ``value`` lies inside the range, both ends included."""
        return self.min <= value <= self.max


class Change(Sourced):
    """The fastest change of water an animal of the group is given on arrival."""

    max_c_per_h: float = Field(gt=0)
    max_psu_per_h: float = Field(gt=0)


class Light(Sourced):
    """Photosynthetically active light in µmol m⁻² s⁻¹: at most on day 1, then a ramp to a target range."""

    day1_max: float = Field(ge=0)
    target_min: float = Field(ge=0)
    target_max: float = Field(gt=0)
    ramp_days: int = Field(ge=0)


class Flow(Sourced):
    """Flow classes: 1 under 5 cm/s, 2 5–10, 3 10–20, 4 over 20 and alternating (common practice, no source)."""

    min: int = Field(ge=1, le=4)
    max: int = Field(ge=1, le=4)


class Footprint(Sourced):
    """The bench area one animal takes.

    ``cell``: a square of side ``factor`` × size.  ``margin``: a square of side size + ``margin_mm``.  ``head``: a fixed
    ``area_cm2`` whatever the size.
    """

    rule: Literal["cell", "margin", "head"]
    factor: float = Field(default=1.0, gt=0)
    margin_mm: float = Field(default=0.0, ge=0)
    area_cm2: float = Field(default=0.0, ge=0)

    def of(self, size_mm: float) -> float:
        """Bench area of one animal of ``size_mm``, in cm²."""
        if self.rule == "head":
            return self.area_cm2
        side_mm = self.factor * size_mm if self.rule == "cell" else size_mm + self.margin_mm
        return (side_mm / 10.0) ** 2


class Oxygen(Sourced):
    """Oxygen taken up by one animal: ``coefficient`` × (size in cm) ^ ``exponent`` mg/h; alarm in mg/L."""

    coefficient: float = Field(ge=0)
    exponent: float = Field(ge=0)
    alarm_mg_per_l: float = Field(gt=0)

    def mg_per_h(self, size_mm: float) -> float:
        """Uptake of one animal of ``size_mm`` in mg O₂ per hour."""
        return float(self.coefficient * (size_mm / 10.0) ** self.exponent)


class Ammonia(Sourced):
    """Ammonia nitrogen given off per oxygen taken up (mg N per mg O₂), in the dark; uptake is never a credit."""

    mg_n_per_mg_o2: float = Field(ge=0)


class Acclimation(Sourced):
    """The mode preferred where the numbers leave a choice."""

    mode: Literal["damp_direct", "float_then_transfer", "drip"]


class BagHours(Sourced):
    """Hours in the bag at which a batch jumps the queue (amber) and is at risk (red)."""

    amber: float = Field(gt=0)
    red: float = Field(gt=0)


class Quarantine(Sourced):
    """Days of quarantine and, in words, what makes the count start again."""

    days: int = Field(ge=0)
    restart: str


class FishFree(Sourced):
    """Days without fish before the group may enter a fish system."""

    days: int = Field(ge=0)


class GrowOut(Sourced):
    """Days the plan keeps a grow-out place for the batch after release."""

    days: int = Field(ge=0)


class Growth(Sourced):
    """How an animal of the group grows: by so much a week, or the faster the smaller it is against its greatest size.

    Attributes
    ----------
    mm_per_week
        Growth of its size in mm a week; 0 for animals that are counted at the size they came with.
    k_per_year
        Rate at which the distance to ``most_mm`` shrinks, 1/year (von Bertalanffy); it then stands in for ``mm_per_week``.
    most_mm
        Size beyond which none is counted to grow, mm.
    """

    mm_per_week: float = Field(default=0.0, ge=0.0, le=50.0)
    k_per_year: float = Field(default=0.0, ge=0.0, le=5.0)
    most_mm: float = Field(default=0.0, ge=0.0)

    @model_validator(mode="after")
    def _one_way(self) -> Growth:
        if self.k_per_year and (self.mm_per_week or not self.most_mm):
            msg = "mm_per_week, or k_per_year with most_mm"
            raise ValueError(msg)
        return self

    def size_after(self, size_mm: float, days: float) -> float:
        """Size in mm of an animal of ``size_mm`` so many days later; what is greater than ``most_mm`` stays as it is."""
        if self.k_per_year:
            return size_mm + max(0.0, self.most_mm - size_mm) * (1.0 - exp(-self.k_per_year * days / 365.25))
        bigger = size_mm + self.mm_per_week * days / 7.0
        return max(size_mm, min(bigger, self.most_mm)) if self.most_mm else bigger


class LateDeaths(Sourced):
    """Deaths after the first week that are usual for the group, in percent of its animals in 30 days."""

    percent_in_30_d: float = Field(gt=0, lt=100)

    @property
    def a_day(self) -> float:
        """Usual deaths per animal and day."""
        return self.percent_in_30_d / 100.0 / 30.0


class Handling(Sourced):
    """How fast hands work: animals dipped or inspected by one person in an hour; sensitivity orders the boxes."""

    per_hour: float = Field(gt=0)
    sensitivity: float = Field(gt=0)


class Copper(Sourced):
    """Whether the group may ever meet copper; verdicts on every other agent are in the table of verdicts."""

    safe: Literal["never", "only with prescriber"]


class Cautions(Sourced):
    """What the sheet warns of, sentence by sentence."""

    text: tuple[str, ...]


class Listed(Sourced):
    """Whether trade in the group is listed, as dated data: the farm keeps it current; this is not legal advice."""

    appendix: str
    as_of: str


class Group(Strict):
    """One husbandry group; every value carries its provenance.

    Attributes
    ----------
    dips
        Ids of the dips, inspections and transfers of its protocol, in order; ``(off)`` ones are kept but not scheduled.
    growth
        How its animals grow; without it they keep the size they came with.
    late_deaths
        Usual deaths after the first week, where the farm or a source knows better than the default of release.
    """

    id: str
    name: str
    kind: Literal["clam", "stony coral", "soft coral", "anemone", "invertebrate", "fish"]
    includes: str
    listed: Listed
    temperature_c: Band
    salinity_psu: Band
    change: Change
    light: Light | None = None
    flow: Flow
    footprint: Footprint
    depth_min_mm: float = 0.0
    oxygen: Oxygen
    ammonia: Ammonia
    acclimation: Acclimation
    bag_hours: BagHours
    quarantine: Quarantine
    grow_out: GrowOut
    growth: Growth | None = None
    handling: Handling
    fish_free: FishFree | None = None
    late_deaths: LateDeaths | None = None
    dips: tuple[str, ...] = ()
    dips_off: tuple[str, ...] = ()
    copper: Copper | None = None
    cautions: Cautions


def disc_area_cm2(diameter_mm: float) -> float:
    """Area of a disc in cm², for tissue-area assumptions stated in the library."""
    return pi / 4.0 * (diameter_mm / 10.0) ** 2
