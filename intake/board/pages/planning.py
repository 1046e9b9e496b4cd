"""The owner's planning: a packing list taken in, a vat plan proposed and accepted, the timetable made again."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from starlette.responses import RedirectResponse, Response

from intake.app.commands import announce_shipment, plan_vats
from intake.app.commands.records.replace_list import difference, replace_list
from intake.app.output_files import save
from intake.app.queries.planning import accepted_plan, announced_shipments, kept_promises, packing_list, plan_question
from intake.app.queries.planning.plan_question import refused_vats
from intake.app.session import House
from intake.board.background_jobs import Jobs
from intake.board.pages import list_questions
from intake.board.pages.typed import day_of_field, moment_of_field
from intake.board.request import Asked
from intake.board.svg_pictures import inline
from intake.errors import BadInput, Finding, Refused
from intake.packing.fields import FIELDS
from intake.plan.model.pins import Pins
from intake.plan.problem import Problem

__all__ = ["accept", "clear", "new", "pin", "plan", "propose", "staged_list", "timetable"]

_PLAN_SECONDS: Final = 15.0
_TABLE_SECONDS: Final = 8.0
_STAGED: Final = re.compile(r"[0-9a-f]{12}-[A-Za-z0-9_.-]{1,80}")


def new(asked: Asked) -> Response:
    """Take a packing list in: upload, answer what is not clear, look it over, enter it."""
    house = asked.house
    if asked.request.method != "POST":
        return asked.show(
            "list.html", suppliers=house.site.suppliers, found=None, staged="", lands="", supplier="", answers={},
            replaces=asked.query("replaces"), waiting=announced_shipments.waiting(house),
        )  # fmt: skip
    staged, supplier = staged_list(asked), asked.field("supplier")
    replaces, file = asked.field("replaces"), house.folder / "inbox" / staged
    as_before = replaces and not asked.field("lands")
    lands = packing_list.lands_of(house, replaces) if as_before else moment_of_field(asked, "lands")
    if asked.field("again") == "yes":
        list_questions.forgotten(house, supplier, file)
    told = {} if asked.field("again") == "yes" else list_questions.answers_given(asked)
    answers = list_questions.kept(house, supplier, file) | told
    found = packing_list.expect(house, file, supplier, lands, answers=answers, replaces=replaces)
    if found.ready and asked.field("enter") == "yes":
        if replaces:
            batches = replace_list(house, replaces, found, lands, answers=answers, source=file)
        else:
            batches = announce_shipment.enter(house, found, lands, answers=answers)
        list_questions.forgotten(house, supplier, file)
        asked.request.app.state.jobs.forget("plan")
        return asked.go(
            f"/deliveries/{found.shipment}",
            f"{found.shipment} {'corrected' if replaces else 'entered'}: {len(batches)} lines. Plan it next.",
        )
    list_questions.noted(house, found, file, answers)
    return asked.show(
        "list.html",
        suppliers=house.site.suppliers,
        found=found,
        staged=staged,
        lands=asked.field("lands"),
        supplier=supplier,
        answers=answers,
        replaces=replaces,
        changes=difference(house, replaces, found) if replaces and found.ready else (),
        columns=list_questions.column_rows(found),
        asks_columns=next((one for one in found.questions if one.key in ("columns", "count-missing")), None),
        groups=list_questions.grouped(found),
        fields=FIELDS,
        kinds=sorted(house.library.groups),
    )


def staged_list(asked: Asked) -> str:
    """Name in the inbox of the list just uploaded, or of the one being asked about."""
    upload = asked.files.get("list")
    if upload is None or not upload.data:
        staged = asked.field("staged")
        if not _STAGED.fullmatch(staged):
            raise BadInput(Finding("packing list", "", "a file: CSV, XLSX or ODS"))
        return staged
    plain = re.sub(r"[^A-Za-z0-9_.-]+", "_", Path(upload.name.replace("\\", "/")).name).strip(".")[-80:] or "list"
    staged = f"{hashlib.sha256(upload.data).hexdigest()[:12]}-{plain}"
    save(asked.house.folder / "inbox" / staged, upload.data, own=True)
    return staged


def plan(asked: Asked) -> Response:
    """The plan accepted last, the proposal being worked out or waiting, and what may be done with it."""
    house = asked.house
    jobs = _jobs(asked)
    job, table = jobs.last("plan"), jobs.last("timetable")
    proposal: Any = job.answer if job and not job.running else None
    free = plan_question.framed(house) if proposal is not None else None
    return asked.show(
        "plan.html",
        waiting=announced_shipments.waiting(house),
        accepted=accepted_plan.accepted(house),
        job=job,
        table=table,
        proposal=proposal,
        facts=proposal.as_dict() if proposal else None,
        changed=free is not None and not plan_vats.still_asked(free, proposal),
        choices=_choices(house, free, proposal) if free is not None and asked.may("plan") else (),
        picture=_picture(asked, proposal),
        batches=house.floor().batches,
        broken=kept_promises.no_longer_holds(house),
        overdue=announced_shipments.overdue_words(house),
        busy=any(one is not None and one.running for one in (job, table)),
    )


def _choices(house: House, free: Problem, proposal: plan_vats.Proposal) -> list[dict[str, Any]]:
    """Each stage of a batch to come with the vats the rules allow it, where it stands in the proposal, and what is pinned.

    Vats that are not allowed come with the rule they break, for the picture to say as a bar is dragged over them.
    """
    places: dict[tuple[str, str], list[str]] = {}
    for one in proposal.solution.placements:
        places.setdefault((one.batch, one.stage), []).append(one.vat)
    return [
        {
            "batch": batch.id,
            "stage": stage.stage,
            "vats": stage.vats,
            "now": list(dict.fromkeys(places.get((batch.id, stage.stage), []))),
            "refused": refused_vats(house, batch, stage),
            "pinned": [vat for vat in proposal.pins.pin.get(batch.id, ()) if vat in stage.vats],
        }
        for batch in free.batches
        for stage in batch.stages
        if len(stage.vats) > 1
    ]


def _picture(asked: Asked, proposal: Any) -> Any:
    """Vat space as the proposal leaves it, drawn once for each proposal."""
    from intake.app.documents.plans.plan_picture import plan_drawing

    if proposal is None:
        return ""
    drawn, key = asked.request.app.state.worked_out, ("plan", proposal.id, proposal.fingerprint, asked.may("plan"))
    if key not in drawn:
        if len(drawn) > 20:
            drawn.clear()
        drawn[key] = inline(plan_drawing(asked.house, proposal, keys=asked.may("plan")).svg())
    return drawn[key]


def propose(asked: Asked) -> Response:
    """Work out a plan for everything still to come."""
    return _proposed(asked, None)


def pin(asked: Asked) -> Response:
    """Choose another vat for a batch, or any again: the plan is worked out again around it, and says what it costs."""
    job = _jobs(asked).last("plan")
    if job is None or job.answer is None:
        raise Refused(Finding("plan", "none", "a proposal to change", "Make a plan first."))
    vats = [one.strip() for one in asked.field("vat").split(",") if one.strip()]
    free = plan_question.framed(asked.house)
    batch, stage = asked.field("batch"), asked.field("stage")
    return _proposed(asked, plan_vats.repinned(free, job.answer.pins, batch, stage, vats))


def _proposed(asked: Asked, pins: Pins | None) -> Response:
    farm, person = asked.farm, asked.person

    def search(tell: Callable[[str], bool]) -> Any:
        return plan_vats.propose(
            farm.house(person),
            seconds=_PLAN_SECONDS,
            pins=pins,
            by_value=True,
            progress=lambda step: tell(f"{step.step}: {step.value} of at most {step.bound}, {step.doing}"),
        )

    return _started(asked, "plan", search)


def timetable(asked: Asked) -> Response:
    """Make the timetable again: published times stay where they can."""
    from intake.app.commands.schedule_work import reschedule

    farm, person = asked.farm, asked.person

    def search(tell: Callable[[str], bool]) -> Any:
        def told(step: object) -> None:
            tell(str(step)[:80])

        return reschedule(farm.house(person), seconds=_TABLE_SECONDS, progress=told)

    return _started(asked, "timetable", search)


def _started(asked: Asked, kind: str, search: Callable[[Callable[[str], bool]], Any]) -> Response:
    begun = _jobs(asked).start(kind, asked.house.now, asked.person, search)
    return (
        RedirectResponse("/plan", 303)
        if begun
        else asked.go("/plan", "A plan is already being calculated. Wait until it finishes.")
    )


def accept(asked: Asked) -> Response:
    """Accept the proposal that was shown, if the farm is still as it was made for."""
    job = _jobs(asked).last("plan")
    if job is None or job.answer is None or job.answer.id != asked.field("plan"):
        raise Refused(Finding("plan", asked.field("plan")[:20], "the proposal shown last", "Make a plan again."))
    if not plan_vats.still_asked(plan_question.framed(asked.house), job.answer):
        raise Refused(Finding("plan", "made before something changed", "a plan of the present", "Work it out again."))
    said = plan_vats.accept(asked.house, job.answer, short=asked.field("short") == "yes")
    _jobs(asked).forget("plan")
    return asked.go("/plan", f"{said}. Make the timetable next.")


def clear(asked: Asked) -> Response:
    """Tell the plan that a vat will be empty by a date."""
    by = day_of_field(asked, "by")
    if by is None:
        raise BadInput(Finding("by", "", "a day such as 2027-03-04"))
    said = plan_vats.clear_vat(asked.house, asked.field("vat"), by)
    return asked.go("/plan", " ".join(f"{line}." for line in said))


def _jobs(asked: Asked) -> Jobs:
    found: Jobs = asked.request.app.state.jobs
    return found
