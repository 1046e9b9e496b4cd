"""The sheet of paper: size, margins, footer, the pen that draws on it, and the flow of blocks over pages."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from reportlab.lib.units import mm

from forms.layout.lettering import BOLD, NARROW, REGULAR, clean, lay, one_line
from forms.layout.pdf.canvas import PaperError, document
from forms.layout.pdf.structure import FOOTER, HEADER
from forms.layout.pen import Pen
from forms.layout.speech import ENGLISH, Speech
from forms.layout.stamp import STAMP

__all__ = [
    "Block",
    "NewPage",
    "Paper",
    "PaperError",
    "Part",
    "Pen",
    "Placed",
    "bind",
    "document",
    "flow",
    "paper_of",
]

FOOTER_MM = 7.0
RUNNING_MM = 10.0


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper size in mm with the margins kept free on it.

    The left margin is wider: sheets are punched and filed.
    """

    name: str
    width_mm: float
    height_mm: float
    left_mm: float = 15.0
    right_mm: float = 12.0
    top_mm: float = 12.0
    bottom_mm: float = 10.0

    @property
    def content_width(self) -> float:
        """Width between the margins, points."""
        return (self.width_mm - self.left_mm - self.right_mm) * mm

    @property
    def content_height(self) -> float:
        """Height between top margin and footer, points."""
        return (self.height_mm - self.top_mm - self.bottom_mm - FOOTER_MM) * mm

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the whole sheet, points."""
        return self.width_mm * mm, self.height_mm * mm


# A4, A3: ISO 216; Letter: ANSI/ASME Y14.1 (8.5 x 11 inches).
_PAPERS = {"a4": Paper("a4", 210.0, 297.0), "letter": Paper("letter", 215.9, 279.4), "a3": Paper("a3", 297.0, 420.0)}


def paper_of(name: str, *, landscape: bool = False) -> Paper:
    """Paper by its name.

    Parameters
    ----------
    name
        ``"a4"``, ``"letter"``, or ``"a3"`` for what hangs on a wall.
    landscape
        True for the long side across; the punched margin is then at the top.

    Raises
    ------
    PaperError
        For any other name.
    """
    known = _PAPERS.get(name.lower())
    if known is None:
        message = f"paper {name!r} is not known; use a4, letter or a3"
        raise PaperError(message)
    if not landscape:
        return known
    return Paper(known.name, known.height_mm, known.width_mm, left_mm=12.0, right_mm=12.0, top_mm=15.0)


class Placed(Protocol):
    """A block whose lines have been broken for one width."""

    @property
    def height(self) -> float:
        """Height in points."""
        ...

    @property
    def least(self) -> float:
        """Least height in points worth starting at the foot of a page."""
        ...

    @property
    def sticky(self) -> bool:
        """True if it must stand on the same page as what follows."""
        ...

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:
        """Part that fits `room` and the rest, or None; `full` is the room of an empty page."""
        ...

    def draw(self, pen: Pen, x: float, top: float) -> None:
        """Draw with its upper left corner at `x`, `top`."""
        ...


class Block(Protocol):
    """Anything that can be set in a width."""

    def set(self, width: float) -> Placed:
        """Break lines for `width` points."""
        ...


@dataclass(frozen=True, slots=True)
class NewPage:
    """Starts a new page."""

    def set(self, width: float) -> Placed:
        """Never set: the flow turns the page instead."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True)
class Part:
    """One numbered run of pages inside a document: a batch's sheet, a claim.

    Attributes
    ----------
    title
        Plain words for the footer, no document number.
    subject
        What it is about, set large at the head of every page after the first; for a sheet the batch code.
    blocks
        What is on it, in order.
    """

    title: str
    subject: str
    blocks: tuple[Block, ...]


def flow(blocks: Iterable[Block], paper: Paper) -> list[list[Placed]]:
    """Blocks over pages: what does not fit moves on or is split, headings stay with what they head.

    Raises
    ------
    PaperError
        If something that cannot be split is taller than a page.
    """
    width, full = paper.content_width, paper.content_height
    pages: list[list[Placed]] = [[]]
    room = full
    queue: deque[Placed | None] = deque(None if isinstance(b, NewPage) else b.set(width) for b in blocks)

    def turn() -> float:
        pages.append([])
        return full - RUNNING_MM * mm

    while queue:
        block = queue.popleft()
        if block is None:
            room = turn() if pages[-1] else room
            continue
        company = _company(block, queue) if pages[-1] else 0.0
        if block.height + company <= room + 0.01:
            pages[-1].append(block)
            room -= block.height
            continue
        may_split = not block.sticky or block.height > full - RUNNING_MM * mm
        parts = block.split(room, full - RUNNING_MM * mm) if may_split else None
        if parts is not None:
            pages[-1].append(parts[0])
            queue.appendleft(parts[1])
        elif pages[-1]:
            queue.appendleft(block)
        else:
            message = f"a block of {block.height / mm:.0f} mm is taller than the page and cannot be split"
            raise PaperError(message)
        room = turn()
    return pages


def _company(block: Placed, following: deque[Placed | None]) -> float:
    """Height that must stand below a sticky block on the same page."""
    total = 0.0
    if block.sticky:
        for other in following:
            if other is None:
                break
            if not other.sticky:
                return total + other.least
            total += other.height
    return total


def _footer(pen: Pen, paper: Paper, part: Part, page: int, pages: int) -> None:
    left, width = paper.left_mm * mm, paper.content_width
    y = (paper.bottom_mm + (3.2 if STAMP.get() else 1.4)) * mm
    pen.line((left, y + 10), (left + width, y + 10), 0.4)
    number = pen.language.say("page {number} of {total}", number=page, total=pages)
    pen.aligned((left, width), y, number, face=BOLD, size=8, align="right")
    words = f"{part.title} · {part.subject}" if part.subject else part.title
    fitted = one_line(words, REGULAR, 8, width - 80)
    if fitted is not None and fitted[1] >= 8:
        pen.text(left, y, fitted[0], REGULAR, fitted[1])
    else:  # condensed before it is small; what even that cannot hold stands whole at the head
        lines = lay(words, NARROW, 8, width - 80, 8)[0]
        pen.text(left, y, lines[0] if len(lines) == 1 else f"{lines[0]} …", NARROW, 8)
    if stamp := STAMP.get():
        pen.text(left, y - 8.6, stamp, NARROW, 8)


def _running_head(pen: Pen, paper: Paper, part: Part) -> None:
    left, top = paper.left_mm * mm, (paper.height_mm - paper.top_mm) * mm
    words = part.subject or part.title
    fitted = one_line(words, BOLD, 14, paper.content_width)
    if fitted is None:
        fitted = (lay(words, BOLD, 8, paper.content_width)[0][0] + " …", 8)
    pen.text(left, top - 14, fitted[0], BOLD, fitted[1])
    pen.line((left, top - 20), (left + paper.content_width, top - 20), 1.2)


def bind(
    parts: Iterable[tuple[Part, list[list[Placed]]]],
    paper: Paper,
    title: str,
    *,
    author: str = "",
    fillable: bool = False,
    language: Speech = ENGLISH,
    subject: str = "",
) -> bytes:
    """PDF bytes of parts already flowed over pages; page x of y counts within each part.

    The file's title names what a single part is about beside ``title``; its author is the farm, its ``subject`` what a
    program that reads the file back has to know.

    Raises
    ------
    PaperError
        If there is no part.
    """
    parts = list(parts)
    if not parts:
        message = "nothing to print: no content was given"
        raise PaperError(message)
    about = parts[0][0].subject if len(parts) == 1 else ""
    canvas, buffer = document(
        paper.size, f"{title} · {about}" if about and about not in title else title, author, language
    )
    if subject:
        canvas.setSubject(clean(subject))
    pen = Pen(canvas, fillable, language=language)
    for n, (part, pages) in enumerate(parts, start=1):
        pen.prefix = f"{n}."
        with canvas.tag("Sect"):
            _draw_part(pen, paper, part, pages)
    canvas.save()
    return buffer.getvalue()


def _draw_part(pen: Pen, paper: Paper, part: Part, pages: list[list[Placed]]) -> None:
    for number, blocks in enumerate(pages, start=1):
        top = (paper.height_mm - paper.top_mm) * mm
        if number > 1:
            with pen.canvas.artifact(HEADER):
                _running_head(pen, paper, part)
            top -= RUNNING_MM * mm
        for block in blocks:
            block.draw(pen, paper.left_mm * mm, top)
            top -= block.height
        with pen.canvas.artifact(FOOTER):
            _footer(pen, paper, part, number, len(pages))
        pen.canvas.showPage()
