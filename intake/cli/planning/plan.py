"""Commands of the vat plan: propose, accept, clear a vat, amend an order, and what the farm can take."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any

import click

from intake.cli.planning.pins_and_stress import (
    export_to,
    hand_options,
    pins_of,
    show_stress,
    stress_dict,
    stressed,
)
from intake.cli.planning.quarantine_words import holds_of, policy_lines
from intake.cli.planning.show_plan import show_plan
from intake.cli.terminal import (
    as_json,
    despite_option,
    house_of,
    json_option,
    key_option,
    moment,
    progress,
    say,
    stoppable,
    table,
)

if TYPE_CHECKING:
    from intake.app.session import House
    from intake.plan.solution import Progress

__all__ = ["amend", "capacity", "clear", "plan"]


@click.command()
@click.option(
    "--what-if",
    "what_if",
    type=click.Path(dir_okay=False),
    default=None,
    help="Plan this mix as well; nothing is kept.",
)
@click.option("--lands", default="", help="Landing day of the what-if (default: in seven days).")
@click.option("--supplier", default="", help="Who would send the what-if (default: someone new).")
@click.option("--accept", is_flag=True, help="Accept the plan.")
@click.option("--short", is_flag=True, help="With --accept: accept even if some animals are not placed.")
@click.option("--seconds", default=20.0, show_default=True, help="Search time limit, s.")
@click.option("--seed", default=1, show_default=True, help="Random seed; same input and seed give the same plan.")
@click.option("--afresh", is_flag=True, help="Ignore the accepted plan.")
@click.option(
    "--aims", default="", help="Order of the aims after most animals placed (default: held,moves,vats,room,balance)."
)
@click.option("--worth", "worth", multiple=True, help="Priority BATCH=N: each animal of BATCH counts as N. Repeatable.")
@click.option(
    "--expect-losses",
    "expect_losses",
    is_flag=True,
    help="Do not reserve room for the animals expected to be dead on arrival (low estimate).",
)
@click.option("--hold", multiple=True, help="SYSTEM=DAY: its lots may be held until then for newcomers. Repeatable.")
@click.option(
    "--compare", is_flag=True, help="Compare three plans: no lot held, newcomers wait, current lots held longer."
)
@click.option("--out", type=click.Path(file_okay=False), default=None, help="Folder for the plan as PDF.")
@click.option("--picture", type=click.Path(dir_okay=False), default=None, help="File for vat space, .svg or .png.")
@hand_options
@json_option
@click.pass_context
def plan(
    ctx: click.Context,
    /,
    what_if: str | None,
    lands: str,
    supplier: str,
    accept: bool,
    short: bool,
    seconds: float,
    seed: int,
    afresh: bool,
    aims: str,
    worth: tuple[str, ...],
    expect_losses: bool,
    hold: tuple[str, ...],
    compare: bool,
    out: str | None,
    picture: str | None,
    json_: bool,
    **hand: Any,
) -> None:
    """Assign vats to every batch still expected.

    An accepted plan is changed as little as possible; each change is shown with its reason.
    Exit 1 when animals are left over; then reliefs are listed, each checked by planning again with it done.

    Example: vatside plan; vatside plan --accept; vatside plan --what-if mix.csv
    """
    from intake.app.commands import plan_vats
    from intake.app.queries.planning.announced_shipments import overdue, overdue_words
    from intake.app.queries.planning.kept_promises import no_longer_holds
    from intake.errors import BadInput, Finding

    if not 0 < seconds <= 3600:
        raise BadInput(Finding("--seconds", f"{seconds:g}", "more than 0 and at most 3600"))
    if accept and what_if:
        raise BadInput(Finding("--accept", "with --what-if", "one of the two", "A what-if is never accepted."))
    _check_picture(picture)
    house = house_of(ctx)
    broken = no_longer_holds(house)
    extra = _mix(house, what_if, lands, supplier) if what_if else ()
    with stoppable() as stop:
        proposal = plan_vats.propose(
            house, extra=extra, seconds=seconds, seed=seed, afresh=afresh, weights=_numbers(worth, "--worth"),
            order=[name.strip() for name in aims.split(",") if name.strip()], fewer=_dead(house) if expect_losses else None,
            hold=holds_of(hold), pins=pins_of(hand), by_value=not hand["heads"],
            progress=lambda step: _watch(step, quiet=json_) or stop(), relief_progress=_Patience(seconds, stop, quiet=json_),
        )  # fmt: skip
        futures = stressed(house, proposal, hand, stop, quiet=json_)
        stopped = stop()
    policies = plan_vats.compared(proposal, seconds=seconds, seed=seed) if compare and not stopped else []
    if not json_:
        progress("")
    said = ["Stopped: this is the best plan found so far. Nothing was saved."] if stopped else []
    if accept and not stopped:
        said.append(plan_vats.accept(house, proposal, short=short))
    said += export_to(proposal, hand["export"])
    if out is not None:
        from intake.app.documents.plan_paper import print_proposal

        said += [f"Saved {path}" for path in print_proposal(house, proposal.as_dict(), proposal.day_zero, Path(out))]
    if picture is not None:
        from intake.app.documents.plans.plan_picture import draw_plan

        said.append(f"Saved {draw_plan(house, proposal, Path(picture))}")
    if json_:
        told = {"expected_losses": _losses(house), "no_longer_holds": broken, "overdue": list(overdue(house))}
        as_json({**proposal.as_dict(), **told, **({"policies": policies} if compare else {}), **stress_dict(futures)})
    else:
        _show_broken(broken)
        say([*overdue_words(house), ""] if overdue(house) else [])
        show_plan(house, proposal)
        say(policy_lines(policies))
        show_stress(futures)
        _show_losses(house, kept=not expect_losses)
        say(said)
    if stopped:
        ctx.exit(130)
    if proposal.solution.status == "short" and not (accept and short):
        ctx.exit(1)


def _check_picture(picture: str | None) -> None:
    """Refuse a name no picture can have before anything is done."""
    if picture is not None:
        from intake.app.documents.plans.plan_picture import check_name

        check_name(Path(picture))


def _numbers(texts: tuple[str, ...], option: str) -> dict[str, int]:
    """BATCH=COUNT, as often as it was given."""
    from intake.errors import BadInput, Finding

    numbers = {}
    for text in texts:
        name, _, number = text.partition("=")
        if not number.isdecimal():
            raise BadInput(Finding(option, text, "BATCH=COUNT, for example S1-03=300"))
        numbers[name] = int(number)
    return numbers


def _watch(step: Progress, *, quiet: bool) -> bool:
    """Report how far the search has come; it goes on."""
    if not quiet:
        progress(f"{step.step}: {step.value} of at most {step.bound}, {step.doing}, {step.left:.0f} s left")
    return False


class _Patience:
    """Reports which relief is searched, and ends that after twice the time given, by the clock, or when asked to stop."""

    def __init__(self, seconds: float, stop: Callable[[], bool], *, quiet: bool) -> None:
        self.seconds, self.stop, self.quiet = seconds, stop, quiet
        self.began: float | None = None

    def __call__(self, what: str, number: int, of: int) -> bool:
        now = monotonic()
        self.began = now if self.began is None else self.began
        if not self.quiet:
            progress(f"ways to make room, {number} of {of}: {what}")
        return self.stop() or now - self.began > 2 * self.seconds


def _mix(house: House, file: str, lands: str, supplier: str):  # type: ignore[no-untyped-def]  # heavy types stay lazy
    from intake.app.queries.planning.mix_capacity import mix_of

    return (mix_of(house, Path(file), moment(house, lands, "--lands"), supplier),)


def _show_broken(broken: list[dict[str, object]]) -> None:
    """What accepted plans said that the ledger says otherwise."""
    if broken:
        say(["No longer as accepted:", *(f"  {row['words']}" for row in broken), ""])


def _dead(house: House) -> dict[str, int]:
    from intake.app.queries.reports.journey_forecast import dead_on_arrival

    return {one.batch: one.low for one in dead_on_arrival(house)}


def _losses(house: House) -> list[dict[str, object]]:
    """What will probably be dead on arrival, by shipment."""
    from intake.app.queries.reports.journey_forecast import dead_on_arrival

    lines = dead_on_arrival(house)
    return [
        {
            "shipment": shipment,
            **{name: sum(getattr(one, name) for one in lines if one.shipment == shipment) for name in _ENDS},
        }
        for shipment in dict.fromkeys(one.shipment for one in lines)
    ]


_ENDS = ("expected", "low", "high")


def _show_losses(house: House, *, kept: bool) -> None:
    """Say it beside the plan, which keeps room for all unless asked otherwise."""
    for row in _losses(house):
        room = "room is kept for all" if kept else f"no room is kept for {row['low']} of them"
        about = f"{row['expected']:.0f} ({row['low']} to {row['high']})"
        say([f"Expected dead on arrival of {row['shipment']}: {about}; {room}.", ""])


@click.command()
@click.option("--mix", required=True, type=click.Path(dir_okay=False), help="Packing list or mix (name, size, count).")
@click.option("--supplier", default="", help="Supplier (default: a new supplier, sharing water with no one).")
@click.option("--from", "first", default="", help="First landing day (default: tomorrow).")
@click.option("--to", "last", default="", help="Last landing day (default: four weeks on).")
@click.option("--every", default=7, show_default=True, help="Days between two landing days tried.")
@click.option("--seconds", default=2.0, show_default=True, help="Time for each day's search.")
@click.option("--out", type=click.Path(file_okay=False), default=None, help="Folder for the answer as PDF.")
@click.option("--picture", type=click.Path(dir_okay=False), default=None, help="File for the answer, .svg or .png.")
@json_option
@click.pass_context
def capacity(
    ctx: click.Context,
    mix: str,
    supplier: str,
    first: str,
    last: str,
    every: int,
    seconds: float,
    out: str | None,
    picture: str | None,
    json_: bool,
) -> None:
    """Find the largest shipment of a mix that fits, for each landing day.

    Example: vatside capacity --mix mix.csv --from 2027-03-01 --to 2027-04-01
    """
    from intake.app.queries.planning.mix_capacity import capacity_of
    from intake.errors import BadInput, Finding

    if not 0 < seconds <= 3600:
        raise BadInput(Finding("--seconds", f"{seconds:g}", "more than 0 and at most 3600"))
    _check_picture(picture)
    house = house_of(ctx)
    watch = None if json_ else lambda day, found: progress(f"{day}: {found} animals fit")
    days = _day(first, "--from"), _day(last, "--to")
    rows = capacity_of(house, Path(mix), *days, supplier=supplier, every=every, seconds=seconds, watch=watch)
    drawn = [*_room_picture(rows, mix, picture), *_room_paper(house, rows, mix, out)]
    if json_:
        as_json(rows)
        return
    progress("")
    shown = [(row["day"], row["fits"], row["announced"], _bar(row["fits"], row["announced"])) for row in rows]
    say(table(("lands", "largest that fits", "asked", ""), shown))
    whole = next((row["day"] for row in rows if row["fits"] >= row["announced"]), None)
    say(["", f"It would all fit from {whole}." if whole else "It does not all fit on any of these days.", *drawn])


def _room_picture(rows: list[dict], mix: str, picture: str | None) -> list[str]:  # type: ignore[type-arg]
    if picture is None:
        return []
    from intake.app.documents.plans.plan_picture import draw_room

    return [f"Saved {draw_room(rows, Path(mix).name, Path(picture))}"]


def _room_paper(house: House, rows: list[dict[str, Any]], mix: str, out: str | None) -> list[str]:
    if out is None:
        return []
    from intake.app.documents.plans.season_paper import print_capacity

    return [f"Saved {print_capacity(house, rows, Path(mix).name, Path(out))}"]


def _bar(part: int, whole: int) -> str:
    return "█" * round(40 * min(part, whole) / whole) if whole else ""


def _day(text: str, option: str) -> date | None:
    if not text:
        return None
    from intake.errors import BadInput, Finding

    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(Finding(option, text, "a date such as 2027-03-04")) from error


@click.command()
@click.argument("vat")
@click.option("--by", "by", required=True, help="Day by which it is empty: 2027-03-04.")
@key_option
@json_option
@click.pass_context
def clear(ctx: click.Context, vat: str, by: str, key: str, json_: bool) -> None:
    """Promise that VAT will be cleared by a day, so that the plan may use it from then on.

    Moving or selling the animals is recorded with `vatside move` when it is done.

    Example: vatside clear A5 --by 2027-03-04
    """
    from intake.app.commands.plan_vats import clear_vat
    from intake.errors import BadInput, Finding

    day = _day(by, "--by")
    if day is None:
        raise BadInput(Finding("--by", "", "a date such as 2027-03-04"))
    said = clear_vat(house_of(ctx), vat, day, key=key)
    if json_:
        as_json({"recorded": said})
    else:
        say(said)


@click.command()
@click.argument("shipment")
@click.option("--lands", default="", help="New landing, farm time: 2027-03-04T08:30.")
@click.option("--line", "lines", multiple=True, help="BATCH=COUNT: another number of one line. Repeatable.")
@despite_option
@key_option
@json_option
@click.pass_context
def amend(
    ctx: click.Context, shipment: str, lands: str, lines: tuple[str, ...], despite: str, key: str, json_: bool
) -> None:
    """Change what was ordered in SHIPMENT: its landing, or fewer animals of a line.

    Example: vatside amend S1 --lands 2027-03-08T09:00 --line S1-03=300
    """
    from intake.app.commands.announce_shipment import amend as change

    house = house_of(ctx)
    when, told = moment(house, lands, "--lands"), _numbers(lines, "--line")
    said = change(house, shipment, lands=when, announced=told, despite=despite, key=key)
    if json_:
        as_json({"recorded": said})
    else:
        say(said or ["Nothing to change: give --lands or --line."])
