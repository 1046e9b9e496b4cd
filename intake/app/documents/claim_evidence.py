"""What a claim is proved by: photos saved with their hash, bag water, and listed specimens against their permits."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from intake.app.commands.attach_photo import photo_file
from intake.app.input_files import read_file
from intake.app.queries.reports.permit_status import permit_rows
from intake.app.session import House
from intake.ledger import Record, box_losses, standing
from intake.report.claiming.versions import Claim

if TYPE_CHECKING:
    from forms import BagReading, Specimens

__all__ = ["KeptPhoto", "bag_water", "first_opened", "original_bytes", "photos_of", "specimens_of"]

_DECIMALS = {"temperature_c": 1, "salinity_psu": 1, "ph": 2, "tan_n_mg_per_l": 2}
"""Quantities read in a bag, with the decimals they are printed to."""

_SCALES = {"nbs": "NBS", "total": "total"}


@dataclass(frozen=True, slots=True)
class KeptPhoto:
    """A photo of one of the claim's lines.

    Attributes
    ----------
    sha256
        Hash of the file as on record.
    data
        The picture; ``None`` when the file is gone or no longer has this hash, and ``trouble`` says which.
    """

    record: Record
    batch: str
    evidence: str
    sha256: str
    data: bytes | None
    trouble: str = ""


def photos_of(house: House, claim: Claim) -> tuple[KeptPhoto, ...]:
    """Photos of a claim's lines, oldest first, each checked against the hash in the ledger."""
    return tuple(_checked(house, record) for record in _records(house, claim))


def _records(house: House, claim: Claim) -> Iterator[Record]:
    lines = {line.batch for line in claim.lines}
    for record in standing(house.shipment_stream(claim.shipment), "photo"):
        ours = record.payload.get("shipment") == claim.shipment or record.subject == claim.shipment
        if ours or record.subject in lines:
            yield record


def _checked(house: House, record: Record) -> KeptPhoto:
    digest = str(record.payload.get("sha256") or "")
    batch, evidence = str(record.payload.get("batch") or record.subject), str(record.payload.get("evidence") or "")
    file = photo_file(house, digest)
    if file is None:
        return KeptPhoto(record, batch, evidence, digest, None, "the file is gone")
    data = read_file(file, "a photo")
    if hashlib.sha256(data).hexdigest() != digest:
        return KeptPhoto(record, batch, evidence, digest, None, "the file was changed since it was kept")
    return KeptPhoto(record, batch, evidence, digest, data)


def original_bytes(house: House, photo: KeptPhoto) -> tuple[str, bytes] | None:
    """File ending and bytes of a photo as it came, else of its copy; ``None`` when neither is what was kept."""
    name = str(photo.record.payload.get("original") or "")
    file = house.folder / "photos" / "originals" / name
    if name and file.is_file():
        data = read_file(file, "a photo")
        if hashlib.sha256(data).hexdigest() == photo.record.payload.get("upload"):
            return file.suffix, data
    return None if photo.data is None else (".jpg", photo.data)


def bag_water(house: House, claim: Claim) -> tuple[BagReading, ...]:
    """Readings of the claim's bags, one line for each bag or box."""
    import forms as page

    boxes = {box for line in claim.lines for box in house.floor().batches[line.batch].boxes}
    ours = {claim.shipment, *(line.batch for line in claim.lines), *(f"{claim.shipment}/{box}" for box in boxes)}
    found: dict[str, dict[str, str]] = {}
    for record in house.readings_of(*ours):
        quantity = str(record.payload.get("quantity"))
        if quantity in _DECIMALS:
            value = record.payload.get("value")
            shown = f"{value:.{_DECIMALS[quantity]}f}" if isinstance(value, int | float) else str(value)
            words = f"{shown} {_SCALES.get(str(record.payload.get('scale') or ''), '')}".strip()
            at = f"{record.happened_at.astimezone(house.site.farm.zone):%m-%d %H:%M}"
            found.setdefault(record.subject, {"when": at})[quantity] = words
    return tuple(
        page.BagReading(
            bag=subject,
            when=facts["when"],
            temperature=f"{facts['temperature_c']} °C" if "temperature_c" in facts else "",
            salinity=f"{facts['salinity_psu']} PSU" if "salinity_psu" in facts else "",
            ph=facts.get("ph", ""),
            ammonia=f"{facts['tan_n_mg_per_l']} mg/L N" if "tan_n_mg_per_l" in facts else "",
        )
        for subject, facts in found.items()
    )


def first_opened(house: House, claim: Claim) -> datetime | None:
    """When the first box was opened, as the first reading of its water or the first loss recorded from it says."""
    boxes = {box for line in claim.lines for box in house.floor().batches[line.batch].boxes}
    ours, batches = {f"{claim.shipment}/{box}" for box in boxes}, {line.batch for line in claim.lines}
    read = [r.happened_at for r in house.readings_of(*ours)]
    told = [loss.happened_at for loss in box_losses(house.stream(*batches))]
    return min(
        (moment for moment in (*read, *told) if claim.received_at is None or moment >= claim.received_at), default=None
    )


def specimens_of(house: House, claim: Claim) -> tuple[Specimens, ...]:
    """Listed animals of the shipment against their permits: every carcass stays a specimen."""
    import forms as page

    rows = []
    for row in permit_rows(house, claim.shipment):
        if not row["listed"]:
            continue
        elsewhere = row["sold"] + row["sample"] + row["discarded"] + row["lost"] + row["wrong"]
        words = row["papers"]
        if row["unexplained"]:
            words = f"{row['unexplained']} unexplained; {words}".removesuffix("; ")
        permitted = "" if row["permitted"] is None else f"{row['permitted']:g} {row['unit']}"
        counts = (row["announced"], row["came"], row["dead"], row["on_hand"], elsewhere)
        rows.append(page.Specimens(row["name"], row["permit"], permitted, *counts, words))
    return tuple(rows)
