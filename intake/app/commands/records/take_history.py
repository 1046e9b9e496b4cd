"""Take in past shipments from the owner's own table, so that scorecards and expected losses are of use on the first day."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from intake.app.input_files import read_file
from intake.app.queries.planning.packing_list import supplier_names
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused
from intake.packing.past_list import PastRow, read_past

__all__ = ["Taken", "take_history"]


@dataclass(frozen=True, slots=True)
class Taken:
    """What was read: lines, shipments (supplier and date), and words for the person."""

    lines: int
    shipments: int
    by_supplier: dict[str, int]
    said: tuple[str, ...]


def take_history(house: House, file: Path, *, supplier: str = "", dates: str = "", key: str = "") -> Taken:
    """Record past shipments; they stand apart from the farm's own batches and never change a headcount.

    Parameters
    ----------
    supplier
        Of rows that name none.
    dates
        Order of day, month and year where it cannot be reported.

    Raises
    ------
    BadInput
        Rows that cannot be read, suppliers or groups the farm does not know: every fault at once.
    Refused
        The file was taken in before.
    """
    data = read_file(file, "a table of past shipments: a workbook or CSV")
    digest = hashlib.sha256(data).hexdigest()
    told = house.standing("past")
    before = next((record for record in told if record.payload.get("sha256") == digest), None)
    if before is not None and not (key and before.key.startswith(key)):
        when = f"{before.recorded_at.astimezone(house.site.farm.zone):%Y-%m-%d}"
        raise Refused(Finding(file.name, f"taken in on {when}", "a table not seen before"))
    rows = read_past(data, file.name, dates=dates)
    payloads = _resolved(house, rows, supplier)
    known = {_identity(dict(record.payload)) for record in told}
    twice = [payload for payload in payloads if _identity(payload) in known] if before is None else []
    if twice:
        faults = [
            Finding(f"row {one['row']}", str(one["date"]), "a line that is not on record yet") for one in twice[:20]
        ]
        raise Refused(faults)
    with house.act(key) as act:
        for payload in payloads:
            act.note(
                "past", f"{payload['supplier']} {payload['date']}", {**payload, "sha256": digest, "file": file.name}
            )
    shipments = {(payload["supplier"], payload["date"]) for payload in payloads}
    by_supplier = Counter(str(one) for one, _ in shipments)
    words = f"{len(payloads)} lines of {len(shipments)} past shipments on record, apart from the farm's own batches"
    counts = (f"{name}: {number} shipments" for name, number in sorted(by_supplier.items()))
    return Taken(len(payloads), len(shipments), dict(by_supplier), (words, *counts))


def _identity(payload: dict[str, object]) -> tuple[object, ...]:
    return tuple(payload.get(name) for name in ("supplier", "date", "group", "name", "announced", "doa", "hours"))


def _resolved(house: House, rows: tuple[PastRow, ...], supplier: str) -> list[dict[str, object]]:
    """Rows with the farm's own supplier and group ids."""
    faults: list[Finding] = []
    found: list[dict[str, object]] = []
    suppliers = {name.casefold(): name for name in house.site.suppliers}
    suppliers |= {one.name.casefold(): name for name, one in house.site.suppliers.items() if one.name}
    for row in rows:
        written = row.supplier or supplier
        who = suppliers.get(written.casefold(), "")
        if not who:
            known = ", ".join(sorted(house.site.suppliers)) or "one in farm.toml"
            faults.append(Finding(f"row {row.row}, supplier", written, f"a supplier of farm.toml: {known}"))
        group = _group(house, row)
        if not group:
            met = row.group or row.name
            faults.append(
                Finding(f"row {row.row}, group", met, "a husbandry group, or a name that decides one", _GROUPS)
            )
        if row.day > house.today:
            faults.append(Finding(f"row {row.row}, date", row.day.isoformat(), "a day in the past"))
        found.append(
            {
                "supplier": who, "date": row.day.isoformat(), "group": group, "name": row.name, "announced": row.announced,
                "doa": row.doa, "missing": row.missing, "dead_day_7": row.dead_day_7, "hours": row.hours, "row": row.row,
            }
        )  # fmt: skip
    if faults:
        raise BadInput(faults[:20])
    return found


_GROUPS = "Write the group's id in a column “group”; they are listed in the book, reference/groups."


def _group(house: House, row: PastRow) -> str:
    wanted = row.group.strip().casefold().replace(" ", "_")
    if wanted in house.library.groups:
        return wanted
    written, names = row.name or row.group, supplier_names(house)
    genus = names.genus(written.split()[0]) if written.split() else None
    taxa = names.exact(written) or ((genus,) if genus else ())
    groups = {one.group_for(None) for one in taxa}
    return groups.pop() if len(groups) == 1 else ""
