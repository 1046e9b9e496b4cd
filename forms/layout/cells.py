"""What stands in the cells of a table, and how a column of them is headed and aligned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Align", "Cell", "Column", "tick", "write"]

Align = Literal["left", "right", "centre"]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: text to read, boxes to tick, or room to write in.

    Attributes
    ----------
    text
        What is printed.
    label
        Small words above the text, naming what is printed or to be written there.
    ticks
        Words beside each box to tick; ``("",)`` is one bare box.
    ticked
        Which of the boxes is printed ticked; -1 for none.
    field
        Name of the form field placed here in a fillable document; empty for none.
    shade
        Gray from 0 (none) to 1 (black) behind the text.
    values
        What each of several ticks means to a program: they are one choice then, not boxes of their own.
    told
        What a reader of the form field hears, where the words of row and column do not say it.
    """

    text: str = ""
    bold: bool = False
    size: float = 0.0
    align: Align | None = None
    label: str = ""
    ticks: tuple[str, ...] = ()
    ticked: int = -1
    field: str = ""
    shade: float = 0.0
    values: tuple[str, ...] = ()
    told: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, its share of the width, alignment, and a heavy line before it when a block starts."""

    head: str = ""
    share: float = 1.0
    align: Align = "left"
    heavy: bool = False


def tick(field: str = "", *, ticked: bool = False, told: str = "") -> Cell:
    """One bare box to tick."""
    return Cell(ticks=("",), field=field, ticked=0 if ticked else -1, align="centre", told=told)


def write(field: str, label: str = "", told: str = "") -> Cell:
    """An empty cell to write in."""
    return Cell(field=field, label=label, told=told)
