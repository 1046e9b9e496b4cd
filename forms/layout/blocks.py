"""Blocks every form is made of: headings, paragraphs, the masthead with its code, caution boxes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from reportlab.lib.units import mm

from forms.layout.lettering import BOLD, LEADING, REGULAR, lay
from forms.layout.page import Pen, Placed
from forms.layout.qr_code import draw_qr

__all__ = ["Caution", "Gap", "Heading", "Masthead", "Text"]


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines of one size, ready to draw; `before`, `after` are free points above and below."""

    lines: tuple[str, ...]
    face: str
    size: float
    before: float = 0.0
    after: float = 0.0
    sticky: bool = False
    ruled: bool = False
    width: float = 0.0
    kind: str = "P"

    @property
    def height(self) -> float:
        """Height in points."""
        return self.before + len(self.lines) * LEADING * self.size + self.after

    @property
    def least(self) -> float:
        """Two lines."""
        return min(self.height, self.before + 2 * LEADING * self.size)

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:
        """Split between lines."""
        n = int((room - self.before) / (LEADING * self.size))
        if n < 1 or n >= len(self.lines) or (n < 2 and room < full):
            return None
        head = replace(self, lines=self.lines[:n], after=0.0)
        return head, replace(self, lines=self.lines[n:], before=0.0)

    def draw(self, pen: Pen, x: float, top: float) -> None:
        """Draw the lines, with a rule below them when `ruled`."""
        if not self.lines:
            return
        with pen.canvas.tag(self.kind):
            below = pen.lines((x, self.width), top - self.before, self.lines, face=self.face, size=self.size)
        if self.ruled:
            pen.line((x, below - 1.5), (x + self.width, below - 1.5), 1.2)


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; line breaks in it are kept."""

    text: str
    size: float = 9.0
    bold: bool = False
    after: float = 3.0
    sticky: bool = False

    def set(self, width: float) -> Placed:
        """Break lines for `width` points."""
        face = BOLD if self.bold else REGULAR
        lines, size = lay(self.text, face, self.size, width)
        return Lines(lines, face, size, after=self.after if lines else 0.0, sticky=self.sticky, width=width)


@dataclass(frozen=True, slots=True)
class Heading:
    """A section's heading; stays with what follows, over a rule when that is not a table."""

    text: str
    size: float = 10.5
    before: float = 7.0
    ruled: bool = False

    def set(self, width: float) -> Placed:
        """Break lines for `width` points."""
        lines, size = lay(self.text, BOLD, self.size, width)
        return Lines(
            lines,
            BOLD,
            size,
            before=self.before,
            after=4.0 if self.ruled else 2.0,
            sticky=True,
            ruled=self.ruled,
            width=width,
            kind="H2",
        )


@dataclass(frozen=True, slots=True)
class Gap:
    """Free room of `points`."""

    points: float

    def set(self, width: float) -> Placed:
        """Room of the same height in any width."""
        return Lines((), REGULAR, 1.0, before=self.points, width=width)


@dataclass(frozen=True, slots=True)
class Masthead:
    """The head of a form: its title, the code in large type with its QR beside, the name and a line below.

    Attributes
    ----------
    title
        What the form is, in plain words.
    code
        Batch code, shipment or vat in large type; may be empty.
    name
        Species or subject below it.
    detail
        Line below the name.
    corner
        Words at the right of the title, such as the farm's name.
    address
        What the QR code says; no code is drawn when empty.
    qr_mm
        Side of the QR code, at least 25.
    """

    title: str
    code: str
    name: str = ""
    detail: str = ""
    corner: str = ""
    address: str = ""
    qr_mm: float = 29.0

    def set(self, width: float) -> Placed:
        """Break lines for `width` points."""
        side = self.qr_mm * mm if self.address else 0.0
        room = width - (side + 3 * mm if side else 0.0)
        title = lay(self.title, BOLD, 11, room * 0.66)
        corner = lay(self.corner, REGULAR, 9, room * 0.32)
        code = lay(self.code, BOLD, 30 if len(self.code) < 18 else 22, room)
        name = lay(self.name, BOLD, 14 if len(self.name) < 60 else 11, room)
        detail = lay(self.detail, REGULAR, 10, room)
        return _SetMasthead(self, width, (title, corner, code, name, detail))


_Laid = tuple[tuple[str, ...], float]


def _laid_height(laid: _Laid) -> float:
    return len(laid[0]) * LEADING * laid[1]


@dataclass(frozen=True, slots=True)
class _SetMasthead:
    content: Masthead
    width: float
    laid: tuple[_Laid, _Laid, _Laid, _Laid, _Laid]

    @property
    def height(self) -> float:
        title, corner, *rest = self.laid
        text = max(_laid_height(title), _laid_height(corner)) + 2 + sum(_laid_height(laid) for laid in rest)
        side = self.content.qr_mm * mm if self.content.address else 0.0
        return max(text, side) + 8

    @property
    def least(self) -> float:
        return self.height

    @property
    def sticky(self) -> bool:
        return False

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        return None

    def draw(self, pen: Pen, x: float, top: float) -> None:
        title, corner, code, name, detail = self.laid
        foot = top - self.height + 5
        room = self.width
        if self.content.address:
            side = self.content.qr_mm * mm
            draw_qr(pen.canvas, self.content.address, (x + self.width - side, top - side), self.content.qr_mm)
            room -= side + 3 * mm
        with pen.canvas.tag("H1"):
            pen.lines((x, room), top, title[0], face=BOLD, size=title[1])
        pen.lines((x, room), top, corner[0], face=REGULAR, size=corner[1], align="right")
        below = top - max(_laid_height(title), _laid_height(corner)) - 2
        for laid, face in ((code, BOLD), (name, BOLD), (detail, REGULAR)):
            below = pen.lines((x, room), below, laid[0], face=face, size=laid[1])
        pen.line((x, foot), (x + self.width, foot), 2.0)


@dataclass(frozen=True, slots=True)
class Caution:
    """Warnings beside a thick black bar: seen in grayscale, first on the page; many are in columns side by side."""

    lines: tuple[str, ...]
    size: float = 9.0
    head: str = "CAUTION"

    def set(self, width: float) -> Placed:
        """Break lines for `width` points, in as many columns as make the box lowest."""
        most = min(len(self.lines) // 2, int(width / _LEAST_CAUTION_COLUMN))
        found = [self._columns(width, n) for n in range(1, max(1, most) + 1)]
        return min(found, key=lambda box: box.height)

    def _columns(self, width: float, n: int) -> _SetCaution:
        room = (width - 12 - 10 * n) / n
        laid = [lay(line, BOLD, self.size, room - 12) for line in self.lines]
        size = min([self.size, *(fitted for _, fitted in laid)])
        told = [
            tuple(("! " if k == 0 else "  ") + piece for k, piece in enumerate(pieces)) for pieces, _ in laid if pieces
        ]
        return _SetCaution(_in_columns(told, n), size, width, self.head)


_LEAST_CAUTION_COLUMN = 235.0


def _in_columns(told: list[tuple[str, ...]], n: int) -> tuple[tuple[str, ...], ...]:
    """Warnings in reading order over at most n columns, none broken, the longest column as short as can be."""
    tallest = max((len(one) for one in told), default=0)
    while True:
        columns: list[list[str]] = [[]]
        for one in told:
            if columns[-1] and len(columns[-1]) + len(one) > tallest:
                columns.append([])
            columns[-1].extend(one)
        if len(columns) <= n:
            return tuple(tuple(column) for column in columns)
        tallest += 1


@dataclass(frozen=True, slots=True)
class _SetCaution:
    columns: tuple[tuple[str, ...], ...]
    size: float
    width: float
    head: str

    @property
    def depth(self) -> int:
        """Lines of the longest column, and the head."""
        return max(map(len, self.columns)) + bool(self.head)

    @property
    def height(self) -> float:
        return 10 + LEADING * self.size * self.depth

    @property
    def least(self) -> float:
        return min(self.height, 10 + 3 * LEADING * self.size)

    @property
    def sticky(self) -> bool:
        return False

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        lines = self.columns[0]
        n = int((room - 10) / (LEADING * self.size)) - bool(self.head)
        if len(self.columns) > 1 or n < 1 or n >= len(lines):
            return None
        return replace(self, columns=(lines[:n],)), replace(self, columns=(lines[n:],))

    def draw(self, pen: Pen, x: float, top: float) -> None:
        tall = self.height - 4
        pen.box((x, top - tall - 1), (self.width, tall), 1.0)
        pen.box((x, top - tall - 1), (5, tall), 0.0, shade=1.0)
        below = top - 4
        if self.head:
            below = pen.lines((x + 10, self.width - 12), below, (self.head,), face=BOLD, size=self.size)
        wide = (self.width - 12) / len(self.columns)
        for n, lines in enumerate(self.columns):
            pen.lines((x + 10 + n * wide, wide - 8), below, lines, face=BOLD, size=self.size)
