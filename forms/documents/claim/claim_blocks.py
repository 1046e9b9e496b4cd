"""Two blocks of a claim's first page: the sentence that asks, and the balance of all animals."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics

from forms.layout.lettering import BOLD, REGULAR, clean, load_faces
from forms.layout.page import Pen, Placed

__all__ = ["Balance", "BalanceItem", "Sentence"]

_SENTENCE_PT = 15.0
_PAD = 4.0
_WORD_GAP = 0.35


@dataclass(frozen=True, slots=True)
class Sentence:
    """Words of which some stand out white on black; ``parts`` are (text, stands out), what stands out is not broken."""

    parts: tuple[tuple[str, bool], ...]
    size: float = _SENTENCE_PT

    def set(self, width: float) -> Placed:
        """Break the lines for ``width`` points, smaller when one part alone would not fit."""
        load_faces()
        size = self.size
        pieces = [
            (clean(piece), out)
            for text, out in self.parts
            for piece in ([text] if out else text.split())
            if piece.strip()
        ]
        widest = max((pdfmetrics.stringWidth(text, BOLD, size) + 2 * _PAD for text, _ in pieces), default=0.0)
        if widest > width:
            size *= width / widest
        rows: list[list[tuple[float, str, bool]]] = [[]]
        x = 0.0
        for text, out in pieces:
            wide = pdfmetrics.stringWidth(text, BOLD, size) + (2 * _PAD if out else 0.0)
            joined = text in {".", ",", ";", ":"}
            gap = 0.0 if not rows[-1] or joined else _WORD_GAP * size
            if rows[-1] and x + gap + wide > width and not joined:
                rows.append([])
                x, gap = 0.0, 0.0
            rows[-1].append((x + gap, text, out))
            x += gap + wide
        return _SetSentence(tuple(tuple(_joined(row)) for row in rows), size)


def _joined(row: list[tuple[float, str, bool]]) -> Iterator[tuple[float, str, bool]]:
    """Plain words side by side as one text, so that they are read and copied as a sentence."""
    for out, run in groupby(row, key=lambda piece: piece[2]):
        pieces = list(run)
        if out:
            yield from pieces
        else:
            yield pieces[0][0], " ".join(text for _, text, _ in pieces), False


@dataclass(frozen=True, slots=True)
class _SetSentence:
    rows: tuple[tuple[tuple[float, str, bool], ...], ...]
    size: float
    sticky: bool = True

    @property
    def height(self) -> float:
        return len(self.rows) * 1.45 * self.size + 8

    @property
    def least(self) -> float:
        return self.height

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        return None

    def draw(self, pen: Pen, x: float, top: float) -> None:
        baseline = top - 4 - self.size
        with pen.canvas.paragraph():
            for row in self.rows:
                self._row(pen, row, x, baseline)
                baseline -= 1.45 * self.size

    def _row(self, pen: Pen, row: tuple[tuple[float, str, bool], ...], x: float, baseline: float) -> None:
        for left, text, out in row:
            if not out:
                pen.text(x + left, baseline, text, BOLD, self.size)
                continue
            wide = pdfmetrics.stringWidth(text, BOLD, self.size) + 2 * _PAD
            pen.box((x + left, baseline - 0.28 * self.size), (wide, 1.3 * self.size), 0.0, 1.0)
            _white(pen, x + left + _PAD, baseline, text, self.size)


def _white(pen: Pen, x: float, baseline: float, text: str, size: float) -> None:
    pen.canvas.setFillGray(1)
    pen.canvas.setFont(BOLD, size)
    pen.canvas.drawString(x, baseline, text)
    pen.canvas.setFillGray(0)


@dataclass(frozen=True, slots=True)
class BalanceItem:
    """One number of a balance: its sign before it (``−``, ``=``; empty for the first), what it is, and the number."""

    sign: str
    label: str
    number: str


@dataclass(frozen=True, slots=True)
class Balance:
    """Numbers with signs between them in one frame, the last white on black."""

    items: tuple[BalanceItem, ...]

    def set(self, width: float) -> Placed:
        """As wide as it may be."""
        load_faces()
        return _SetBalance(self.items, width)


@dataclass(frozen=True, slots=True)
class _SetBalance:
    items: tuple[BalanceItem, ...]
    width: float
    sticky: bool = False

    @property
    def height(self) -> float:
        return 15 * mm + 4

    @property
    def least(self) -> float:
        return self.height

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        return None

    def draw(self, pen: Pen, x: float, top: float) -> None:
        high = 15 * mm
        share = self.width / len(self.items)
        number = min(16.0, *(self._fitting(item, share) for item in self.items))
        with pen.canvas.tag("L"):
            for at, item in enumerate(self.items):
                last = at == len(self.items) - 1
                if last:
                    pen.box((x + at * share, top - high), (share, high), 0.0, 1.0)
                with pen.canvas.tag("LI"):
                    self._item(pen, item, (x + at * share, top), (share, number), last=last)
        pen.box((x, top - high), (self.width, high), 1.2)

    @staticmethod
    def _item(
        pen: Pen, item: BalanceItem, corner: tuple[float, float], size: tuple[float, float], *, last: bool
    ) -> None:
        """What it is and how many; its sign is drawn over the edge, after them, and read before them."""
        (left, top), (share, number), canvas = corner, size, pen.canvas
        sign = canvas.here.add("Lbl") if item.sign else canvas.here
        body = canvas.here.add("LBody")
        grey = 1.0 if last else 0.0
        with canvas.within(body):
            for face, points, text, down in ((REGULAR, 8.0, item.label, 13.0), (BOLD, number, item.number, 33.0)):
                canvas.setFillGray(grey)
                canvas.setFont(face, points)
                canvas.drawCentredString(left + share / 2, top - down, clean(text))
        canvas.setFillGray(0)
        if item.sign:
            with canvas.within(sign):
                canvas.setFillGray(grey)
                canvas.setFont(BOLD, 14)
                canvas.drawCentredString(left + (5 if last else 0), top - 31.0, item.sign)
            canvas.setFillGray(0)

    @staticmethod
    def _fitting(item: BalanceItem, share: float) -> float:
        room = share - 16
        wide = pdfmetrics.stringWidth(clean(item.number), BOLD, 16.0)
        return 16.0 if wide <= room else max(8.0, 16.0 * room / wide)
