"""``round``: the morning round as one command, vat by vat."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

import click

from intake.cli.farm_units import refusal_units
from intake.cli.terminal import as_json, despite_option, house_of, json_option, say
from intake.errors import BadInput, Finding, IntakeError, many_of

if TYPE_CHECKING:
    from intake.app.queries.overview.day.walk_round import Stop
    from intake.app.session import House

__all__ = ["round_"]


@click.command(name="round")
@click.option("--dead", "dead", multiple=True, help="BATCH/VAT=NUMBER found dead. Repeatable.")
@click.option("--temp", "temps", multiple=True, help="VAT-or-SYSTEM=TEMPERATURE, as R1=25.8 or R1=78F. Repeatable.")
@click.option("--ask/--no-ask", default=None, help="Ask vat by vat (default: in a terminal).")
@despite_option
@json_option
@click.pass_context
def round_(
    ctx: click.Context, dead: tuple[str, ...], temps: tuple[str, ...], ask: bool | None, despite: str, json_: bool
) -> None:
    """Walk the morning round: who stands where, what is due, and what is found.

    In a terminal each vat is asked in turn; each answer is recorded at once, so a round broken off keeps what was entered.

    Example: vatside round

    Example: vatside round --dead S1-01/G1=2 --temp R1=25.8
    """
    from intake.app.queries.overview.day.walk_round import walk_round

    house = house_of(ctx)
    stops = walk_round(house)
    if json_ and not dead and not temps:
        as_json([stop.as_dict() for stop in stops])
        return
    said: list[str] = []
    for text in dead:
        place, number = _pair("--dead", text, "BATCH/VAT=NUMBER, such as S1-01/G1=2")
        batch, _, vat = place.partition("/")
        said += _dead(house, batch, vat, number, despite)
    for text in temps:
        place, value = _pair("--temp", text, "PLACE=TEMPERATURE, such as R1=25.8 or R1=78F")
        said += _temperature(house, place, value, despite)
    if json_:
        as_json({"recorded": said})
        return
    say(said)
    asking = ask if ask is not None else sys.stdin.isatty() and sys.stdout.isatty()
    if asking and not said:
        _walk(house, stops, despite)
    elif not said:
        for stop in stops:
            say([*_lines(stop), ""])
        say([f"{many_of(len(stops), 'vat')} with animals. On a phone: the round page of the board."])


def _lines(stop: Stop) -> list[str]:
    read = f", {stop.temperature_c:g} °C last" if stop.temperature_c is not None else ", temperature not read"
    lines = [f"{stop.vat} ({stop.system}{read})"]
    lines += [f"  {batch:<10} {count:>6,}  {name}" for batch, name, count in stop.stands]
    lines += [f"  task {one.number or '·'}: {one.title} ({one.state})" for one in stop.work]
    return lines


def _walk(house: House, stops: tuple[Stop, ...], despite: str) -> None:
    """Ask each vat in turn; what cannot be recorded is reported, and asked again."""
    asked: set[str] = set()
    for number, stop in enumerate(stops, start=1):
        click.echo("")
        say([f"[{number}/{len(stops)}]", *_lines(stop)])
        if stop.system not in asked:
            asked.add(stop.system)
            words = f"Temperature of {stop.system} (Enter: not read)"
            _until_told(words, partial(_temperature, house, stop.system, despite=despite))
        for batch, name, _ in stop.stands:
            words = f"Dead of {batch} {name} (Enter: none)"
            _until_told(words, partial(_dead, house, batch, stop.vat, despite=despite))
        for one in stop.work:
            words = f"Task {one.number or one.uid}, {one.title}: done? (y, Enter: not yet)"
            _until_told(words, partial(_done, house, one.uid, despite=despite))
    say(["", "The round is finished."])


def _until_told(words: str, record: Callable[[str], list[str]]) -> None:
    while True:
        text = click.prompt(words, default="", show_default=False).strip()
        if not text:
            return
        try:
            say([f"  {line}" for line in record(text)])
        except IntakeError as error:
            for finding in error.findings:
                click.echo(f"  ✗ {refusal_units().finding(finding)}")
            continue
        return


def _pair(option: str, text: str, expected: str) -> tuple[str, str]:
    name, mark, value = text.partition("=")
    if not mark or not name.strip() or not value.strip():
        raise BadInput(Finding(option, text, expected))
    return name.strip(), value.strip()


def _dead(house: House, batch: str, vat: str, number: str, despite: str) -> list[str]:
    from intake.app.commands import count_animals

    if not (number.isascii() and number.isdigit() and len(number) < 7):
        raise BadInput(Finding("dead", number, "a number of animals, such as 2"))
    if int(number) == 0:
        return []
    return list(count_animals.count(house, batch, vat, count_animals.Count(dead=int(number)), despite=despite).said)


def _temperature(house: House, place: str, text: str, despite: str) -> list[str]:
    from intake.app.commands import record_observation

    value = house.site.farm.measures.read("temperature", text).value
    told = record_observation.reading(house, place, "temperature_c", value, despite=despite)
    return list(told.said)


def _done(house: House, uid: str, text: str, despite: str) -> list[str]:
    from intake.app.commands import record_observation

    if text.lower() not in {"y", "yes", "done"}:
        raise BadInput(Finding("done", text, "y, or Enter"))
    return list(record_observation.done(house, uid, despite=despite).said)
