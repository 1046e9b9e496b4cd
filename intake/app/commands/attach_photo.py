"""Attach a photo to a batch: cleaned, kept once, found again."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from intake.app.act_recording import batch_named
from intake.app.commands.phones.sync_phone import KeyClash, Sent, Verdict, seen
from intake.app.output_files import save
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger import Record

if TYPE_CHECKING:
    from PIL.Image import Image

__all__ = ["keep_photo", "photo_file"]


LARGEST_PHOTO_BYTES: Final = 12_000_000
_LARGEST_PIXELS: Final = 60_000_000
_LONGEST_SIDE: Final = 2048


def keep_photo(
    house: House, batch: str, data: bytes, sent: Sent, *, evidence: str = "", box: str = "", note: str = ""
) -> Verdict:
    """Keep a photo of a batch: the original untouched, and a copy turned upright, without camera data, made smaller.

    Parameters
    ----------
    data
        JPEG, PNG or WebP, at most 12 MB.
    evidence
        Which piece of the supplier's evidence list it is.
    box
        Box the photo was taken of, as the packing list names it; empty when it shows none.

    Raises
    ------
    BadInput
        Not such a picture, or too large.
    UnknownName
        No such batch or box of it, or no such evidence in its supplier's terms.
    KeyClash
        Another photo has this key.
    """
    moment = sent.moment(house.now)
    told = batch_named(house.floor(), batch)
    asked = house.site.suppliers[told.supplier].evidence if told.supplier in house.site.suppliers else ()
    if evidence and evidence not in asked:
        raise UnknownName("evidence", evidence[:80], list(asked), "piece of evidence")
    box = box.strip().removeprefix(f"{told.shipment}/")
    if box and told.boxes and box not in told.boxes:
        raise UnknownName("--box", box[:80], list(told.boxes), f"box of {batch}")
    name = hashlib.sha256(data).hexdigest()
    for entry in seen(house, sent.key):
        if not isinstance(entry, Record) or entry.payload.get("upload") != name or entry.subject != batch:
            raise KeyClash(Finding("photo", batch, "the photo this key was made for"))
        return Verdict(True, ("Kept before.",))
    found = _opened(data)
    stored = hashlib.sha256(found.copy).hexdigest()
    save(house.folder / "photos" / f"{stored}.jpg", found.copy, own=True)
    save(house.folder / "photos" / "originals" / f"{name}{found.suffix}", data, own=True)
    payload = {
        "batch": batch,
        "shipment": told.shipment,
        "sha256": stored,
        "upload": name,
        "original": f"{name}{found.suffix}",
        "bytes": len(found.copy),
        "original_bytes": len(data),
        "taken": found.taken,
        "evidence": evidence,
        "box": box,
        "note": note,
    }
    with house.act(sent.key) as act:
        act.note("photo", batch, payload, at=moment)
    return Verdict(False, (f"Photo of {batch} kept",))


@dataclass(frozen=True, slots=True)
class _Opened:
    """A picture read: its copy for paper, its file ending, and the time the camera wrote into it (no zone)."""

    copy: bytes
    suffix: str
    taken: str


_SUFFIXES = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}
_HEIC = frozenset({b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1"})
_EXIF_TABLE, _TAKEN, _CHANGED = 0x8769, 0x9003, 0x0132
"""Exif 2.32 (CIPA DC-008): the Exif table, DateTimeOriginal in it, and DateTime beside it."""


def _opened(data: bytes) -> _Opened:
    from PIL import Image, ImageOps

    if len(data) > LARGEST_PHOTO_BYTES:
        raise BadInput(Finding("photo", f"{len(data) / 1e6:.0f} MB", "at most 12 MB"))
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC:
        words = "Set the phone's camera to “most compatible”, or send the photo as JPEG."
        raise BadInput(Finding("photo", "a HEIC picture", "a JPEG, PNG or WebP picture", words))
    try:
        with Image.open(io.BytesIO(data), formats=list(_SUFFIXES)) as opened:
            if opened.width * opened.height > _LARGEST_PIXELS:
                raise BadInput(Finding("photo", f"{opened.width} × {opened.height}", "at most 60 megapixels"))
            suffix, taken = _SUFFIXES[str(opened.format)], _taken(opened)
            upright = _flat(ImageOps.exif_transpose(opened))
        upright.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
        out = io.BytesIO()
        upright.save(out, "JPEG", quality=85)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput(
            Finding("photo", "not readable as one", "a JPEG, PNG or WebP picture", "Take it again.")
        ) from error
    return _Opened(out.getvalue(), suffix, taken)


def _flat(picture: Image) -> Image:
    """Three channels of eight bits: transparency laid on white, sixteen bits scaled instead of cut off."""
    from PIL import Image as Pillow

    if picture.mode.startswith("I"):
        picture = picture.point(lambda value: value / 256).convert("L")
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        above = picture.convert("RGBA")
        white = Pillow.new("RGBA", above.size, (255, 255, 255, 255))
        return Pillow.alpha_composite(white, above).convert("RGB")
    return picture.convert("RGB")


def _taken(picture: Image) -> str:
    """When the camera says the photo was taken, as ``2026-10-15 09:41:00``; empty when it does not say."""
    exif = picture.getexif()
    told = str(exif.get_ifd(_EXIF_TABLE).get(_TAKEN) or exif.get(_CHANGED) or "").strip("\0 ")
    try:
        return datetime.strptime(told, "%Y:%m:%d %H:%M:%S").isoformat(sep=" ")  # noqa: DTZ007  # cameras know no zone
    except ValueError:
        return ""


def photo_file(house: House, name: str) -> Path | None:
    """File of a photo named by its SHA-256; ``None`` when the ledger knows no such photo."""
    known = {str(record.payload.get("sha256")) for record in house.about("photo", name)}
    file = house.folder / "photos" / f"{name}.jpg"
    return file if name in known and file.is_file() else None
