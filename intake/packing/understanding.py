"""How a packing list was understood, as a value: to be shown, answered, written out as JSON or turned into batches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.packing.asking import Question
from intake.packing.columns import ColumnMap
from intake.packing.line import Line
from intake.packing.showing import column_rows, line_rows

__all__ = ["Totals", "Understanding"]


@dataclass(frozen=True, slots=True)
class Totals:
    """What the lines add up to, beside what the list itself states.

    Attributes
    ----------
    stated
        Animals in the list's own total row; ``None`` when it has none.
    value
        ISO 4217 code → sum of count × unit price; currencies are never added together.
    """

    lines: int
    animals: int
    stated: int | None
    boxes: tuple[str, ...]
    value: Mapping[str, Decimal] = field(default_factory=dict)

    def rows(self) -> tuple[str, ...]:
        """The totals in sentences of at most 80 columns."""
        said = "the list states no total" if self.stated is None else f"the list states {self.stated}"
        value = ", ".join(f"{amount:,.2f} {code}" for code, amount in sorted(self.value.items())) or "no prices"
        boxes = f"{len(self.boxes)} boxes" if self.boxes else "no box numbers"
        return (f"{self.lines} lines, {self.animals} animals ({said}), {boxes}, {value}"[:80],)

    def as_dict(self) -> dict[str, object]:
        """The totals as plain data, for ``--json``."""
        return {
            "lines": self.lines,
            "animals": self.animals,
            "stated": self.stated,
            "boxes": list(self.boxes),
            "value": {code: str(value) for code, value in self.value.items()},
        }


@dataclass(frozen=True, slots=True)
class Understanding:
    """How a packing list was understood.

    Attributes
    ----------
    questions
        What a person must still answer.
    problems
        What must be corrected in the list.
    map
        Columns, decimal mark, date order, size unit and currency, to be remembered for the supplier.
    evidence
        How each thing was understood and why, in sentences.
    sha256
        Digest of the file, by which a list seen before is known again.
    samples
        Up to three cells below each heading of ``map.labels``, read or not, for a person to choose by.
    """

    shipment: str
    supplier: str
    file: str
    sheet: str
    sha256: str
    lines: tuple[Line, ...]
    questions: tuple[Question, ...]
    problems: tuple[Finding, ...]
    map: ColumnMap
    totals: Totals
    evidence: tuple[str, ...]
    samples: tuple[tuple[str, ...], ...] = ()

    def about(self, question: Question) -> list[str]:
        """The row a question is about, cell by cell; nothing where it is about no row of animals."""
        number = "".join(sign for sign in question.where.partition("!")[2] or question.where if sign.isdigit())
        line = next((line for line in self.lines if number and line.row == int(number[:9])), None)
        return [] if line is None else [f"row {line.row}: {' | '.join(line.raw.values())}"[:160]]

    @property
    def ready(self) -> bool:
        """Whether nothing is open and nothing is wrong."""
        return not self.questions and not self.problems and bool(self.lines)

    def batches(self, shipment_id: str = "") -> tuple[Batch, ...]:
        """One batch for each line, its footprint by the larger end of the size class.

        Raises
        ------
        BadInput
            Something is still open or wrong; every question and problem is a finding.
        """
        if not self.ready:
            open_ones = [*self.problems, *(question.finding() for question in self.questions)]
            raise BadInput(open_ones or Finding(self.file, "no lines", "at least one line of animals"))
        shipment = shipment_id or self.shipment
        return tuple(_batch(line, shipment, self.supplier) for line in self.lines)

    def as_dict(self) -> dict[str, object]:
        """The understanding as plain data, for ``--json``."""
        return {
            "shipment": self.shipment,
            "supplier": self.supplier,
            "file": self.file,
            "sheet": self.sheet,
            "sha256": self.sha256,
            "ready": self.ready,
            "lines": [line.as_dict() for line in self.lines],
            "questions": [question.as_dict() for question in self.questions],
            "problems": [problem.as_dict() for problem in self.problems],
            "map": self.map.model_dump(mode="json"),
            "totals": self.totals.as_dict(),
            "evidence": list(self.evidence),
        }

    def table(self) -> tuple[str, ...]:
        """The columns, the lines and the totals in rows that fit a terminal of 80 columns."""
        return (*column_rows(self.map), "", *line_rows(self.lines), "", *self.totals.rows())


def _batch(line: Line, shipment: str, supplier: str) -> Batch:
    return Batch(
        id=f"{shipment}-{line.number:02d}",
        name=line.name,
        group=line.group,
        size_mm=line.size_max_mm,
        announced=line.count,
        shipment=shipment,
        line=line.number,
        supplier=supplier,
        boxes=line.boxes,
        origin=line.origin,
        source_code=line.source_code,
        permit=line.permit,
        listing_text=line.listing,
        unit_price=line.unit_price,
        currency=line.currency,
        packed_at=line.packed_at,
        written_as=line.written,
    )
