"""What a packing list leaves open, as a form: their columns against our fields, and the questions in groups to choose from."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from intake.app.queries.planning import packing_list
from intake.app.session import House
from intake.board.request import Asked
from intake.errors import BadInput, Finding
from intake.packing import Question, Understanding
from intake.packing.fields import FIELDS
from intake.packing.grid import column_letters

__all__ = ["answers_given", "column_rows", "forgotten", "grouped", "kept", "noted"]

_MOST_COLUMNS: Final = 400
_GROUPS: Final = (
    ("Names", ("name:", "genus:", "group:", "kind:")),
    (
        "Sizes and counts",
        ("size", "count", "numbers", "measure", "zero-counts", "loose-rows", "empty-", "dozen", "unit:"),
    ),
    ("Prices and permits", ("price", "currency", "amounts", "source:")),
    ("Boxes and times", ("box", "dates", "zone", "packed")),
)


def column_rows(found: Understanding) -> list[dict[str, Any]]:
    """Each of their columns with its heading and sample cells, and the field it is read as (empty: not read)."""
    read = {one.column: one.field for one in found.map.columns}
    rows = []
    for number in range(1, 1 + max([len(found.map.labels), *read, 0])):
        label = found.map.labels[number - 1] if number <= len(found.map.labels) else ""
        cells = found.samples[number - 1] if number <= len(found.samples) else ()
        if label or cells or number in read:
            letters = column_letters(number)
            rows.append(
                {"number": number, "letters": letters, "label": label, "cells": cells, "field": read.get(number, "")}
            )
    return rows


def grouped(found: Understanding) -> list[tuple[str, list[tuple[Question, list[str]]]]]:
    """The open questions but that of the columns, in groups of a kind, each with the row it is about."""
    groups: dict[str, list[tuple[Question, list[str]]]] = {name: [] for name in (*dict(_GROUPS), "The list")}
    for question in found.questions:
        if question.key == "columns":
            continue
        name = next((name for name, starts in _GROUPS if question.key.startswith(starts)), "The list")
        groups[name].append((question, found.about(question)))
    return [(name, asked) for name, asked in groups.items() if asked]


def answers_given(asked: Asked) -> dict[str, str]:
    """Question → answer: chosen from those offered, else from a list, else typed; and the columns as chosen."""
    found: dict[str, str] = {}
    for start in ("ask:", "pick:", "say:"):
        size = len(start)
        found |= {
            name[size:]: told.strip()
            for name, told in asked.form.items()
            if name.startswith(start) and told.strip()
        }  # fmt: skip
    columns = _columns(asked.form) or asked.field("columns_else")
    return found | ({"columns": columns} if columns else {})


def _columns(form: Mapping[str, str]) -> str:
    """The columns as chosen, every field named, where any differs from what was shown; otherwise empty.

    Raises
    ------
    BadInput
        Two columns were chosen anew for one field.
    """
    numbers = [number for number in range(1, _MOST_COLUMNS + 1) if f"column:{number}" in form]
    chosen = {number: form[f"column:{number}"] for number in numbers}
    if all(chosen[number] == form.get(f"was:{number}", "") for number in numbers):
        return ""
    # a field chosen anew is read from there; the column that had it before gives it up
    fresh = [number for number in numbers if chosen[number] and chosen[number] != form.get(f"was:{number}", "")]
    twice = {chosen[one] for one in fresh if sum(chosen[one] == chosen[other] for other in fresh) > 1}
    if twice:
        words = ", ".join(FIELDS.get(field, field[:40]) for field in sorted(twice))
        raise BadInput(Finding("columns", f"two for {words}", "one column for each field", "Choose again."))
    order = [*(number for number in numbers if number not in fresh), *fresh]
    of_field = {chosen[number]: column_letters(number) for number in order if chosen[number]}
    return ",".join(f"{field}={of_field.get(field, '-')}" for field in FIELDS) if of_field else ""


def kept(house: House, supplier: str, file: Path) -> dict[str, str]:
    """Answers given for this list before, on the board or in a terminal."""
    return packing_list.kept_answers(packing_list.kept_file(house, supplier, file))


def noted(house: House, found: Understanding, file: Path, told: Mapping[str, str]) -> None:
    """Keep the answers so far on the farm until the list is entered, as the terminal does."""
    if told:
        packing_list.keep_answers(packing_list.kept_file(house, found.supplier, file), found, told, own=True)


def forgotten(house: House, supplier: str, file: Path) -> None:
    """The list is entered, or all is to be asked again: answers kept for it are no longer needed."""
    packing_list.kept_file(house, supplier, file).unlink(missing_ok=True)
