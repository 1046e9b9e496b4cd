"""Pictures of the plan in a file: vat space over time, and the largest shipment that fits by day, as SVG or PNG."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.output_files import save
from intake.app.session import House
from intake.errors import BadInput, Finding

if TYPE_CHECKING:
    from forms.charts.drawing import Drawing
    from intake.app.commands.plan_vats import Proposal
    from intake.plan.answers.vat_space import Fullness, Stay, VatSpace

__all__ = ["capacity_drawing", "check_name", "draw_plan", "draw_room", "plan_drawing"]

_MOST_DAYS = 120


def draw_plan(house: House, proposal: Proposal, file: Path) -> Path:
    """Write vat space as a proposed plan leaves it.

    Raises
    ------
    BadInput
        The file's name ends in neither ``.svg`` nor ``.png``.
    """
    check_name(file)
    return _written(plan_drawing(house, proposal), file)


def draw_room(rows: Sequence[Mapping[str, Any]], mix: str, file: Path) -> Path:
    """Write the largest shipment that fits by landing day, rows as ``capacity`` gives them.

    Raises
    ------
    BadInput
        The file's name ends in neither ``.svg`` nor ``.png``.
    """
    check_name(file)
    return _written(capacity_drawing(rows, mix), file)


def capacity_drawing(rows: Sequence[Mapping[str, Any]], mix: str) -> Drawing:
    """The largest shipment that fits by landing day as a drawing."""
    from forms.charts.capacity_chart import DayRoom, room_drawing

    days = [DayRoom(row["day"], row["fits"], row["announced"], bool(row["proved"])) for row in rows]
    return room_drawing(days, title=f"Largest shipment of {mix} that fits")


def plan_drawing(house: House, proposal: Proposal, *, keys: bool = False) -> Drawing:
    """Vat space as a drawing; with ``keys`` vats and stays to come are named to a page on which they can be dragged."""
    from forms.charts.vat_space_chart import SpaceContent, SpaceLane, SpaceSystem, space_drawing
    from intake.plan.answers.vat_space import space

    problem, solution = proposal.problem, proposal.solution
    last = max((one.until_day for one in solution.placements), default=28)
    days = min(_MOST_DAYS, max(14, last + 3))
    left = solution.announced - solution.placed
    told = f"{solution.placed} of {solution.announced} animals placed" + (f", {left} not placed" if left else "")
    stages = {(one.batch, one.vat, one.from_day): one.stage for one in solution.placements} if keys else {}
    systems = tuple(
        SpaceSystem(
            house.site.systems[system.system].name,
            tuple(
                SpaceLane(vat.vat, _bars(house, vat, stages), _gauge(vat.fullness), f"vat:{vat.vat}" if keys else "")
                for vat in system.vats
            ),
            _gauge(system.fullness),
        )
        for system in space(problem, solution)
    )
    labels = tuple(f"{proposal.day_zero + timedelta(days=day):%d %b}" for day in range(days))
    return space_drawing(SpaceContent(f"Vat space, plan {proposal.id}", f"{told}.", labels, systems))


def _bars(house: House, vat: VatSpace, stages: Mapping[tuple[str, str, int], str]) -> tuple[Any, ...]:
    from forms.charts.vat_space_chart import SpaceBar

    batches = house.floor().batches
    return tuple(
        SpaceBar(
            f"{stay.batch} ×{stay.count} {batches[stay.batch].name if stay.batch in batches else ''}".strip(),
            stay.start_day,
            stay.end_day,
            stay.kind,
            _key(stay, vat.vat, stages),
        )
        for stay in vat.stays
    )


def _key(stay: Stay, vat: str, stages: Mapping[tuple[str, str, int], str]) -> str:
    """Batch and stage of a stay to come, as the board's chooser names them; empty for what cannot be dragged."""
    stage = stages.get((stay.batch, vat, stay.start_day), "") if stay.kind == "coming" else ""
    return f"{stay.batch}@{stage}" if stage else ""


def _gauge(steps: Sequence[Fullness]) -> tuple[Any, ...]:
    from forms.charts.vat_space_chart import SpaceStep

    return tuple(SpaceStep(step.start_day, step.end_day, step.percent, step.resource) for step in steps)


def check_name(file: Path) -> str:
    """See that a picture of this name can be written; its ending.

    Raises
    ------
    BadInput
        The file's name ends in neither ``.svg`` nor ``.png``.
    """
    kind = file.suffix.lower()
    if kind not in {".svg", ".png"}:
        raise BadInput(Finding("--picture", file.name, "a file name that ends in .svg or .png"))
    return kind


def _written(drawing: Drawing, file: Path) -> Path:
    return save(file, drawing.svg().encode() if check_name(file) == ".svg" else drawing.png())
