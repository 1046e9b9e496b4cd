"""Commands the crew lives by: ``timetable``, ``feed`` and ``feeds``."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from intake.cli.show import as_json, house_of, json_option, progress, say, table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from intake.desk.house import House
    from intake.timetable import Progress, Task, Timetable

__all__ = ["feed", "feeds", "timetable"]


@click.command()
@click.option("--replan", is_flag=True, help="Forget published times and schedule afresh.")
@click.option("--days", type=click.IntRange(1, 400), default=7, show_default=True, help="Days shown.")
@click.option("--for", "who", default="", help="Only this person.")
@click.option("--seconds", default=8.0, show_default=True, help="Time for the search.")
@json_option
@click.pass_context
def timetable(ctx: click.Context, replan: bool, days: int, who: str, seconds: float, json_: bool) -> None:
    """Schedule dips, inspections, rounds and release checks, and say what moved.

    Published times stay unless they cannot hold.  Exit 1 when work has no place.

    Example: vatside timetable --days 3
    """
    from intake.desk.work import reschedule
    from intake.errors import BadInput, Finding
    from intake.timetable import as_dict

    if not 0 < seconds <= 3600:
        raise BadInput(Finding("--seconds", f"{seconds:g}", "more than 0 and at most 3600"))
    house = house_of(ctx)
    if who:
        house.site.person(who)
    found = reschedule(house, seconds=seconds, afresh=replan, progress=None if json_ else _watch)
    if json_:
        as_json(as_dict(found))
    else:
        progress("")
        _show(house, found, days, who)
    if found.unplaced:
        ctx.exit(1)


def _watch(step: Progress) -> None:
    progress(f"scheduling: {step}")


def _show(house: House, found: Timetable, days: int, who: str) -> None:
    until = house.now + timedelta(days=days)
    mine = [task for task in found.tasks if not who or who in task.staff]
    shown = [task for task in mine if task.start < until]
    say(_by_day(shown, house.site.farm.zone) if shown else [f"Nothing is due in the next {days} days."])
    whose = f" for {house.site.person(who).name}" if who else ""
    say(["", f"{len(mine)} tasks{whose} in all, {len(mine) - len(shown)} after these days; {len(found.late)} late."])
    _show_moved(house, found)
    for one in found.unplaced:
        say([f"✗ no place for {one.kind} {one.batch or one.vat}: {one.why}"])
    for batch, words in found.broken:
        say([f"✗ {batch} cannot be released: {words}"])


def _by_day(tasks: Sequence[Task], zone: ZoneInfo) -> list[str]:
    """One table for all days, cut where a new day begins."""
    rows = [
        (
            f"{task.start.astimezone(zone):%H:%M}",
            round((task.end - task.start).total_seconds() / 60),
            ", ".join(task.staff),
            task.vat or task.system,
            task.batch,
            task.title,
        )
        for task in tasks
    ]
    heads, rule, *lines = table(("at", "min", "who", "vat", "batch", "what"), rows)
    out = [heads, rule]
    day = ""
    for task, line in zip(tasks, lines, strict=True):
        today = f"{task.start.astimezone(zone):%A %d %B}"
        if today != day:
            out += ["", today] if day else [today]
            day = today
        out.append(line)
    return out


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
        say([f"moved: {what}: {was:%a %d %b %H:%M} → {now:%a %d %b %H:%M}, since {change.why}"])
    if len(moved) > 12:
        say([f"and {len(moved) - 12} more moved"])


@click.command()
@click.option("--for", "who", default="farm", show_default=True, help="Person, role, system or farm.")
@click.option("--out", type=click.Path(dir_okay=False), required=True, help="Calendar file to write.")
@json_option
@click.pass_context
def feed(ctx: click.Context, who: str, out: str, json_: bool) -> None:
    """Write a calendar file from the published timetable.

    Example: vatside feed --for teva --out teva.ics
    """
    from intake.desk.feeds import known_reader, publish, write

    house = house_of(ctx)
    known_reader(house, who)
    changed = publish(house)
    path = write(house, who, Path(out))
    if json_:
        as_json({"file": str(path), "changed": changed})
    else:
        words = "1 event is" if changed == 1 else f"{changed} events are"
        say([f"wrote {path}", f"{words} new or changed since the last time."])


@click.command()
@click.option("--create", "create_for", default="", help="Make an address for a person, role, system or farm.")
@click.option("--revoke", "revoke_id", default="", help="Revoke an address by its id.")
@click.option("--base", default="http://127.0.0.1:8642", show_default=True, help="Address of the board.")
@json_option
@click.pass_context
def feeds(ctx: click.Context, create_for: str, revoke_id: str, base: str, json_: bool) -> None:
    """List, create or revoke the secret addresses calendars subscribe to.

    A new address is shown once: only its hash is kept.

    Example: vatside feeds --create teva
    """
    from intake.desk import feeds as desk

    house = house_of(ctx)
    if create_for:
        identity, token = desk.create(house, create_for)
        url = f"{base.rstrip('/')}/cal/{token}/{create_for}.ics"
        if json_:
            as_json({"id": identity, "for": create_for, "address": url})
        else:
            say([f"{identity} for {create_for}, shown this once:", url, "Served by `vatside serve`."])
        return
    if revoke_id:
        said = desk.revoke(house, revoke_id)
        if json_:
            as_json({"recorded": [said]})
        else:
            say([said])
        return
    rows = desk.addresses(house)
    if json_:
        as_json([{"id": a.id, "for": a.who, "created": a.created, "revoked": a.revoked} for a in rows])
        return
    shown = [(a.id, a.who, f"{a.created:%Y-%m-%d}", f"{a.revoked:%Y-%m-%d}" if a.revoked else "in use") for a in rows]
    say(table(("id", "for", "made", "revoked"), shown) if shown else ["No address was made yet: --create PERSON."])
