"""Alarms on losses and what to look at first; what journeys cost and what the next one will probably cost."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from intake.desk.house import House
from intake.desk.plans import shipment_facts
from intake.desk.reports import write_chart
from intake.desk.shipments import mix_of
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Batch
from intake.report.alarms import p_chart
from intake.report.causes import Suspect, arrival_groups, common, standing_groups
from intake.report.charts import IntervalRow, control_steps, interval_rows
from intake.report.journeys import Journey, bag_class, expected_losses, journey_rows, journeys
from intake.report.losses import summary
from intake.report.suppliers import HEADS
from intake.report.watching import BatchAlarm, watch_batches

__all__ = ["alarms", "alarms_drawn", "expect_losses", "expect_losses_of_mix", "journey_report"]

_SURE: Final = 0.05
"""Corrected chance from which something is named as what to look at first (convention, no source)."""

_NAMED: Final = 5

_LONGEST_BAG_H: Final = 200.0
"""Hours beyond which a number typed is a slip (common practice, no source)."""


def alarms(house: House, *, days: int = 7, out: Path | None = None, kind: str = "svg") -> dict[str, Any]:
    """Alarms of the last days, each with what its dead have in common; control charts are written to ``out``.

    Parameters
    ----------
    days
        Days looked back at, 1 or more.
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
    found = watch_batches(house.entries(), known, house.now, days_back=days)
    named = dict.fromkeys(one.batch for one in found.alarms)
    charts = {
        batch: control_steps(found.days[batch], title=f"Control chart of {batch} {known[batch].name}")
        for batch in named
    }
    told: dict[str, Any] = {
        "rule": found.rule,
        "looks": found.looks,
        "false_alarms_expected": found.false_alarms_expected,
        "usual": {
            phase: {"deaths_per_animal_day": one.rate, "spread": one.spread, "batches": one.batches}
            for phase, one in found.usual.items()
        },
        "correction": "Holm, for everything looked at in one alarm",
        "alarms": [_alarm(house, one) for one in found.alarms],
        "arrivals": _arrivals(house, days),
        "files": [],
    }
    return told, charts


def _alarm(house: House, one: BatchAlarm) -> dict[str, Any]:
    look, zone = one.look, house.site.farm.zone
    systems = {vat.id: vat.system for vat in house.site.vats.values()}
    end = min(look.ends_at, house.now + timedelta(microseconds=1))  # the last moment counts when it is the present
    groups = standing_groups(house.entries(), house.floor().batches, one.starts_at, end, systems)
    suspects = common(groups)
    return {
        "batch": one.batch,
        "name": house.floor().batches[one.batch].name,
        "from": one.starts_at.astimezone(zone).isoformat(timespec="minutes"),
        "until": end.astimezone(zone).isoformat(timespec="minutes"),
        "days": look.span_days,
        "first_day": one.first_day,
        "last_day": one.last_day,
        "deaths": look.deaths,
        "expected": look.expected,
        "alarms_from": look.limit,
        "chance": look.chance,
        "look_first_at": _first(suspects),
        "in_common": [_suspect(suspect) for suspect in suspects[:_NAMED]],
        "looked_at": len(suspects),
    }


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
        return ["Nothing the dead share stands out: look at each of them."]
    return [_words(one) for one in sure[:_NAMED]]


def _words(one: Suspect) -> str:
    names = [f"{factor} {value}" for factor, value in one.names]
    alike = f" (the same animals as {', '.join(names[1:])})" if len(names) > 1 else ""
    held = ""
    places = one.names[0][0] in ("vat", "water")
    within = one.within_batches if places else one.within_vats
    other = "batch" if places else "vat"
    if within is None:
        held = f"; cannot be told from its {other}, no other animals to compare with"
    elif within <= _SURE:
        held = f"; also among animals of one {other} (chance {within:.2g})"
    else:
        held = f"; not among animals of one {other} (chance {within:.2g}), so look at the {other} first"
    counts = f"{one.dead} of {one.animals} dead against {one.dead_elsewhere} of {one.animals_elsewhere} elsewhere"
    return f"{names[0]}{alike}: {counts}, corrected chance {one.corrected:.2g}{held}"


def _arrivals(house: House, days: int) -> dict[str, Any]:
    """Dead on arrival: shares of the shipments on one chart, and what the dead of the latest have in common."""
    entries, floor = house.entries(), house.floor()
    landed = sorted(floor.received, key=lambda one: floor.received[one])
    counts: list[tuple[str, int, int]] = []
    for shipment in landed:
        told = [summary(entries, b.id, house.now) for b in floor.batches.values() if b.shipment == shipment]
        came = sum(one.came for one in told if one is not None)
        doa = sum(max(0, one.doa) for one in told if one is not None)
        if came > 0:
            counts.append((shipment, doa, came))
    chart = p_chart([doa for _, doa, _ in counts], [came for _, _, came in counts]) if len(counts) > 1 else None
    recent = [one for one in landed if floor.received[one] > house.now - timedelta(days=days)]
    return {
        "rule": chart.rule if chart else "One shipment alone has nothing to be held against.",
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
    groups = arrival_groups(house.entries(), house.floor().batches, house.now, lambda batch: batch.shipment == shipment)
    sure = [one for one in common(groups) if one.corrected <= _SURE]
    return [
        f"{', '.join(f'{factor} {value}' for factor, value in one.names)}: {one.dead} of {one.animals} dead on arrival "
        f"against {one.dead_elsewhere} of {one.animals_elsewhere}, corrected chance {one.corrected:.2g}"
        for one in sure[:_NAMED]
    ]


def journey_report(house: House, *, out: Path | None = None, kind: str = "svg") -> dict[str, Any]:
    """Losses by supplier, group, hours in the bag and season, shrunken and with intervals; pictures go to ``out``."""
    seen = journeys(house.entries(), house.now)
    heads: dict[str, list[dict[str, Any]]] = {}
    files: list[Path] = []
    for number, head in enumerate(HEADS):
        rows = journey_rows(seen, head)
        heads[head] = [
            {
                "supplier": row.supplier,
                "group": row.group,
                "hours_in_bag": row.hours,
                "season": row.season,
                "shipments": row.shipments,
                "lost": row.lost,
                "of": row.of,
                "estimate": row.shrunk.estimate,
                "low": row.shrunk.low,
                "high": row.shrunk.high,
            }
            for row in rows
        ]
        if out is not None and rows:
            dots = [
                IntervalRow(
                    f"{row.supplier} {row.group}",
                    100 * row.shrunk.estimate, 100 * row.shrunk.low, 100 * row.shrunk.high, row.hours,
                )
                for row in rows[:40]
            ]  # fmt: skip
            picture = interval_rows(dots, title=f"Journeys: {head}", axis="% lost, shrunken (95 % interval)")
            files.append(write_chart(out / f"journeys-{number + 1}", picture, kind))
    twice = any(row["shipments"] > 1 for rows in heads.values() for row in rows)
    return {"heads": heads, "shared_fate_known": twice, "files": [str(path) for path in files]}


def expect_losses(house: House, shipment: str, *, confidence: float = 0.9) -> dict[str, Any]:
    """What an announced shipment will probably lose, line by line and together.

    Raises
    ------
    UnknownName
        No such shipment.
    Refused
        It has no animals announced.

    Notes
    -----
    Lines of one shipment share one journey, so the ends of their intervals are added: the sum is wide on purpose.
    """
    facts = shipment_facts(house)
    if shipment not in facts:
        raise UnknownName("--shipment", shipment, sorted(facts), "shipment")
    lines = [one for one in house.floor().batches.values() if one.shipment == shipment and one.announced > 0]
    if not lines:
        raise Refused(Finding(f"shipment {shipment}", "no animals announced", "a shipment with animals"))
    landed = house.floor().received.get(shipment)
    lands = landed or datetime.fromisoformat(str(facts[shipment]["lands"]))
    # what this shipment itself did is not known beforehand
    seen = [one for one in journeys(house.entries(), house.now) if one.shipment != shipment]
    told = [(batch, bag_class(_hours(batch, lands))) for batch in lines]
    return {"shipment": shipment, "confidence": confidence, "heads": _ahead(seen, told, confidence)}


def expect_losses_of_mix(
    house: House, mix: Path, supplier: str, *, hours: float | None = None, confidence: float = 0.9
) -> dict[str, Any]:
    """What a shipment of a mix would probably lose, before it is bought.

    Parameters
    ----------
    mix
        A list of what would come, as for `capacity`.
    supplier
        Who would send it.
    hours
        Hours from packing to landing; ``None`` when not known.
    confidence
        Of the prediction intervals, between 0 and 1.

    Raises
    ------
    UnknownName
        No such supplier.
    BadInput
        The mix cannot be understood, or hours below 0.
    """
    if hours is not None and not 0 <= hours <= _LONGEST_BAG_H:
        raise BadInput(Finding("--hours", f"{hours:g}", f"0 to {_LONGEST_BAG_H:g} hours in the bag"))
    arrival = mix_of(house, mix, None, supplier)
    told = [(batch, bag_class(hours)) for batch in arrival.batches if batch.announced > 0]
    heads = _ahead(journeys(house.entries(), house.now), told, confidence)
    return {"mix": mix.name, "supplier": supplier, "confidence": confidence, "heads": heads}


def _ahead(seen: Sequence[Journey], lines: Sequence[tuple[Batch, str]], confidence: float) -> dict[str, Any]:
    """Each head's prediction for each line, with its class of hours in the bag, and together."""
    heads: dict[str, Any] = {}
    for head in HEADS:
        rows = []
        for batch, hours in lines:
            found = expected_losses(seen, head, batch, batch.announced, hours, confidence)
            rows.append(
                {
                    "batch": batch.id,
                    "name": batch.name,
                    "animals": batch.announced,
                    "hours_in_bag": hours,
                    "expected": None if found is None else found.expected,
                    "low": None if found is None else found.low,
                    "high": None if found is None else found.high,
                    "basis": "nothing is known" if found is None else f"{found.basis}, {found.shipments} shipments",
                }
            )
        heads[head] = {"lines": rows, **_together(rows)}
    return heads


def _hours(batch: Batch, lands: datetime) -> float | None:
    return None if batch.packed_at is None else (lands - batch.packed_at).total_seconds() / 3600


def _together(rows: list[dict[str, Any]]) -> dict[str, Any]:
    known = [row for row in rows if row["expected"] is not None]
    silent = sum(row["animals"] for row in rows if row["expected"] is None)
    animals = sum(row["animals"] for row in rows)
    if not known:
        return {"animals": animals, "expected": None, "low": None, "high": None, "nothing_known_for": silent}
    sums = {name: sum(row[name] for row in known) for name in ("expected", "low", "high")}
    return {"animals": animals, **sums, "nothing_known_for": silent}
