"""One function per mode: the step table of a drip, an overflow, an exchange, a float, a damp pack.

Rates are by volume (the closed forms), without heat loss; pH and ammonia come from alkalinity, carbon and ammonia.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from intake.errors import BadInput, Finding
from intake.receiving.acclimation.breach import first_breach
from intake.receiving.acclimation.chemistry import OPEN_MINUTES_TO_AIR, Draft, told_steps
from intake.receiving.acclimation.ramps import (
    Vessel,
    close_enough,
    constant_drip,
    floated,
    hold_minutes,
    lawful_drip,
    plain_float_c_per_h,
)
from intake.receiving.acclimation.waters import BagWater, Limits, Table, VatWater
from intake.water.mixing import exchanged, largest_flow_l_per_h
from intake.water.ranges import require_positive

__all__ = [
    "AFTER_READING",
    "CLEAN_WATER",
    "OPENING",
    "damp_direct",
    "drip",
    "exchange",
    "float_plain",
    "float_then_transfer",
    "overflow",
]

#: Litres of the tub for animals that leave their bag water, where the bag does not say (design default).
TUB_L = 10.0
#: Longest a bag floats sealed before a tub at the bag's own values is the better way (design default).
LONGEST_FLOAT_MINUTES = 60
#: Least minutes between exchanges, for the water to mix (common practice, no source).
_LEAST_WAIT = 5
#: What a tub of made-up water is called in an action; the animals are out of their bag water from there on.
CLEAN_WATER = "clean water"
OPENING = "Open into the tub"
#: How the first row after a reading begins.
AFTER_READING = "After the reading:"
_PLACE = "Move the animals into the vat; discard the water they came in."
_NO_LOSS = "The table assumes well-mixed water and no heat lost to the room: read the temperature as you go."
_AIR = (
    f"pH and ammonia assume that an opened, aerated vessel loses its excess CO2 in {OPEN_MINUTES_TO_AIR:g} min "
    "(design default, no published rate)."
)


def _opened(bag: BagWater, vessel_l: float) -> Vessel:
    return Vessel(0, vessel_l, bag.temperature_c, bag.salinity_psu, 0.0, 0.0, 0.0)


def _drip_action(vessel: Vessel, before: Vessel | None, *, water: str) -> str:
    if before is None:
        return f"{OPENING + '; drip' if water == 'mix' else 'Drip'} {vessel.flow_l_per_h:.2f} L/h."
    verb = "Keep the drip at" if vessel.flow_l_per_h == before.flow_l_per_h else "Set the drip to"
    return f"{verb} {vessel.flow_l_per_h:.2f} L/h."


def _drip_draft(vessel: Vessel, action: str, *, water: str) -> Draft:
    return Draft(
        vessel.minute,
        action,
        vessel.volume_l,
        vessel.temperature_c,
        vessel.salinity_psu,
        "mix" if water == "mix" else "clean",
        vessel.vat_share,
        float(vessel.minute),
        vessel.poured_l,
    )


def _ramp_drafts(
    vessels: Iterable[Vessel], vat: VatWater, limits: Limits, *, water: str = "mix"
) -> tuple[list[Draft], float]:
    """Rows of a drip with the last wait and the move into the vat, and the litres poured."""
    course = list(vessels)
    last = course[-1]
    wait = hold_minutes(last.temperature_c, last.salinity_psu, vat, limits)
    drafts = [
        _drip_draft(vessel, _drip_action(vessel, before, water=water), water=water)
        for vessel, before in zip(course[:-1], [None, *course[:-2]], strict=True)
    ]
    stop = f"Stop the drip and wait {wait} min." if wait else "Stop the drip."
    placed = _placed(last.minute + wait, vat, last.volume_l, last.poured_l)
    return [*drafts, _drip_draft(last, stop, water=water), placed], last.poured_l


def _placed(minute: int, vat: VatWater, volume_l: float, poured_l: float = 0.0) -> Draft:
    return Draft(minute, _PLACE, volume_l, vat.temperature_c, vat.salinity_psu, "vat", 1.0, 0.0, poured_l)


def _volume_warning(bag: BagWater, vat: VatWater) -> tuple[str, ...]:
    gap = abs(vat.salinity_psu - bag.salinity_psu)
    if gap <= 10:
        return ()
    return (f"Salinity is mixed by volume; over {gap:.0f} PSU that errs by up to {gap**2 * 0.00019:.2f} PSU.",)


def _dripped(
    bag: BagWater, vat: VatWater, limits: Limits, flow_l_per_h: float | None, minutes: int | None, *, spills: bool
) -> Table:
    if bag.damp:
        raise BadInput(Finding("mode", "drip", "damp_direct for a damp pack", "There is no bag water to drip into."))
    start = _opened(bag, bag.volume_l)
    starting: str | None = None
    if flow_l_per_h is None:
        course = lawful_drip(start, vat, limits, spills=spills)
    else:
        require_positive("drip, L/h", flow_l_per_h)
        starting = _too_fast(flow_l_per_h, bag, vat, limits)
        start = Vessel(0, bag.volume_l, bag.temperature_c, bag.salinity_psu, flow_l_per_h, 0.0, 0.0)
        course = constant_drip(start, vat, limits, spills=spills, minutes=minutes)
    drafts, poured = _ramp_drafts(course, vat, limits)
    steps = told_steps(drafts, bag, vat)
    warnings = (_NO_LOSS, *((_AIR,) if steps[0].ph_nbs is not None else ()), *_volume_warning(bag, vat))
    breach = starting or first_breach(steps, limits)
    return Table(steps, poured, steps[-1].minute, breach, warnings)


def _too_fast(flow_l_per_h: float, bag: BagWater, vat: VatWater, limits: Limits) -> str | None:
    """What a drip passes as it starts, where its change is fastest."""
    for gap, limit, unit in (
        (abs(vat.temperature_c - bag.temperature_c), limits.max_c_per_h, "°C"),
        (abs(vat.salinity_psu - bag.salinity_psu), limits.max_psu_per_h, "PSU"),
    ):
        if math.isfinite(limit) and flow_l_per_h > largest_flow_l_per_h(limit, bag.volume_l, gap) * (1 + 1e-9):
            most = largest_flow_l_per_h(limit, bag.volume_l, gap)
            return (
                f"minute 0: {flow_l_per_h:g} L/h starts at {gap * flow_l_per_h / bag.volume_l:.2f} {unit}/h, "
                f"limit {limit:g} {unit}/h; start at {most:.2f} L/h at most"
            )
    return None


def drip(
    bag: BagWater, vat: VatWater, limits: Limits, flow_l_per_h: float | None = None, minutes: int | None = None
) -> Table:
    """Drip vat water into the opened bag's water, which grows.

    Without a flow the drip is set anew every quarter of an hour to the most the limits allow; with one (and perhaps
    minutes) it stays as set, and what it passes is told.

    Raises
    ------
    BadInput
        For a damp pack, a flow not above zero, or an acclimation beyond four days.
    OutOfRange
        Outside the carbonate constants, where pH was given.

    References
    ----------
    Closed forms (a) and (d) of :mod:`intake.water.mixing`.
    """
    return _dripped(bag, vat, limits, flow_l_per_h, minutes, spills=False)


def overflow(
    bag: BagWater, vat: VatWater, limits: Limits, flow_l_per_h: float | None = None, minutes: int | None = None
) -> Table:
    """Drip vat water into the opened bag's water, which spills over and keeps its volume.

    Raises
    ------
    BadInput, OutOfRange
        As :func:`drip`.

    References
    ----------
    Closed forms (b) and (d) of :mod:`intake.water.mixing`.
    """
    return _dripped(bag, vat, limits, flow_l_per_h, minutes, spills=True)


def _exchange_pace(gap_c: float, gap_psu: float, fraction: float | None, limits: Limits) -> tuple[float, int]:
    """The fraction of the next exchange and the minutes to wait before it."""
    if fraction is None:
        fraction = min(
            0.25,
            limits.transfer_gap_c / gap_c if gap_c else math.inf,
            limits.transfer_gap_psu / gap_psu if gap_psu else math.inf,
        )
    wait = 60 * fraction * max(gap_c / limits.max_c_per_h, gap_psu / limits.max_psu_per_h)
    return fraction, max(_LEAST_WAIT, math.ceil(wait - 1e-9))


def exchange(
    bag: BagWater,
    vat: VatWater,
    limits: Limits,
    fraction: float | None = None,
    every_minutes: int | None = None,
) -> Table:
    """Take out a fraction of the opened bag's water and pour in as much vat water, again and again.

    Without a fraction each exchange changes at most half an hour's allowance; without minutes the wait before each is
    as long as its change needs.

    Raises
    ------
    BadInput
        For a damp pack, a fraction outside 0 to 1, or more exchanges than two hundred.
    OutOfRange
        Outside the carbonate constants, where pH was given.

    References
    ----------
    Closed form (c) of :mod:`intake.water.mixing`.
    """
    if bag.damp:
        raise BadInput(Finding("mode", "exchange", "damp_direct for a damp pack"))
    if fraction is not None and not 0 < fraction <= 1:
        raise BadInput(Finding("fraction exchanged", f"{fraction:g}", "above 0 and at most 1"))
    if every_minutes is not None:
        require_positive("minutes between exchanges", every_minutes)
    minute, here_c, here_psu, share = 0, bag.temperature_c, bag.salinity_psu, 0.0
    drafts = [Draft(0, f"{OPENING}.", bag.volume_l, here_c, here_psu)]
    poured, done = 0.0, False
    while not done:
        gaps = abs(vat.temperature_c - here_c), abs(vat.salinity_psu - here_psu)
        part, wait = _exchange_pace(*gaps, fraction, limits)
        minute += every_minutes or wait
        here_c = exchanged(here_c, vat.temperature_c, part, 1)
        here_psu = exchanged(here_psu, vat.salinity_psu, part, 1)
        share = exchanged(share, 1.0, part, 1)
        poured += part * bag.volume_l
        done = close_enough(here_c, here_psu, vat, limits)
        action = f"Take out and replace {part * bag.volume_l:.2f} L ({part:.0%})."
        drafts.append(Draft(minute, action, bag.volume_l, here_c, here_psu, "mix", share, float(minute), poured))
        if len(drafts) > 200:
            raise BadInput(Finding("fraction exchanged", f"{part:g}", "one that gets there in 200 exchanges"))
    drafts.append(_placed(minute + hold_minutes(here_c, here_psu, vat, limits), vat, bag.volume_l, poured))
    steps = told_steps(drafts, bag, vat)
    warnings = (_NO_LOSS, *((_AIR,) if steps[0].ph_nbs is not None else ()), *_volume_warning(bag, vat))
    return Table(steps, poured, steps[-1].minute, first_breach(steps, limits, jumps=True), warnings)


def _tub_drafts(tub: Vessel, vat: VatWater, limits: Limits, minute: int, opening: str) -> tuple[list[Draft], float]:
    """Animals in a tub of clean water at their own values, which is then brought to the vat's."""
    if close_enough(tub.temperature_c, tub.salinity_psu, vat, limits):
        wait = hold_minutes(tub.temperature_c, tub.salinity_psu, vat, limits)
        here = Draft(minute, opening, tub.volume_l, tub.temperature_c, tub.salinity_psu, "clean", poured_l=tub.volume_l)
        return [here, _placed(minute + wait, vat, tub.volume_l, tub.volume_l)], tub.volume_l
    drafts, poured = _ramp_drafts(lawful_drip(tub, vat, limits, spills=True), vat, limits, water="clean")
    moved = [replace(draft, minute=draft.minute + minute, poured_l=draft.poured_l + tub.volume_l) for draft in drafts]
    moved[0] = replace(moved[0], action=f"{opening} {moved[0].action}")
    return moved, poured + tub.volume_l


def _float_rows(course: Sequence[tuple[int, float, float]], bag: BagWater, vat: VatWater) -> list[Draft]:
    rows = []
    for index, (minute, here, bath) in enumerate(course):
        where = "the vat" if bath == vat.temperature_c else f"a bath at {bath:.2f} °C"
        action = f"{'Float the sealed bag in' if index == 0 else 'Keep it floating, now in'} {where}."
        rows.append(Draft(minute, action, bag.volume_l, here, bag.salinity_psu))
    return rows


def float_then_transfer(
    bag: BagWater, vat: VatWater, limits: Limits, longest_float_minutes: float = LONGEST_FLOAT_MINUTES
) -> Table:
    """Match the temperature with the bag sealed, then move the animals without their water.

    The bath leads the bag by no more than the limit allows.  Where that takes longer than ``longest_float_minutes`` the
    animals leave the bag at once, into a tub of clean water at the bag's own temperature and salinity, which is then
    brought to the vat's; so does a salinity gap too large to take in one go.

    Raises
    ------
    BadInput
        For a damp pack or an acclimation beyond four days.
    OutOfRange
        Outside the carbonate constants, where pH was given.

    References
    ----------
    Newton cooling (:mod:`intake.water.floating`); closed form (d); limits and minutes are design defaults.
    """
    if bag.damp:
        raise BadInput(Finding("mode", "float", "damp_direct for a damp pack"))
    course = list(floated(bag, vat, limits, stepped=True))
    rate = plain_float_c_per_h(bag, vat)
    warnings = [_NO_LOSS]
    if rate > limits.max_c_per_h:
        warnings.append(
            f"Floated straight in the vat this bag would start at {rate:.1f} °C/h, above {limits.max_c_per_h:g}."
        )
    if course[-1][0] > longest_float_minutes:
        warnings.append(
            f"A lawful float would take {course[-1][0]} min sealed: the animals leave their water at once instead."
        )
        drafts, poured = _into_tub(bag, vat, limits, bag.temperature_c, 0)
    else:
        drafts, poured = _floated_in(course, bag, vat, limits)
    steps = told_steps(drafts, bag, vat)
    return Table(steps, poured, steps[-1].minute, first_breach(steps, limits), tuple(warnings))


def _floated_in(
    course: Sequence[tuple[int, float, float]], bag: BagWater, vat: VatWater, limits: Limits
) -> tuple[list[Draft], float]:
    """A sealed float, then the vat, or a tub first where the salinity gap is too large to take in one go."""
    drafts = _float_rows(course, bag, vat)
    minute, here, _ = course[-1]
    if abs(vat.salinity_psu - bag.salinity_psu) <= limits.transfer_gap_psu * (1 + 1e-9):
        wait = hold_minutes(here, bag.salinity_psu, vat, limits)
        return [*drafts, _placed(minute + wait, vat, bag.volume_l)], 0.0
    rows, poured = _into_tub(bag, vat, limits, here, minute)
    return [*drafts[:-1], *rows], poured


def _into_tub(
    bag: BagWater, vat: VatWater, limits: Limits, temperature_c: float, minute: int
) -> tuple[list[Draft], float]:
    opening = (
        f"Open; move the animals, not their water, into {bag.volume_l:.1f} L of {CLEAN_WATER} at "
        f"{temperature_c:.1f} °C and {bag.salinity_psu:.1f} PSU."
    )
    tub = Vessel(0, bag.volume_l, temperature_c, bag.salinity_psu, 0.0, 0.0, 0.0)
    return _tub_drafts(tub, vat, limits, minute, opening)


def float_plain(bag: BagWater, vat: VatWater, limits: Limits) -> Table:
    """Float the sealed bag straight in the vat and move the animals without their water; what that passes is told.

    Raises
    ------
    BadInput
        For a damp pack.
    OutOfRange
        Outside the carbonate constants, where pH was given.

    References
    ----------
    Newton cooling, :mod:`intake.water.floating`.
    """
    if bag.damp:
        raise BadInput(Finding("mode", "float", "damp_direct for a damp pack"))
    course = list(floated(bag, vat, limits, stepped=False))
    wait = hold_minutes(course[-1][1], vat.salinity_psu, vat, limits)
    drafts = [*_float_rows(course, bag, vat), _placed(course[-1][0] + wait, vat, bag.volume_l)]
    steps = told_steps(drafts, bag, vat)
    rate = plain_float_c_per_h(bag, vat)
    breach = first_breach(steps, limits)
    if rate > limits.max_c_per_h * (1 + 1e-9):
        breach = f"minute 0: floating starts at {rate:.1f} °C/h, limit {limits.max_c_per_h:g} °C/h"
    return Table(steps, 0.0, steps[-1].minute, breach, (_NO_LOSS,))


def damp_direct(bag: BagWater, vat: VatWater, limits: Limits, tub_l: float = TUB_L) -> Table:
    """Rinse animals that came damp and put them in the vat, tempered first where the pack's temperature asks for it.

    There is no bag water: salinity is the vat's from the first touch, as the film on the animal counts for nothing.

    Raises
    ------
    BadInput
        For a tub not above zero or an acclimation beyond four days.
    OutOfRange
        Outside the carbonate constants, where pH was given.

    References
    ----------
    Common practice, no source; closed form (d) for the tempering.
    """
    require_positive("tub, L", tub_l)
    tub = Vessel(0, tub_l, bag.temperature_c, vat.salinity_psu, 0.0, 1.0, 0.0)
    opening = f"Unpack and rinse in {CLEAN_WATER} at {bag.temperature_c:.1f} °C and {vat.salinity_psu:.1f} PSU."
    drafts, poured = _tub_drafts(tub, vat, limits, 0, opening)
    like_vat = BagWater(
        bag.temperature_c, vat.salinity_psu, vat.ph, vat.ph_scale, 0.0, tub_l, bag.hours_in_bag, damp=True
    )
    steps = told_steps(drafts, like_vat, vat)
    warnings = [_NO_LOSS]
    jump = abs(vat.salinity_psu - bag.salinity_psu)
    if jump > limits.max_psu_per_h:
        warnings.append(
            f"The pack's moisture was {jump:.1f} PSU from the vat, more than {limits.max_psu_per_h:g}: "
            "damp packing gives no water to ramp it in."
        )
    return Table(steps, poured, steps[-1].minute, first_breach(steps, limits), tuple(warnings))
