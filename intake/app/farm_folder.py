"""A farm folder: written for a new farm, and checked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from intake import __version__
from intake.app.output_files import kept_file, save
from intake.app.session import House
from intake.errors import Finding, Refused, StoreTrouble
from intake.ledger.head import Head, parse
from intake.store import Books

__all__ = ["Checked", "check_house", "examined", "init"]


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check of the farm found.

    Attributes
    ----------
    faults
        What is wrong; empty when nothing is.
    looked_at
        Entries whose seals and rules were gone through now.
    proved_at
        When all entries were last proved, if now only those since were; ``None`` when all were now.
    head
        Head of the ledger, to be compared with later.
    """

    faults: tuple[Finding, ...]
    looked_at: int
    proved_at: datetime | None
    head: Head


def check_house(house: House) -> list[Finding]:
    """Faults of the ledger, all of them, and of what they say about the farm; empty when all is well."""
    return list(examined(house).faults)


def examined(house: House, *, everything: bool = True, against: str = "") -> Checked:
    """Check ledger and farm against each other.

    Parameters
    ----------
    everything
        Prove every entry; else those since all were last proved.
    against
        A head printed earlier: the ledger must go on from it unaltered.

    Raises
    ------
    BadInput
        ``against`` is no head.
    """
    printed = parse(against) if against else None
    proof = house.books.prove(house.now, everything=everything or printed is not None, program=__version__)
    faults = [*proof.faults, *(house.books.differs_from(printed) if printed else ())]
    head = house.books.head()
    if any("sound entry" in fault.expected for fault in proof.faults):
        return Checked(tuple(faults), proof.looked_at, proof.since, head)  # the floor cannot be read from damaged rows
    floor = house.floor()
    for stay in floor.stays:
        if stay.vat not in house.site.vats:
            faults.append(
                Finding(
                    f"farm.toml, vat.{stay.vat}",
                    "",
                    f"a vat, since {stay.count} of {stay.batch} are in it",
                    "Put the vat back, or move the animals first.",
                )
            )
    faults += [
        Finding(f"batch {batch.id}, group", batch.group, "a husbandry group of the library")
        for batch in floor.batches.values()
        if batch.group not in house.library.groups
    ]
    return Checked((*faults, *_changed_files(house)), proof.looked_at, proof.since, head)


def _changed_files(house: House) -> list[Finding]:
    """Kept files of claims that are gone or no longer what was sent."""
    faults: dict[str, Finding] = {}
    for entry in house.view.of_kind("claim"):
        files = entry.payload.get("files")
        for one in files if isinstance(files, list) else ():
            try:
                kept_file(house.folder, str(one["sha256"]), str(one["name"]))
            except StoreTrouble as trouble:
                faults |= {str(one["sha256"]): fault for fault in trouble.findings}
    return list(faults.values())


def init(folder: str | Path, farm_file: bytes | None = None) -> list[Path]:
    """Write a commented farm that a stranger can edit, or one whose file is given.

    Raises
    ------
    Refused
        The folder already holds a farm.
    """
    from importlib import resources

    here = Path(folder)
    if (here / "farm.toml").exists():
        raise Refused(Finding(str(here / "farm.toml"), "already there", "a folder without a farm", "Choose another."))
    template = farm_file or resources.files("intake.app").joinpath("new_farm", "farm_template.toml").read_bytes()
    written = [save(here / "farm.toml", template, own=True)]
    for name in ("inbox", "library", "out"):
        (here / name).mkdir(parents=True, exist_ok=True)
    note = resources.files("intake.app").joinpath("new_farm", "library_note.md").read_bytes()
    written.append(save(here / "library" / "README.md", note, own=True))
    Books.open(here / "farm.db").close()
    written.append(here / "farm.db")
    return written
