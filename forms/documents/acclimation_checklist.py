"""The acclimation checklist of a station: one batch a page in large type, a box to tick for every step."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from forms.documents.danger_strip import KillStrip
from forms.documents.intake_sheet.sheet_content import Acclimation
from forms.documents.shared_content import LOCAL_RULES, UNSOURCED_NOTE, Danger, Units, joined, marked
from forms.layout.blocks import Caution, Masthead, Text
from forms.layout.page import Block, Paper, Part, Placed, bind, flow, paper_of
from forms.layout.speech import ENGLISH, Speech
from forms.layout.table_grid import Cell, Column, Grid, tick, write

__all__ = ["ChecklistContent", "LoggedReading", "checklist"]


@dataclass(frozen=True, slots=True)
class LoggedReading:
    """One reading at the tub beside what was expected; all as printed."""

    minute: str
    what: str
    expected: str
    read: str


@dataclass(frozen=True, slots=True)
class ChecklistContent:
    """One batch at one station; times as printed.

    Attributes
    ----------
    per
        What one tub of the table holds, as a sentence.
    logged
        Readings taken so far.
    done_until
        Steps before this minute are printed ticked: the table was made again from a reading then.
    count_address
        What the QR code says; none is drawn when empty.
    """

    farm: str
    station: str
    batch: str
    name: str
    acclimation: Acclimation
    vat: str = ""
    count: int | None = None
    date: str = ""
    starts: str = ""
    boxes: str = ""
    cautions: tuple[str, ...] = ()
    emergency: str = ""
    kills: tuple[Danger, ...] = ()
    per: str = ""
    logged: tuple[LoggedReading, ...] = ()
    done_until: float = 0.0
    count_address: str = ""
    units: Units = field(default_factory=Units)
    language: Speech = ENGLISH


def checklist(
    contents: Iterable[ChecklistContent], paper: str = "a4", *, fillable: bool = False, subject: str = ""
) -> bytes:
    """Acclimation checklists as PDF, each batch on its own pages.

    Parameters
    ----------
    contents
        In the order of opening.
    paper
        ``"a4"`` or ``"letter"``.
    fillable
        True adds named form fields to ticks and empty cells.
    subject
        What a program that reads the form back has to know.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper or no content at all.
    """
    size = paper_of(paper)
    parts, farm, language = [], "", ENGLISH
    for content in contents:
        parts.append(_fitted(content, size))
        farm, language = content.farm, content.language
    title = language.say("Acclimation checklist")
    return bind(parts, size, title, author=farm, fillable=fillable, language=language, subject=subject)


@dataclass(frozen=True, slots=True)
class _Room:
    """Height of a row in mm, text of the steps in points, condensed or not, and the words above them as a share of their size."""

    row_mm: float
    text: float
    narrow: bool = False
    above: float = 1.0

    def words(self, size: float) -> float:
        """Size of words above the steps, points: never below what wet hands can read."""
        return max(8.0, size * self.above)


_ROOMS = (_Room(11.5, 11.0), _Room(11.1, 10.5), _Room(11.1, 9.5), _Room(11.1, 9.5, narrow=True, above=0.85))
"""Roomy, and tighter where that keeps a batch on one page; a tick is never less."""
_TICK_MM = 10.0
_TOGETHER = 4
"""Steps that share the last page: one step alone there, the one into the vat, is lost at the tub."""


def _fitted(content: ChecklistContent, size: Paper) -> tuple[Part, list[list[Placed]]]:
    """One page a batch where any setting allows it; the roomiest otherwise."""
    tried = []
    for room in _ROOMS:
        blocks = _blocks(content, room)
        part = Part(
            content.language.say("Acclimation checklist"),
            joined((content.station, content.batch, content.name)),
            tuple(blocks),
        )
        tried.append((part, flow(blocks, size)))
        if len(tried[-1][1]) == 1:
            return tried[-1]
    return tried[0]


def _blocks(content: ChecklistContent, room: _Room) -> list[Block]:
    plan, say = content.acclimation, content.language.say
    facts = (
        (say("Station"), content.station),
        (say("Into vat"), content.vat),
        (say("Count"), "" if content.count is None else str(content.count)),
        (say("Boxes"), content.boxes),
        (say("Starts"), content.starts),
        (say("Water used"), plan.water),
    )
    cells = tuple(Cell(value, label=label, bold=True) for label, value in facts if value)
    title = joined((say("Acclimation checklist"), content.date))
    blocks: list[Block] = [
        Masthead(title, content.batch, content.name, corner=content.farm, address=content.count_address),
        Grid(tuple(Column() for _ in cells), (cells,), size=12),
        Text(marked(plan.mode, published=plan.published), room.words(14), bold=True),
    ]
    if plan.tubs:
        blocks.append(Text(plan.tubs, room.words(11), bold=True, after=2))
    if plan.reason:
        blocks.append(Text(plan.reason, room.words(10), after=4))
    warnings = tuple(line for line in (plan.limit, *content.cautions, say(LOCAL_RULES)) if line)
    blocks.append(KillStrip(content.kills, content.emergency))
    blocks.append(Caution(warnings, room.words(8.5), say("CAUTION")))
    if content.logged:
        blocks.append(_logged(content))
    if plan.steps:
        blocks += [Text(content.per, room.words(9.5), sticky=True)] if content.per else []
        blocks.append(_steps(content, room))
    if not plan.published:
        blocks.append(Text(say(UNSOURCED_NOTE), 8))
    return [*blocks, _signed(content.language)]


def _steps(content: ChecklistContent, room: _Room) -> Grid:
    """Step table with a place for each reading beside what is expected."""
    units, say = content.units, content.language.say
    columns = (
        Column(say("Minute"), 0.65, "right"), Column(say("Do"), 3.7), Column(units.temperature, 0.65, "right"),
        Column(units.salinity, 0.65, "right"), Column(f"pH {units.ph_scale}", 0.65, "right"),
        Column("NH₃-N mg/L", 0.75, "right"), Column("O₂ mg/L", 0.6, "right"),
        Column(say("Read {unit}", unit=units.temperature), 0.85, heavy=True),
        Column(say("Read {unit}", unit=units.salinity), 0.85), Column(say("Read {unit}", unit="pH"), 0.85),
        Column(say("Done"), 0.55, "centre"),
    )  # fmt: skip
    rows: list[tuple[Cell | str, ...]] = []
    volume: float | None = None
    for n, step in enumerate(content.acclimation.steps, start=1):
        minute, litres, temperature, salinity, ph, ammonia, oxygen = step.printed(
            units.salinity_decimals, content.language
        )
        words = step.do if step.volume == volume or n == len(content.acclimation.steps) else (
            say("{do} Tub now {volume}.", do=step.do, volume=f"{litres} {units.volume}")
        )  # fmt: skip
        volume = step.volume
        past = step.minute < content.done_until
        rows.append(
            (
                Cell(minute, bold=True, size=16), words, Cell(temperature, bold=True, size=13),
                Cell(salinity, bold=True, size=13), ph, ammonia, oxygen, write(f"c.{n}"), write(f"psu.{n}"), write(f"ph.{n}"),
                tick(f"step.{n}", ticked=past),
            )
        )  # fmt: skip
    return Grid(
        columns, tuple(rows), size=room.text, row_mm=room.row_mm, tick_mm=_TICK_MM, narrow=room.narrow, head_scale=0.8,
        together=_TOGETHER,
    )  # fmt: skip


def _signed(language: Speech) -> Grid:
    """Which pH scale the meter gives, with which meters it was read, when, and by whom."""
    say = language.say
    cells = (
        Cell(
            ticks=(say("pH is NBS"), say("pH is total")),
            field="ph-scale",
            values=("nbs", "total"),
            told=say("pH scale"),
        ),
        write("meters", say("Meters used")),
        write("started", say("Started at")),
        write("ended", say("In the vat at")),
        write("by", say("Done by")),
    )
    columns = (Column(share=2.2), Column(share=1.4), Column(share=1.2), Column(share=1.2), Column(share=1.2))
    return Grid(columns, (cells,), size=9.5, row_mm=12, tick_mm=10)


def _logged(content: ChecklistContent) -> Grid:
    """Readings taken so far beside what the table expected then."""
    say = content.language.say
    columns = (Column(say("Read at minute"), 1, "right"), Column(say("What"), 2), Column(say("Expected"), 1, "right"),
               Column(say("Read"), 1, "right"))  # fmt: skip
    rows = tuple((one.minute, one.what, one.expected, Cell(one.read, bold=True)) for one in content.logged)
    return Grid(columns, rows, size=10)
