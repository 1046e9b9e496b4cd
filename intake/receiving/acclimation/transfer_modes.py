"""The modes that leave the bag's water: a sealed float, a tub of clean water brought to the vat's, a damp pack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from intake.errors import BadInput, Finding
from intake.receiving.acclimation.bag_water_modes import CLEAN_WATER, NO_LOSS, placed, ramp_drafts
from intake.receiving.acclimation.breach import first_breach
from intake.receiving.acclimation.chemistry import Draft, filled_rows
from intake.receiving.acclimation.heat import floating_short_c
from intake.receiving.acclimation.inside import Inside
from intake.receiving.acclimation.ramps import (
    DRIP_RESET_MINUTES,
    Vessel,
    close_enough,
    floated,
    hold_minutes,
    lawful_drip,
    plain_float_c_per_h,
    row_minutes,
)
from intake.receiving.acclimation.step_table import Table
from intake.receiving.acclimation.waters import BagWater, Limits, VatWater
from intake.water.ranges import require_positive

__all__ = ["LONGEST_FLOAT_MINUTES", "TUB_L", "damp_direct", "float_plain", "float_then_transfer"]

#: Liters of the tub for animals that leave their bag water, where no one says (A093: no tub under 10 L; default).
TUB_L = 10.0
#: Longest a bag floats sealed before a tub at the bag's own values is the better way (design default).
LONGEST_FLOAT_MINUTES = 60
_WASTE = "Bag water goes to waste, never into a system."


def _tub_drafts(
    tub: Inside, water: tuple[float, float], vat: VatWater, limits: Limits, minute: int, opening: str
) -> tuple[list[Draft], float]:
    """Animals in a tub of clean water at their own values, which is then brought to the vat's."""
    here_c, here_psu = water
    if close_enough(here_c, here_psu, vat, limits):
        wait = hold_minutes(here_c, here_psu, vat, limits)
        here = Draft(minute, opening, tub.litres, here_c, here_psu, "tub", 0.0, poured_l=tub.litres)
        return [here, placed(minute + wait, vat, tub.litres, tub.litres)], tub.litres
    if tub.load is not None and here_c < vat.temperature_c and _salt_is_close(here_psu, vat, limits):
        return _heated(tub, water, vat, limits, minute, opening), tub.litres
    start = Vessel(0, tub.litres, here_c, here_psu, 0.0, 0.0, 0.0)
    drafts, poured = ramp_drafts(lawful_drip(start, vat, limits, spills=True), vat, limits, tub)
    moved = [replace(draft, minute=draft.minute + minute) for draft in drafts]
    moved[0] = replace(moved[0], action=f"{opening} {moved[0].action}")
    return moved, poured


def _salt_is_close(salinity_psu: float, vat: VatWater, limits: Limits) -> bool:
    return abs(vat.salinity_psu - salinity_psu) <= limits.transfer_gap_psu * (1 + 1e-9)


def _heated(
    tub: Inside, water: tuple[float, float], vat: VatWater, limits: Limits, minute: int, opening: str
) -> list[Draft]:
    """A tub warmed by its heater at the group's limit, where there is no salinity to change: no water is dripped."""
    here_c, here_psu = water
    pace = row_minutes(60 * (vat.temperature_c - here_c) / limits.max_c_per_h, DRIP_RESET_MINUTES)
    step = limits.max_c_per_h * pace / 60
    drafts: list[Draft] = []
    while not close_enough(here_c, here_psu, vat, limits):
        then = min(here_c + step, vat.temperature_c)
        action = f"Set the heater to {then:.1f} °C."
        words = f"{opening} {action}" if not drafts else action
        share = None if drafts else 0.0
        drafts.append(Draft(minute, words, tub.litres, here_c, here_psu, "tub", share, poured_l=tub.litres))
        minute, here_c = minute + pace, then
    wait = hold_minutes(here_c, here_psu, vat, limits)
    stop = f"Hold this temperature and wait {wait} min." if wait else "Hold this temperature."
    drafts.append(Draft(minute, stop, tub.litres, here_c, here_psu, "tub", poured_l=tub.litres))
    return [*drafts, placed(minute + wait, vat, tub.litres, tub.litres)]


def _float_rows(course: Sequence[tuple[int, float, float]], bag: BagWater, vat: VatWater) -> list[Draft]:
    rows = []
    for index, (minute, here, bath) in enumerate(course):
        where = "the vat" if bath == vat.temperature_c else f"a bath at {bath:.2f} °C"
        action = f"{'Float the sealed bag in' if index == 0 else 'Keep it floating, now in'} {where}."
        rows.append(Draft(minute, action, bag.volume_l, here, bag.salinity_psu, "sealed"))
    return rows


def float_then_transfer(
    bag: BagWater,
    vat: VatWater,
    limits: Limits,
    longest_float_minutes: float = LONGEST_FLOAT_MINUTES,
    *,
    inside: Inside | None = None,
    at_once: bool = False,
    room_c: float | None = None,
) -> Table:
    """Match the temperature with the bag sealed, then move the animals without their water.

    The bath leads the bag by no more than the limit allows.  Where that takes longer than ``longest_float_minutes`` the
    animals leave the bag at once, into a tub of clean water at the bag's own temperature and salinity, which is then
    brought to the vat's; so does a salinity gap too large to take in one go.  ``at_once``: the bag's water is harmful
    as it is, so there is no float.  ``room_c``: of the room, where no tub says it; the bag loses heat to it as it floats.

    Raises
    ------
    BadInput
        For a damp pack or an acclimation beyond four days.
    OutOfRange
        Outside the oxygen formula, and the carbonate constants where pH was given.

    References
    ----------
    Newton cooling (:mod:`intake.water.floating`); closed form (d); limits and minutes are design defaults.
    """
    if bag.damp:
        raise BadInput(Finding("mode", "float", "damp_direct for a damp pack"))
    tub = _clean(inside)
    room_c = room_c if tub.tub is None or tub.tub.room_c is None else tub.tub.room_c
    course = list(floated(bag, vat, limits, stepped=True, room_c=room_c))
    rate = plain_float_c_per_h(bag, vat)
    warnings = [NO_LOSS]
    if rate > limits.max_c_per_h:
        warnings.append(
            f"Floated straight in the vat this bag would start at {rate:.1f} °C/h, above {limits.max_c_per_h:g} °C/h."
        )
    if at_once:
        warnings = [NO_LOSS, "The water in the bag is harmful as it is: the animals leave it at once, without a float."]
        drafts, poured = _into_tub(tub, bag, vat, limits, bag.temperature_c, 0)
    elif course[-1][0] > longest_float_minutes:
        warnings.append(
            f"A lawful float would take {course[-1][0]} min sealed: the animals leave their water at once instead."
        )
        drafts, poured = _into_tub(tub, bag, vat, limits, bag.temperature_c, 0)
    else:
        drafts, poured = _floated_in(tub, course, bag, vat, limits)
        in_tub = [NO_LOSS] if room_c is not None and any(draft.water == "tub" for draft in drafts) else []
        warnings = [*float_words(course, vat, room_c), *in_tub, *warnings[1:]]
    steps, peaks = filled_rows(drafts, bag, vat, tub.load, tub.tub)
    breach = first_breach(steps, limits, peaks=peaks, alarm_mg_per_l=tub.alarm_mg_per_l)
    return Table(steps, poured, steps[-1].minute, breach, tuple(warnings))


def _clean(inside: Inside | None) -> Inside:
    """The same tub without bag water."""
    return Inside(TUB_L) if inside is None else replace(inside, bag_l=0.0, litres=inside.litres or TUB_L)


def _floated_in(
    tub: Inside, course: Sequence[tuple[int, float, float]], bag: BagWater, vat: VatWater, limits: Limits
) -> tuple[list[Draft], float]:
    """A sealed float, then the vat, or a tub first where the salinity gap is too large to take in one go."""
    drafts = _float_rows(course, bag, vat)
    minute, here, _ = course[-1]
    if abs(vat.salinity_psu - bag.salinity_psu) <= limits.transfer_gap_psu * (1 + 1e-9):
        wait = hold_minutes(here, bag.salinity_psu, vat, limits)
        return [*drafts, placed(minute + wait, vat, bag.volume_l)], 0.0
    rows, poured = _into_tub(tub, bag, vat, limits, here, minute)
    return [*drafts[:-1], *rows], poured


def _into_tub(
    tub: Inside, bag: BagWater, vat: VatWater, limits: Limits, temperature_c: float, minute: int
) -> tuple[list[Draft], float]:
    opening = (
        f"Open; move the animals, not their water, into {tub.litres:.1f} L of {CLEAN_WATER} at "
        f"{temperature_c:.1f} °C and {bag.salinity_psu:.1f} PSU. {_WASTE}"
    )
    return _tub_drafts(tub, (temperature_c, bag.salinity_psu), vat, limits, minute, opening)


def float_words(course: Sequence[tuple[int, float, float]], vat: VatWater, room_c: float | None) -> list[str]:
    """What the room does to a floating bag, as sentences; that nobody said how warm it is where that is so."""
    if room_c is None:
        return [NO_LOSS]
    short = floating_short_c(vat.temperature_c, room_c)
    minute, here, _ = course[-1]
    side = "below" if short > 0 else "above"
    told = (
        f"The upper side of the floating bag loses heat to the room at {room_c:g} °C: it stays {abs(short):.1f} °C {side} its "
        f"bath however long it floats (rate from memory, no source), and is at {here:.1f} °C after {minute} min. Read it before "
        "you open."
    )
    if minute > LONGEST_FLOAT_MINUTES:
        told = f"{told} A float of more than {LONGEST_FLOAT_MINUTES} min is worse than a tub with a heater."
    return [told if room_c < vat.temperature_c else told.replace("loses heat to", "takes heat from")]


def float_plain(bag: BagWater, vat: VatWater, limits: Limits, room_c: float | None = None) -> Table:
    """Float the sealed bag straight in the vat and move the animals without their water; what that passes is reported.

    Raises
    ------
    BadInput
        For a damp pack.
    OutOfRange
        As :func:`float_then_transfer`.

    References
    ----------
    Newton cooling, :mod:`intake.water.floating`.
    """
    if bag.damp:
        raise BadInput(Finding("mode", "float", "damp_direct for a damp pack"))
    course = list(floated(bag, vat, limits, stepped=False, room_c=room_c))
    wait = hold_minutes(course[-1][1], vat.salinity_psu, vat, limits)
    drafts = [*_float_rows(course, bag, vat), placed(course[-1][0] + wait, vat, bag.volume_l)]
    steps, _ = filled_rows(drafts, bag, vat)
    rate = plain_float_c_per_h(bag, vat)
    breach = first_breach(steps, limits)
    if rate > limits.max_c_per_h * (1 + 1e-9):
        breach = f"minute 0: floating starts at {rate:.1f} °C/h, limit {limits.max_c_per_h:g} °C/h"
    return Table(steps, 0.0, steps[-1].minute, breach, tuple(float_words(course, vat, room_c)))


def damp_direct(
    bag: BagWater, vat: VatWater, limits: Limits, tub_l: float = TUB_L, *, inside: Inside | None = None
) -> Table:
    """Rinse animals that came damp and put them in the vat, tempered first where the pack's temperature asks for it.

    There is no bag water: salinity is the vat's from the first touch, as the film on the animal counts for nothing.

    Raises
    ------
    BadInput
        For a tub not above zero or an acclimation beyond four days.
    OutOfRange
        As :func:`float_then_transfer`.

    References
    ----------
    Common practice, no source; closed form (d) for the tempering.
    """
    require_positive("tub, L", tub_l)
    tub = Inside(tub_l) if inside is None else _clean(inside)
    water = bag.temperature_c, vat.salinity_psu
    opening = f"Unpack and rinse in {CLEAN_WATER} at {bag.temperature_c:.1f} °C and {vat.salinity_psu:.1f} PSU."
    drafts, poured = _tub_drafts(tub, water, vat, limits, 0, opening)
    like_vat = BagWater(
        bag.temperature_c, vat.salinity_psu, vat.ph, vat.ph_scale, 0.0, tub.litres, bag.hours_in_bag, damp=True
    )
    steps, peaks = filled_rows(drafts, like_vat, vat, tub.load, tub.tub)
    warnings = [NO_LOSS]
    jump = abs(vat.salinity_psu - bag.salinity_psu)
    if jump > limits.max_psu_per_h:
        warnings.append(
            f"The pack's moisture was {jump:.1f} PSU from the vat, more than {limits.max_psu_per_h:g} PSU: "
            "damp packing gives no water to ramp it in."
        )
    breach = first_breach(steps, limits, peaks=peaks, alarm_mg_per_l=tub.alarm_mg_per_l)
    return Table(steps, poured, steps[-1].minute, breach, tuple(warnings))
