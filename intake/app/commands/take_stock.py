"""The first stocktake: what already is in the vats when a farm opens its books."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, datetime, time
from typing import Literal

from pydantic import Field

from intake.app.act_recording import judge
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused
from intake.farm.floor import Batch
from intake.ledger import batch_payload, vat_place
from intake.library.library_reading import model_of
from intake.library.library_values import Strict
from intake.rules import Placing, Portion

__all__ = ["StockRow", "take_stock"]

COLUMNS = ("vat", "name", "group", "size_mm", "count", "since", "stage", "supplier", "movable", "leaves")


class StockRow(Strict):
    """One row of a stocktake: animals of one kind in one vat."""

    vat: str
    name: str = Field(min_length=1)
    group: str
    size_mm: float = Field(gt=0, le=2000)
    count: int = Field(gt=0, le=1_000_000)
    since: date
    stage: Literal["quarantine", "healing", "grow-out", "released"]
    supplier: str = ""
    movable: Literal["yes", "no"] = "yes"
    leaves: date | None = None


def take_stock(house: House, data: bytes, file: str, *, despite: str = "", key: str = "") -> list[Batch]:
    """Enter a stocktake: one batch ``H…`` for each row.

    Parameters
    ----------
    data
        CSV with the columns vat, name, group, size_mm, count, since, stage, supplier, movable, leaves; dates are ISO.
        ``size`` instead of ``size_mm`` takes a unit (``2in``) and is in inches without one on a US farm.
        ``movable`` says whether the plan may move the animals, ``leaves`` when the vat will be released of them.

    Raises
    ------
    BadInput
        With a finding for each faulty cell.
    Refused
        The ledger already hold a stocktake.
    RulesBroken
        Stock stands where a rule needs a reason (``despite``) or refuses it.
    """
    floor = house.floor()
    if house.told_before(key) is not None:
        return [batch for name, batch in floor.batches.items() if name.startswith("H")]
    _first(floor.batches, file)
    rows = _read(house, data, file)
    batches = [
        Batch(f"H{number}", row.name, row.group, row.size_mm, row.count, supplier=row.supplier)
        for number, row in enumerate(rows, start=1)
    ]
    placed = tuple(
        Portion(batch, row.vat, row.count, "opening", row.stage) for batch, row in zip(batches, rows, strict=True)
    )
    with house.act(key) as act:
        _first(act.latest("batch"), file)  # asked again under the lock
        judged = judge(house, act, Placing(house.now, placed, "stock"), despite=despite, key=key)
        for batch, row in zip(batches, rows, strict=True):
            at = datetime.combine(row.since, time(12), house.site.farm.zone)
            act.note("batch", batch.id, batch_payload(batch), at=at)
            act.move(batch.id, "opening", vat_place(row.vat), row.count, at=at, note="first stocktake")
            act.note("stage", batch.id, {"batch": batch.id, "vat": row.vat, "stage": row.stage}, at=at)
            leaves = row.leaves.isoformat() if row.leaves else ""
            act.note("standing", batch.id, {"movable": row.movable == "yes", "leaves": leaves}, at=at)
        judged.keep(act)
    return batches


def _first(batches: Iterable[str], file: str) -> None:
    if any(name.startswith("H") for name in batches):
        raise Refused(
            Finding(
                file,
                "a second stocktake",
                "one stocktake, when the ledger is opened",
                "Record changes with `vatside count` and `vatside move`.",
            )
        )


def _read(house: House, data: bytes, file: str) -> list[StockRow]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput(Finding(file, "not UTF-8 text", "a CSV file", "Save it as CSV UTF-8.")) from error
    reader = csv.DictReader(io.StringIO(text))
    heads = tuple(reader.fieldnames or ())
    missing = [name for name in COLUMNS[:7] if name not in heads and not (name == "size_mm" and "size" in heads)]
    if missing:
        raise BadInput(
            Finding(
                f"{file}, header", ", ".join(heads), f"the columns {', '.join(COLUMNS)}", f"Add {', '.join(missing)}."
            )
        )
    rows: list[StockRow] = []
    faults: list[Finding] = []
    for line, cells in enumerate(_rows_of(reader, file), start=2):
        where = f"{file}, row {line}"
        try:
            filled = {name: value.strip() for name, value in cells.items() if name and value and value.strip()}
            row = model_of(StockRow, _in_mm(house, filled, where), where)
            faults += _faults(house, row, where)
            rows.append(row)
        except BadInput as error:
            faults += error.findings
    if faults:
        raise BadInput(faults)
    if not rows:
        raise BadInput(Finding(file, "no rows", "one row for each kind of animal in each vat"))
    return rows


def _in_mm(house: House, filled: dict[str, str], where: str) -> dict[str, str]:
    """A row with its size in mm: ``size`` with a unit (inches without one on a US farm), or ``size_mm``."""
    size = filled.pop("size", "")
    if not size and not filled.get("size_mm", "").strip()[-1:].isalpha():
        return filled
    key = "size" if size else "size_mm"
    try:
        read = house.site.farm.measures.read("size_mm", size or filled["size_mm"])
    except BadInput as error:
        raise BadInput([replace(one, where=f"{where}, {key}") for one in error.findings]) from error
    return {**filled, "size_mm": f"{read.value:.6g}"}


def _rows_of(reader: csv.DictReader[str], file: str) -> Iterator[dict[str, str]]:
    try:
        yield from reader
    except csv.Error as error:
        raise BadInput(
            Finding(f"{file}, row {reader.line_num}", str(error), "a row of cells", "Save it again.")
        ) from error


def _faults(house: House, row: StockRow, where: str) -> list[Finding]:
    faults = []
    if row.vat not in house.site.vats:
        faults.append(Finding(f"{where}, vat", row.vat, f"one of {', '.join(house.site.vats)}"))
    if row.group not in house.library.groups:
        faults.append(Finding(f"{where}, group", row.group, f"one of {', '.join(house.library.groups)}"))
    if row.supplier and row.supplier not in house.site.suppliers:
        faults.append(Finding(f"{where}, supplier", row.supplier, f"one of {', '.join(house.site.suppliers)} or empty"))
    if row.since > house.today:
        faults.append(Finding(f"{where}, since", row.since.isoformat(), "a day that is past"))
    return faults
