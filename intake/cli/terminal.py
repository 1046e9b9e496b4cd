"""How answers reach a terminal: text at 80 columns, JSON on request, and the options that many commands share."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from intake.cli.farm_units import in_farm_units, measures_in

if TYPE_CHECKING:
    from datetime import datetime

    from intake.app.session import House

__all__ = [
    "as_json",
    "at_option",
    "despite_option",
    "fold",
    "house_of",
    "json_option",
    "key_option",
    "moment",
    "picture_option",
    "progress",
    "say",
    "stoppable",
    "table",
]

F = TypeVar("F", bound=Callable[..., Any])


def despite_option(command: F) -> F:
    """Give a command ``--despite``."""
    words = "Why, in three words or more, although a rule needs a reason; saved with the entry."
    return click.option("--despite", default="", help=words)(command)


def json_option(command: F) -> F:
    """Give a command ``--json``."""
    return click.option("--json", "json_", is_flag=True, help="Print the answer as JSON.")(command)


def key_option(command: F) -> F:
    """Give a recording command ``--key``: the same act sent twice counts once."""
    return click.option("--key", default="", help="Unique key: an entry sent twice with the same key is saved once.")(
        command
    )


def picture_option(command: F) -> F:
    """Give a report with pictures ``--picture``: the kind of file they are written as."""
    kinds = click.Choice(["svg", "png", "pdf"])
    return click.option("--picture", "kind", type=kinds, default="svg", show_default=True, help="Kind of pictures.")(
        command
    )


def at_option(command: F) -> F:
    """Give a recording command ``--at``: when it happened, if not now."""
    return click.option(
        "--at", "at_", default="", help="When it happened, farm time: 2027-03-04T08:30 (default: now)."
    )(command)


def house_of(ctx: click.Context) -> House:
    """Open the farm named on the command line.

    A clock that stands before the last entry is reported, and the farm shown as of that entry; nothing is recorded then.
    """
    from intake.app.session import as_of_last_entry, open_house

    house = open_house(ctx.obj["farm"], who=ctx.obj["who"], confirmed=ctx.obj.get("today", ""))
    ctx.call_on_close(house.books.close)
    if not any(ctx.meta.get("vatside.units", {}).values()):  # --units of a calculator that reads the farm too
        measures_in(house.site.farm.measures)
    told = as_of_last_entry(house)
    if told.refuses is not None:
        click.echo(f"! {told.refuses}", err=True)
    elif ctx.info_name != "timetable":  # which lists what has no place itself
        _told_at_the_end(ctx, house)
    return told


def _told_at_the_end(ctx: click.Context, house: House) -> None:
    """After the command, say aloud what it left without a place in the timetable, and a timetable that could not follow."""
    from contextlib import suppress

    from intake.app.queries.planning.timetable_warnings import lapses_now, timetable_warnings, unplaced_now
    from intake.app.session import DatabaseFault
    from intake.errors import IntakeError

    known: set[str] = set()
    with suppress(IntakeError, DatabaseFault):  # books that cannot be read are the command's own to report
        known |= {str(row["uid"]) for row in (*unplaced_now(house), *lapses_now(house))}

    def tell() -> None:
        with suppress(IntakeError, DatabaseFault):
            for words in timetable_warnings(house.at(house.now), known):
                click.echo(fold(f"✗ {words}"), err=True)

    ctx.call_on_close(tell)


def moment(house: House, text: str, option: str = "--at") -> datetime | None:
    """Read a time as typed, in the farm's zone when it names none."""
    if not text:
        return None
    from datetime import datetime

    from intake.errors import BadInput, Finding
    from intake.farm.local_time import on_farm_clock

    try:
        read = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadInput(Finding(option, text, "a date or time such as 2027-03-04 or 2027-03-04T08:30")) from error
    return on_farm_clock(read, house.site.farm.zone, option)


def as_json(answer: object) -> None:
    """Print plain data as JSON."""
    click.echo(json.dumps(answer, ensure_ascii=False, indent=2, default=str))


def say(lines: Iterable[str]) -> None:
    """Print lines of text, folded at 80 columns under their own indent; a path or an address is never broken."""
    for line in lines:
        click.echo(fold(in_farm_units(line)))


def fold(line: str, width: int = 80) -> str:
    """Fold one line of text at blanks; what goes on below stands two columns further in."""
    if len(line) <= width:
        return line
    import textwrap

    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.fill(line, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def table(heads: Sequence[str], rows: Sequence[Sequence[object]], *, width: int = 80) -> list[str]:
    """Lay rows out in columns no wider than ``width``; numbers to the right, the widest text column gives way."""
    cells = [[in_farm_units(str(cell)) for cell in row] for row in rows]
    widths = [max([len(head), *(len(row[i]) for row in cells)]) for i, head in enumerate(heads)]
    while sum(widths) + 2 * (len(widths) - 1) > width and max(widths) > 6:
        widths[widths.index(max(widths))] -= 1
    right = [all(_numeric(row[i]) for row in cells) and bool(cells) for i in range(len(heads))]

    def line(row: Sequence[str]) -> str:
        parts = []
        for text, size, to_right in zip(row, widths, right, strict=True):
            shown = text if len(text) <= size else text[: size - 1] + "…"
            parts.append(shown.rjust(size) if to_right else shown.ljust(size))
        return "  ".join(parts).rstrip()

    rule = "  ".join("─" * size for size in widths)
    return [line(list(heads)), rule.rstrip(), *(line(row) for row in cells)]


def _numeric(text: str) -> bool:
    return not text or text.replace(",", "").replace(".", "").replace("%", "").replace("-", "").strip().isdigit()


@contextmanager
def stoppable() -> Iterator[Callable[[], bool]]:
    """While it lasts, Ctrl-C asks a search to end with the best so far; a second one ends the command (exit 130)."""
    import signal

    pressed: list[int] = []

    def ask(number: int, frame: Any) -> None:
        if pressed:
            signal.default_int_handler(number, frame)
        pressed.append(number)

    try:
        before = signal.signal(signal.SIGINT, ask)
    except ValueError:  # not the main thread: nothing to catch
        yield lambda: False
        return
    try:
        yield lambda: bool(pressed)
    finally:
        signal.signal(signal.SIGINT, before)


def progress(text: str) -> None:
    """Show one line of progress on a terminal, over the last one; silent when no one watches."""
    if sys.stderr.isatty():
        click.echo(f"\r\033[K{text[:78]}", nl=False, err=True)
