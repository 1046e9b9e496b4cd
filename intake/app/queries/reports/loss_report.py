"""Losses with survival, by batch, box, group and supplier, with the pictures that go with them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from intake.app.output_files import write_chart
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.farm.floor import Batch
from intake.ledger import Entry, by_batch, movements
from intake.report.causes import arrival_groups, common
from intake.report.charts import IntervalRow, hazard_steps, interval_rows, loss_bars, survival_steps
from intake.report.comparing.log_rank import log_rank
from intake.report.groupings import LossRow, Rate, daily_hazard, losses_by
from intake.report.intervals import Interval
from intake.report.losses import by_day, summary
from intake.report.opening import box_rows
from intake.report.survival import curve, lives

__all__ = ["compared", "losses", "losses_told_apart"]


def losses(
    house: House, *, batch: str = "", shipment: str = "", out: Path | None = None, kind: str = "svg"
) -> dict[str, Any]:
    """Losses of each batch that came, by day, with survival and hazard; pictures are written to ``out``.

    Parameters
    ----------
    kind
        ``svg``, ``png`` or ``pdf``.

    Raises
    ------
    BadInput
        No such batch came.
    """
    chosen = _chosen(house, batch, shipment)
    streams = by_batch(_moved(house, chosen, whole=not (batch or shipment)))
    rows, files, curves = [], [], []
    for one in chosen:
        entries = streams.get(one.id, ())
        told = summary(entries, one.id, house.now)
        if told is None:
            continue
        alive = curve(entries, one.id, house.now)
        days = by_day(entries, one.id, house.now)
        last = alive.steps[-1] if alive and alive.steps else None
        rows.append(
            {
                "batch": one.id,
                "name": one.name,
                "came": told.came,
                "doa": told.doa,
                "dead_first_7_days": told.dead_first_week,
                "dead_later": told.dead_later,
                "missing": told.missing,
                "wrong": told.wrong,
                "sold": told.sold,
                "alive": told.on_hand,
                "survival": None if last is None else _step(last),
                "days": [
                    {"day": day.day, "at_risk": day.at_risk, "dead": day.dead, "doa": day.doa, "missing": day.missing}
                    for day in days
                ],
            }
        )
        if alive is not None and alive.steps:
            curves.append((one.id, alive))
        if out is not None and days:
            picture = loss_bars(
                days, title=f"Losses of {one.id} {one.name} by day, to {house.today}", zone=house.site.farm.zone
            )
            files.append(write_chart(out / f"losses-{one.id}", picture, kind))
            if alive is not None:
                picture = hazard_steps(
                    daily_hazard(alive), title=f"Daily death rate of {one.id} {one.name}, to {house.today}"
                )
                files.append(write_chart(out / f"hazard-{one.id}", picture, kind))
    if not rows:
        raise BadInput(Finding("report losses", batch or shipment or "the ledger", "animals that came"))
    if out is not None and curves:
        picture = survival_steps(
            curves[:6],
            title=f"Share alive by day since arrival, {shipment or batch or 'all batches'}, to {house.today}",
        )
        files.append(write_chart(out / f"survival-{batch or shipment or 'all'}", picture, kind))
    return {"batches": rows, "files": [str(path) for path in files]}


def compared(house: House, first: str, second: str) -> dict[str, Any]:
    """Whether two batches die alike: their deaths against what is expected if they do, and the log-rank chance.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        One of them had no animal in a vat, or none of both died.
    """
    known = house.floor().batches
    for name in (first, second):
        if name not in known:
            raise UnknownName("--against", name, sorted(known), "batch")
    test = log_rank(*(lives(house.stream(name), name, house.now) for name in (first, second)))
    return {
        "batches": [first, second],
        "deaths": list(test.deaths),
        "expected": list(test.expected),
        "statistic": test.statistic,
        "chance": test.chance,
    }


def losses_told_apart(
    house: House, by: str, *, batch: str = "", shipment: str = "", out: Path | None = None, kind: str = "svg"
) -> dict[str, Any]:
    """Losses distinguished by batch, vat, system, box, supplier or group, with daily hazard; a picture is written to ``out``.

    Raises
    ------
    BadInput
        Nothing came, or not one of these words.
    """
    picked = _chosen(house, batch, shipment)
    systems = {vat.id: vat.system for vat in house.site.vats.values()}
    entries = _moved(house, picked, whole=not (batch or shipment))
    chosen = [one.id for one in picked]
    found = losses_by((*house.standing("batch"), *entries), house.now, by, systems=systems, only=chosen)
    if not found:
        raise BadInput(Finding("report losses", batch or shipment or "the ledger", "animals that came"))
    files = []
    shown = [(row.key, row.hazard) for row in found if row.hazard is not None][:40]
    if out is not None and shown:
        dots = [
            IntervalRow(key, 100 * rate.estimate, 100 * rate.low, 100 * rate.high, f"{rate.estimate:.2%}")
            for key, rate in shown
        ]
        picture = interval_rows(dots, title=f"Deaths by {by}", axis="deaths a day, % of those alive (95 % interval)")
        files.append(write_chart(out / f"losses-by-{by}", picture, kind))
    answer: dict[str, Any] = {
        "by": by,
        "rows": [_told_apart(row) for row in found],
        "files": [str(path) for path in files],
    }
    return answer | {"opening": _opening(house, batch, shipment)} if by == "box" else answer


def _opening(house: House, batch: str, shipment: str) -> dict[str, Any]:
    """What was dead, missing or wrong in each box when it was opened, and what the dead had in common."""

    def wanted(one: Batch) -> bool:
        return _wanted(one, batch, shipment)

    known = house.floor().batches
    entries = house.stream(*(one.id for one in known.values() if wanted(one)))
    rows = box_rows(entries, known, house.now, wanted)
    suspects = common(arrival_groups(entries, known, house.now, wanted))
    return {
        "boxes": [
            {
                "box": row.box or None,
                "batches": list(row.batches),
                "came": row.came,
                "came_told": row.came_told,
                "doa": row.doa,
                "doa_share": _share(row.doa_share),
                "missing": row.missing,
                "wrong": row.wrong,
            }
            for row in rows
        ],
        "looked_at": len(suspects),
        "in_common": [
            {
                "what": [f"{factor} {value}" for factor, value in one.names],
                "dead": one.dead,
                "of": one.animals,
                "dead_elsewhere": one.dead_elsewhere,
                "of_elsewhere": one.animals_elsewhere,
                "chance": one.chance,
                "corrected": one.corrected,
            }
            for one in suspects[:5]
        ],
    }


def _told_apart(row: LossRow) -> dict[str, Any]:
    return {
        "key": row.key,
        "batches": list(row.batches),
        "came": row.came,
        "doa": row.doa,
        "doa_share": _share(row.doa_share),
        "dead_first_7_days": row.dead_first_week,
        "dead_later": row.dead_later,
        "missing": row.missing,
        "animal_days": round(row.animal_days, 1),
        "deaths_per_animal_day": _share(row.hazard),
        "alive_day_7": None if row.day_7 is None else _step(row.day_7),
        "alive_day_30": None if row.day_30 is None else _step(row.day_30),
        "hazard_by_day": []
        if row.curve is None
        else [
            {"day": one.day, "deaths": one.deaths, "animal_days": round(one.animal_days, 2), "rate": _share(one.rate)}
            for one in daily_hazard(row.curve)
        ],
    }


def _share(found: Interval | Rate | None) -> dict[str, float] | None:
    return None if found is None else {"estimate": found.estimate, "low": found.low, "high": found.high}


def _chosen(house: House, batch: str, shipment: str) -> list[Batch]:
    """The batch named, the batches of the shipment named, or every batch there ever was."""
    if batch:
        found = house.view.batch(batch)
        return [] if found is None else [found]
    return [*house.lines_of(shipment)] if shipment else [*house.floor().batches.values()]


def _moved(house: House, chosen: Sequence[Batch], *, whole: bool) -> tuple[Entry, ...]:
    """Movements of these batches; with ``whole`` of all that there are, which is quicker than batch by batch."""
    if whole:
        return house.moved()
    return tuple(movements(house.stream(*(one.id for one in chosen))))


def _wanted(one: Batch, batch: str, shipment: str) -> bool:
    return one.id == batch if batch else (one.shipment == shipment if shipment else True)


def _step(step: Any) -> dict[str, float]:
    return {"day": step.day, "survival": step.survival, "low": step.low, "high": step.high, "at_risk": step.at_risk}
