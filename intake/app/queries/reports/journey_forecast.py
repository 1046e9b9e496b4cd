"""Forecast of the losses a journey will cost, from the journeys on record."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from intake.app.output_files import write_chart
from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.planning.mix_capacity import mix_of
from intake.app.queries.planning.plan_question import arrivals
from intake.app.queries.reports.supplier_scorecard import between_words
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Batch
from intake.ledger import Entry
from intake.report.charts import IntervalRow, interval_rows
from intake.report.comparing.journeys import Journey, JourneyRow, bag_class, expected_losses, journey_rows, journeys
from intake.report.comparing.suppliers import HEADS

__all__ = ["Expected", "dead_on_arrival", "expect_losses", "expect_losses_of_mix", "journey_report"]


@dataclass(frozen=True, slots=True)
class Expected:
    """Animals of one line that will probably be dead on arrival, with the ends of the prediction interval."""

    shipment: str
    batch: str
    expected: float
    low: int
    high: int


def _landed(house: House) -> tuple[Entry, ...]:
    """What journeys are reported by: every receipt, batch and movement, and past shipments; no other record."""
    return (*house.standing("received"), *house.standing("batch"), *house.standing("past"), *house.moved())


def dead_on_arrival(house: House) -> tuple[Expected, ...]:
    """What journeys like those to come have cost, line by line; nothing where fewer than two shipments are known."""
    coming = [arrival for arrival in arrivals(house) if arrival.batches]
    seen = journeys(_came(house), house.now, _ON_ARRIVAL) if coming else ()  # once for all shipments
    return tuple(
        Expected(arrival.shipment, line["batch"], float(line["expected"]), int(line["low"]), int(line["high"]))
        for arrival in coming
        for line in expect_losses(house, arrival.shipment, seen=seen, heads=_ON_ARRIVAL)["heads"]["doa"]["lines"]
        if line["expected"] is not None
    )


def _came(house: House) -> tuple[Entry, ...]:
    """As :func:`_landed`, for dead on arrival alone: of most batches only the movement in which they came."""
    return (*house.standing("received"), *house.standing("batch"), *house.standing("past"), *house.view.landed())


_ON_ARRIVAL: Final = {"doa": HEADS["doa"]}
"""The head a plan asks for: it must not read what became of every animal since."""


_LONGEST_BAG_H: Final = 200.0


def journey_report(house: House, *, out: Path | None = None, kind: str = "svg") -> dict[str, Any]:
    """Losses by supplier, group, hours in the bag and season, adjusted toward the average; pictures go to ``out``."""
    seen = journeys(_landed(house), house.now)
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
                "low": row.shrunk.low if row.spread_known else None,
                "high": row.shrunk.high if row.spread_known else None,
                "interval": between_words(
                    (row.shrunk.low, row.shrunk.high) if row.spread_known else None, row.shipments
                ),
            }
            for row in rows
        ]
        if out is not None and rows:
            dots = [IntervalRow(f"{row.supplier} {row.group}", *_drawn(row), row.hours) for row in rows[:40]]
            picture = interval_rows(
                dots, title=f"Journeys: {head}", axis="% lost, adjusted toward the average (95 % interval)"
            )
            files.append(write_chart(out / f"journeys-{number + 1}", picture, kind))
    twice = any(row["shipments"] > 1 for rows in heads.values() for row in rows)
    return {"heads": heads, "shared_fate_known": twice, "files": [str(path) for path in files]}


def _drawn(row: JourneyRow) -> tuple[float, float, float]:
    """Estimate and the ends of its interval in percent; both at the estimate where how deliveries differ is not known."""
    middle = 100 * row.shrunk.estimate
    return (middle, 100 * row.shrunk.low, 100 * row.shrunk.high) if row.spread_known else (middle, middle, middle)


def expect_losses(
    house: House,
    shipment: str,
    *,
    confidence: float = 0.9,
    seen: Sequence[Journey] | None = None,
    heads: Iterable[str] = HEADS,
) -> dict[str, Any]:
    """What an announced shipment will probably lose, line by line and together.

    Parameters
    ----------
    seen
        Journeys on record, where they are known already.
    heads
        Of ``suppliers.HEADS`` those asked about, and known of ``seen``.

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
    lines = [one for one in house.lines_of(shipment) if one.announced > 0]
    if not lines:
        raise Refused(Finding(f"shipment {shipment}", "no animals announced", "a shipment with animals"))
    landed = house.floor().received.get(shipment)
    lands = landed or datetime.fromisoformat(str(facts[shipment]["lands"]))
    # what this shipment itself did is not known beforehand
    known = journeys(_landed(house), house.now) if seen is None else seen
    others = [one for one in known if one.shipment != shipment]
    told = [(batch, bag_class(_hours(batch, lands))) for batch in lines]
    return {"shipment": shipment, "confidence": confidence, "heads": _ahead(others, told, confidence, heads)}


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
    heads = _ahead(journeys(_landed(house), house.now), told, confidence, HEADS)
    return {"mix": mix.name, "supplier": supplier, "confidence": confidence, "heads": heads}


def _ahead(
    seen: Sequence[Journey], lines: Sequence[tuple[Batch, str]], confidence: float, asked: Iterable[str]
) -> dict[str, Any]:
    """Each head's prediction for each line, with its class of hours in the bag, and together."""
    heads: dict[str, Any] = {}
    for head in asked:
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
