"""Photo plates: pictures from a phone, turned upright, stripped of place and device, small enough to mail."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from functools import lru_cache

from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader

from forms.layout.lettering import BOLD, LEADING, REGULAR, lay
from forms.layout.page import Pen, Placed

__all__ = ["Photo", "Plate"]

_LONG_SIDE = 1400
_HIGH_MM = 66.0
_CAPTION_SIZE = 8.0


@dataclass(frozen=True, slots=True)
class Photo:
    """One picture as it came (JPEG, PNG or the like) and the words below it."""

    caption: str
    data: bytes


@lru_cache(maxsize=64)
def _prepared(data: bytes) -> tuple[bytes, int, int] | None:
    """JPEG bytes, width and height; None when the bytes are no picture that can be read."""
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(io.BytesIO(data)) as opened:
                upright = ImageOps.exif_transpose(opened)
                picture = upright.convert("RGB")
    except (OSError, ValueError, SyntaxError, Warning, Image.DecompressionBombError):
        return None
    picture.thumbnail((_LONG_SIDE, _LONG_SIDE))
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=80)
    return buffer.getvalue(), picture.width, picture.height


@dataclass(frozen=True, slots=True)
class Plate:
    """Two pictures side by side with captions."""

    photos: tuple[Photo, ...]

    def set(self, width: float) -> Placed:
        """Break the captions' lines for `width` points."""
        room = width / 2 - 3 * mm
        captions = tuple(lay(photo.caption, REGULAR, _CAPTION_SIZE, room) for photo in self.photos)
        return _SetPlate(self.photos, captions, width)


@dataclass(frozen=True, slots=True)
class _SetPlate:
    photos: tuple[Photo, ...]
    captions: tuple[tuple[tuple[str, ...], float], ...]
    width: float
    sticky: bool = False

    @property
    def height(self) -> float:
        captions = max((len(lines) * LEADING * size for lines, size in self.captions), default=0.0)
        return _HIGH_MM * mm + captions + 10

    @property
    def least(self) -> float:
        return self.height

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        return None

    def draw(self, pen: Pen, x: float, top: float) -> None:
        wide, high = self.width / 2 - 3 * mm, _HIGH_MM * mm
        for photo, (lines, size) in zip(self.photos, self.captions, strict=True):
            self._draw_one(pen, photo, (x, top - high), (wide, high))
            pen.lines((x, wide), top - high - 3, lines, face=REGULAR, size=size)
            x += self.width / 2 + 3 * mm

    @staticmethod
    def _draw_one(pen: Pen, photo: Photo, corner: tuple[float, float], size: tuple[float, float]) -> None:
        prepared = _prepared(photo.data)
        if prepared is None:
            pen.box(corner, size, 0.6)
            words = "This picture could not be read; see the file."
            lines, fitted = lay(words, BOLD, 10, size[0] - 12)
            pen.lines((corner[0] + 6, size[0] - 12), corner[1] + size[1] / 2, lines, face=BOLD, size=fitted)
            return
        data, across, down = prepared
        scale = min(size[0] / across, size[1] / down)
        wide, high = across * scale, down * scale
        left, low = corner[0] + (size[0] - wide) / 2, corner[1] + size[1] - high
        with pen.canvas.figure(photo.caption or "–", (left, low), (wide, high)):
            pen.canvas.drawImage(ImageReader(io.BytesIO(data)), left, low, wide, high)
        pen.box((left, low), (wide, high), 0.5)
