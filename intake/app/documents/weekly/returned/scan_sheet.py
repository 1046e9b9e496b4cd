"""Values typed into a returned form: what they say, line by line, and the records made of them in one act."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from intake.app.act_recording import Recorded
from intake.app.commands import count_animals, move_animals, record_observation
from intake.app.commands.count_animals import Count
from intake.app.commands.records.one_act import in_one_act
from intake.app.documents.weekly.returned.returned_pdf import Returned, read_returned
from intake.app.documents.weekly.returned.typed_forms import form_lines
from intake.app.documents.weekly.returned.typed_lines import lines_of
from intake.app.documents.weekly.returned.typed_sheet import Line, TypedSheet
from intake.app.landing.acclimation_course import log_reading
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused
from intake.farm.floor import Batch

__all__ = ["Proposed", "book", "propose"]

_ORDER = ("tub", "count", "move", "alive", "reading", "done", "finding")


@dataclass(frozen=True, slots=True)
class Proposed:
    """What a returned form says.

    Attributes
    ----------
    lines
        Records it would make, and those made of it before.
    left
        Fields with a value of which no record is made, with the value.
    """

    file: str
    lines: tuple[Line, ...]
    left: tuple[tuple[str, str], ...]

    @property
    def fresh(self) -> tuple[Line, ...]:
        """Lines that were not recorded before."""
        return tuple(line for line in self.lines if not line.before)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "file": self.file,
            "proposed": [line.as_dict() for line in self.lines],
            "left": [{"field": name, "value": value} for name, value in self.left],
        }


def propose(house: House, data: bytes, file: str) -> Proposed:
    """What the typed values of a form would record; writes nothing.

    Raises
    ------
    BadInput
        No form of this farm, an intake sheet of an older revision, a batch no one knows, or values that are no numbers or
        do not add up; every fault is named by its field.
    """
    found = read_returned(data, file)
    if found.origin is not None:
        _check_farm(house, found, file)
        told, left = form_lines(house, found, file)
        return Proposed(file, told, left)
    _check_origin(house, found, file)
    lines: list[Line] = []
    used: set[str] = set()
    faults: list[Finding] = []
    for batch in found.sheets:
        sheet = TypedSheet(house, house.floor_of(batch).batches[batch], found.typed)
        lines += lines_of(sheet)
        used |= sheet.used
        faults += sheet.faults
    owned = {name for name in found.typed if any(TypedSheet.owns(batch, name) for batch in found.sheets)}
    faults += [
        Finding(name, value, "a field of the intake sheet") for name, value in found.typed.items() if name not in owned
    ]
    if faults:
        raise BadInput(faults)
    return Proposed(file, tuple(lines), tuple((n, v) for n, v in found.typed.items() if n not in used))


def _check_farm(house: House, found: Returned, file: str) -> None:
    farm = house.site.farm.name
    if found.farm != farm:
        raise BadInput(Finding(file, f"a form of {found.farm or 'no farm'}", f"one of {farm}"))


def _check_origin(house: House, found: Returned, file: str) -> None:
    _check_farm(house, found, file)
    faults: list[Finding] = []
    for name, revision in found.sheets.items():
        batch = house.floor_of(name).batches.get(name)
        if batch is None:
            faults.append(Finding(file, f"a sheet of {name}", "a batch of this farm"))
            continue
        newer = _outdated_by(house, batch, revision)
        if newer:
            do = "The line, its vats or its orders changed since. Print the sheet again and type the values into that."
            faults.append(Finding(file, f"{name} revision {revision}", f"revision {newer} or later", do))
    if faults:
        raise BadInput(faults)


def book(house: House, proposed: Proposed, *, despite: str = "") -> Recorded:
    """Record what a form says through the commands a person would give, as one act; nothing is recorded twice.

    Raises
    ------
    Refused
        The same was recorded by others since the form was printed, and no reason is given to record it again.
    IntakeError
        As ``count``, ``move`` and ``reading``: the first line that a rule or the ledger refuses; nothing is saved then.
    """
    fresh = sorted(proposed.fresh, key=lambda line: (_ORDER.index(line.kind), line.value if line.kind == "tub" else 0))
    if not fresh:
        return Recorded((), ())
    do = 'Empty the field, or record it all the same: --despite "reason".'
    newer = [
        Finding(line.field, line.words, f"nothing newer; since it was printed: {line.since}", do)
        for line in fresh
        if line.since
    ]
    if newer and not despite.strip():
        raise Refused(newer)
    with in_one_act(house) as inside:
        told = [_book_line(inside, line, despite) for line in fresh]
    return _joined(told)


def _book_line(house: House, line: Line, despite: str) -> Recorded:
    note = f"sheet: {line.field}"
    if line.kind == "done":
        return record_observation.done(
            house, line.quantity, to=line.scale, at=line.at, note=line.note, despite=despite, key=line.key
        )
    if line.kind == "finding":
        return record_observation.finding(
            house, line.batch, line.quantity, vat=line.place, note=line.note, at=line.at, despite=despite, key=line.key
        )
    if line.kind == "tub":
        return _tub(house, line)
    if line.kind == "reading":
        return record_observation.reading(
            house, line.place, line.quantity, line.value, scale=line.scale, at=line.at, despite=despite, key=line.key
        )
    if line.kind == "move":
        return move_animals.move(
            house, line.batch, "dock", line.place, int(line.value), note=note, despite=despite, key=line.key
        )
    tally = Count(alive=int(line.value)) if line.kind == "alive" else line.tally
    return count_animals.count(
        house, line.batch, line.place, tally, at=line.at, note=note, despite=despite, key=line.key
    )


def _tub(house: House, line: Line) -> Recorded:
    """What was read at the tub, through the act that makes the table again from it."""
    batch = house.floor_of(line.batch).batches[line.batch]
    log_reading(house, batch, int(line.value), line.read or {}, ph_scale=line.scale or "nbs", at=line.at, key=line.key)
    return Recorded((f"{line.batch}: {line.words}",), tuple(one.key for one in house.act_of(line.key)))


def _joined(told: Sequence[Recorded]) -> Recorded:
    return Recorded(
        tuple(words for one in told for words in one.said),
        tuple(key for one in told for key in one.keys),
        tuple(dict.fromkeys(breach for one in told for breach in one.rules)),
    )


def _outdated_by(house: House, batch: Batch, revision: int) -> int:
    """Number of the later record that makes a printed sheet say something else: its line, vats or orders; 0 without any.

    The landing itself brings tasks and readings up to date, so those do not outdate the sheet it is written on.
    """
    plans = {str(row["plan"]) for row in accepted_rows(house) if row["batch"] == batch.id}
    records = [record for name, record in house.latest("plan").items() if name in plans]
    records += [record for record in house.latest("prescription").values() if record.payload.get("batch") == batch.id]
    records += [record for record in (house.last("batch", batch.id),) if record is not None]
    return max((number for record in records if (number := record.id or 0) > revision), default=0)
