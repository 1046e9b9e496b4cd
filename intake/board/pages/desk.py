"""The owner's questions before anything is decided: what the farm can take by day, and what a plan would be if."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from starlette.responses import RedirectResponse, Response

from intake.app.commands import plan_vats
from intake.app.queries.planning.announced_shipments import waiting
from intake.app.queries.planning.mix_capacity import capacity_of, mix_of
from intake.app.session import House
from intake.board.background_jobs import Jobs
from intake.board.pages.planning import staged_list
from intake.board.pages.typed import day_of_field, moment_of_field, whole
from intake.board.request import Asked
from intake.board.svg_pictures import inline
from intake.errors import BadInput, Finding, Refused

__all__ = ["ask_capacity", "ask_what_if", "capacity", "capacity_paper", "what_if"]

_SECONDS: Final = 15.0
_DAY_SECONDS: Final = 2.0
_AIMS: Final = {
    "": "usual order",
    "held,moves,vats": "shortest holds, then fewest moves, then fewest vats",
    "moves,vats,held": "fewest moves of present stock, then fewest vats",
    "vats,moves,held": "fewest vats, then fewest moves",
}


def capacity(asked: Asked) -> Response:
    """Largest shipment of a mix that fits, for each landing day."""
    from intake.app.documents.plans.plan_picture import capacity_drawing

    job = _jobs(asked).last("capacity")
    rows = job.answer if job and not job.running and job.answer else None
    picture = inline(capacity_drawing(rows, "this mix").svg()) if rows else ""
    return asked.show("capacity.html", job=job, rows=rows, picture=picture, suppliers=asked.house.site.suppliers)


def ask_capacity(asked: Asked) -> Response:
    """Work out the largest shipment of a mix for each day, beside the pages."""
    file, supplier = _file(asked), asked.field("supplier")
    first, last, every = day_of_field(asked, "first"), day_of_field(asked, "last"), whole(asked, "every", default=7)

    def look(house: House, tell: Callable[[str], bool]) -> Any:
        return capacity_of(
            house, file, first, last, supplier=supplier, every=max(1, every), seconds=_DAY_SECONDS,
            watch=lambda day, found: tell(f"{day}: {found} animals fit"),
        )  # fmt: skip

    return _started(asked, "capacity", "/capacity", look)


def capacity_paper(asked: Asked) -> Response:
    """The capacity curve last worked out, to print."""
    from intake.app.documents.plans.season_paper import capacity_pdf
    from intake.board.rendering import handed_over

    job = _jobs(asked).last("capacity")
    if job is None or job.running or not job.answer:
        raise Refused(Finding("capacity", "no curve", "a capacity curve", "Ask for one first."))
    return handed_over(f"capacity-{job.answer[0]['day']}.pdf", capacity_pdf(asked.house, job.answer, "this mix"))


def what_if(asked: Asked) -> Response:
    """A plan that is never kept: with a mix more, other aims first, or a batch worth more."""
    house, job = asked.house, _jobs(asked).last("what-if")
    proposal = job.answer if job and not job.running else None
    picture = ""
    if proposal:
        from intake.app.documents.plans.plan_picture import plan_drawing

        picture = inline(plan_drawing(house, proposal).svg())
    coming = [line for shipment in waiting(house) for line in house.lines_of(shipment) if line.announced]
    return asked.show(
        "what_if.html",
        job=job,
        facts=proposal.as_dict() if proposal else None,
        picture=picture,
        aims=_AIMS,
        coming=coming,
        suppliers=house.site.suppliers,
        batches=house.floor().batches,
    )


def ask_what_if(asked: Asked) -> Response:
    """Work out such a plan beside the pages."""
    aims, batch = asked.field("aims"), asked.field("batch")
    if aims not in _AIMS:
        raise BadInput(Finding("aims", aims[:40], "one of the orders offered"))
    worth = {batch: whole(asked, "worth", default=1)} if batch else None
    upload, lands = asked.files.get("list"), asked.field("lands")
    file = _file(asked) if upload is not None and upload.data else None
    when = moment_of_field(asked, "lands") if lands else None

    def look(house: House, tell: Callable[[str], bool]) -> Any:
        extra = (_mix(house, file, when, asked.field("supplier")),) if file else ()
        return plan_vats.propose(
            house, extra=extra, seconds=_SECONDS, weights=worth, by_value=True, order=[one for one in aims.split(",") if one],
            progress=lambda step: tell(f"{step.step}: {step.value}"),
        )  # fmt: skip

    return _started(asked, "what-if", "/plan/what-if", look)


def _mix(house: House, file: Path, when: datetime | None, supplier: str) -> Any:
    return mix_of(house, file, when, supplier)


def _file(asked: Asked) -> Path:
    return asked.house.folder / "inbox" / staged_list(asked)


def _started(asked: Asked, kind: str, where: str, look: Callable[[House, Callable[[str], bool]], Any]) -> Response:
    farm, person = asked.farm, asked.person
    begun = _jobs(asked).start(kind, asked.house.now, person, lambda tell: look(farm.house(person), tell))
    if begun:
        return RedirectResponse(where, 303)
    return asked.go(where, "Something else is being calculated. Wait until it finishes.")


def _jobs(asked: Asked) -> Jobs:
    found: Jobs = asked.request.app.state.jobs
    return found
