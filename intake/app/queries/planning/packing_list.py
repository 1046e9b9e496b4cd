"""A packing list read and understood; nothing is written."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from intake.app.input_files import read_file
from intake.app.output_files import save
from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.session import House
from intake.errors import Finding, Refused, UnknownName
from intake.library.names import Names, load_names
from intake.packing import ColumnMap, Understanding, read, understand
from intake.packing.answer_file import answer_text, answers_in

__all__ = [
    "answers_of",
    "column_map_of",
    "expect",
    "keep_answers",
    "kept_answers",
    "kept_file",
    "lands_of",
    "packing_list_bytes",
    "supplier_names",
    "unknown_replaced",
]


def expect(  # what the command line can say
    house: House,
    file: Path,
    supplier: str,
    lands: datetime,
    *,
    shipment: str = "",
    answers: Mapping[str, str] | None = None,
    forget: bool = False,
    replaces: str = "",
    told: Callable[[int, int], None] | None = None,
) -> Understanding:
    """Read a packing list and say how it was understood; nothing is written.

    Parameters
    ----------
    lands
        When the shipment lands, with a time zone.
    shipment
        Id for it; the next free ``S…`` otherwise.
    answers
        Question key → answer, as typed with ``--answer``; remembered ones are used besides.
    replaces
        Shipment whose list this one corrects: it keeps its id, and its own list does not count as seen before.
    forget
        Propose the columns again instead of using the supplier's remembered ones.
    told
        Called every thousand lines with how many are read of how many.

    Raises
    ------
    BadInput
        The file cannot be read as a packing list.
    Refused
        The list was entered before, or the id is taken.
    """
    agreed = house.site.supplier(supplier)
    data = packing_list_bytes(file)
    known = shipment_facts(house)
    if replaces and replaces not in known:
        raise unknown_replaced(replaces, known)
    taken = {*known, *house.site.vats, *house.site.systems}
    free = (f"S{number}" for number in range(1 + len(known), 2 + len(known) + len(taken)))
    identity = replaces or shipment or next(name for name in free if name not in taken)
    if identity in taken - set(known):
        raise Refused(Finding("--shipment", identity, "no name of a vat or system", "Choose another id."))
    if identity in known and not replaces:
        raise Refused(Finding("--shipment", identity, "an id not used yet", f"Taken: {', '.join(known)}."))
    remembered = None if forget else column_map_of(house, supplier)
    found = understand(
        read(data, file.name, encoding=(answers or {}).get("encoding", "")),
        supplier=agreed,
        library=house.library,
        names=supplier_names(house),
        remembered=remembered,
        answers={**answers_of(house, supplier), **(answers or {})},
        lands=lands,
        shipment_id=identity,
        told=told,
    )
    live = {name: facts for name, facts in known.items() if not facts.get("cancelled")}
    twin = next((name for name, facts in live.items() if facts.get("sha256") == found.sha256), "")
    if twin:
        raise Refused(
            Finding(
                file.name,
                f"entered before as {twin}",
                "a list not seen before",
                f"Use `vatside amend {twin}` if the order changed.",
            )
        )
    return found


def packing_list_bytes(file: Path) -> bytes:
    """The file as bytes, refused when it is no ordinary file or too large."""
    return read_file(file, "a packing list: a workbook, CSV, text or PDF")


def supplier_names(house: House) -> Names:
    """The library's names with the farm's own laid over them."""
    own = house.folder / "library" / "names.csv"
    return load_names(read_file(own, "a table of names") if own.exists() else None)


def column_map_of(house: House, supplier: str) -> ColumnMap | None:
    """The supplier's remembered columns, if any."""
    record = house.last("columns", supplier)
    return None if record is None else ColumnMap.model_validate(record.payload["map"])


def answers_of(house: House, supplier: str) -> dict[str, str]:
    """The supplier's remembered answers: question → answer."""
    record = house.last("names", supplier)
    if record is None:
        return {}
    told: Any = record.payload["answers"]
    return {str(key): str(value) for key, value in told.items()}


def unknown_replaced(shipment: str, known: Iterable[str]) -> UnknownName:
    """The refusal of a corrected list for a shipment there is not."""
    return UnknownName("--replaces", shipment, sorted(known), "shipment")


def lands_of(house: House, shipment: str) -> datetime:
    """When the shipment whose list is replaced is to land.

    Raises
    ------
    UnknownName
        There is no such shipment.
    """
    known = shipment_facts(house)
    if shipment not in known:
        raise unknown_replaced(shipment, known)
    return datetime.fromisoformat(str(known[shipment]["lands"]))


def kept_answers(file: Path) -> dict[str, str]:
    """Answers of a file a person filled in; none while there is no such file."""
    return answers_in(read_file(file, "a TOML file of answers"), str(file)) if file.exists() else {}


def kept_file(house: House, supplier: str, file: Path) -> Path:
    """Where the answers given in a terminal for this list of this supplier are kept until it is entered."""
    mark = hashlib.sha256(packing_list_bytes(file)).hexdigest()[:12]
    return house.folder / "inbox" / f"answers-{house.site.supplier(supplier).id}-{mark}.toml"


def keep_answers(file: Path, found: Understanding, told: Mapping[str, str], *, own: bool = False) -> None:
    """Write the answers so far and the open questions of a list, for a person to fill in.

    Parameters
    ----------
    own
        The file is one of the farm's own inbox.

    Raises
    ------
    BadInput
        The file is there and is none of this kind: it is not overwritten.
    """
    if file.exists():
        kept_answers(file)
    save(file, answer_text(found, told).encode(), own=own)
