"""The farm's permits: the file it keeps of them, each line against its permit, and what is lacking before arrival.

Listings are dated data the farm edits in its library; nothing here is legal advice.
"""

from __future__ import annotations

from dataclasses import asdict
from datetime import date, datetime
from typing import Any, Literal

from pydantic import Field, model_validator

from intake.app.input_files import read_file
from intake.app.queries.planning.announced_shipments import live_shipments, shipment_facts
from intake.app.session import House
from intake.errors import Finding, StoreTrouble, UnknownName
from intake.farm.floor import Batch
from intake.library.library_reading import model_of, toml_of
from intake.library.library_values import Strict
from intake.report.permits import KEEP_YEARS, Paper, PaperLine, PermitLine, keep_until, lacking, permitted, reconcile

__all__ = ["ADVICE", "FILE", "Permits", "listed_words", "papers_of", "permit_rows", "read_permits", "still_lacking"]

FILE = "permits.toml"
"""Optional file in the farm's folder."""

ADVICE = "Listings are dated data the farm keeps current; this is not legal advice."

Unit = Literal["NAR", "H87", "KGM", "GRM"]
Code = Field(default="", pattern=r"^[A-Z]?$")


class _Line(Strict):
    """One line of a permit, box by box of the form (boxes 7 to 14)."""

    name: str = Field(min_length=1, max_length=120)
    common_name: str = ""
    description: str = ""
    appendix: str = ""
    source_code: str = Code
    origin: str = Field(default="", pattern=r"^([A-Z]{2})?$")
    quantity: float | None = Field(default=None, ge=0)
    unit: Unit = "NAR"
    examined: float | None = Field(default=None, ge=0)
    origin_permit: str = ""
    captive_operation: str = ""


class _Permit(Strict):
    """One permit or certificate; ``original`` says whether the original is in the drawer or a copy."""

    kind: str = Field(default="export", min_length=1, max_length=40)
    valid_from: date | None = None
    valid_until: date | None = None
    quantity: float | None = Field(default=None, ge=0)
    unit: Unit = "NAR"
    original: bool | None = None
    issued_by: str = ""
    consignee: str = ""
    purpose_code: str = Code
    waybill: str = ""
    conditions: str = ""
    shipments: tuple[str, ...] = ()
    note: str = ""
    line: tuple[_Line, ...] = ()

    @model_validator(mode="after")
    def _ordered(self) -> _Permit:
        if self.valid_from and self.valid_until and self.valid_from > self.valid_until:
            msg = "valid_from on or before valid_until"
            raise ValueError(msg)
        return self


class Permits(Strict):
    """The whole of ``permits.toml``: tables ``[permit.NUMBER]``, with ``[[permit.NUMBER.line]]`` for each name.

    Attributes
    ----------
    keep_years
        Years the papers of a shipment are kept after it landed.
    needs
        Kinds of paper the farm wants for every listed line, such as ``export`` and ``import``.
    """

    keep_years: int = Field(default=KEEP_YEARS, ge=0, le=100)
    needs: tuple[str, ...] = ()
    permits: dict[str, _Permit] = Field(default_factory=dict, alias="permit")


def read_permits(data: bytes, file: str = FILE) -> Permits:
    """Read and check the file of permits.

    Raises
    ------
    BadInput
        With a finding per fault.
    """
    return model_of(Permits, toml_of(data, file), file)


def papers_of(house: House) -> tuple[Permits, dict[str, Paper] | None]:
    """The farm's permits by number; ``None`` in their place when the farm keeps no such file.

    Raises
    ------
    BadInput
        The file has faults.
    """
    file = house.folder / FILE
    if not file.is_file():
        return Permits(), None
    try:
        read = read_permits(read_file(file, "a table of permits"), str(file))
    except OSError as error:
        raise StoreTrouble(Finding(str(file), error.strerror or str(error), "a readable file")) from error
    return read, {number: _paper(number, one) for number, one in read.permits.items()}


def _paper(number: str, one: _Permit) -> Paper:
    lines = tuple(
        PaperLine(line.name, line.quantity, line.unit, line.source_code, line.origin, line.appendix, line.examined)
        for line in one.line
    )
    return Paper(
        number, one.kind, one.valid_from, one.valid_until, one.quantity, one.unit, lines, one.shipments, one.note
    )


def listed_words(house: House, batch: Batch) -> tuple[bool, str]:
    """Whether a permit is to be asked for, by the taxon where the library knows it, else by its group; and the words."""
    found = house.library.listing(batch.group, batch.name)
    return found.ask, f"{found.appendix} ({found.as_of}; by {found.by})"


def permit_rows(house: House, shipment: str = "") -> list[dict[str, Any]]:
    """Animals of each shipment, name and permit against the permit: announced, came, dead, sold, on hand, what lacks.

    Raises
    ------
    UnknownName
        No such shipment.
    BadInput
        The file of permits has faults.
    """
    facts = shipment_facts(house)
    if shipment and shipment not in facts:
        raise UnknownName("shipment", shipment, sorted(facts), "shipment")
    read, papers = papers_of(house)
    asked = live_shipments(house)
    lines = [(one, line) for one in asked for line in reconcile(house.shipment_stream(one), house.now, shipment=one)]
    rows = []
    for one, line in lines:
        if shipment and one != shipment:
            continue
        elsewhere = sum(
            max(other.announced, other.came)
            for _, other in lines
            if other is not line and line.permit and (other.permit, other.name) == (line.permit, line.name)
        )
        rows.append(_row(house, one, line, read, papers, elsewhere))
    return rows


def _row(  # what one row needs
    house: House, shipment: str, line: PermitLine, read: Permits, papers: dict[str, Paper] | None, elsewhere: float
) -> dict[str, Any]:
    facts = shipment_facts(house)[shipment]
    batches = [house.floor().batches[one] for one in line.batches]
    told = [listed_words(house, batch) for batch in batches]
    listed = any(yes for yes, _ in told)
    received = house.floor().received.get(shipment)
    zone = house.site.farm.zone
    lands = (received or datetime.fromisoformat(str(facts["lands"]))).astimezone(zone).date()
    paper = (papers or {}).get(line.permit)
    quantity, unit = permitted(paper, line.name)
    lacks = lacking(line, papers, lands, shipment=shipment, needs=read.needs, used=elsewhere) if listed else ()
    return {
        "shipment": shipment,
        "lands": lands.isoformat(),
        "still_to_come": received is None,
        "permit": line.permit,
        "kind": paper.kind if paper else "",
        "valid_until": paper.valid_until.isoformat() if paper and paper.valid_until else None,
        "name": line.name,
        "written_as": ", ".join(sorted({batch.written_as for batch in batches if batch.written_as})),
        "listed": listed,
        "listing": "; ".join(sorted({words for _, words in told})),
        "listing_on_the_list": line.listing_text,
        "source_code": line.source_code,
        "origin": line.origin,
        "waybill": str(facts.get("waybill") or ""),
        "batches": list(line.batches),
        "boxes": sorted({box for batch in batches for box in batch.boxes}),
        "permitted": quantity,
        "unit": unit,
        "examined": _examined(paper, line.name),
        **_quantities(line),
        "left_on_permit": None if quantity is None else quantity - elsewhere - max(line.announced, line.came),
        "keep_until": keep_until(lands, read.keep_years).isoformat(),
        "lacks": list(lacks),
        "papers": "; ".join(lacks),
    }


def _examined(paper: Paper | None, name: str) -> float | None:
    told = paper.line(name) if paper else None
    return told.examined if told else None


def _quantities(line: PermitLine) -> dict[str, int]:
    counted = asdict(line)
    heads = ("announced", "came", "missing", "doa", "wrong", "sold", "sample", "discarded", "lost", "on_hand")
    return {name: counted[name] for name in heads} | {
        "dead": line.carcasses, "beyond": line.beyond, "unexplained": line.unexplained,
    }  # fmt: skip


def still_lacking(house: House, shipment: str = "") -> list[dict[str, Any]]:
    """Lines of listed animals whose papers lack something, of shipments still to come: to be asked for now."""
    return [row for row in permit_rows(house, shipment) if row["still_to_come"] and row["lacks"]]
