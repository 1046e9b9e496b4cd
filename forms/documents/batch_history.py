"""A batch's history on paper: its counts, how it survived, and everything that happened to it."""

from __future__ import annotations

from dataclasses import dataclass

from forms.charts.step_chart import StepChart
from forms.documents.shared_content import joined
from forms.layout.blocks import Heading, Masthead, Text
from forms.layout.page import Block, Part, bind, flow, paper_of
from forms.layout.table_grid import Cell, Column, Grid

__all__ = ["HistoryContent", "HistoryEvent", "SurvivalPoint", "history"]


@dataclass(frozen=True, slots=True)
class HistoryEvent:
    """One entry of the ledger as printed; `corrects` names the entry it corrects."""

    when: str
    what: str
    who: str = ""
    count: int | None = None
    from_place: str = ""
    to_place: str = ""
    note: str = ""
    corrects: str = ""


@dataclass(frozen=True, slots=True)
class SurvivalPoint:
    """Share alive from `day` on, with its interval; shares from 0 to 1."""

    day: float
    alive: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class HistoryContent:
    """What the history says.

    Attributes
    ----------
    facts
        Names and values, as printed, such as supplier, landed, vats.
    counts
        Names and numbers, such as announced, DOA, dead in the first seven days, alive now.
    survival
        Points in order of day; `until_day` the last day watched.
    interval_words
        What the band is, such as its confidence.
    """

    farm: str
    batch: str
    name: str
    events: tuple[HistoryEvent, ...]
    counts: tuple[tuple[str, int], ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    survival: tuple[SurvivalPoint, ...] = ()
    until_day: float = 0.0
    interval_words: str = ""
    state: str = ""


def history(content: HistoryContent, paper: str = "a4") -> bytes:
    """Batch history as PDF.

    Parameters
    ----------
    content
        What it says.
    paper
        ``"a4"`` or ``"letter"``.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper.
    """
    size = paper_of(paper)
    blocks: list[Block] = [
        Masthead("Batch history", content.batch, content.name, content.state, content.farm),
        *_boxes([Cell(value, label=label, bold=True) for label, value in content.facts], 10),
        *_boxes([Cell(str(value), label=label, bold=True) for label, value in content.counts], 16),
        *_survival(content),
        *_events(content),
    ]
    part = Part("Batch history", joined((content.batch, content.name)), tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Batch history", author=content.farm)


def _boxes(cells: list[Cell], size: float, most: int = 6) -> list[Block]:
    """Labelled cells, at most `most` in a row, as many in each row as in the others."""
    blocks: list[Block] = []
    across = -(-len(cells) // -(-len(cells) // most)) if cells else most
    for n in range(0, len(cells), across):
        row = tuple(cells[n : n + across])
        blocks.append(Grid(tuple(Column() for _ in row), (row,), size=size, after=0 if n + across < len(cells) else 4))
    return blocks


def _survival(content: HistoryContent) -> list[Block]:
    if not content.survival:
        return []
    points = tuple((p.day, p.alive, p.low, p.high) for p in content.survival)
    last = content.survival[-1]
    words = f"{100 * last.alive:.1f} % alive on day {content.until_day:.0f} ({100 * last.low:.1f} – {100 * last.high:.1f} %)"
    note = joined((words, content.interval_words))
    end = max(content.until_day, last.day, 1.0)
    return [
        Heading("Share alive since arrival"),
        StepChart(points, end, "days since arrival"),
        Text(note, 9, after=4),
    ]


def _events(content: HistoryContent) -> list[Block]:
    columns = (
        Column("When", 2.1), Column("What", 2.6), Column("Count", 0.6, "right"), Column("From", 0.9), Column("To", 1.0),
        Column("Who", 0.8), Column("Note", 1.9),
    )  # fmt: skip
    rows = tuple(
        (e.when, Cell(e.what, bold=True), "" if e.count is None else str(e.count), e.from_place, e.to_place, e.who,
         joined((e.note, f"corrects {e.corrects}" if e.corrects else "")))
        for e in content.events
    )  # fmt: skip
    return [Heading("What happened"), Grid(columns, rows, size=8.5)] if rows else []
