"""Which way to acclimate a bag, in how many tubs of how many liters, and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from intake.receiving.acclimation import bag_water_modes, transfer_modes
from intake.receiving.acclimation.bag_water_modes import NO_LOSS
from intake.receiving.acclimation.heat import room_words
from intake.receiving.acclimation.inside import Inside
from intake.receiving.acclimation.load import Load, Tub, TubSetup, equipped, set_up
from intake.receiving.acclimation.ramps import close_enough
from intake.receiving.acclimation.step_table import Acclimation, Table
from intake.receiving.acclimation.waters import BagWater, Limits, Mode, VatWater
from intake.water.ammonia import ammonia_share

__all__ = ["KEEPS_BAG_WATER", "as_asked", "choose", "facts", "joined", "made", "toxic_ceiling_mg_per_l"]

#: A filling tub is given up for an overflowing one beyond so many bag volumes (design default).
_MOST_BAG_VOLUMES = 4.0
#: Modes in which the animals stay in the water they came in, as it is changed.
KEEPS_BAG_WATER: frozenset[Mode] = frozenset({"drip", "overflow", "exchange"})
#: How many times the liters the rule asks are tried before a table is given up.
_TIMES = (1.0, 2.0, 4.0)
_SHORT_NAME = {
    "float_then_transfer": "match the temperature, then transfer without bag water",
    "drip": "drip",
    "overflow": "drip into an overflowing tub",
    "exchange": "exchange in steps",
    "damp_direct": "rinse and place",
}


def toxic_ceiling_mg_per_l(bag: BagWater, vat: VatWater) -> float | None:
    """NH3-N the bag's ammonia would come to at the vat's pH, which opening the bag leads to; None without a pH.

    Raises
    ------
    OutOfRange
        Outside the ammonia formula, see :func:`intake.water.ammonia.ammonia_share`.

    References
    ----------
    Emerson et al. 1975; Clegg & Whitfield 1995.
    """
    if vat.ph is None:
        return None
    share = ammonia_share(vat.temperature_c, vat.salinity_psu, vat.ph, vat.ph_scale).fraction
    return bag.tan_n_mg_per_l * share


def _toxic_now_mg_per_l(bag: BagWater) -> float | None:
    if bag.ph is None:
        return None
    return bag.tan_n_mg_per_l * ammonia_share(bag.temperature_c, bag.salinity_psu, bag.ph, bag.ph_scale).fraction


def _must_leave(bag: BagWater, limits: Limits, ceiling: float | None) -> str | None:
    """Why the animals must leave their bag water at once, or None."""
    out = "match temperature closed, then transfer without bag water."
    if ceiling is not None and ceiling > limits.nh3_n_mg_per_l:
        now = _toxic_now_mg_per_l(bag)
        was = f" from {now:.3f}" if now is not None else ""
        return (
            f"Once open, {bag.tan_n_mg_per_l:g} mg N/L of ammonia would take un-ionised ammonia{was} to {ceiling:.3f} "
            f"mg N/L, above {limits.nh3_n_mg_per_l:g}: {out}"
        )
    if bag.hours_in_bag >= limits.hours_in_bag_red:
        return f"{bag.hours_in_bag:g} h in the bag is at or past the red {limits.hours_in_bag_red:g} h: {out}"
    if not bag.measured and bag.hours_in_bag >= limits.hours_in_bag_amber:
        return (
            f"{bag.hours_in_bag:g} h in the bag is at or past the amber {limits.hours_in_bag_amber:g} h and its water "
            f"was not read: {out}"
        )
    return None


def _decide(bag: BagWater, vat: VatWater, limits: Limits) -> tuple[Mode, str]:
    """The mode and the sentence that says why."""
    gap_c, gap_psu = abs(vat.temperature_c - bag.temperature_c), abs(vat.salinity_psu - bag.salinity_psu)
    if bag.damp:
        return "damp_direct", f"Packed damp, {gap_c:.1f} °C from the vat: there is no bag water to match."
    ceiling = toxic_ceiling_mg_per_l(bag, vat)
    leave = _must_leave(bag, limits, ceiling)
    if leave is not None:
        return "float_then_transfer", leave
    low = "no pH was given"
    if ceiling is not None:
        low = f"un-ionised ammonia stays at or under {ceiling:.3f} mg N/L, limit {limits.nh3_n_mg_per_l:g}"
    preferred = limits.preferred_mode
    if preferred is not None and preferred != "damp_direct":
        return preferred, f"The group asks to {_SHORT_NAME[preferred]}, and {low}."
    if close_enough(bag.temperature_c, bag.salinity_psu, vat, limits):
        return "float_then_transfer", (
            f"Bag and vat differ by only {gap_c:.1f} °C and {gap_psu:.1f} PSU, so there is nothing to drip for."
        )
    volumes = max(gap_c / limits.transfer_gap_c, gap_psu / limits.transfer_gap_psu)
    gaps = f"With {gap_c:.1f} °C and {gap_psu:.1f} PSU to close ({low})"
    if volumes > _MOST_BAG_VOLUMES:
        return "overflow", f"{gaps}, a filling tub would grow {volumes:.0f}-fold, so let it overflow."
    return "drip", f"{gaps}, the tub grows {volumes:.1f}-fold, so drip."


def facts(bag: BagWater, vat: VatWater, limits: Limits) -> list[str]:
    """What the numbers of a bag rest on, and what is to be said of it, as sentences."""
    notes = []
    if not bag.measured:
        notes.append("The bag's values are expected, not read: read temperature, salinity, pH and ammonia at opening.")
    if bag.hours_in_bag >= limits.hours_in_bag_red:
        notes.append(f"{bag.hours_in_bag:g} h in the bag: red, at or past {limits.hours_in_bag_red:g} h.")
    elif bag.hours_in_bag >= limits.hours_in_bag_amber:
        notes.append(f"{bag.hours_in_bag:g} h in the bag: amber, at or past {limits.hours_in_bag_amber:g} h.")
    if not bag.damp and bag.ph is not None and bag.alkalinity_meq_per_l is None:
        notes.append(
            f"The bag's alkalinity is taken as the vat's {vat.alkalinity_meq_per_l:g} meq/L scaled by salinity, "
            "plus its ammonia."
        )
    if bag.ph is None or vat.ph is None:
        notes.append("No pH given: toxic ammonia is not calculated.")
    return notes


@dataclass(frozen=True, slots=True)
class _Try:
    """One way tried: the mode, its tubs and its table."""

    mode: Mode
    setup: TubSetup
    table: Table


def harmful(bag: BagWater, limits: Limits, load: Load | None) -> bool:
    """Whether the bag's water is harmful as it is read: ammonia above the limit, or oxygen below the alarm."""
    now = _toxic_now_mg_per_l(bag)
    toxic = now is not None and now > limits.nh3_n_mg_per_l
    return toxic or (load is not None and bag.o2_mg_per_l is not None and bag.o2_mg_per_l < load.alarm_mg_per_l)


def made(
    mode: Mode,
    bag: BagWater,
    vat: VatWater,
    limits: Limits,
    inside: Inside | None,
    *,
    opened: bool = False,
    room_c: float | None = None,
) -> Table:
    """The table of one mode in one tub; ``opened``: the animals are out of the sealed bag, so nothing floats.

    ``room_c``: temperature of the room where no tub says it.

    Raises
    ------
    BadInput, OutOfRange
        As the mode's own function.
    """
    if mode == "float_then_transfer":
        at_once = opened or harmful(bag, limits, inside.load if inside is not None else None)
        return transfer_modes.float_then_transfer(bag, vat, limits, inside=inside, at_once=at_once, room_c=room_c)
    if mode == "damp_direct":
        return transfer_modes.damp_direct(bag, vat, limits, inside=inside)
    makers = {"drip": bag_water_modes.drip, "overflow": bag_water_modes.overflow, "exchange": bag_water_modes.exchange}
    return makers[mode](bag, vat, limits, inside=inside)


def tried(mode: Mode, waters: tuple[BagWater, VatWater, Limits], load: Load, tub: Tub, times: float = 1.0) -> _Try:
    """One mode in tubs sized for its animals; a drip that would outgrow its tub overflows instead.

    Raises
    ------
    BadInput, OutOfRange
        As :func:`made` and :func:`~intake.receiving.acclimation.load.set_up`.
    """
    bag, vat, limits = waters
    bag_l = load.bags * bag.volume_l if mode in KEEPS_BAG_WATER else 0.0
    setup = set_up(load, tub, (bag, vat), bag_water_l=bag_l, times=times)
    inside = Inside(setup.litres, bag_l / setup.tubs, load.shared(setup.tubs), tub)
    table = made(mode, bag, vat, limits, inside)
    if mode == "drip" and max(step.volume_l for step in table.steps) > tub.litres * (1 + 1e-9):
        mode, table = "overflow", made("overflow", bag, vat, limits, inside)
    wet = [step for step in table.steps if step.water == "tub"]
    if not wet:
        return _Try(mode, TubSetup(0, 0.0, load.animals, alarm_mg_per_l=load.alarm_mg_per_l), table)
    courses = [step.temperature_c for step in [*wet, table.steps[-1]]]
    return _Try(mode, equipped(setup, table.minutes - wet[0].minute, courses, limits.max_c_per_h, tub.room_c), table)


def as_asked(
    mode: Mode, bag: BagWater, vat: VatWater, limits: Limits, load: Load, tub: Tub | None = None
) -> Acclimation:
    """The table of the mode asked for, in tubs sized for the animals; what it passes is reported, no other way is tried.

    Raises
    ------
    BadInput, OutOfRange
        As :func:`choose`.
    """
    waters = (bag, vat, limits)
    found = tried(mode, waters, load, tub or Tub())
    reason = f"Asked for: {_SHORT_NAME[mode]}."
    notes = facts(*waters)
    return joined(found.mode, reason, found.table, notes, waters, setup=found.setup, load=load, tub=tub)


def _ways(mode: Mode) -> Iterator[tuple[Mode, float]]:
    """Modes and liters to try, in order: more water first, then out of the bag water."""
    for times in _TIMES:
        yield mode, times
    if mode in KEEPS_BAG_WATER:
        for times in _TIMES:
            yield "float_then_transfer", times


def _in_tubs(mode: Mode, waters: tuple[BagWater, VatWater, Limits], load: Load, tub: Tub) -> tuple[_Try, str]:
    """The first way that passes no limit, and what was changed to get there; the last one tried where none does."""
    first: _Try | None = None
    for way, times in _ways(mode):
        found = tried(way, waters, load, tub, times)
        first = first or found
        if found.table.first_breach is None:
            break
    if found is first or first is None:
        grown = mode == "drip" and found.mode == "overflow"
        return found, f" A filling tub would outgrow its {tub.litres:g} L, so let it overflow." if grown else ""
    if found.table.first_breach is not None:
        return first, f" Refused: {first.table.first_breach}. More water and leaving the bag water did not help either."
    how = f"{found.setup.tubs} tubs of {found.setup.litres:g} L"
    if found.mode != first.mode:
        how = f"{_SHORT_NAME[found.mode]}, {how}"
    before = f"{first.setup.tubs} tubs of {first.setup.litres:g} L"
    return found, f" With {before} a limit is passed at {first.table.first_breach}: {how} instead."


def joined(
    mode: Mode,
    reason: str,
    table: Table,
    notes: list[str],
    waters: tuple[BagWater, VatWater, Limits],
    *,
    setup: TubSetup | None = None,
    load: Load | None = None,
    tub: Tub | None = None,
) -> Acclimation:
    """Mode, reason, table and facts as one answer."""
    answer = Acclimation(
        mode=mode,
        reason=reason,
        steps=table.steps,
        water_used_l=table.water_used_l,
        minutes=table.minutes,
        first_breach=table.first_breach,
        warnings=(*notes, *in_the_room(table, setup or TubSetup(), tub or Tub(), waters[2].max_c_per_h)),
        bag=waters[0],
        vat=waters[1],
        limits=waters[2],
        setup=setup or TubSetup(),
        load=load,
        tub=tub or Tub(),
    )
    long = _long_stay(answer)
    return replace(answer, warnings=(*answer.warnings, long)) if long else answer


_ROOM_UNKNOWN = NO_LOSS.replace("the room:", "the room, whose temperature is not known:")
"""What a table says where the farm file says nothing of the room."""


def in_the_room(table: Table, setup: TubSetup, tub: Tub, max_c_per_h: float) -> tuple[str, ...]:
    """Warnings of a table, with what the room does to its tubs where the room's temperature is known.

    Where no one said which animals are in it, it is one tub as full as the table gets, with the heater it would need.
    """
    wet = [step for step in table.steps if step.water == "tub"]
    if not wet or (tub.room_c is None and not (setup.animals and setup.litres)):
        return table.warnings
    if tub.room_c is None:
        return tuple(_ROOM_UNKNOWN if one == NO_LOSS else one for one in table.warnings)
    temperatures, minutes = [step.temperature_c for step in (*wet, table.steps[-1])], table.minutes - wet[0].minute
    if not setup.litres:
        fullest = max(step.volume_l for step in wet)
        setup = equipped(TubSetup(1, fullest, animals=1), minutes, temperatures, max_c_per_h, tub.room_c)
    told = room_words(setup.litres, max(temperatures), tub.room_c, minutes, setup.heater_w)
    return tuple(f"The table assumes well-mixed water. {told}" if one == NO_LOSS else one for one in table.warnings)


def _long_stay(answer: Acclimation) -> str:
    """What to say of a stay in the tub beyond the group's mark."""
    most = answer.limits.most_open_minutes
    if answer.tub_minutes <= most:
        return ""
    bag = answer.bag
    return (
        f"{answer.tub_minutes} min in the tub is above {most:g} (common practice, no source): read oxygen and temperature "
        f"every 30 min, lid on. Or set the vat to {bag.temperature_c:.1f} °C and {bag.salinity_psu:.1f} PSU before they "
        "land and change the vat over days."
    )


def choose(
    bag: BagWater, vat: VatWater, limits: Limits, load: Load | None = None, tub: Tub | None = None
) -> Acclimation:
    """Choose the mode from the numbers, size the tubs for the animals, and make the table.

    Damp packs go straight in.  Where the bag's ammonia at the vat's pH would pass the limit, or the bag has been shut
    past its red hours (past amber, if nothing was read), the temperature is matched and animals leave the bag water.
    Otherwise the group's preferred mode, or a drip, overflowing where a filling tub would grow more than four-fold.
    With animals given, tubs hold twice what oxygen and room ask; where a table still passes a limit, more water is
    tried, then leaving the bag water, and the reason says so.

    Raises
    ------
    OutOfRange
        Outside 2 to 35 °C or salinity 19 to 40 where a pH was given, and outside the oxygen formula.
    BadInput
        For an acclimation beyond four days, or water too warm to hold the oxygen the group needs.

    References
    ----------
    Decision rule: total ammonia × toxic share at the vat's pH against 0.05 mg/L (Francis-Floyd & Watson, UF/IFAS
    FA-16); hours are the group's; tubs :mod:`intake.receiving.acclimation.load`; the rest common practice, no source.

    Examples
    --------
    >>> bag = BagWater(23.0, 33.0, 6.6, "nbs", 2.0, 1.5, 30.0)
    >>> choose(bag, VatWater(26.0, 35.0, 8.2), Limits()).mode
    'float_then_transfer'
    """
    mode, reason = _decide(bag, vat, limits)
    waters = (bag, vat, limits)
    notes = facts(bag, vat, limits)
    if load is None or load.animals == 0:
        table = made(mode, bag, vat, limits, None, room_c=None if tub is None else tub.room_c)
        return joined(mode, reason, table, notes, waters, tub=tub)
    tub = tub or Tub()
    found, more = _in_tubs(mode, waters, load, tub)
    return joined(found.mode, reason + more, found.table, notes, waters, setup=found.setup, load=load, tub=tub)
