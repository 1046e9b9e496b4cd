"""What vats and systems offer, from the farm file and what a person has closed or opened."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from math import floor as whole

from intake.farm.floor import Floor
from intake.farm.site import Planning, System, Vat
from intake.library import Group
from intake.plan.problem import SystemOffer, VatOffer
from intake.plan.tuning import BEYOND_EVERY_PLAN
from intake.water import oxygen as water_oxygen

__all__ = ["CLOSURE_DAYS", "system_offer", "vat_offer"]

CLOSURE_DAYS = 730
"""Days ahead for which a vat's closures by rule are laid out: past the quarantine and grow-out of any group."""


def system_offer(system: System, planning: Planning, today: date) -> SystemOffer:
    """What a system offers on the days from today on."""
    budget = whole(system.nitrogen_budget_mg_per_h * 1000)
    return SystemOffer(
        id=system.id,
        role=system.role,
        ammonia_ug_per_h=budget,
        new_filter_ug_per_h=whole(budget * planning.new_filter_percent / 100.0),
        matured_day=0 if system.matured is None else (system.matured - today).days,
        suppliers_share=system.suppliers_share,
        prefers=system.prefers,
    )


def vat_offer(
    vat: Vat, system: System, planning: Planning, groups: Iterable[Group], today: date, floor: Floor
) -> VatOffer:
    """What a vat offers, so that the strictest of some groups is not alarmed, and when it is closed."""
    alarm = max((group.oxygen.alarm_mg_per_l for group in groups), default=0.0)
    saturation = water_oxygen.oxygen_mg_per_l(system.temperature_c, system.salinity_psu)
    supply = vat.turnover_per_h * vat.volume_l * max(0.0, saturation - alarm) + vat.aeration_mg_per_h
    return VatOffer(
        id=vat.id,
        system=vat.system,
        area_mm2=whole(vat.area_m2 * 1e6 * (1.0 - planning.headroom_percent / 100.0) + 1e-6),
        oxygen_ug_per_h=whole(supply * 1000),
        fallow_days=vat.fallow_days,
        divided=vat.divided,
        closed=(*_closed_by_file(vat, today, floor), *_closed_by_hand(vat, today, floor)),
        weekly_cents=round(vat.price_per_week * 100) if vat.reserve and vat.price_per_week else 0,
    )


def _closed_by_file(vat: Vat, today: date, floor: Floor) -> Iterator[tuple[int, int]]:
    """Days on which the farm file closes a vat, but for those a person has opened it in."""
    opened = floor.opened.get(vat.id)
    for gap in vat.closed:
        for first, last in gap.spans(today, today + timedelta(days=CLOSURE_DAYS)):
            if opened is None or opened.date() < first or last < today:
                yield (first - today).days, (last - today).days + 1


def _closed_by_hand(vat: Vat, today: date, floor: Floor) -> Iterator[tuple[int, int]]:
    """Days for which a person has closed a vat; without an end, beyond every plan."""
    for one in floor.closures:
        if one.vat == vat.id and (one.until is None or one.until.date() >= today):
            until = BEYOND_EVERY_PLAN if one.until is None else (one.until.date() - today).days
            yield (one.since.date() - today).days, max(until, 1)
