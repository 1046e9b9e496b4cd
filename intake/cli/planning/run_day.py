"""The command ``day``: the receiving day, box by box, with water and salt to have ready, and its re-runs as it slips."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from intake.cli.farm_units import in_farm_units
from intake.cli.terminal import as_json, house_of, json_option, moment, progress, say, stoppable, table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from intake.app.landing.kept_day import DayRun
    from intake.app.landing.receiving_day import Slip
    from intake.app.session import House
    from intake.farm.floor import Batch
    from intake.receiving import Preparation

__all__ = ["day"]


@click.command()
@click.argument("shipment")
@click.option("--lands", default="", help="Actual arrival, if different from announced.")
@click.option("--leaking", multiple=True, help="Leaking box: opened first. Repeatable.")
@click.option("--warm", multiple=True, help="A box too warm or too cold: it jumps the queue.  Repeatable.")
@click.option(
    "--without", multiple=True, help="Station (tubs, or tubs:3 for three places) or person not available. Repeatable."
)
@click.option(
    "--more-boxes", multiple=True, metavar="BATCH=N", help="Extra boxes not on the list: BATCH=N. Repeatable."
)
@click.option("--at", "at_", default="", help="Replan from this time (HH:MM); finished steps are kept.")
@click.option("--closed", multiple=True, help="With --at: a box still closed though it was due. Repeatable.")
@click.option("--opened", multiple=True, help="With --at: a box opened then, without a reading. Repeatable.")
@click.option("--propose", is_flag=True, help="Only show it: the working plan stays as it is.")
@click.option("--keep", is_flag=True, hidden=True, help="Kept anyway, unless --propose.")
@click.option("--despite", default="", help="Reason to follow a day in which bags stay closed too long.")
@click.option("--out", default="", help="Folder for the run sheet.")
@click.option("--seconds", default=5.0, show_default=True, help="Search time limit of a first plan, s.")
@json_option
@click.pass_context
def day(ctx: click.Context, /, shipment: str, json_: bool, **given: Any) -> None:
    """Plan the landing day of SHIPMENT: which box next, where, by whom, and when it will be finished.

    The first answer is kept: run sheet, labels, board, timetable and calendars
    read it. Asked again without news it is the same, at once. What changed
    (--lands, --leaking, --without …) moves as little as can be.

    With --at the day goes on from that moment. A box with a reading (vatside
    reading S1/7 temperature_c 24.1) is opened; a batch counted with --alive is
    placed; boxes no one wrote down are taken to have kept to the plan.

    Bags closed past their hours or over night are refused (exit 1, with what
    would help) unless --despite gives a reason. Ctrl-C stops a search with the
    best day so far (exit 130).

    Example: vatside day S1 --leaking 7 --lands 2027-03-04T11:30

    Example: vatside day S1 --at 11:15 --without tubs:2 --without odo --out out
    """
    from dataclasses import replace

    from intake.app.landing.kept_day import keep_day
    from intake.app.landing.receiving_day import prepared
    from intake.app.queries.overview.journey_facts import box_journeys
    from intake.receiving import reliefs

    house = house_of(ctx)
    batches = _batches(house, shipment)
    run, stopped = _run(house, batches, given)
    progress("")
    if given["despite"]:
        run = replace(run, despite=given["despite"])
    held = bool(run.refused) and not given["despite"]
    ready = prepared(house, batches, run.plan)
    if not (held or given["propose"]):
        keep_day(house, batches, run)
    paths = [] if held else _printed(house, batches, run, given["out"])
    helps = reliefs(run.plan)
    if json_:
        refused = {"rules": [one.as_dict() for one in run.refused], "relief": [one.as_dict() for one in helps]}
        journeys = [one.as_dict() for one in box_journeys(house, shipment)]
        kept = {"kept": not (held or given["propose"]), "journey": journeys}
        as_json(_answer(run, ready, paths) | refused | kept)
    else:
        _print(house, run, ready, paths)
        _print_refused(run, [f"{one.do}: {one.left or 'none'} left" for one in helps], held=held)
    if stopped:
        what = "Nothing was saved." if held or given["propose"] else "It is the working plan now."
        click.echo(f"Stopped: this is the best day found so far. {what}", err=True)
        ctx.exit(130)
    if held:
        ctx.exit(1)


def _run(house: House, batches: Sequence[Batch], given: dict[str, Any]) -> tuple[DayRun, bool]:
    """The day as asked: from a moment on, or as kept, or for the first time; and whether the search was stopped."""
    from intake.app.landing.day_rerun import going_on
    from intake.app.landing.kept_day import planned_day

    slip = _slip(house, given)
    if not given["at_"]:
        if given["closed"] or given["opened"]:
            message = "--closed and --opened go with --at"
            raise click.UsageError(message)
        with stoppable() as stop:
            return planned_day(house, batches, slip=slip, seconds=given["seconds"], progress=_tell, stop=stop), stop()
    at = _at(house, batches, given["at_"])
    slip = slip.joined(_opened(batches, given["opened"], at))
    with stoppable() as stop:
        return going_on(house, batches, slip, at, closed=given["closed"], progress=_tell, stop=stop), stop()


def _opened(batches: Sequence[Batch], boxes: Sequence[str], at: datetime) -> Slip:
    """Boxes said to be opened at a moment."""
    from intake.app.landing.receiving_day import Slip
    from intake.errors import BadInput, Finding

    known = {f"{batch.shipment}/{box}" for batch in batches for box in batch.boxes}
    names = {box: box if "/" in box else f"{batches[0].shipment}/{box}" for box in boxes}
    faults = [Finding("--opened", box, "a box of the day") for box, name in names.items() if name not in known]
    if faults:
        raise BadInput(faults)
    return Slip(opened=dict.fromkeys(names.values(), at))


def _print_refused(run: DayRun, helps: Sequence[str], *, held: bool) -> None:
    """Boxes whose bags stay closed too long, and what would help."""
    for one in run.refused:
        _fold(one.words, "refused  " if held else "despite  ")
    if run.refused and run.despite:
        _fold(f"Reason: {run.despite}", "         ")
    for words in helps:
        _fold(words, "  helps  ")
    if held:
        click.echo('Nothing was saved. Change the day, or give a reason: --despite "…".')


def _tell(step: Any) -> None:
    progress(f"{step.step}: better order by {step.source}, last animals placed {step.value[-1]} min after opening")


def _batches(house: House, shipment: str) -> list[Batch]:
    from intake.app.queries.planning.announced_shipments import shipment_facts
    from intake.errors import UnknownName

    if shipment not in shipment_facts(house):
        raise UnknownName("SHIPMENT", shipment, sorted(shipment_facts(house)), "shipment")
    return [line for line in house.lines_of(shipment) if line.announced > 0]


def _slip(house: House, given: dict[str, Any]) -> Slip:
    from intake.app.landing.receiving_day import Slip
    from intake.errors import BadInput, Finding

    extra = {}
    for text in given["more_boxes"]:
        name, _, number = text.partition("=")
        if not number.isdigit():
            raise BadInput(Finding("--more-boxes", text, "BATCH=N, such as S1-03=2"))
        extra[name] = int(number)
    return Slip(moment(house, given["lands"], "--lands"), given["leaking"], given["warm"], given["without"], extra)


def _at(house: House, batches: Sequence[Batch], text: str) -> datetime:
    """Read HH:MM on the farm's day of the landing, or a whole time."""
    from datetime import datetime, time

    from intake.app.queries.planning.announced_shipments import lands_at

    try:
        clock = time.fromisoformat(text) if len(text) <= 5 else None
    except ValueError:
        clock = None
    if clock is None:
        read = moment(house, text)
        assert read is not None  # noqa: S101  # only asked with words
        return read
    zone = house.site.farm.zone
    first = min(lands_at(house, batch) for batch in batches).astimezone(zone).date()
    return datetime.combine(first, clock, zone)


def _printed(house: House, batches: Sequence[Batch], run: DayRun, out: str) -> list[Path]:
    if not out:
        return []
    from pathlib import Path

    from intake.app.documents.landing_papers import print_runsheet

    return print_runsheet(house, Path(out), batches, house.site.farm.paper, run)


def _answer(run: DayRun, ready: Preparation, paths: Sequence[Path]) -> dict[str, Any]:
    return run.plan.as_dict() | {
        "salt_kg": ready.salt_kg,
        "mixed_water_l": ready.ready_before_l,
        "preparation": ready.as_dict(),
        "opened": list(run.opened),
        "placed": list(run.placed),
        "taken_as_opened": list(run.taken_as_opened),
        "taken_as_closed": list(run.taken_as_closed),
        "written": [str(path) for path in paths],
    }


def _print(house: House, run: DayRun, ready: Preparation, paths: Sequence[Path]) -> None:
    plan = run.plan
    say(_table(house, run))
    click.echo()
    if plan.moved:
        click.echo("What moved:")
        for line in plan.moved:
            _fold(line, "  ")
    for boxes, words in (
        (run.taken_as_opened, "No record for {}: assumed opened on time. If one is still closed, use --closed BOX."),
        (run.taken_as_closed, "Due but assumed still closed: {}. If one is open, record a reading for it."),
    ):
        if boxes:
            _fold(words.format(", ".join(box.rsplit("/", 1)[-1] for box in boxes)))
    if plan.finish is not None and plan.worst_hours_in_bag is not None:
        box, hours = plan.worst_hours_in_bag
        late = f", {plan.late_minutes} min after closing" if plan.late_minutes else ""
        _fold(
            f"Finished at {plan.finish:%H:%M} (closing {plan.problem.at(plan.problem.closes):%H:%M}{late}); longest in "
            f"the bag: {box}, {hours:.1f} h at opening."
        )
    for aim in plan.aims:
        proof = "proved" if aim.proved else f"not proved; best possible is at least {aim.bound:g}"
        _fold(f"{aim.name}: {aim.value:g} {aim.unit} ({proof}; rule of thumb gives {aim.rule_value:g})", "  ")
    _fold(
        f"Prepare {ready.ready_before_l:.0f} L of mixed water at {ready.salinity_psu:g} PSU ({ready.salt_kg:.1f} kg salt) and "
        f"{ready.most_tubs} tubs."
    )
    for note in plan.notes:
        _fold(note, "Note: ")
    for path in paths:
        click.echo(f"Saved {path}")


def _fold(text: str, head: str = "") -> None:
    import textwrap

    click.echo(textwrap.fill(in_farm_units(text), 80, initial_indent=head, subsequent_indent=" " * len(head)))


def _table(house: House, run: DayRun) -> list[str]:
    from intake.app.documents.run_sheet import box_turns, short_lanes

    lanes, zone = short_lanes(house), house.site.farm.zone
    done = dict.fromkeys(run.taken_as_opened, "due") | dict.fromkeys(run.opened, "opened")
    done |= dict.fromkeys(run.placed, "placed")
    rows = [
        (
            turn.row.number,
            turn.box,
            ", ".join(batch.id for batch in turn.batches),
            f"{turn.row.opens:%H:%M}",
            f"{turn.row.hours_in_bag:.1f}",
            ("urgent " if turn.row.urgent else "") + turn.row.state,
            lanes.get(turn.row.table, turn.row.table),
            turn.row.person,
            f"{turn.placed.astimezone(zone):%H:%M}" if turn.placed else "",
            done.get(turn.row.box, ""),
        )
        for turn in box_turns(house, run.plan)
    ]
    return table(("no", "box", "batch", "opens", "h bag", "", "table", "who", "placed", ""), rows)
