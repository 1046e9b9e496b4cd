"""``vatside`` alone: today in at most twenty lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from intake.cli.farm_units import in_farm_units
from intake.cli.terminal import house_of

if TYPE_CHECKING:
    from intake.app.queries.overview.day.today_summary import TodaySummary
    from intake.app.queries.overview.due_work import Due

__all__ = ["show_today"]

_WIDTH = 80
_LATE, _DUE, _DEADLINES, _LANDINGS, _ALARMS = 3, 4, 2, 2, 2
"""Most lines of each part; with headings, the first and the last line they make twenty."""


def show_today(ctx: click.Context) -> None:
    """Print the day at a glance."""
    from intake.app.queries.overview.day.today_summary import today_summary

    for told in lines_of(today_summary(house_of(ctx))):
        line = in_farm_units(told)
        click.echo(line if len(line) <= _WIDTH else f"{line[: _WIDTH - 1]}…")


def lines_of(today: TodaySummary) -> list[str]:
    """The day in at most twenty lines of 80 columns."""
    lines = [f"{today.at:%a %d %b %Y %H:%M}   {today.alive:,} animals"]
    lines += _part("Alarms", [f"  ! {words}" for words in today.alarms], _ALARMS, "vatside report alarms")
    lines += _part(f"Late: {len(today.late)}", [_work(one) for one in today.late], _LATE, "vatside timetable")
    lines += _part(
        f"Due today: {len(today.due)}", [_work(one) for one in today.due], _DUE, "vatside timetable --days 1"
    )
    dear = [f"{one.number:>3} {one.if_late}" for one in (*today.late, *today.due) if one.if_late]
    lines += _part("To be done in time", dear, _DEADLINES, "vatside timetable")
    landings = [
        f"  {one.shipment} from {one.supplier}, {one.lands:%a %d %b %H:%M}, {one.announced:,} animals"
        for one in today.landings
    ]
    lines += _part("Lands next", landings, _LANDINGS, "vatside shipments")
    if len(lines) == 1:
        lines.append("Nothing is late, due or expected today.")
    first = next((one.number for one in (*today.late, *today.due) if one.number), 0)
    lines.append(
        f"Record: vatside done {first}   All commands: vatside --help" if first else "All commands: vatside --help"
    )
    return lines


def _part(head: str, lines: list[str], most: int, more: str) -> list[str]:
    """A heading and its lines; beyond the most, the last line says how many more and where they are listed."""
    if not lines:
        return []
    if len(lines) > most:
        lines = [*lines[: most - 1], f"  … and {len(lines) - most + 1} more: {more}"]
    return [head, *lines]


def _work(one: Due) -> str:
    number = f"{one.number:>4}" if one.number else "   ·"
    where = f" in {one.vat}" if one.vat and one.vat not in one.title else ""
    return f"{number}  {one.start:%H:%M}  {one.title}{where}"
