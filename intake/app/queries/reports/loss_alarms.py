"""Alarms on losses, and what to look at first."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from intake.app.output_files import write_chart
from intake.app.session import House
from intake.ledger import Entry, movements
from intake.report.alarms.farm_watch import DAYS_KEPT, FarmAlarm, watch_farm
from intake.report.alarms.from_books import COUNTING_KINDS
from intake.report.alarms.share_chart import p_chart
from intake.report.causes import Suspect, arrival_groups, common, standing_groups
from intake.report.charts import control_steps
from intake.report.comparing.past_shipments import group_factors, past_lines
from intake.report.losses import summary

__all__ = ["alarms", "alarms_drawn", "deaths_recorded", "shared_by_dead"]


_SURE: Final = 0.05
"""Corrected chance from which something is named as what to look at first (convention, no source)."""

_NAMED: Final = 5

_LOOKED_BACK: Final = 30
"""Days always looked back at, fewer asked for or not: an alarm is said by its least likely window, so that one event has the
same figures wherever it is shown (design default)."""

_COMPARED: Final = timedelta(days=365)
"""How far back shipments are compared on one chart (design default: a year, so that seasons are in it once)."""


def alarms(house: House, *, days: int = 7, out: Path | None = None, kind: str = "svg") -> dict[str, Any]:
    """Alarms that still alarmed in the last days, each with what its dead have in common; control charts are written to ``out``.

    Parameters
    ----------
    days
        Days of the last alarm of an event, 1 or more. Its figures do not depend on them, up to 30 days.
    out
        Folder for the charts; none is written when ``None``.
    kind
        ``svg``, ``png`` or ``pdf``.
    """
    told, charts = alarms_drawn(house, days=days)
    if out is not None:
        told["files"] = [str(write_chart(out / f"alarm-{batch}", chart, kind)) for batch, chart in charts.items()]
    return told


def alarms_drawn(house: House, *, days: int = 7) -> tuple[dict[str, Any], dict[str, str]]:
    """Alarms of the last days as plain data, and the control chart of each batch named, as SVG."""
    known = house.floor().batches
    zone = house.site.farm.zone
    systems = {vat.id: vat.system for vat in house.site.vats.values()}
    back = max(days, _LOOKED_BACK) if days >= 1 else days  # what is no number of days is refused there
    entries = _watched(house, back)
    usual = group_factors(past_lines(house.standing("past")))
    batches = {one.batch for one in movements(entries)}
    prior = {name: usual[known[name].group] for name in batches if known[name].group in usual} if usual else {}
    found = watch_farm(entries, batches, systems, house.now, zone, days_back=back, prior=prior)
    kept = [one for one in found.alarms if one.last_day > house.today - timedelta(days=days)]
    named = {batch for one in kept for batch, _, _ in one.named}
    charts = {
        batch: control_steps(looks, title=f"Control chart of {batch} {known[batch].name}, to {house.today:%Y-%m-%d}")
        for batch, looks in found.charts.items()
        if looks and batch in named
    }
    told: dict[str, Any] = {
        "rule": found.rule,
        "looks": found.looks,
        "usual_later": found.usual_later,
        "day_spread": found.spread,
        "learnt_from": [day.isoformat() for day in found.learnt_from] if found.learnt_from else None,
        "too_small_to_alarm": list(found.unseen),
        "correction": "Holm, for everything looked at in one alarm",
        "alarms": [_alarm(house, one) for one in sorted(kept, key=lambda one: one.over)],
        "arrivals": _arrivals(house, days),
        "files": [],
    }
    return told, charts


def deaths_recorded(house: House, since: datetime) -> bool:
    """Whether anything recorded since a moment changes who died, or takes it back; reads no older entries."""
    return any("dead" in (one.source, one.target) for one in movements(house.view.recorded_after(since)))


def shared_by_dead(house: House, *, days: int = 7) -> dict[str, Any]:
    """What the dead of the last days have in common, alarm or not: each factor tested once, corrected by Holm.

    A common factor is not a proven cause.
    """
    known, end = house.floor().batches, house.now + timedelta(microseconds=1)
    systems = {vat.id: vat.system for vat in house.site.vats.values()}
    groups = standing_groups(house.lately(), known, house.now - timedelta(days=days), end, systems)
    suspects = common(groups)
    return {
        "days": days,
        "looked_at": len(suspects),
        "look_first_at": _first(suspects),
        "in_common": [_suspect(one) for one in suspects[:_NAMED]],
    }


def _watched(house: House, days: int) -> tuple[Entry, ...]:
    """What the watch reads: every batch that was here in the days it keeps, and rounds and readings of no batch since."""
    back = DAYS_KEPT + days
    since = house.now - timedelta(days=back)
    loose = (record for kind in COUNTING_KINDS for record in house.standing(kind, since=since, loose=True))
    return (*house.lately(back), *loose)


def _alarm(house: House, one: FarmAlarm) -> dict[str, Any]:
    zone = house.site.farm.zone
    known = house.floor().batches
    systems = {vat.id: vat.system for vat in house.site.vats.values()}
    end = min(one.until, house.now + timedelta(microseconds=1))  # the last moment counts when it is the present
    suspects = common(standing_groups(house.lately(), known, one.since, end, systems))
    return {
        "unit": {"water": "system"}.get(one.unit, one.unit),
        "id": one.name,
        "batch": one.name if one.unit == "batch" else "",
        "name": _where(house, one),
        "from": one.since.astimezone(zone).isoformat(timespec="minutes"),
        "until": end.astimezone(zone).isoformat(timespec="minutes"),
        "days": one.days,
        "first_day": one.first_day.isoformat(),
        "last_day": one.last_day.isoformat(),
        "deaths": one.deaths,
        "expected": one.expected,
        "chance": one.chance,
        "week": {"deaths": one.week[0], "expected": one.week[1], "chance": one.week[2]},
        "over": one.over,
        "batches": one.batches,
        "named": [
            {"batch": batch, "name": known[batch].name, "deaths": deaths, "expected": usual}
            for batch, deaths, usual in one.named
        ],
        "words": _alarm_words(house, one),
        "do_first": _do_first(house, one),
        "look_first_at": _first(suspects),
        "in_common": [_suspect(suspect) for suspect in suspects[:_NAMED]],
        "looked_at": len(suspects),
    }


def _where(house: House, one: FarmAlarm) -> str:
    if one.unit == "farm":
        return "the farm"
    if one.unit == "water":
        return house.site.systems[one.name].name or one.name if one.name in house.site.systems else one.name
    return house.floor().batches[one.name].name


def _alarm_words(house: House, one: FarmAlarm) -> str:
    """One line that says what is unusual, where and since when."""
    where = {"farm": "the farm", "water": f"system {one.name}", "batch": f"{one.name} {_where(house, one)}"}[one.unit]
    many = f" ({one.batches} batches)" if one.batches > 1 else ""
    day = "day" if one.days == 1 else f"{one.days} days"
    window = f"{one.deaths} dead in the {day} to {_last_day(one)}; {one.expected:.1f} expected (p = {one.chance:.1g})."
    if one.past:
        window = f"{one.week[0]} dead in the last 7 days; {one.week[1]:.1f} expected. Worst: {window}"
    if one.unit == "batch" or not one.named:
        return f"{where}{many}: {window}"
    worst = ", ".join(f"{batch} ({deaths}, {usual:.1f} expected)" for batch, deaths, usual in one.named[:_NAMED])
    more = f" and {len(one.named) - _NAMED} more" if len(one.named) > _NAMED else ""
    return f"{where}{many}: {window} Most in {worst}{more}."


def _last_day(one: FarmAlarm) -> str:
    return f"{one.until - timedelta(microseconds=1):%Y-%m-%d}"


def _do_first(house: House, one: FarmAlarm) -> str:
    """What to do now, before anybody knows why (common practice, no source)."""
    if one.over:
        return "Nothing now: the last week is as usual. Find out what the dead had in common before the next delivery."
    if one.unit == "farm":
        return (
            "Check what all systems share: water supply, mixed salt water, food, power and air. Measure oxygen, "
            "temperature and ammonia in each system. Do not move animals between systems."
        )
    if one.unit == "water":
        return (
            f"Measure oxygen, temperature and ammonia in system {one.name} now. Do not move animals out of {one.name}."
        )
    vats = ", ".join(sorted({stay.vat for stay in house.floor().stays if stay.batch == one.name}))
    at = f"vat {vats}" if vats else "its vat"
    return f"Look at {at} now: measure oxygen, temperature and ammonia, and look at the animals. Do not move the batch."


def _suspect(one: Suspect) -> dict[str, Any]:
    return {
        "what": [f"{factor} {value}" for factor, value in one.names],
        "dead": one.dead,
        "of": one.animals,
        "dead_elsewhere": one.dead_elsewhere,
        "of_elsewhere": one.animals_elsewhere,
        "chance": one.chance,
        "corrected": one.corrected,
        "within_batches": one.within_batches,
        "within_vats": one.within_vats,
    }


def _first(suspects: tuple[Suspect, ...]) -> list[str]:
    """What to look at first, in words, the likeliest first; says so when nothing stands out."""
    sure = [one for one in suspects if one.corrected <= _SURE]
    if not sure:
        return ["No common factor stands out: check each dead animal."]
    return [_words(one) for one in sure[:_NAMED]]


def _words(one: Suspect) -> str:
    names = [f"{factor} {value}" for factor, value in one.names]
    alike = f" (the same animals as {', '.join(names[1:])})" if len(names) > 1 else ""
    held = ""
    places = one.names[0][0] in ("vat", "water")
    within = one.within_batches if places else one.within_vats
    other = "batch" if places else "vat"
    if within is None:
        held = f"; cannot be distinguished from its {other}, no other animals to compare with"
    elif within <= _SURE:
        held = f"; also among animals of one {other} (chance {within:.2g})"
    else:
        held = f"; not among animals of one {other} (chance {within:.2g}), so look at the {other} first"
    counts = f"{one.dead} of {one.animals} dead against {one.dead_elsewhere} of {one.animals_elsewhere} elsewhere"
    return f"{names[0]}{alike}: {counts}, corrected chance {one.corrected:.2g}{held}"


def _arrivals(house: House, days: int) -> dict[str, Any]:
    """Dead on arrival: shares of the shipments on one chart, and what the dead of the latest have in common."""
    floor = house.floor()
    since = house.now - _COMPARED
    landed = sorted((one for one, at in floor.received.items() if at >= since), key=lambda one: floor.received[one])
    counts: list[tuple[str, int, int]] = []
    for shipment in landed:
        told = [summary(house.stream(b.id), b.id, house.now) for b in house.lines_of(shipment)]
        came = sum(one.came for one in told if one is not None)
        doa = sum(max(0, one.doa) for one in told if one is not None)
        if came > 0:
            counts.append((shipment, doa, came))
    chart = p_chart([doa for _, doa, _ in counts], [came for _, _, came in counts]) if len(counts) > 1 else None
    recent = [one for one in landed if floor.received[one] > house.now - timedelta(days=days)]
    return {
        "rule": chart.rule if chart else "Nothing to compare with: only one shipment.",
        "false_alarm_rate": chart.false_alarm_rate if chart else None,
        "shipments": [
            {
                "shipment": shipment,
                "doa": doa,
                "came": came,
                "limit": chart.points[index].high if chart else None,
                "out": bool(chart and chart.points[index].out and doa / came > chart.centre),
                "look_first_at": _first_of_arrival(house, shipment) if shipment in recent else [],
            }
            for index, (shipment, doa, came) in enumerate(counts)
        ],
    }


def _first_of_arrival(house: House, shipment: str) -> list[str]:
    lines = {batch.id: batch for batch in house.lines_of(shipment)}
    groups = arrival_groups(house.shipment_stream(shipment), lines, house.now, lambda _: True)
    sure = [one for one in common(groups) if one.corrected <= _SURE]
    return [
        f"{', '.join(f'{factor} {value}' for factor, value in one.names)}: {one.dead} of {one.animals} dead on arrival "
        f"against {one.dead_elsewhere} of {one.animals_elsewhere}, corrected chance {one.corrected:.2g}"
        for one in sure[:_NAMED]
    ]
