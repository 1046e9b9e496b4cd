"""The facts of an acclimation: the bag's water, the vat's, and what the group bears."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from intake.errors import BadInput, Finding
from intake.water.ammonia import as_ph_scale

__all__ = [
    "MODES",
    "NH3_LIMIT_SOURCE",
    "BagWater",
    "Limits",
    "Mode",
    "VatWater",
]

Mode = Literal["float_then_transfer", "drip", "overflow", "exchange", "damp_direct"]
MODES: tuple[Mode, ...] = ("float_then_transfer", "drip", "overflow", "exchange", "damp_direct")
NH3_LIMIT_SOURCE = "0.05 mg/L un-ionised ammonia, where harm to fish begins: Francis-Floyd & Watson, UF/IFAS FA-16"


def _finite(findings: list[Finding], where: str, value: float, low: float, high: float) -> None:
    if not (low <= value <= high and math.isfinite(value)):
        findings.append(Finding(where, f"{value:g}", f"{low:g} to {high:g}"))


def _refuse(findings: list[Finding]) -> None:
    if findings:
        raise BadInput(findings)


@dataclass(frozen=True, slots=True)
class BagWater:
    """The water in a bag, or of a damp pack, as it is opened.

    Attributes
    ----------
    temperature_c, salinity_psu
        In °C and practical salinity.
    ph, ph_scale
        The pH and the scale it was read on (meters: ``nbs``); None where it is not known: no chemistry is calculated then.
    tan_n_mg_per_l
        Total ammonia as N, mg/L.
    volume_l
        Liters of water in the bag; may be 0 for a damp pack.
    hours_in_bag
        Hours since packing.
    damp
        Packed damp, out of water.
    measured
        False where the values are expected, not read.
    alkalinity_meq_per_l
        As read; None takes the vat's, scaled by salinity, plus the ammonia (excreted as NH3).
    o2_mg_per_l
        Oxygen as read, mg/L; None takes 0.9 of saturation once the bag is open.

    Raises
    ------
    BadInput
        For values that no bag of sea water holds.
    UnknownName
        For the pH scale.
    """

    temperature_c: float
    salinity_psu: float
    ph: float | None
    ph_scale: str
    tan_n_mg_per_l: float
    volume_l: float
    hours_in_bag: float
    damp: bool = False
    measured: bool = True
    alkalinity_meq_per_l: float | None = None
    o2_mg_per_l: float | None = None

    def __post_init__(self) -> None:
        as_ph_scale(self.ph_scale)
        findings: list[Finding] = []
        _finite(findings, "bag temperature, °C", self.temperature_c, -2.0, 40.0)
        _finite(findings, "bag salinity, PSU", self.salinity_psu, 0.0, 42.0)
        _finite(findings, "bag ammonia, mg N/L", self.tan_n_mg_per_l, 0.0, 1000.0)
        _finite(findings, "bag water, L", self.volume_l, 0.0 if self.damp else 0.001, 100000.0)
        _finite(findings, "hours in bag", self.hours_in_bag, 0.0, 1000.0)
        if self.ph is not None:
            _finite(findings, "bag pH", self.ph, 3.0, 11.0)
        if self.alkalinity_meq_per_l is not None:
            _finite(findings, "bag alkalinity, meq/L", self.alkalinity_meq_per_l, 0.01, 20.0)
        if self.o2_mg_per_l is not None:
            _finite(findings, "bag oxygen, mg/L", self.o2_mg_per_l, 0.0, 40.0)
        _refuse(findings)


@dataclass(frozen=True, slots=True)
class VatWater:
    """The water the animals are going to.

    Attributes
    ----------
    temperature_c, salinity_psu, ph, ph_scale
        As in :class:`BagWater`.
    alkalinity_meq_per_l
        Default 2.35, which is 2300 µmol/kg at S 35 and 25 °C, ordinary sea water.
    tan_n_mg_per_l
        Total ammonia of the vat as N; 0 unless read.

    Raises
    ------
    BadInput
        For values that no vat holds.
    UnknownName
        For the pH scale.
    """

    temperature_c: float
    salinity_psu: float
    ph: float | None
    ph_scale: str = "nbs"
    alkalinity_meq_per_l: float = 2.35
    tan_n_mg_per_l: float = 0.0

    def __post_init__(self) -> None:
        as_ph_scale(self.ph_scale)
        findings: list[Finding] = []
        _finite(findings, "vat temperature, °C", self.temperature_c, -2.0, 40.0)
        _finite(findings, "vat salinity, PSU", self.salinity_psu, 0.0, 42.0)
        _finite(findings, "vat alkalinity, meq/L", self.alkalinity_meq_per_l, 0.01, 20.0)
        _finite(findings, "vat ammonia, mg N/L", self.tan_n_mg_per_l, 0.0, 100.0)
        if self.ph is not None:
            _finite(findings, "vat pH", self.ph, 3.0, 11.0)
        _refuse(findings)


@dataclass(frozen=True, slots=True)
class Limits:
    """What a husbandry group bears.  No published maximum rate exists for clams, corals or reef fish.

    Attributes
    ----------
    max_c_per_h, max_psu_per_h
        Largest change of temperature and salinity per hour; infinite for no limit.
    nh3_n_mg_per_l
        Un-ionised ammonia as N that must not be passed; see ``nh3_source``.
    hours_in_bag_amber, hours_in_bag_red
        Hours in the bag that call for hurry and that are too many.
    preferred_mode
        One of ``MODES`` the group asks for, or None.
    nh3_source
        Where the ammonia limit is from.
    most_open_minutes
        Longest from opening the first bag of a tub to placing the last animal before the table says so (A088 of the
        safety study: common practice, no source); infinite for no such mark.

    Raises
    ------
    BadInput
        For limits not above zero, amber after red, or a mode that does not exist.
    """

    max_c_per_h: float = 1.0
    max_psu_per_h: float = 2.0
    nh3_n_mg_per_l: float = 0.05
    hours_in_bag_amber: float = 24.0
    hours_in_bag_red: float = 36.0
    preferred_mode: Mode | None = None
    nh3_source: str = NH3_LIMIT_SOURCE
    most_open_minutes: float = math.inf

    def __post_init__(self) -> None:
        findings = [
            Finding(where, f"{value:g}", "a number above 0")
            for where, value in (
                ("largest change of temperature, °C/h", self.max_c_per_h),
                ("largest change of salinity, PSU/h", self.max_psu_per_h),
                ("un-ionised ammonia limit, mg N/L", self.nh3_n_mg_per_l),
            )
            if not value > 0
        ]
        if not 0 <= self.hours_in_bag_amber <= self.hours_in_bag_red:
            value = f"{self.hours_in_bag_amber:g} and {self.hours_in_bag_red:g}"
            findings.append(Finding("hours in bag, amber and red", value, "amber no later than red"))
        if self.preferred_mode is not None and self.preferred_mode not in MODES:
            findings.append(Finding("preferred mode", str(self.preferred_mode), f"one of {', '.join(MODES)}"))
        _refuse(findings)

    @property
    def transfer_gap_c(self) -> float:
        """Temperature gap at which animals are moved: half an hour's allowance, at most 0.5 °C (design default)."""
        return min(self.max_c_per_h / 2, 0.5)

    @property
    def transfer_gap_psu(self) -> float:
        """Salinity gap at which animals are moved: half an hour's allowance, at most 1 PSU (design default)."""
        return min(self.max_psu_per_h / 2, 1.0)
