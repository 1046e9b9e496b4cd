"""The plan as rows for a terminal of 80 columns: who stands where, from when to when, and how full the vat then is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from intake.plan.model.occupancy import Scene, full_scene
from intake.plan.problem import Problem
from intake.plan.solution import Solution, layout_of

__all__ = ["Row", "as_text", "rows"]


@dataclass(frozen=True, slots=True)
class Row:
    """One placement.

    Attributes
    ----------
    full_percent
        How full the vat, or the filter of its system, is on the fullest day of the stay.
    binding
        The resource of which that is true: ``area``, ``oxygen`` or ``ammonia``.
    """

    system: str
    vat: str
    batch: str
    stage: str
    count: int
    start: date
    until: date
    full_percent: float
    binding: str


def rows(problem: Problem, solution: Solution) -> tuple[Row, ...]:
    """All placements by system, vat and day, with how full the vat is in the resource that binds."""
    scene = full_scene(problem, layout_of(problem, solution))
    offers = {vat.id: vat for vat in problem.vats}
    found = []
    for one in solution.placements:
        vat = scene.vat_index[one.vat]
        share, binding = _fullest(scene, vat, one.from_day, one.until_day)
        start, until = (problem.day_zero + timedelta(days=day) for day in (one.from_day, one.until_day))
        system = offers[one.vat].system
        found.append(Row(system, one.vat, one.batch, one.stage, one.count, start, until, share, binding))
    return tuple(sorted(found, key=lambda row: (row.system, row.vat, row.start, row.batch)))


def _fullest(scene: Scene, vat: int, start: int, end: int) -> tuple[float, str]:
    offer, system = scene.problem.vats[vat], scene.system_of[vat]
    area, oxygen = scene.loads(vat, start, end)
    budget = scene.problem.systems[system].ammonia_on(start)
    spare = scene.spare_ammonia(system, start, end)
    shares = [
        (100.0 * area / offer.area_mm2 if offer.area_mm2 else 0.0, "area"),
        (100.0 * oxygen / offer.oxygen_ug_per_h if offer.oxygen_ug_per_h else 0.0, "oxygen"),
        (100.0 * (budget - spare) / budget if budget else 0.0, "ammonia"),
    ]
    return max(shares, key=lambda share: share[0])


def as_text(table: Sequence[Row], width: int = 80) -> str:
    """The rows as lines no longer than ``width``; long names are cut with an ellipsis."""
    head = ("system", "vat", "batch", "animals", "from", "until", "full")
    body = [
        (
            row.system, row.vat, row.batch, str(row.count), row.start.isoformat(), row.until.isoformat(),
            f"{row.full_percent:.0f} % {row.binding}",
        )
        for row in table
    ]  # fmt: skip
    columns = [max(len(line[column]) for line in (head, *body)) for column in range(len(head))]
    for column in (0, 2, 1):
        surplus = sum(columns) + 2 * (len(columns) - 1) - width
        columns[column] = max(6, columns[column] - max(0, surplus))
    lines = [
        "  ".join(_cell(text, columns[column], right=column == 3) for column, text in enumerate(line)).rstrip()
        for line in (head, *body)
    ]
    return "\n".join(lines)


def _cell(text: str, width: int, *, right: bool) -> str:
    cut = text if len(text) <= width else text[: width - 1] + "…"
    return cut.rjust(width) if right else cut.ljust(width)
