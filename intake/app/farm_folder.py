"""A farm folder: written for a new farm, and checked."""

from __future__ import annotations

from pathlib import Path

from intake.app.output_files import kept_file, save
from intake.app.session import House
from intake.errors import Finding, Refused, StoreTrouble
from intake.ledger import Record, check
from intake.store import Books

__all__ = ["check_house", "init"]


def check_house(house: House) -> list[Finding]:
    """Faults of the books and of what they say about the farm; empty when all is well."""
    faults = [*check(house.entries()), *house.books.faults()]
    floor = house.floor()
    for stay in floor.stays:
        if stay.vat not in house.site.vats:
            faults.append(
                Finding(
                    f"farm.toml, vat.{stay.vat}",
                    "",
                    f"a vat, since {stay.count} of {stay.batch} stand in it",
                    "Put the vat back, or move the animals first.",
                )
            )
    faults += [
        Finding(f"batch {batch.id}, group", batch.group, "a husbandry group of the library")
        for batch in floor.batches.values()
        if batch.group not in house.library.groups
    ]
    return [*faults, *_changed_files(house)]


def _changed_files(house: House) -> list[Finding]:
    """Kept files of claims that are gone or no longer what was sent."""
    faults: dict[str, Finding] = {}
    for entry in house.entries():
        if not isinstance(entry, Record) or entry.kind != "claim":
            continue
        files = entry.payload.get("files")
        for one in files if isinstance(files, list) else ():
            try:
                kept_file(house.folder, str(one["sha256"]), str(one["name"]))
            except StoreTrouble as trouble:
                faults |= {str(one["sha256"]): fault for fault in trouble.findings}
    return list(faults.values())


def init(folder: str | Path) -> list[Path]:
    """Write a commented farm that a stranger can edit.

    Raises
    ------
    Refused
        The folder already holds a farm.
    """
    from importlib import resources

    here = Path(folder)
    if (here / "farm.toml").exists():
        raise Refused(Finding(str(here / "farm.toml"), "already there", "a folder without a farm", "Choose another."))
    template = resources.files("intake.app").joinpath("farm_template.toml").read_bytes()
    written = [save(here / "farm.toml", template)]
    for name in ("inbox", "library", "out"):
        (here / name).mkdir(parents=True, exist_ok=True)
    note = resources.files("intake.app").joinpath("library_note.md").read_bytes()
    written.append(save(here / "library" / "README.md", note))
    Books.open(here / "farm.db").close()
    written.append(here / "farm.db")
    return written
