"""Commands the crew lives by: ``timetable``, ``feed`` and ``feeds``."""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, house_of, json_option, progress, say, table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from intake.app.calendars.feed_addresses import Address, Habits
    from intake.app.session import House
    from intake.timetable import Progress, Task, Timetable

__all__ = ["feed", "feeds", "timetable"]

alarms_option = click.option(
    "--alarms", default="standard", show_default=True, help="standard, none, or minutes before the start: 45,10."
)
omit_option = click.option("--omit-cancelled", is_flag=True, help="Omit canceled tasks instead of showing them.")
digest_option = click.option(
    "--digest/--all", default=None, help="A list each morning, or an event for each task (default: list for a person)."
)

todos_option = click.option("--todos", is_flag=True, help="Tasks as to-dos (VTODO), for apps with a task list.")


@click.command()
@click.option("--replan", is_flag=True, help="Discard published times and reschedule everything.")
@click.option("--days", type=click.IntRange(1, 400), default=7, show_default=True, help="Days shown.")
@click.option("--for", "who", default="", help="Only this person.")
@click.option("--seconds", default=8.0, show_default=True, help="Search time limit, s.")
@click.option("--propose", is_flag=True, help="Only show it: nothing is published.")
@json_option
@click.pass_context
def timetable(  # the options of the command
    ctx: click.Context, replan: bool, days: int, who: str, seconds: float, propose: bool, json_: bool
) -> None:
    """Schedule dips, inspections, rounds and release checks, and say what moved.

    Every record already updates the timetable; this searches for a better one. Published times are kept where possible.
    Exit 1 if a task cannot be scheduled.

    Example: vatside timetable --days 3
    """
    from intake.app.commands.schedule_work import reschedule
    from intake.app.queries.planning.deadlines import deadline_facts, deadlines
    from intake.app.queries.planning.landing_work import landing_binds
    from intake.app.queries.planning.timetable_warnings import lapses_now
    from intake.errors import BadInput, Finding
    from intake.timetable import as_dict, lacking

    if not 0 < seconds <= 3600:
        raise BadInput(Finding("--seconds", f"{seconds:g}", "more than 0 and at most 3600"))
    house = house_of(ctx)
    if who:
        house.site.person(who)
    try:
        found = reschedule(house, seconds=seconds, afresh=replan, propose=propose, progress=None if json_ else _watch)
    except KeyboardInterrupt:
        click.echo("\nStopped. No task was moved: the timetable is as it was published.", err=True)
        ctx.exit(130)
    if json_:
        told = as_dict(found)
        prices = deadlines(house)
        for task in told["tasks"]:
            task |= deadline_facts(house, prices.get(str(task["uid"])))
        told["skills"] = [asdict(one) for one in lacking(found.unplaced, house.site)]
        told["proposed"] = propose
        told["lapses"] = lapses_now(house)
        told["landing_binds"] = landing_binds(house)
        as_json(told)
    else:
        progress("")
        _show(house, found, days, who)
        if propose:
            say(["Nothing was published. Publish it with `vatside timetable`."])
    if found.unplaced:
        ctx.exit(1)


def _watch(step: Progress) -> None:
    progress(f"scheduling: {step}")


def _show(house: House, found: Timetable, days: int, who: str) -> None:
    from intake.app.queries.planning.landing_work import landing_binds

    until = house.now + timedelta(days=days)
    mine = [task for task in found.tasks if not who or who in task.staff]
    shown = [task for task in mine if task.start < until]
    say(_by_day(shown, house.site.farm.zone) if shown else [f"Nothing is due in the next {days} days."])
    whose = f" for {house.site.person(who).name}" if who else ""
    say(["", f"{len(mine)} tasks{whose} in all, {len(mine) - len(shown)} after these days; {len(found.late)} late."])
    _show_deadlines(house, shown)
    _show_late(house, found)
    _show_moved(house, found)
    _show_unplaced(house, found)
    say([f"! {words}" for words in landing_binds(house)])
    for batch, words in found.broken:
        say([f"✗ {batch} cannot be released: {words}"])


def _show_unplaced(house: House, found: Timetable) -> None:
    """One line for each treatment no one has the skill for, one for each other task without a place."""
    from intake.timetable import lacking

    people = house.site.people
    for one in lacking(found.unplaced, house.site):
        could = ", ".join(people[name].name or name for name in one.could_learn) or "add a person"
        say([f"✗ no one has the skill '{one.skill}': {one.name} ({one.places} tasks). Could learn it: {could}"])
    for left in found.unplaced:
        if not left.skill:
            say([f"✗ cannot schedule {left.kind} {left.batch or left.vat}: {left.why}"])
    if found.evening:
        say([found.evening])


def _by_day(tasks: Sequence[Task], zone: ZoneInfo) -> list[str]:
    """One table for all days, cut where a new day begins."""
    from intake.app.queries.overview.task_states import mark_of

    rows = [
        (
            f"{task.start.astimezone(zone):%H:%M}",
            task.short or "",
            round((task.end - task.start).total_seconds() / 60),
            ", ".join(task.staff),
            task.vat or task.system,
            task.batch,
            f"{mark_of(task.state)}{task.title}",
        )
        for task in tasks
    ]
    heads, rule, *lines = table(("at", "no.", "min", "who", "vat", "batch", "what"), rows)
    out = [heads, rule]
    day = ""
    for task, line in zip(tasks, lines, strict=True):
        today = f"{task.start.astimezone(zone):%A %d %B}"
        if today != day:
            out += ["", today] if day else [today]
            day = today
        out.append(line)
    return out


def _show_deadlines(house: House, shown: Sequence[Task]) -> None:
    """Tasks whose lateness makes animals wait, the first deadline first."""
    from intake.app.queries.planning.deadlines import deadlines
    from intake.app.queries.planning.timetable_warnings import lapse_words, lapses_now

    prices = deadlines(house)
    dear = sorted(((prices[t.uid].deadline, t.uid, t) for t in shown if t.uid in prices), key=lambda one: one[:2])
    say([f"! {task.title} in {task.vat}: {prices[task.uid].words}" for *_, task in dear])
    say([f"✗ {lapse_words(row)}" for row in lapses_now(house)])


def _show_late(house: House, found: Timetable) -> None:
    """The latest of the late work: what, where, and how long after the last moment its protocol allows."""
    zone = house.site.farm.zone
    late = sorted((task for task in found.tasks if task.late_minutes), key=lambda task: (-task.late_minutes, task.uid))
    for task in late[:5]:
        what = " in ".join(part for part in (task.title, task.vat or task.system) if part)
        hours = task.late_minutes / 60
        by = f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} d"
        say([f"late: {what}: {task.start.astimezone(zone):%a %d %b %H:%M}, {by} past its latest start"])
    if len(late) > 5:
        say([f"and {len(late) - 5} more late"])


def _show_moved(house: House, found: Timetable) -> None:
    """What moved since it was published and why; a dozen of it."""
    zone = house.site.farm.zone
    moved = [change for change in found.changes if change.was is not None and change.now is not None]
    moved = [change for change in moved if change.was.start != change.now.start]  # type: ignore[union-attr]
    for change in moved[:12]:
        assert change.was is not None  # noqa: S101  # chosen above
        assert change.now is not None  # noqa: S101  # chosen above
        was, now = change.was.start.astimezone(zone), change.now.start.astimezone(zone)
        what = " ".join(part for part in (change.now.title, change.now.vat) if part)
        kind = "moved" if change.forced else "moved to make room"
        say([f"{kind}: {what}: {was:%a %d %b %H:%M} → {now:%a %d %b %H:%M}, since {change.why}"])
    if len(moved) > 12:
        say([f"and {len(moved) - 12} more moved"])


@click.command()
@click.option("--for", "who", default="farm", show_default=True, help="Person, role, system or farm.")
@click.option("--out", type=click.Path(dir_okay=False), required=True, help="Calendar file to write.")
@alarms_option
@omit_option
@digest_option
@todos_option
@json_option
@click.pass_context
def feed(  # the options of the command
    ctx: click.Context,
    who: str,
    out: str,
    alarms: str,
    omit_cancelled: bool,
    digest: bool | None,
    todos: bool,
    json_: bool,
) -> None:
    """Write a calendar file from the published timetable.

    Example: vatside calendar --for teva --out teva.ics
    """
    from intake.app.calendars.feed_addresses import known_reader
    from intake.app.calendars.feed_publication import publish, write

    house, habits = house_of(ctx), _habits(alarms, omit_cancelled, digest, todos=todos)
    known_reader(house, who, habits)
    changed = publish(house)
    path = write(house, who, Path(out), habits)
    if json_:
        as_json({"file": str(path), "changed": changed})
    else:
        words = "1 event is" if changed == 1 else f"{changed} events are"
        say([f"Saved {path}", f"{words} new or changed since the last time."])


@click.command()
@click.option("--create", "create_for", default="", help="Create a calendar link for a person, role, system or farm.")
@click.option("--revoke", "revoke_id", default="", help="Revoke an address by its id.")
@click.option("--base", default="http://127.0.0.1:8642", show_default=True, help="Address of the board.")
@alarms_option
@omit_option
@digest_option
@todos_option
@json_option
@click.pass_context
def feeds(  # the options of the command
    ctx: click.Context,
    create_for: str,
    revoke_id: str,
    base: str,
    alarms: str,
    omit_cancelled: bool,
    digest: bool | None,
    todos: bool,
    json_: bool,
) -> None:
    """List, create or revoke the secret addresses calendars subscribe to.

    A new address is shown once: only its hash is kept.  How it rings belongs to the address: for other alarms make
    another one.

    Example: vatside calendars --create teva --alarms 45,10 --omit-cancelled
    """
    from intake.app.calendars import feed_addresses

    house, habits = house_of(ctx), _habits(alarms, omit_cancelled, digest, todos=todos)
    if create_for:
        identity, token = feed_addresses.create(house, create_for, habits=habits)
        url = f"{base.rstrip('/')}/cal/{token}/{feed_addresses.named(create_for, habits)}.ics"
        if json_:
            as_json({"id": identity, "for": create_for, "address": url})
        else:
            webcal = f"webcal://{url.partition('://')[2]}"
            say(
                [
                    f"{identity} for {create_for} (shown only once, copy it now):",
                    url,
                    webcal,
                    "Served by `vatside serve`.",
                ]
            )
        return
    if revoke_id:
        said = feed_addresses.revoke(house, revoke_id)
        if json_:
            as_json({"recorded": [said]})
        else:
            say([said])
        return
    rows = feed_addresses.addresses(house)
    if json_:
        as_json([_address(a) for a in rows])
        return
    shown = [
        (a.id, a.who, _rings(a.habits), f"{a.created:%Y-%m-%d}", f"{a.revoked:%Y-%m-%d}" if a.revoked else "in use")
        for a in rows
    ]
    heads = ("id", "for", "alarms", "made", "revoked")
    say(table(heads, shown) if shown else ["No calendar addresses yet. Create one with --create PERSON."])


def _address(one: Address) -> dict[str, object]:
    return {
        "id": one.id,
        "for": one.who,
        "created": one.created,
        "revoked": one.revoked,
        "alarms_minutes": one.habits.alarms_minutes,
        "omit_cancelled": one.habits.omit_cancelled,
        "digest": one.habits.digest,
        "todos": one.habits.todos,
    }


def _rings(habits: Habits) -> str:
    minutes = habits.alarms_minutes
    told = "as planned" if minutes is None else f"{', '.join(map(str, minutes))} min" if minutes else "none"
    told = f"{told}, to-dos" if habits.todos else told
    return f"{told}, no canceled" if habits.omit_cancelled else told


def _habits(alarms: str, omit_cancelled: bool, digest: bool | None, *, todos: bool) -> Habits:
    """How a subscriber wants the calendar, from the words of the command.

    Raises
    ------
    BadInput
        Alarms that are neither ``standard`` nor ``none`` nor minutes.
    """
    from intake.app.calendars.feed_addresses import Habits
    from intake.errors import BadInput, Finding

    words = [word.strip() for word in alarms.split(",")]
    if alarms in {"standard", "none"}:
        return Habits(None if alarms == "standard" else (), omit_cancelled, digest, todos)
    if not all(word.isascii() and word.isdigit() and len(word) < 6 for word in words):
        raise BadInput(Finding("--alarms", alarms, "standard, none, or minutes before the start such as 45,10"))
    return Habits(tuple(map(int, words)), omit_cancelled, digest, todos)
