"""The animals in a tub and the tub itself: what they breathe and give off, and how large and how airy the tub must be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from intake.errors import BadInput, Finding
from intake.library.groups import Group
from intake.receiving.acclimation.heat import FLOOR_CM2_PER_L, WH_PER_L_C, cooled, holding_w
from intake.receiving.acclimation.waters import BagWater, VatWater
from intake.water.oxygen import oxygen_mg_per_l

__all__ = [
    "AIRLESS_MINUTES",
    "UNREAD_SATURATION",
    "Load",
    "Tub",
    "TubSetup",
    "airless_minutes",
    "bag_oxygen_mg_per_l",
    "equipped",
    "litres_needed",
    "load_of",
    "most_in_tub",
    "set_up",
]

#: Share of saturation that water holds whose oxygen was not read (A090 of the safety study: library arithmetic).
UNREAD_SATURATION = 0.9
#: Uptake after shipping over uptake at rest (A090: default, no source).
AFTER_SHIPPING = 2.0
#: Nitrogen given off per oxygen in the dark by animals the library counts as neither source nor sink: the low end of
#: 0.0084 to 0.0515 g N per g O2 (Ikeda et al. 2011, abstract, fish), as the library takes for clams (default).
DARK_MG_N_PER_MG_O2 = 0.0084
#: A tub without air is refused above so many minutes (A093: default).
AIRLESS_MINUTES = 10
#: Fill a tub to half of what its oxygen and its room allow (tub table: "use half").
CROWDING = 2.0
#: Liters per gram of fish: 125 mL/g, a floor from transport of one damselfish (A095, Z66).
FISH_L_PER_G = 0.125
#: Fish weight in g is 0.02 × (length in cm)³ (tub table; from memory).
FISH_G_PER_CM3 = 0.02
#: Air of one stone in L/min, and liters of tub it serves (common practice, no source: measure your own tub).
AIR_L_PER_MIN, STONE_L = 2.0, 20.0
#: Spare power over what warms and holds a tub, and the step in which heaters are sold, W (default).
HEATER_SPARE, HEATER_STEP_W = 2.0, 25
#: Where the room's temperature is not known, a tub that stands longer than this is taken to cool (default).
HEATER_MINUTES = 30
#: A tub that would lose more than this to a known room while animals are in it has a heater, °C (default).
HEATER_DRIFT_C = 0.5


@dataclass(frozen=True, slots=True)
class Load:
    """The animals that share one acclimation.

    Attributes
    ----------
    animals
        How many.
    uptake_mg_per_h
        Oxygen one takes up at rest, mg/h.
    mg_n_per_mg_o2
        Ammonia nitrogen given off per oxygen, mg N per mg O2.
    alarm_mg_per_l
        Oxygen below which the group is in danger, mg/L.
    room_l
        Liters of tub one needs for room alone.
    after_shipping
        Uptake after a journey over uptake at rest.
    bags
        Bags they came in.

    Raises
    ------
    BadInput
        For numbers no animal has.
    """

    animals: int
    uptake_mg_per_h: float
    mg_n_per_mg_o2: float
    alarm_mg_per_l: float = 5.0
    room_l: float = 0.0
    after_shipping: float = AFTER_SHIPPING
    bags: int = 1

    def __post_init__(self) -> None:
        rules = (
            ("animals", self.animals, 0, 1e6),
            ("oxygen uptake, mg/h", self.uptake_mg_per_h, 0, 1e5),
            ("mg N per mg O2", self.mg_n_per_mg_o2, 0, 1),
            ("oxygen alarm, mg/L", self.alarm_mg_per_l, 0, 15),
            ("room of one animal, L", self.room_l, 0, 1e5),
            ("uptake after shipping over rest", self.after_shipping, 1, 10),
            ("bags", self.bags, 1, 1e5),
        )
        found = [Finding(name, f"{value:g}", f"{low:g} to {high:g}") for name, value, low, high in rules
                 if not low <= value <= high]  # fmt: skip
        if found:
            raise BadInput(found)

    @property
    def mg_o2_per_h(self) -> float:
        """Oxygen taken up by all of them after the journey, mg/h."""
        return self.animals * self.uptake_mg_per_h * self.after_shipping

    @property
    def mg_n_per_h(self) -> float:
        """Ammonia nitrogen given off by all of them, mg/h."""
        return self.mg_o2_per_h * self.mg_n_per_mg_o2

    def shared(self, tubs: int) -> Load:
        """What the fullest of so many tubs holds."""
        return replace(self, animals=math.ceil(self.animals / tubs))


@dataclass(frozen=True, slots=True)
class Tub:
    """An acclimation tub.

    Attributes
    ----------
    litres
        It holds at most; ``least_l`` it is never filled below (A093: default).
    oxygen_per_h
        Gas transfer of its air stones per hour: 3 for one in 20 L (A091: from memory; measure your own).
    co2_per_h
        Rate at which an aerated tub loses its excess carbon, per hour.  Twice the oxygen figure, so that ammonia is
        never shown less toxic than it may be (design default; no rate is published).
    room_c
        Temperature of the room it stands in; ``None`` where no one said.

    Raises
    ------
    BadInput
        For a tub below its least liters or rates not above zero.
    """

    litres: float = 20.0
    least_l: float = 10.0
    oxygen_per_h: float = 3.0
    co2_per_h: float = 6.0
    room_c: float | None = None

    def __post_init__(self) -> None:
        found = []
        if not self.least_l <= self.litres <= 1e5:
            do = "Use a larger tub: small ones run out of oxygen in minutes."
            found.append(Finding("tub, L", f"{self.litres:g}", f"{self.least_l:g} L or more", do))
        found += [
            Finding(name, f"{value:g}", "above 0, at most 60 per hour")
            for name, value in (("oxygen transfer", self.oxygen_per_h), ("CO2 transfer", self.co2_per_h))
            if not 0 < value <= 60
        ]
        if self.room_c is not None and not -5 <= self.room_c <= 45:
            found.append(Finding("room, °C", f"{self.room_c:g}", "-5 to 45"))
        if found:
            raise BadInput(found)


@dataclass(frozen=True, slots=True)
class TubSetup:
    """What one acclimation is set up with.

    Attributes
    ----------
    tubs
        Side by side, each as in the table.
    litres
        In each when the animals go in.
    animals
        In the fullest one.
    airstones, air_l_per_min
        In each; 0 where it may stand without air.
    heater_w
        Power of the heater in each, W; 0 for none.
    room_c
        Temperature of the room it is made for; ``None`` where no one said.
    alarm_mg_per_l
        Oxygen below which the animals are in danger.
    """

    tubs: int = 1
    litres: float = 0.0
    animals: int = 0
    airstones: int = 0
    air_l_per_min: float = 0.0
    heater_w: int = 0
    alarm_mg_per_l: float = 0.0
    room_c: float | None = None

    @property
    def words(self) -> str:
        """The set-up as a sentence."""
        if not self.litres:
            return "No tub: from the sealed bag into the vat."
        several = f"{self.tubs} tubs, each" if self.tubs > 1 else "1 tub"
        parts = [f"{several} with {self.litres:g} L for at most {self.animals} animals"]
        if self.airstones:
            stones = "1 air stone" if self.airstones == 1 else f"{self.airstones} air stones"
            parts.append(f"{stones} ({self.air_l_per_min:g} L of air a minute), a second air line ready")
        if self.heater_w:
            room = "" if self.room_c is None else f" for a room at {self.room_c:g} °C"
            parts.append(f"a heater of {self.heater_w} W{room}")
        return f"{'; '.join(parts)}. Oxygen meter in the tub, alarm at {self.alarm_mg_per_l:g} mg/L. Lid on, dark."


def load_of(group: Group, size_mm: float, animals: int, bags: int = 1) -> Load:
    """So many animals of a husbandry group and size, in so many bags.

    References
    ----------
    Uptake, ammonia and alarm from the library, each with its own provenance; corals, soft corals and anemones give off
    ammonia in the dark at the rate of clams (default).  Room: a square of the animal's size on 60 cm² of floor per
    liter; fish 125 mL/g at 0.02 g × cm³ (tub table of the safety study).
    """
    size_cm = size_mm / 10.0
    fish = group.kind == "fish"
    room = FISH_L_PER_G * FISH_G_PER_CM3 * size_cm**3 if fish else size_cm**2 / FLOOR_CM2_PER_L
    return Load(
        animals,
        group.oxygen.mg_per_h(size_mm),
        max(group.ammonia.mg_n_per_mg_o2, DARK_MG_N_PER_MG_O2),
        group.oxygen.alarm_mg_per_l,
        room,
        bags=bags,
    )


def most_in_tub(load: Load, tub: Tub, temperature_c: float, salinity_psu: float) -> int:
    """Animals one tub holds: half of what its oxygen and its room allow, whichever is less.

    Notes
    -----
    N R f ≤ k V (Cs − Ca) and N × room ≤ V.

    Raises
    ------
    OutOfRange
        Outside the oxygen formula.

    References
    ----------
    A091 and the tub table of the safety study; Benson & Krause 1984 for Cs.
    """
    spare = oxygen_mg_per_l(temperature_c, salinity_psu) - load.alarm_mg_per_l
    each = load.uptake_mg_per_h * load.after_shipping
    by_oxygen = math.inf if each == 0 else max(0.0, tub.oxygen_per_h * tub.litres * spare / each)
    by_room = math.inf if load.room_l == 0 else tub.litres / load.room_l
    most = min(math.floor(by_oxygen + 1e-9) if math.isfinite(by_oxygen) else 10**6,
               math.floor(by_room + 1e-9) if math.isfinite(by_room) else 10**6)  # fmt: skip
    return int(most // CROWDING)


def litres_needed(load: Load, tub: Tub, temperature_c: float, salinity_psu: float) -> float:
    """Liters of aerated tub for these animals at twice what oxygen and room ask, at least ``tub.least_l``.

    Raises
    ------
    BadInput
        Where even water in balance with air is at or below the group's alarm.
    OutOfRange
        Outside the oxygen formula.

    References
    ----------
    As :func:`most_in_tub`.
    """
    saturated = oxygen_mg_per_l(temperature_c, salinity_psu)
    if UNREAD_SATURATION * saturated <= load.alarm_mg_per_l:
        value = f"{UNREAD_SATURATION * saturated:.2f} mg/L at {temperature_c:g} °C and {salinity_psu:g} PSU"
        expected = f"more than the group's alarm, {load.alarm_mg_per_l:g} mg/L"
        raise BadInput(Finding("oxygen the water holds", value, expected, "Use cooler water."))
    by_oxygen = load.mg_o2_per_h / (tub.oxygen_per_h * (saturated - load.alarm_mg_per_l))
    return max(tub.least_l, CROWDING * by_oxygen, CROWDING * load.animals * load.room_l)


def bag_oxygen_mg_per_l(bag: BagWater) -> float:
    """Oxygen of the bag's water as read, or 0.9 of saturation where it was not.

    References
    ----------
    A090 of the safety study: a bag under pure oxygen may hold more, a stale one less: read it.
    """
    if bag.o2_mg_per_l is not None:
        return bag.o2_mg_per_l
    return UNREAD_SATURATION * oxygen_mg_per_l(bag.temperature_c, bag.salinity_psu)


def airless_minutes(load: Load, litres: float, start_mg_per_l: float) -> float:
    """Minutes until the alarm in a tub without air: 60 V (C0 − Ca) / (N R f); infinite without animals.

    References
    ----------
    A090 of the safety study.
    """
    if load.mg_o2_per_h == 0:
        return math.inf
    return max(0.0, 60.0 * litres * (start_mg_per_l - load.alarm_mg_per_l) / load.mg_o2_per_h)


def set_up(
    load: Load | None, tub: Tub, waters: tuple[BagWater, VatWater], *, bag_water_l: float = 0.0, times: float = 1.0
) -> TubSetup:
    """How many tubs and how many liters in each, for these animals and perhaps the water they came in.

    Parameters
    ----------
    bag_water_l
        Liters of bag water that go into the tubs.
    times
        More liters than the rule asks, where it did not suffice.

    Raises
    ------
    BadInput, OutOfRange
        As :func:`litres_needed`.
    """
    if load is None or load.animals == 0:
        return TubSetup(litres=bag_water_l)
    bag, vat = waters
    warmest = max(bag.temperature_c, vat.temperature_c)
    whole = max(bag_water_l, times * litres_needed(load, tub, warmest, max(bag.salinity_psu, vat.salinity_psu)))
    tubs = max(1, math.ceil(whole / tub.litres - 1e-9))
    return TubSetup(
        tubs,
        max(math.ceil(max(whole / tubs, tub.least_l) - 1e-9), bag_water_l / tubs),
        load.shared(tubs).animals,
        alarm_mg_per_l=load.alarm_mg_per_l,
    )


def equipped(
    setup: TubSetup, minutes: int, temperatures: Sequence[float], max_c_per_h: float, room_c: float | None = None
) -> TubSetup:
    """The set-up with its air and heater, once the minutes and temperatures in the tub are known."""
    if not setup.litres or not setup.animals:
        return setup
    stones = math.ceil(setup.litres / STONE_L) if minutes > AIRLESS_MINUTES else 0
    need_w = _heater_need_w(setup.litres, minutes, temperatures, max_c_per_h, room_c)
    power = HEATER_STEP_W * math.ceil(HEATER_SPARE * need_w / HEATER_STEP_W - 1e-9)
    return replace(setup, airstones=stones, air_l_per_min=stones * AIR_L_PER_MIN, heater_w=power, room_c=room_c)


def _heater_need_w(
    litres: float, minutes: int, temperatures: Sequence[float], max_c_per_h: float, room_c: float | None
) -> float:
    """Watts that warm a tub at its pace and hold it against the room; half a degree an hour for a room not known."""
    first, last = temperatures[0], temperatures[-1]
    warming = last > first and minutes > HEATER_MINUTES
    rising_w = WH_PER_L_C * litres * min(max_c_per_h, 10.0) if warming else 0.0
    if room_c is None:
        idle_w = WH_PER_L_C * litres * 0.5 if minutes > HEATER_MINUTES and first - 0.5 < last <= first else 0.0
        return rising_w + idle_w
    warmest = max(temperatures)
    lost_c = warmest - cooled(warmest, room_c, minutes, litres)
    return rising_w + (holding_w(litres, warmest, room_c) if warming or lost_c > HEATER_DRIFT_C else 0.0)
