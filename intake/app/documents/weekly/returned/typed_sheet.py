"""One batch's returned intake sheet: its typed values by name, the faults found in them, and the lines made of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from typing import Any

from intake.app.commands.count_animals import Count
from intake.app.documents.weekly.returned.returned_pdf import number_of, whole_of
from intake.app.session import House
from intake.errors import Finding
from intake.farm.floor import Batch
from intake.ledger import Entry

__all__ = ["LOST", "Line", "TypedSheet", "act_key"]

LOST = ("doa", "missing", "wrong")
"""Heads under which animals are counted out at opening."""
_NO_ONE = Count()


@dataclass(frozen=True, slots=True)
class Line:
    """One record a sheet proposes.

    Attributes
    ----------
    field
        Field, or start of the fields, it was typed in.
    kind
        ``count`` (animals counted out, see ``tally``), ``move`` (from the dock to ``place``), ``alive`` (a count that
        must agree), ``reading`` (of ``quantity``), ``done`` (the task ``quantity``, a transfer into ``scale``),
        ``finding`` (of the pest ``quantity``; empty for clean), ``tub`` (what was ``read`` at minute ``value``).
    place
        Vat, ``dock``, or shipment and box of a reading.
    at
        When it was seen; ``None`` is the moment it is recorded.
    key
        Key of the act: the same line of a sheet is recorded once.
    before
        It was recorded before.
    note
        Words kept with the record.
    read
        Quantity → value read at the tub.
    since
        What was recorded of the same by others since the form was printed.
    """

    field: str
    kind: str
    batch: str
    place: str
    key: str
    tally: Count = _NO_ONE
    quantity: str = ""
    value: float = 0.0
    scale: str = ""
    at: datetime | None = None
    before: bool = False
    note: str = ""
    read: Mapping[str, float] | None = None
    since: str = ""

    @property
    def words(self) -> str:
        """What it says."""
        if self.kind in {"done", "finding", "tub"}:
            return self._told
        if self.kind == "reading":
            return f"{self.quantity} {self.value:g} {self.scale}".strip()
        if self.kind == "move":
            return f"{self.value:g} from dock"
        if self.kind == "alive":
            return f"{self.value:g} alive"
        lost = [f"{number} {head}" for head in (*LOST, "dead") if (number := getattr(self.tally, head))]
        seen = [f"{n} {head}" for head in ("weak", "alive") if (n := getattr(self.tally, head)) is not None]
        return ", ".join((*lost, *seen))

    @property
    def _told(self) -> str:
        """What a task, a finding or a reading at the tub says."""
        if self.kind == "finding":
            told = f"{self.quantity} found" if self.quantity else "clean"
        elif self.kind == "tub":
            read = ", ".join(f"{name} {value:g}" for name, value in (self.read or {}).items())
            told = f"minute {self.value:g}: {read} {self.scale}".strip()
        else:
            told = f"done: {self.quantity}" + (f" → {self.scale}" if self.scale else "")
        return f"{told} ({self.note})" if self.note else told

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "field": self.field, "kind": self.kind, "batch": self.batch, "place": self.place, "says": self.words,
            "at": self.at.isoformat() if self.at else None, "key": self.key, "recorded_before": self.before,
            "recorded_since": self.since,
        }  # fmt: skip


def act_key(house: House, base: str) -> tuple[str, tuple[Entry, ...]]:
    """Key of an act by what it is of, and what stands recorded under it; after an undo a new key, and nothing."""
    undone = 0
    while True:
        key = f"scan-{sha256(f'{base}|{undone}'.encode()).hexdigest()[:32]}"
        entries = house.act_of(key)
        if not entries or not house.corrections(one.key for one in entries):
            return key, entries
        undone += 1


@dataclass(slots=True)
class TypedSheet:
    """The typed values of one batch; notes which fields were used and what is wrong with them."""

    house: House
    batch: Batch
    typed: Mapping[str, str]
    used: set[str] = field(default_factory=set)
    faults: list[Finding] = field(default_factory=list)

    @staticmethod
    def owns(batch: str, name: str) -> bool:
        """Whether a field of this name belongs to the sheet of this batch."""
        from forms.layout.pen import field_name

        return name.startswith(field_name(f"{batch}."))

    def name(self, told: str) -> str:
        """A field's name in the file."""
        from forms.layout.pen import field_name

        return field_name(f"{self.batch.id}.{told}")

    def text(self, told: str) -> str:
        """What was typed; empty for nothing."""
        name = self.name(told)
        self.used.add(name)
        return self.typed.get(name, "")

    def fault(self, told: str, expected: str, do: str = "") -> None:
        """Note that a field's value cannot be."""
        name = self.name(told)
        self.faults.append(Finding(name, self.typed.get(name, ""), expected, do))

    def whole(self, told: str) -> int | None:
        """A number of animals; ``None`` for nothing typed or no number, which is noted."""
        text = self.text(told)
        value = whole_of(text) if text else None
        if text and value is None:
            self.fault(told, "a number of animals, such as 3")
        return value

    def number(self, told: str) -> float | None:
        """A measurement; ``None`` for nothing typed or no number, which is noted."""
        text = self.text(told)
        value = number_of(text) if text else None
        if text and value is None:
            self.fault(told, "a number, such as 25.8")
        return value

    def key(self, told: str) -> tuple[str, tuple[Entry, ...]]:
        """Key of a line's act and what stands recorded under it; after an undo a new key, and nothing."""
        return act_key(self.house, f"{self.house.site.farm.name}|{self.batch.id}|{told}")

    def clash(self, told: str, was: str, key: str) -> None:
        """Note that a line was recorded before with other values."""
        name = self.name(told)
        do = f"If the sheet is right: vatside undo {key}, then scan again."
        self.faults.append(Finding(name, self.typed.get(name, "as typed"), f"{was}, as recorded from this sheet", do))
