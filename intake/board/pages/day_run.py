"""The receiving day run from the board: planned, a box opened, what slipped, and the rest planned again."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from starlette.responses import RedirectResponse, Response

from intake.app.commands import record_observation
from intake.app.landing.day_rerun import going_on
from intake.app.landing.kept_day import DayRun, keep_day, landing_batches, planned_day
from intake.app.landing.receiving_day import Slip
from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.board.background_jobs import Jobs
from intake.board.pages.keys import acted
from intake.board.pages.typed import lines_of, measured
from intake.board.request import Asked
from intake.errors import BadInput, Finding, UnknownName
from intake.farm.floor import Batch

__all__ = ["opened", "plan_day", "slipped"]

_SECONDS = 5.0


def opened(asked: Asked) -> Response:
    """Record a box as opened now by the temperature of its water; the day's page then shows the rest of it planned again."""
    shipment, box = asked.path("shipment"), asked.field("box")
    read = measured(asked, "temperature_c", "temperature_c") or measured(asked, "temperature", "temperature")
    if not box:
        raise BadInput(Finding("box", "", "a box of the day"))
    where, place = f"/deliveries/{shipment}/day", f"{shipment}/{box}"
    despite = asked.field("despite")
    if read is None:
        return _go_on(asked, Slip(opened={place: asked.house.now}), f"Box {box} opened.")
    return acted(
        asked,
        where,
        lambda house, key: record_observation.reading(
            house, place, read.quantity, read.value, despite=despite, key=key
        ),
    )


def slipped(asked: Asked) -> Response:
    """Say what slipped (leaking, too warm, station or person gone, boxes still closed) and plan the rest again from now."""
    slip = Slip(
        leaking=lines_of(asked.field("leaking")),
        off_temperature=lines_of(asked.field("warm")),
        without=lines_of(asked.field("without")),
        extra=_extra(asked),
    )
    return _go_on(asked, slip, "The rest of the day is planned again.", closed=lines_of(asked.field("closed")))


def _extra(asked: Asked) -> dict[str, int]:
    batch, more = asked.field("batch"), asked.field("more")
    if not more:
        return {}
    if not (more.isascii() and more.isdigit() and len(more) < 4) or not batch:
        raise BadInput(Finding("boxes more", more[:20], "a number of boxes and the batch they hold"))
    return {batch: int(more)}


def _go_on(asked: Asked, slip: Slip, said: str, closed: tuple[str, ...] = ()) -> Response:
    house, batches = asked.house, _batches(asked)
    run = going_on(house, batches, slip, house.now, closed=closed)
    _keep(asked, batches, run)
    moved = " ".join(run.plan.moved[:4])
    return asked.go(f"/deliveries/{asked.path('shipment')}/day", f"{said} {moved}".strip())


def _keep(asked: Asked, batches: list[Batch], run: DayRun) -> None:
    despite = asked.field("despite")
    keep_day(asked.house, batches, replace(run, despite=despite) if despite else run)


def _batches(asked: Asked) -> list[Batch]:
    shipment = asked.path("shipment")
    known = shipment_facts(asked.house)
    if shipment not in known:
        raise UnknownName("shipment", shipment, sorted(known)[:3], "shipment")
    found = landing_batches(asked.house, shipment)
    if not found:
        raise BadInput(Finding(f"shipment {shipment}", "no lines to land", "a shipment still to come"))
    return found


def plan_day(asked: Asked) -> Response:
    """Plan the landing day for the first time, beside the pages; its page shows it when it is found."""
    batches, shipment = _batches(asked), asked.path("shipment")
    farm, person, despite = asked.farm, asked.person, asked.field("despite")
    jobs: Jobs = asked.request.app.state.jobs

    def search(tell: Any) -> str:
        house = farm.house(person)
        run = planned_day(house, batches, seconds=_SECONDS, progress=lambda step: tell(str(step.step)))
        with farm.writing(person) as now:
            keep_day(now, batches, replace(run, despite=despite) if despite else run)
        return f"Receiving day of {shipment} planned"

    where = f"/deliveries/{shipment}/day"
    if jobs.start("day", asked.house.now, person, search):
        return RedirectResponse(where, 303)
    return asked.go(where, "A plan is already being calculated. Wait until it finishes.")
