"""One function per mode that keeps the bag's water: the step table of a drip, an overflow, an exchange.

Rates are by volume (the closed forms), without heat loss; pH, ammonia and oxygen come from the balance of the tub.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from intake.errors import BadInput, Finding
from intake.receiving.acclimation.breach import first_breach
from intake.receiving.acclimation.chemistry import Draft, filled_rows
from intake.receiving.acclimation.inside import Inside
from intake.receiving.acclimation.load import Tub
from intake.receiving.acclimation.ramps import Vessel, close_enough, constant_drip, hold_minutes, lawful_drip
from intake.receiving.acclimation.step_table import Table
from intake.receiving.acclimation.waters import BagWater, Limits, VatWater
from intake.water.mixing import exchanged, largest_flow_l_per_h
from intake.water.ranges import require_positive

__all__ = ["AFTER_READING", "CLEAN_WATER", "NO_LOSS", "OPENING", "air_note", "drip", "exchange", "overflow", "placed",
           "ramp_drafts"]  # fmt: skip

#: Least minutes between exchanges, for the water to mix (common practice, no source).
_LEAST_WAIT = 5
#: What made-up water is called in an action.
CLEAN_WATER = "clean water"
OPENING = "Open into the tub"
#: How the first row after a reading begins.
AFTER_READING = "After the reading:"
_PLACE = "Move the animals into the vat. The water they came in goes to waste, never into a system."
NO_LOSS = "The table assumes well-mixed water and no heat lost to the room: read the temperature as you go."


def air_note(tub: Tub | None) -> str:
    """What the pH and ammonia of a table rest on."""
    rate = (tub or Tub()).co2_per_h
    return (
        f"pH and ammonia assume that an open, aerated tub loses its excess CO2 at {rate:g} per hour "
        "(design default, no published rate)."
    )


def _inside(bag: BagWater, inside: Inside | None) -> Inside:
    return inside or Inside(bag.volume_l, bag.volume_l)


def _opening(inside: Inside, bag: BagWater) -> str:
    """How the animals enter a tub that keeps their bag water."""
    if inside.clean_l <= 0:
        return OPENING
    water = f"{inside.clean_l:.1f} L of {CLEAN_WATER} at {bag.temperature_c:.1f} °C and {bag.salinity_psu:.1f} PSU"
    return f"{OPENING}, which holds {water}"


def _action(vessel: Vessel, before: Vessel | None, opening: str) -> str:
    if before is None:
        return f"{opening}; drip {vessel.flow_l_per_h:.2f} L/h." if opening else f"Drip {vessel.flow_l_per_h:.2f} L/h."
    verb = "Keep the drip at" if vessel.flow_l_per_h == before.flow_l_per_h else "Set the drip to"
    return f"{verb} {vessel.flow_l_per_h:.2f} L/h."


def _draft(vessel: Vessel, action: str, share: float | None, poured_l: float) -> Draft:
    return Draft(
        vessel.minute,
        action,
        vessel.volume_l,
        vessel.temperature_c,
        vessel.salinity_psu,
        "tub",
        share,
        vessel.flow_l_per_h,
        poured_l=vessel.poured_l + poured_l,
    )


def ramp_drafts(
    vessels: Iterable[Vessel], vat: VatWater, limits: Limits, inside: Inside, *, opening: str = ""
) -> tuple[list[Draft], float]:
    """Rows of a drip with the last wait and the move into the vat, and the liters poured, the first filling included."""
    course, filled = list(vessels), inside.clean_l
    last = course[-1]
    wait = hold_minutes(last.temperature_c, last.salinity_psu, vat, limits)
    drafts = [
        _draft(vessel, _action(vessel, before, opening), inside.bag_share if before is None else None, filled)
        for vessel, before in zip(course[:-1], [None, *course[:-2]], strict=True)
    ]
    stop = f"Stop the drip and wait {wait} min." if wait else "Stop the drip."
    end = placed(last.minute + wait, vat, last.volume_l, last.poured_l + filled)
    return [*drafts, _draft(last, stop, None, filled), end], last.poured_l + filled


def placed(minute: int, vat: VatWater, volume_l: float, poured_l: float = 0.0) -> Draft:
    """The move into the vat."""
    return Draft(minute, _PLACE, volume_l, vat.temperature_c, vat.salinity_psu, "vat", poured_l=poured_l)


def _volume_warning(bag: BagWater, vat: VatWater) -> tuple[str, ...]:
    gap = abs(vat.salinity_psu - bag.salinity_psu)
    if gap <= 10:
        return ()
    return (f"Salinity is mixed by volume; over {gap:.0f} PSU that errs by up to {gap**2 * 0.00019:.2f} PSU.",)


def _dripped(
    bag: BagWater,
    vat: VatWater,
    limits: Limits,
    flow_l_per_h: float | None,
    minutes: int | None,
    inside: Inside,
    *,
    spills: bool,
) -> Table:
    if bag.damp:
        raise BadInput(Finding("mode", "drip", "damp_direct for a damp pack", "There is no bag water to drip into."))
    start = Vessel(0, inside.litres, bag.temperature_c, bag.salinity_psu, 0.0, 0.0, 0.0)
    starting: str | None = None
    if flow_l_per_h is None:
        course = lawful_drip(start, vat, limits, spills=spills)
    else:
        require_positive("drip, L/h", flow_l_per_h)
        starting = _too_fast(flow_l_per_h, inside.litres, bag, vat, limits)
        start = Vessel(0, inside.litres, bag.temperature_c, bag.salinity_psu, flow_l_per_h, 0.0, 0.0)
        course = constant_drip(start, vat, limits, spills=spills, minutes=minutes)
    drafts, poured = ramp_drafts(course, vat, limits, inside, opening=_opening(inside, bag))
    steps, peaks = filled_rows(drafts, bag, vat, inside.load, inside.tub)
    warnings = (
        NO_LOSS,
        *((air_note(inside.tub),) if steps[0].ph_nbs is not None else ()),
        *_volume_warning(bag, vat),
    )
    breach = starting or first_breach(steps, limits, peaks=peaks, alarm_mg_per_l=inside.alarm_mg_per_l)
    return Table(steps, poured, steps[-1].minute, breach, warnings)


def _too_fast(flow_l_per_h: float, volume_l: float, bag: BagWater, vat: VatWater, limits: Limits) -> str | None:
    """What a drip passes as it starts, where its change is fastest."""
    for gap, limit, unit in (
        (abs(vat.temperature_c - bag.temperature_c), limits.max_c_per_h, "°C"),
        (abs(vat.salinity_psu - bag.salinity_psu), limits.max_psu_per_h, "PSU"),
    ):
        if math.isfinite(limit) and flow_l_per_h > largest_flow_l_per_h(limit, volume_l, gap) * (1 + 1e-9):
            most = largest_flow_l_per_h(limit, volume_l, gap)
            return (
                f"minute 0: {flow_l_per_h:g} L/h starts at {gap * flow_l_per_h / volume_l:.2f} {unit}/h, "
                f"limit {limit:g} {unit}/h; start at {most:.2f} L/h at most"
            )
    return None


def drip(
    bag: BagWater,
    vat: VatWater,
    limits: Limits,
    flow_l_per_h: float | None = None,
    minutes: int | None = None,
    *,
    inside: Inside | None = None,
) -> Table:
    """Drip vat water into the opened bag's water, which grows.

    Without a flow the drip is set again every quarter of an hour to the most the limits allow; with one (and perhaps
    minutes) it stays as set, and what it passes is reported.  ``inside``: the tub, with clean water of the bag's own
    temperature and salinity to begin with; without it, the bag's own water alone.

    Raises
    ------
    BadInput
        For a damp pack, a flow not above zero, or an acclimation beyond four days.
    OutOfRange
        Outside the oxygen formula, and the carbonate constants where pH was given.

    References
    ----------
    Closed forms (a) and (d) of :mod:`intake.water.mixing`.
    """
    return _dripped(bag, vat, limits, flow_l_per_h, minutes, _inside(bag, inside), spills=False)


def overflow(
    bag: BagWater,
    vat: VatWater,
    limits: Limits,
    flow_l_per_h: float | None = None,
    minutes: int | None = None,
    *,
    inside: Inside | None = None,
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
    return _dripped(bag, vat, limits, flow_l_per_h, minutes, _inside(bag, inside), spills=True)


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
    *,
    inside: Inside | None = None,
) -> Table:
    """Take out a fraction of the opened bag's water and pour in as much vat water, again and again.

    Without a fraction each exchange changes at most half an hour's allowance; without minutes the wait before each is
    as long as its change needs.

    Raises
    ------
    BadInput
        For a damp pack, a fraction outside 0 to 1, or more exchanges than two hundred.
    OutOfRange
        As :func:`drip`.

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
    tub = _inside(bag, inside)
    drafts = _exchanges(bag, vat, limits, fraction, every_minutes, tub)
    last = drafts[-1]
    wait = hold_minutes(last.temperature_c, last.salinity_psu, vat, limits)
    drafts.append(placed(last.minute + wait, vat, tub.litres, last.poured_l))
    steps, peaks = filled_rows(drafts, bag, vat, tub.load, tub.tub)
    warnings = (NO_LOSS, *((air_note(tub.tub),) if steps[0].ph_nbs is not None else ()), *_volume_warning(bag, vat))
    breach = first_breach(steps, limits, jumps=True, peaks=peaks, alarm_mg_per_l=tub.alarm_mg_per_l)
    return Table(steps, last.poured_l, steps[-1].minute, breach, warnings)


def _exchanges(
    bag: BagWater, vat: VatWater, limits: Limits, fraction: float | None, every_minutes: int | None, tub: Inside
) -> list[Draft]:
    minute, here_c, here_psu, poured = 0, bag.temperature_c, bag.salinity_psu, tub.clean_l
    drafts = [Draft(0, f"{_opening(tub, bag)}.", tub.litres, here_c, here_psu, "tub", tub.bag_share, poured_l=poured)]
    done = False
    while not done:
        gaps = abs(vat.temperature_c - here_c), abs(vat.salinity_psu - here_psu)
        part, wait = _exchange_pace(*gaps, fraction, limits)
        minute += every_minutes or wait
        here_c = exchanged(here_c, vat.temperature_c, part, 1)
        here_psu = exchanged(here_psu, vat.salinity_psu, part, 1)
        poured += part * tub.litres
        done = close_enough(here_c, here_psu, vat, limits)
        action = f"Take out and replace {part * tub.litres:.2f} L ({part:.0%})."
        drafts.append(
            Draft(minute, action, tub.litres, here_c, here_psu, exchanged=part, poured_l=poured),
        )
        if len(drafts) > 200:
            raise BadInput(Finding("fraction exchanged", f"{part:g}", "one that gets there in 200 exchanges"))
    return drafts
