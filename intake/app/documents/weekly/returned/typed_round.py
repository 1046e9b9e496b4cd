"""The fields of a returned round: animals dead, weak and left by vat and lot, the water of each system, work ticked off."""

from __future__ import annotations

import re
from collections.abc import Iterator

from forms.layout.pen import field_name
from intake.app.commands.count_animals import Count
from intake.app.documents.weekly.returned.typed_form import TypedForm
from intake.app.documents.weekly.returned.typed_sheet import Line
from intake.app.documents.weekly.returned.typed_tasks import task_line, tasks_by_field
from intake.ledger import Entry, Movement, Record, vat_place

__all__ = ["round_lines"]

_SHEET = re.compile(r"(round \d+)/(.+)")
_READ = {"°C": ("temperature", "temperature_c"), "PSU": ("salinity", "salinity_psu")}
_HEADS = ("dead", "weak", "left")


def round_lines(form: TypedForm) -> list[Line]:
    """Lines of every walker's sheet in the file."""
    lines: list[Line] = []
    for sheet in sorted({found[1] for name in form.found.names if (found := _SHEET.fullmatch(name))}):
        form.used.add(f"{sheet}/emergency")
        lines += _counts(form, sheet)
        lines += _readings(form, sheet)
        lines += _ticks(form, sheet)
    return lines


def _rows(form: TypedForm, sheet: str) -> Iterator[tuple[str, str]]:
    """Vat and batch of every row, as the sheet has them."""
    vats = {field_name(vat): vat for vat in form.house.site.vats}
    batches = {field_name(batch): batch for batch in form.house.floor().batches}
    for name in sorted(form.found.names):
        place, _, head = name.removeprefix(f"{sheet}/").rpartition("/")
        if not name.startswith(f"{sheet}/") or head != "dead":
            continue
        vat = next((one for one in vats if place.startswith(f"{one}/")), "")
        batch = place.removeprefix(f"{vat}/")
        if vat and batch in batches:
            yield vats[vat], batches[batch]
        elif name in form.found.typed:
            form.fault(name, "a vat and a batch of this farm")


def _counts(form: TypedForm, sheet: str) -> list[Line]:
    found = []
    for vat, batch in _rows(form, sheet):
        name = field_name(f"{sheet}.{vat}.{batch}")
        dead, weak, left = (form.whole(f"{name}/{head}") for head in _HEADS)
        if not dead and weak is None and left is None:
            continue
        key, entries = form.key(f"{vat}.{batch}")
        tally = Count(dead=dead or 0, weak=weak, alive=left)
        if entries and (was := _recorded(entries, batch)) != tally:
            shown = ", ".join(
                f"{value} {head}" for head, value in zip(_HEADS, (was.dead, was.weak, was.alive), strict=True)
            )
            head = next(one for one in _HEADS if f"{name}/{one}" in form.found.typed)
            form.clash(f"{name}/{head}", shown, key)
        found.append(
            Line(name, "count", batch, vat, key, tally, at=form.day_moment(), before=bool(entries),
                 since=_since(form, vat, batch, key))
        )  # fmt: skip
    return found


def _recorded(entries: tuple[Entry, ...], batch: str) -> Count:
    """The count an act has on record."""
    dead = sum(one.count for one in entries if isinstance(one, Movement) and one.target == "dead")
    seen = {str(one.payload.get("quantity")): one.payload.get("value") for one in entries if isinstance(one, Record)}
    weak, alive = (seen.get(f"{word} {batch}") for word in ("weak", "alive"))
    return Count(
        dead=dead, weak=None if weak is None else int(str(weak)), alive=None if alive is None else int(str(alive))
    )


def _since(form: TypedForm, vat: str, batch: str, key: str) -> str:
    """What else was counted there since the sheet was printed."""
    place = vat_place(vat)
    moved = [one for one in form.house.stream(batch) if isinstance(one, Movement) and place in (one.source, one.target)]
    seen = [
        one for one in form.house.readings_of(place) if str(one.payload.get("quantity", "")).split(" ")[-1] == batch
    ]
    return form.since([*moved, *seen], key)


def _readings(form: TypedForm, sheet: str) -> list[Line]:
    """The water of each system, read once for all its vats."""
    found = []
    for system in form.house.site.systems:
        for unit, (kind, quantity) in _READ.items():
            name = field_name(f"{sheet}.system.{system}.{unit}")
            value = form.measured(name, kind)
            if value is None:
                continue
            key, entries = form.key(f"{system}.{quantity}")
            was = [one.payload.get("value") for one in entries if isinstance(one, Record) and one.kind == "reading"]
            if was and was[0] != value:
                form.clash(name, str(was[0]), key)
            others = [one for one in form.house.readings_of(system) if one.payload.get("quantity") == quantity]
            found.append(
                Line(name, "reading", "", system, key, quantity=quantity, value=value, at=form.day_moment(),
                     before=bool(was), since=form.since(others, key))
            )  # fmt: skip
    return found


def _ticks(form: TypedForm, sheet: str) -> list[Line]:
    """Work ticked off that is not on record as done."""
    tasks, found = tasks_by_field(form.house, f"{sheet}.due."), []
    start = field_name(f"{sheet}.due.")
    for name in sorted(one for one in form.found.ticked if one.startswith(start)):
        if name not in tasks:
            form.fault(name, "a task of the timetable", "It is there no more. Record it with `vatside done`.")
            continue
        line = task_line(form, name, tasks[name], form.day_moment())
        found += [line] if line else []
    return found
