"""Work ticked off on a returned form: which task a field is of, and the line that records it as done."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from forms.layout.pen import field_name
from intake.app.documents.weekly.returned.typed_form import TypedForm
from intake.app.documents.weekly.returned.typed_sheet import Line
from intake.app.queries.planning.published_timetable import shown_tasks, state_at
from intake.app.session import House

__all__ = ["task_line", "tasks_by_field"]

_TO = re.compile(r"^to (\S+), in other water\b")


def tasks_by_field(house: House, start: str, end: str = "") -> Mapping[str, Mapping[str, Any]]:
    """Name of the field a task has on a form → the task as it stands now."""
    return {field_name(f"{start}{uid}{end}"): row for uid, row in shown_tasks(house).items()}


def task_line(form: TypedForm, name: str, task: Mapping[str, Any], at: datetime | None, note: str = "") -> Line | None:
    """The task as done; ``None`` where it is on record already and not from this form."""
    uid = str(task["uid"])
    key, entries = form.key(uid)
    if not entries and state_at(task, form.house.now) == "done":
        return None
    moved = _TO.match(str(task.get("strength") or "")) if task["kind"] == "transfer" else None
    return Line(
        name, "done", str(task["batch"] or ""), str(task["vat"] or ""), key, quantity=uid, scale=moved[1] if moved else "",
        at=at, before=bool(entries), note=note,
    )  # fmt: skip
