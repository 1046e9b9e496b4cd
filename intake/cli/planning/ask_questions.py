"""Questions of a packing list asked in a terminal: numbered choices, the row they are about, and always a way out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from intake.cli.farm_units import around_quotes, now_in
from intake.cli.terminal import fold, say

if TYPE_CHECKING:
    from collections.abc import Callable

    from intake.packing import Understanding

__all__ = ["ask_columns", "ask_questions", "show_open", "show_understanding"]

_EVIDENCE = 12


def show_understanding(found: Understanding) -> None:
    """How a list was understood: lines, totals, and what became of every row and column."""
    say(found.table())
    told = [sentence for sentence in found.evidence if " from column " not in sentence]  # the table above shows them
    for sentence in ["", *(f"  {around_quotes(sentence)}" for sentence in told[:_EVIDENCE])]:
        click.echo(fold(sentence))
    if len(told) > _EVIDENCE:
        say([f"  … and {len(told) - _EVIDENCE} more: --json shows them all"])


def show_open(found: Understanding, answers_file: str) -> None:
    """What is open or wrong, and how to answer it in a script."""
    for problem in found.problems:
        click.echo(f"✗ {now_in().finding(problem)}", err=True)
    for question in found.questions:
        where = f" ({question.where})" if question.where else ""
        click.echo(f"? {around_quotes(question.what)}{where}", err=True)
        for line in found.about(question):
            click.echo(f"    {line}", err=True)
        if question.choices:
            click.echo(f"    choices: {', '.join(question.choices[:6])}", err=True)
            for choice in question.choices[:6]:
                if question.meaning(choice):
                    click.echo(f"      {choice}: {question.meaning(choice)}", err=True)
        if question.free:
            click.echo(f"    {'or' if question.choices else 'VALUE'}: {question.free}", err=True)
        click.echo(f"    answer:  {question.how}", err=True)
    if answers_file:
        click.echo(f"Saved the open questions in {answers_file}. Fill them in and run this again.", err=True)
    elif found.questions:
        click.echo(
            "--answers FILE writes the questions into a file to fill in, and reads it on the next run.", err=True
        )
    click.echo("Nothing was saved. Answer the questions or correct the list, then run this again.", err=True)


def ask_columns(found: Understanding) -> str:
    """Show the proposed columns by number; gives an override, or nothing when they were accepted with Enter."""
    from intake.packing.grid import column_letters

    while True:
        for number, each in enumerate(found.map.columns, start=1):
            shown = " | ".join(each.samples)
            click.echo(f"{number:>3}  {each.field.replace('_', ' '):<13} {each.label[:24]:<24} {shown[:36]}")
        labels = found.map.labels
        click.echo(fold("Their columns: " + ", ".join(f"{n} {label}" for n, label in enumerate(labels, 1) if label)))
        told = click.prompt(
            "Enter to accept, or FIELD=COLUMN by number such as 3=5 (3=- for none)", default="", show_default=False
        )
        if not told.strip():
            return ""
        parts = []
        for part in filter(None, told.replace(",", " ").split()):
            field, _, column = part.partition("=")
            fits = field.isdigit() and 1 <= int(field) <= len(found.map.columns)
            if not fits or not (column == "-" or (column.isdigit() and 1 <= int(column) <= 400)):
                click.echo(f"{part}: no such number. Write 3=5 to read line 3 from their column 5.")
                break
            target = "-" if column == "-" else column_letters(int(column))
            parts.append(f"{found.map.columns[int(field) - 1].field}={target}")
        else:
            return ",".join(parts)


def ask_questions(found: Understanding, keep: Callable[[str, str], None]) -> dict[str, str]:
    """Ask every open question; choices by number, ``s`` for a list that is wrong, Enter to leave it open.

    Parameters
    ----------
    keep
        Called with each question and its answer as soon as it is given, but not with ``s``.
    """
    from intake.packing.asking import STOP

    told: dict[str, str] = {}
    for question in found.questions:
        click.echo("")
        click.echo(fold(f"? {around_quotes(question.what)}"))
        for line in found.about(question):
            click.echo(f"    {line}")
        for number, choice in enumerate(question.choices, start=1):
            meaning = question.meaning(choice)
            click.echo(f"  {number}  {choice}{': ' if meaning else ''}{meaning}")
        click.echo("  s  the list is wrong: stop, and ask the supplier for a corrected one")
        words = f" or write {question.free}" if question.free else ""
        answer = click.prompt(f"Number{words} (Enter: later)", default="", show_default=False).strip()
        if answer == "s":
            return {question.key: STOP}
        if answer.isdigit() and 1 <= int(answer) <= len(question.choices):
            told[question.key] = question.choices[int(answer) - 1]
        elif answer and question.free:
            told[question.key] = answer
        elif answer:
            click.echo(f"{answer}: no such number; the question stays open.")
        if question.key in told:
            keep(question.key, told[question.key])
    return told
