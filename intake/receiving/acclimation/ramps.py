"""The lawful course of one vessel: how fast a drip or a floating bag may go, and where it has got to."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from intake.errors import BadInput, Finding
from intake.receiving.acclimation.heat import bag_loss_per_h, floating_in_room
from intake.receiving.acclimation.waters import BagWater, Limits, VatWater
from intake.water.floating import FLOAT_RATE_PER_MIN
from intake.water.mixing import growing, growing_hours, largest_flow_l_per_h, overflowing, overflowing_hours

__all__ = [
    "DRIP_RESET_MINUTES",
    "FLOAT_ROW_MINUTES",
    "Vessel",
    "close_enough",
    "constant_drip",
    "floated",
    "hold_minutes",
    "lawful_drip",
    "lawful_flow_l_per_h",
    "plain_float_c_per_h",
    "row_minutes",
]

#: Minutes between two settings of a drip, and rows of a float (design defaults).
DRIP_RESET_MINUTES = 15
FLOAT_ROW_MINUTES = 10
#: Longest table; beyond it the vat is brought to the bag instead (design default).
_LONGEST_MINUTES = 96 * 60
_MOST_ROWS = 48


@dataclass(frozen=True, slots=True)
class Vessel:
    """A vessel at one minute: what is in it, the drip set from now on, and what has been poured so far."""

    minute: int
    volume_l: float
    temperature_c: float
    salinity_psu: float
    flow_l_per_h: float
    vat_share: float
    poured_l: float


def lawful_flow_l_per_h(vessel: Vessel, vat: VatWater, limits: Limits) -> float:
    """Largest drip at this moment that keeps both temperature and salinity to their limits; infinite without a gap."""
    return min(
        largest_flow_l_per_h(limits.max_c_per_h, vessel.volume_l, vat.temperature_c - vessel.temperature_c),
        largest_flow_l_per_h(limits.max_psu_per_h, vessel.volume_l, vat.salinity_psu - vessel.salinity_psu),
    )


def close_enough(temperature_c: float, salinity_psu: float, vat: VatWater, limits: Limits) -> bool:
    """Whether both gaps are small enough to move the animals."""
    slack = 1 + 1e-9
    return (
        abs(vat.temperature_c - temperature_c) <= limits.transfer_gap_c * slack
        and abs(vat.salinity_psu - salinity_psu) <= limits.transfer_gap_psu * slack
    )


def hold_minutes(temperature_c: float, salinity_psu: float, vat: VatWater, limits: Limits) -> int:
    """Minutes to wait before the gap that is left may be taken in one go."""
    wait = max(
        abs(vat.temperature_c - temperature_c) / limits.max_c_per_h,
        abs(vat.salinity_psu - salinity_psu) / limits.max_psu_per_h,
    )
    return math.ceil(60 * wait - 1e-9)


def _moved(vessel: Vessel, vat: VatWater, minutes: int, *, spills: bool) -> Vessel:
    hours = minutes / 60
    law = overflowing if spills else growing
    flow = vessel.flow_l_per_h
    return Vessel(
        minute=vessel.minute + minutes,
        volume_l=vessel.volume_l + (0.0 if spills else flow * hours),
        temperature_c=law(vessel.temperature_c, vat.temperature_c, vessel.volume_l, flow, hours),
        salinity_psu=law(vessel.salinity_psu, vat.salinity_psu, vessel.volume_l, flow, hours),
        flow_l_per_h=flow,
        vat_share=law(vessel.vat_share, 1.0, vessel.volume_l, flow, hours),
        poured_l=vessel.poured_l + flow * hours,
    )


def _with_flow(vessel: Vessel, flow_l_per_h: float) -> Vessel:
    return Vessel(
        vessel.minute,
        vessel.volume_l,
        vessel.temperature_c,
        vessel.salinity_psu,
        flow_l_per_h,
        vessel.vat_share,
        vessel.poured_l,
    )


def _slowest_hours(start: Vessel, vat: VatWater, limits: Limits) -> float:
    """Hours a ramp at the limits needs, whichever of temperature and salinity takes longer."""
    return max(
        abs(vat.temperature_c - start.temperature_c) / limits.max_c_per_h,
        abs(vat.salinity_psu - start.salinity_psu) / limits.max_psu_per_h,
    )


def row_minutes(minutes: float, least: int) -> int:
    """Minutes between two rows so that a table has 48 rows at most."""
    return max(least, math.ceil(minutes / _MOST_ROWS / least) * least)


def _too_long(where: str, minutes: float) -> BadInput:
    return BadInput(
        Finding(
            where,
            f"{minutes / 60:.0f} h",
            f"an acclimation of at most {_LONGEST_MINUTES // 60} h",
            "Bring the vat to the bag instead.",
        )
    )


def lawful_drip(start: Vessel, vat: VatWater, limits: Limits, *, spills: bool) -> Iterator[Vessel]:
    """A drip that is set again every quarter of an hour to the most the limits allow, until animals may be moved.

    Where there is no gap to close, the vessel's own volume is dripped in over an hour, half of it, for the sake of the
    pH (common practice, no source).

    Raises
    ------
    BadInput
        If it would take more than four days.
    """
    minutes = 60 * _slowest_hours(start, vat, limits)
    if minutes > _LONGEST_MINUTES:
        raise _too_long("time at the limits", minutes)
    pace = row_minutes(minutes, DRIP_RESET_MINUTES)
    if close_enough(start.temperature_c, start.salinity_psu, vat, limits):
        flow = min(start.volume_l, lawful_flow_l_per_h(start, vat, limits))
        here = _with_flow(start, flow)
        yield here
        yield _with_flow(_moved(here, vat, 2 * DRIP_RESET_MINUTES, spills=spills), 0.0)
        return
    here = start
    while not close_enough(here.temperature_c, here.salinity_psu, vat, limits):
        if here.minute - start.minute > 2 * _LONGEST_MINUTES:
            raise _too_long("time at the limits", here.minute)
        flow = lawful_flow_l_per_h(here, vat, limits)
        here = _with_flow(here, flow if math.isfinite(flow) else 4 * here.volume_l)
        yield here
        here = _moved(here, vat, pace, spills=spills)
    yield _with_flow(here, 0.0)


def constant_drip(
    start: Vessel, vat: VatWater, limits: Limits, *, spills: bool, minutes: int | None = None
) -> Iterator[Vessel]:
    """A drip left as it was set, for so many minutes or until animals may be moved.

    Raises
    ------
    BadInput
        If it would take more than four days.
    """
    if minutes is None:
        hours_needed = overflowing_hours if spills else growing_hours
        needed = max(
            hours_needed(gap, within, start.volume_l, start.flow_l_per_h)
            for gap, within in (
                (vat.temperature_c - start.temperature_c, limits.transfer_gap_c),
                (vat.salinity_psu - start.salinity_psu, limits.transfer_gap_psu),
            )
        )
        minutes = math.ceil(60 * needed - 1e-9) or 2 * DRIP_RESET_MINUTES
    if minutes > _LONGEST_MINUTES:
        raise _too_long(f"time at {start.flow_l_per_h:g} L/h", minutes)
    pace = row_minutes(minutes, DRIP_RESET_MINUTES)
    for after in [*range(0, minutes, pace), minutes]:
        here = _moved(start, vat, after, spills=spills)
        yield here if after < minutes else _with_flow(here, 0.0)


def plain_float_c_per_h(bag: BagWater, vat: VatWater) -> float:
    """How fast a sealed bag floated straight in the vat would start to change, °C/h.

    References
    ----------
    Newton cooling, :mod:`intake.water.floating`.
    """
    return abs(vat.temperature_c - bag.temperature_c) * FLOAT_RATE_PER_MIN * 60


def floated(
    bag: BagWater, vat: VatWater, limits: Limits, *, stepped: bool, room_c: float | None = None
) -> Iterator[tuple[int, float, float]]:
    """Minute, bag temperature and bath temperature from now on, until the bag is close to the vat.

    Stepped, the bath leads the bag by no more than limit/k, less where the room pulls the same way, so that the bag never
    changes faster than the limit; otherwise the bath is the vat itself.  Where a colder or warmer room keeps the bag from
    coming close, it ends where the bag no longer changes.

    Raises
    ------
    BadInput
        If it would take more than four days.
    """
    needed = 60 * abs(vat.temperature_c - bag.temperature_c) / limits.max_c_per_h if stepped else 0.0
    if needed > _LONGEST_MINUTES:
        raise _too_long("time at the limit", needed)
    pace = row_minutes(needed, FLOAT_ROW_MINUTES)
    minute, here = 0, bag.temperature_c
    while abs(vat.temperature_c - here) > limits.transfer_gap_c * (1 + 1e-9):
        gap = vat.temperature_c - here
        lead = _lead_c(here, math.copysign(1.0, gap), limits, room_c) if stepped else math.inf
        bath = vat.temperature_c if abs(gap) <= lead else here + math.copysign(lead, gap)
        yield minute, here, bath
        before, here = here, floating_in_room(here, bath, room_c, pace)
        minute += pace
        if room_c is not None and abs(here - before) < _STANDS_STILL_C:
            break
    yield minute, here, vat.temperature_c


_STANDS_STILL_C = 0.02
"""A floating bag that changes by less from row to row has come as far as it will (a scale)."""


def _lead_c(here_c: float, way: float, limits: Limits, room_c: float | None) -> float:
    """How far the bath may lead a floating bag in its way (+1 warmer, -1 colder), so that it keeps to its limit."""
    helps = 0.0 if room_c is None else max(0.0, way * (room_c - here_c) * bag_loss_per_h())
    return max(0.0, limits.max_c_per_h - helps) / (FLOAT_RATE_PER_MIN * 60)
