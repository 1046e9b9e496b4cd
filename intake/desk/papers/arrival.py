"""Paper for the receiving day: acclimation checklists, labels for vats and boxes, and the run sheet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from intake.desk.arrival import acclimation_of, lands_at
from intake.desk.cautions import cautions_of
from intake.desk.house import House, save
from intake.desk.papers.sheets import acclimation_content, count_address
from intake.desk.plans import accepted_rows
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch

__all__ = ["print_checklists", "print_labels", "print_runsheet"]


def print_checklists(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print one acclimation checklist for each batch with a vat, in the order of the lines."""
    from forms.checklist import ChecklistContent, checklist

    contents = []
    for batch in batches:
        found = acclimation_of(house, batch)
        if found is None:
            continue
        lands = lands_at(house, batch).astimezone(house.site.farm.zone)
        vats = dict.fromkeys(
            str(r["vat"]) for r in accepted_rows(house) if r["batch"] == batch.id and r["stage"] != "grow-out"
        )
        contents.append(
            ChecklistContent(
                farm=house.site.farm.name,
                station=", ".join(s.name for s in house.site.stations.values() if s.kind == "acclimation") or "Tubs",
                batch=batch.id,
                name=batch.name,
                acclimation=acclimation_content(house, batch, found),
                vat=", ".join(vats),
                count=batch.announced,
                date=f"{lands:%a %d %b %Y}",
                boxes=", ".join(batch.boxes),
                cautions=cautions_of(house, [batch]),
                count_address=count_address(house, batch.id),
            )
        )
    if not contents:
        raise BadInput(
            Finding("print checklists", "no batch with a vat", "an accepted plan", "Run `vatside plan --accept`.")
        )
    names = "-".join(sorted({batch.shipment for batch in batches}))
    return [save(out / f"checklists-{names}.pdf", checklist(contents, paper))]


def print_labels(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print a label for each vat a batch goes into, with its count and a code to count by."""
    from forms.labels import LabelContent, labels

    contents = [
        LabelContent(
            str(row["vat"]),
            (f"{batch.id}  ×{row['count']}", batch.name, f"{row['stage']} {row['from']} – {row['until']}"),
            count_address(house, batch.id),
        )
        for batch in batches
        for row in accepted_rows(house)
        if row["batch"] == batch.id and row["stage"] != "grow-out"
    ]
    if not contents:
        raise BadInput(
            Finding("print labels", "no batch with a vat", "an accepted plan", "Run `vatside plan --accept`.")
        )
    names = "-".join(sorted({batch.shipment for batch in batches}))
    grid = "letter-2x5" if paper == "letter" else "a4-2x4"
    return [save(out / f"labels-{names}.pdf", labels(contents, grid))]


def print_runsheet(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print the receiving-day run sheet."""
    from intake.desk.receiving import runsheet_pdf

    names = "-".join(sorted({batch.shipment for batch in batches}))
    return [save(out / f"runsheet-{names}.pdf", runsheet_pdf(house, batches, paper))]
