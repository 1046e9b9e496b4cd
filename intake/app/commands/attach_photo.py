"""Attach a photo to a batch: cleaned, kept once, found again."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Final

from intake.app.commands.sync_phone import KeyClash, Sent, Verdict, seen
from intake.app.output_files import save
from intake.app.recording import batch_named
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger import Record

__all__ = ["keep_photo", "photo_file"]


LARGEST_PHOTO_BYTES: Final = 12_000_000
_LARGEST_PIXELS: Final = 60_000_000
_LONGEST_SIDE: Final = 2048


def keep_photo(house: House, batch: str, data: bytes, sent: Sent, *, evidence: str = "", note: str = "") -> Verdict:
    """Keep a photo of a batch: checked, turned upright, freed of what the camera wrote beside the picture, made smaller.

    Parameters
    ----------
    data
        JPEG, PNG or WebP, at most 12 MB.
    evidence
        Which piece of the supplier's evidence list it is.

    Raises
    ------
    BadInput
        Not such a picture, or too large.
    UnknownName
        No such batch, or no such evidence in its supplier's terms.
    KeyClash
        Another photo has this key.
    """
    moment = sent.moment(house.now)
    told = batch_named(house.floor(), batch)
    asked = house.site.suppliers[told.supplier].evidence if told.supplier in house.site.suppliers else ()
    if evidence and evidence not in asked:
        raise UnknownName("evidence", evidence[:80], list(asked), "piece of evidence")
    name = hashlib.sha256(data).hexdigest()
    for entry in seen(house, sent.key):
        if not isinstance(entry, Record) or entry.payload.get("upload") != name or entry.subject != batch:
            raise KeyClash(Finding("photo", batch, "the photo this key was made for"))
        return Verdict(True, ("Kept before.",))
    picture = _cleaned(data)
    stored = hashlib.sha256(picture).hexdigest()
    save(house.folder / "photos" / f"{stored}.jpg", picture)
    payload = {
        "batch": batch,
        "shipment": told.shipment,
        "sha256": stored,
        "upload": name,
        "bytes": len(picture),
        "evidence": evidence,
        "note": note,
    }
    with house.act(sent.key) as act:
        act.note("photo", batch, payload, at=moment)
    return Verdict(False, (f"Photo of {batch} kept",))


def _cleaned(data: bytes) -> bytes:
    from PIL import Image, ImageOps

    if len(data) > LARGEST_PHOTO_BYTES:
        raise BadInput(Finding("photo", f"{len(data) / 1e6:.0f} MB", "at most 12 MB"))
    try:
        with Image.open(io.BytesIO(data), formats=["JPEG", "PNG", "WEBP"]) as opened:
            if opened.width * opened.height > _LARGEST_PIXELS:
                raise BadInput(Finding("photo", f"{opened.width} × {opened.height}", "at most 60 megapixels"))
            upright = ImageOps.exif_transpose(opened).convert("RGB")
        upright.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
        out = io.BytesIO()
        upright.save(out, "JPEG", quality=85)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput(
            Finding("photo", "not readable as one", "a JPEG, PNG or WebP picture", "Take it again.")
        ) from error
    return out.getvalue()


def photo_file(house: House, name: str) -> Path | None:
    """File of a photo named by its SHA-256; ``None`` when the books know no such photo."""
    known = {str(record.payload.get("sha256")) for record in house.about("photo", name)}
    file = house.folder / "photos" / f"{name}.jpg"
    return file if name in known and file.is_file() else None
