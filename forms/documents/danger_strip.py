"""What can kill, white on black beside the emergency number, and what only hurts: on every paper that sends a hand in."""

from __future__ import annotations

from dataclasses import dataclass

from reportlab.lib.units import mm

from forms.documents.shared_content import Danger
from forms.layout.bands import Row
from forms.layout.marks import draw_danger, draw_wear
from forms.layout.page import Paper, Pen, Placed
from forms.layout.sheet_pen import FRAME, GRID, Look, SheetPen, fitted, wrapped

__all__ = ["KillStrip", "kill_strip", "wear_line"]

KILL = Look(14, bold=True, white=True)
"""What can kill is read at arm's length."""


def kill_strip(kills: tuple[Danger, ...], emergency: str, width: float) -> Row:
    """White on black, 14 pt: what can kill, beside the emergency number or the ruled blank for it."""
    wide = 61.0 if len(kills) < 2 else 47.0
    room = width - wide - 21
    told = [(one.mark, wrapped(f"{one.head} {one.words}", KILL, room)) for one in kills]
    tall = [max(12.0, len(lines) * KILL.pitch + 1) for _, lines in told]
    number, number_look = fitted(emergency, (17, 14), Look(bold=True), wide - 3)
    height = max(17.0, sum(tall) + 3 * (len(tall) - 1) + 4, 9 + len(number) * number_look.pitch)

    def draw(sheet: SheetPen, y: float) -> None:
        if kills:
            sheet.box((0, y), (width, height - 1), 0.0, 0.0)
        top = y + (height - 1 - sum(tall) - 3 * (len(tall) - 1)) / 2
        for (mark, lines), high in zip(told, tall, strict=True):
            draw_danger(sheet, mark, (2.5, top + (high - 12) / 2), 12, white=True)
            sheet.lines(17, top + (high - len(lines) * KILL.pitch) / 2, lines, KILL)
            top += high + 3
        corner = (width - wide - 1.5, y + 1.5)
        sheet.box(corner, (wide, height - 4), 0.0 if kills else FRAME, 1.0)
        sheet.words(corner[0] + 1.5, corner[1] + 3.6, _heading(sheet, wide),
                    Look(9, bold=True))  # fmt: skip
        if emergency:
            sheet.lines(corner[0] + 1.5, corner[1] + 4.6, number, number_look)
        else:
            foot = corner[1] + height - 5.5
            sheet.line((corner[0] + 1.5, foot), (corner[0] + wide - 1.5, foot), GRID)
            sheet.entry((corner[0] + 1, foot - 8), (wide - 2, 8), "emergency",
                        sheet.say("Emergency number of this farm"))  # fmt: skip

    return Row(height, draw)


def _heading(sheet: SheetPen, wide: float) -> str:
    """What stands over the number: the longer words where both it and its translation fit."""
    whole = sheet.say("EMERGENCY number of this farm")
    return whole if wide > 50 and Look(9, bold=True).width(whole) < wide - 2 else sheet.say("EMERGENCY, this farm")


def wear_line(marks: tuple[str, ...], words: str, width: float) -> Row | None:
    """What only hurts: what to wear as rounds, and one line of 9.5 pt or as many as it takes."""
    if not marks and not words:
        return None
    left = 8.0 * len(marks)
    lines = wrapped(words, Look(9.5), width - left)
    height = max(8.0, len(lines) * 4.0 + 1.5)

    def draw(sheet: SheetPen, y: float) -> None:
        for number, mark in enumerate(marks):
            draw_wear(sheet, mark, (8.0 * number, y + 0.4))
        sheet.lines(left, y + max(0.6, (height - len(lines) * 4.0) / 2 - 0.4), lines, Look(9.5))

    return Row(height, draw)


@dataclass(frozen=True, slots=True)
class KillStrip:
    """The strip of :func:`kill_strip` as a block of a form that flows over pages."""

    kills: tuple[Danger, ...]
    emergency: str = ""

    def set(self, width: float) -> Placed:
        """Break lines for `width` points."""
        return _SetStrip(kill_strip(self.kills, self.emergency, width / mm), width)


@dataclass(frozen=True, slots=True)
class _SetStrip:
    row: Row
    width: float
    sticky: bool = False

    @property
    def height(self) -> float:
        return (self.row.height + 1) * mm

    @property
    def least(self) -> float:
        return self.height

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        return None

    def draw(self, pen: Pen, x: float, top: float) -> None:
        """Draw on a paper whose margins end where the block begins."""
        here = Paper("block", (x + self.width) / mm, top / mm, x / mm, 0.0, 0.0, 0.0)
        self.row.draw(SheetPen(pen, here), 0.0)
