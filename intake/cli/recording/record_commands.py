"""Commands that record what happened: one act each, recorded once, undone by a counter entry."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

from intake.cli.farm_units import in_unit_typed
from intake.cli.quantities import LENGTH
from intake.cli.terminal import (
    as_json,
    at_option,
    despite_option,
    house_of,
    json_option,
    key_option,
    moment,
    say,
)
from intake.errors import BadInput, Finding, IntakeError

if TYPE_CHECKING:
    from intake.app.act_recording import Recorded

__all__ = ["clean", "count", "cut", "done", "finding", "hold", "move", "reading", "receive"]


def _tell(recorded: Recorded, json_: bool) -> None:
    if json_:
        as_json(recorded.as_dict())
    else:
        say(recorded.said)
        if recorded.keys:
            say([f"To undo: vatside count --undo {recorded.keys[0]}"])


@click.command()
@click.argument("shipment")
@click.option("--box", "boxes", multiple=True, help="BOX=ANIMALS where known, as 7=80 or S1-01/7=80. Repeatable.")
@despite_option
@at_option
@key_option
@json_option
@click.pass_context
def receive(
    ctx: click.Context, shipment: str, boxes: tuple[str, ...], despite: str, at_: str, key: str, json_: bool
) -> None:
    """Record that SHIPMENT has landed; its animals go to the vats of the accepted plan.

    With --box, later losses by box are compared with the count in each box.

    Example: vatside receive S1 --at 2027-03-04T09:10
    """
    from intake.app.commands import receive_shipment

    house = house_of(ctx)
    held = dict(_box_and_number(text) for text in boxes)
    when = moment(house, at_)
    _tell(receive_shipment.receive(house, shipment, at=when, boxes=held, despite=despite, key=key), json_)


def _box_and_number(text: str) -> tuple[str, int]:
    name, _, number = text.rpartition("=")
    if not name or not number.strip().isdecimal():
        raise BadInput(Finding("--box", text, "BOX=ANIMALS, such as 7=80"))
    return name.strip(), int(number)


@click.command()
@click.argument("batch", required=False, default="")
@click.option("--vat", default="", help="Vat counted (required if the batch is in several).")
@click.option("--doa", default=0, help="Dead when the bag was opened.")
@click.option("--dead", default=0, help="Dead after opening.")
@click.option("--missing", default=0, help="Announced or booked, but not there.")
@click.option("--wrong", default=0, help="Not the animal that was ordered.")
@click.option("--found", default=0, help="Found animals that were missing.")
@click.option("--weak", type=int, default=None, help="Alive but weak; noted, not taken out.")
@click.option("--alive", type=int, default=None, help="Counted alive; must match the ledger after the other options.")
@click.option("--box", default="", help="Box they were in, as numbered on the packing list.")
@click.option("--in-box", type=int, default=None, help="With --box: total animals in it, dead or alive.")
@click.option("--note", default="", help="Note saved with the count.")
@click.option("--undo", default="", help="Undo the entry with this key.")
@despite_option
@at_option
@key_option
@json_option
@click.pass_context
def count(  # one parameter for each thing a person can say
    ctx: click.Context,
    batch: str,
    vat: str,
    doa: int,
    dead: int,
    missing: int,
    wrong: int,
    found: int,
    weak: int | None,
    alive: int | None,
    box: str,
    in_box: int | None,
    note: str,
    undo: str,
    despite: str,
    at_: str,
    key: str,
    json_: bool,
) -> None:
    """Record a count of BATCH.

    At opening, give the box, so that reports can show DOA by box.

    Example: vatside count S1-01 --vat A1 --box 7 --doa 12 --missing 3
    """
    from intake.app.commands import count_animals

    house = house_of(ctx)
    if undo:
        taken = count_animals.undo(house, undo, whole=True, despite=despite)
        if json_:
            as_json(taken.as_dict())
        else:
            say(taken.said)
        return
    if not batch:
        raise BadInput(
            Finding("BATCH", "", "a batch, as printed on its sheet", "For example: vatside count S1-01 --dead 1")
        )
    tally = count_animals.Count(doa, dead, missing, wrong, found, weak, alive, box, in_box)
    _tell(
        count_animals.count(house, batch, vat, tally, at=moment(house, at_), note=note, despite=despite, key=key), json_
    )


@click.command()
@click.argument("task", nargs=-1, required=True)
@click.option("--to", default="", help="For a tank transfer: the vat the whole lot was moved to.")
@click.option("--note", default="", help="Note saved with it.")
@despite_option
@at_option
@key_option
@json_option
@click.pass_context
def done(
    ctx: click.Context, task: tuple[str, ...], to: str, note: str, despite: str, at_: str, key: str, json_: bool
) -> None:
    """Record each TASK as done: short numbers as tables show them, ranges of them, or uids.

    A tank transfer is done by the move: name the clean dry vat in other water with --to.  Several tasks are recorded one
    after the other; one that is refused is reported, the others stand.

    Example: vatside done 3 4 7-9 --note "all calm"
    """
    from intake.app.commands import record_observation
    from intake.app.queries.planning.published_timetable import find_task

    house = house_of(ctx)
    when = moment(house, at_)
    named = list(dict.fromkeys(word for text in task for word in _numbers(text)))
    if len(named) == 1:
        _tell(record_observation.done(house, named[0], to=to, at=when, note=note, despite=despite, key=key), json_)
        return
    if to:
        raise BadInput(Finding("--to", to, "one task alone", "Record each tank transfer by itself."))
    said: list[str] = []
    keys: list[str] = []
    refused: list[Finding] = []
    for number, word in enumerate(named):
        own = f"{key}/{number}" if key else ""
        try:
            uid = str(find_task(house, word)["uid"])
            told = record_observation.done(house, uid, at=when, note=note, despite=despite, key=own)
        except IntakeError as error:
            refused.extend(error.findings)
            continue
        said.extend(told.said)
        keys.extend(told.keys)
    if json_:
        as_json({"recorded": said, "keys": keys, "refused": [one.as_dict() for one in refused]})
    else:
        say(said)
        for one in refused:
            click.echo(f"✗ {one}", err=True)
        if keys:
            say([f"To undo the last: vatside count --undo {keys[-1]}"])
    if refused:
        ctx.exit(2 if not keys else 1)


def _numbers(text: str) -> list[str]:
    """``7-9`` as 7, 8, 9; anything else as it stands."""
    found = re.fullmatch(r"(\d{1,6})-(\d{1,6})", text, re.ASCII)
    if not found:
        return [text]
    first, last = int(found[1]), int(found[2])
    if not first <= last < first + _LONGEST_RANGE:
        raise BadInput(Finding("TASK", text, f"the smaller number first, at most {_LONGEST_RANGE} tasks"))
    return [str(number) for number in range(first, last + 1)]


_LONGEST_RANGE = 200


@click.command()
@click.argument("batch")
@click.argument("what", default="clean")
@click.option("--vat", default="", help="Vat it was seen in.")
@click.option("--note", default="", help="Note saved with it.")
@at_option
@key_option
@json_option
@click.pass_context
def finding(ctx: click.Context, batch: str, what: str, vat: str, note: str, at_: str, key: str, json_: bool) -> None:
    """Record an inspection of BATCH. WHAT: a pest id, your own words, or `clean`.

    Example: vatside finding S1-06 acropora-flatworm --vat B1
    """
    from intake.app.commands import record_observation

    house = house_of(ctx)
    _tell(record_observation.finding(house, batch, what, vat=vat, note=note, at=moment(house, at_), key=key), json_)


@click.command()
@click.argument("place")
@click.argument("quantity")
@click.argument("value")
@click.option("--scale", default="", help="pH: nbs or total.  Gravity: 20C/4C, 20C/20C, 25C/25C, 15C/4C or 60F/60F.")
@despite_option
@at_option
@key_option
@json_option
@click.pass_context
def reading(  # one parameter for each thing a person can say
    ctx: click.Context,
    place: str,
    quantity: str,
    value: str,
    scale: str,
    despite: str,
    at_: str,
    key: str,
    json_: bool,
) -> None:
    """Record a measurement: PLACE (vat, system, batch or box), QUANTITY, VALUE.

    Quantities: temperature_c salinity_psu ph tan_n_mg_per_l oxygen_mg_per_l specific_gravity alkalinity_meq_per_l
    light_umol copper_ug_per_l.

    A temperature or a salinity takes its unit: `temperature 79F`, `temperature 26.1C`, `salinity 35ppt`,
    `salinity "1.0264 SG 60F/60F"`; without one it is in the farm's unit.

    Example: vatside reading A1 ph 8.1 --scale nbs
    """
    from intake.app.commands import record_observation

    house = house_of(ctx)
    when = moment(house, at_)
    read = house.site.farm.measures.read(quantity, value)
    with in_unit_typed(value):
        told = record_observation.reading(
            house, place, read.quantity, read.value, scale=scale, at=when, despite=despite, key=key
        )
    _tell(told, json_)


@click.command()
@click.argument("batch")
@click.option("--from", "source", required=True, help="Vat, or dock.")
@click.option("--to", "target", required=True, help="Vat, or sold, sample, discarded, dock.")
@despite_option
@click.option("--count", "number", required=True, type=int, help="Animals.")
@click.option("--price", default="", help="Sold: price of one animal.")
@click.option("--currency", default="", help="Sold: currency of the price, such as EUR.")
@click.option("--reference", default="", help="Sold: the customer's own order number.")
@click.option("--note", default="", help="Note saved with it.")
@at_option
@key_option
@json_option
@click.pass_context
def move(ctx: click.Context, /, batch: str, json_: bool, **told: Any) -> None:
    """Record animals of BATCH moved between vats or out of them.

    Animals in quarantine can be sold or moved to another system only after `vatside release` allows it.

    Example: vatside move H3 --from A5 --to G3 --count 150

    Example: vatside move H3 --from G3 --to sold --count 20 --price 12.50 --currency EUR --reference PO-7
    """
    from intake.app.commands import move_animals
    from intake.app.commands.records.sale_terms import sale_terms

    house = house_of(ctx)
    moved = move_animals.move(
        house, batch, told["source"], told["target"], told["number"], at=moment(house, told["at_"]), note=told["note"],
        sale=sale_terms(told["target"], told["price"], told["currency"], told["reference"]),
        despite=told["despite"], key=told["key"],
    )  # fmt: skip
    _tell(moved, json_)


@click.command()
@click.argument("parent")
@click.option("--pieces", required=True, type=int, help="Fragments made (a parent usually gives three or four).")
@click.option("--vat", required=True, help="Where they heal.")
@click.option(
    "--size-mm", type=LENGTH, default=25.4, show_default=True, help="Size of a fragment, mm, or with its unit: 1in."
)
@despite_option
@at_option
@key_option
@json_option
@click.pass_context
def cut(  # one parameter for each thing a person can say
    ctx: click.Context,
    parent: str,
    pieces: int,
    vat: str,
    size_mm: float,
    despite: str,
    at_: str,
    key: str,
    json_: bool,
) -> None:
    """Record fragments cut from PARENT: a new batch that heals before it may be sold.

    Example: vatside cut H5 --pieces 4 --vat G5
    """
    from intake.app.commands import move_animals

    house = house_of(ctx)
    when = moment(house, at_)
    _tell(move_animals.cut(house, parent, pieces, vat, size_mm=size_mm, at=when, despite=despite, key=key), json_)


@click.command()
@click.argument("vat")
@at_option
@key_option
@json_option
@click.pass_context
def clean(ctx: click.Context, vat: str, at_: str, key: str, json_: bool) -> None:
    """Record VAT as emptied, cleaned and dry.

    Example: vatside clean A5
    """
    from intake.app.commands import maintain_vats

    house = house_of(ctx)
    _tell(maintain_vats.clean(house, vat, at=moment(house, at_), key=key), json_)


@click.command()
@click.argument("batches", metavar="BATCH...", nargs=-1)
@click.option("--vat", "vats", multiple=True, help="Also every lot in this vat. Repeatable.")
@click.option("--reason", required=True, help="Why, in words.")
@click.option("--lift", is_flag=True, help="Lift the hold instead.")
@click.option("--test", default="", help="What was tested, with the result; kept with every entry.")
@click.option("--reached", is_flag=True, help="Also hold every lot that shared its water (see `trace`).")
@key_option
@json_option
@click.pass_context
def hold(
    ctx: click.Context,
    batches: tuple[str, ...],
    vats: tuple[str, ...],
    reason: str,
    lift: bool,
    test: str,
    reached: bool,
    key: str,
    json_: bool,
) -> None:
    """Hold lots back from release, or lift their holds, in one act.

    With --lift and --test, lots that are not held are held and lifted at once:
    so deaths after the first week are explained.

    Example: vatside hold S1-04 --reason "white spot" --reached
    """
    from intake.app.commands import hold_batch

    house = house_of(ctx)
    if reached and lift:
        raise BadInput(Finding("--reached", "with --lift", "a hold", "Lift the hold of each lot with its own reason."))
    if reached:
        if len(batches) != 1 or vats:
            raise BadInput(Finding("--reached", ", ".join((*batches, *vats)), "one batch"))
        _tell(hold_batch.hold_reached(house, batches[0], reason, key=key), json_)
        return
    lots = [*batches, *(stay.batch for vat in vats for stay in house.floor().in_vat(house.site.vat(vat).id))]
    if lots == list(batches[:1]) and not test:
        _tell(hold_batch.hold(house, batches[0], reason, lift=lift, key=key), json_)
        return
    _tell(hold_batch.hold_many(house, lots, reason, lift=lift, test=test, key=key), json_)
