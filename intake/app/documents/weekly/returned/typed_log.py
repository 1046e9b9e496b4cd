"""The fields of a returned dip log: work done, when and by whom, and what was found."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from intake.app.documents.weekly.returned.typed_form import CLEAN_WORDS, TypedForm, pest_of
from intake.app.documents.weekly.returned.typed_sheet import Line
from intake.app.documents.weekly.returned.typed_tasks import task_line, tasks_by_field
from intake.ledger import records

__all__ = ["log_lines"]

_ROW = "1."
"""A log is the first part of its file."""
_LOOKS = frozenset({"inspection", "release check"})


def log_lines(form: TypedForm) -> list[Line]:
    """Lines of every row that is ticked; words in rows that are not stay with the person who scans."""
    form.used.add("1/emergency")
    rows = tasks_by_field(form.house, _ROW, ".done")
    lines: list[Line] = []
    for name in sorted(one for one in form.found.ticked if one.endswith("/done")):
        if name in rows:
            lines += _row(form, name, rows[name])
        else:
            form.fault(name, "a task of the timetable", "It is there no more. Record it with `vatside done`.")
    return lines


def _row(form: TypedForm, name: str, task: Mapping[str, Any]) -> list[Line]:
    """The task as done, and the finding its inspection made."""
    if task_line(form, name, task, None) is None:  # printed ticked, or recorded since
        return []
    row = name.removesuffix("/done")
    day = datetime.fromisoformat(str(task["start"])).astimezone(form.house.site.farm.zone).date()
    by = f"{row}/by"
    if by not in form.found.names:
        form.fault(name, "a row with a place for the time", f"Record it with `vatside done {task['uid']} --at`.")
        return []
    at, who = form.clock(by, day, needed=True)
    words = form.text(f"{row}/found")
    pest = pest_of(form.house, words) if words else None
    clean = task["kind"] in _LOOKS and words.lower() in CLEAN_WORDS
    note = "; ".join(part for part in (f"by {who}" if who else "", words) if part)
    done = task_line(form, name, task, at, note)
    lines = [done] if done else []
    if words and (pest or clean):
        lines.append(_finding(form, f"{row}/found", task, pest or "", at, words))
    return lines


def _finding(form: TypedForm, name: str, task: Mapping[str, Any], pest: str, at: datetime | None, words: str) -> Line:
    batch, vat = str(task["batch"]), str(task["vat"] or "")
    key, entries = form.key(name)
    if entries and (was := str(getattr(entries[0], "payload", {}).get("what", ""))) != pest:
        form.clash(name, was or "clean", key)
    others = [one for one in records(form.house.stream(batch), "finding") if one.payload.get("vat") in ("", None, vat)]
    return Line(
        name, "finding", batch, vat, key, quantity=pest, at=at, before=bool(entries), note=words if pest else "",
        since=form.since(others, key),
    )  # fmt: skip
