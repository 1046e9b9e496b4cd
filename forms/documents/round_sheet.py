"""The daily round of one person: systems from clean to dirty, what stands in each vat, its danger, what is due today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from reportlab.lib.units import mm

from forms.documents.danger_strip import kill_strip, wear_line
from forms.documents.shared_content import Danger, joined
from forms.layout.bands import Band, DayPage, Row, pages_of
from forms.layout.lettering import clean
from forms.layout.marks import draw_danger, draw_due, draw_wear
from forms.layout.page import PaperError, Pen
from forms.layout.pdf.canvas import document
from forms.layout.pdf.structure import FOOTER, HEADER
from forms.layout.sheet_pen import (
    FRAME,
    GREY,
    GRID,
    SMALLEST,
    Look,
    SheetPen,
    fitted,
    qr_side,
    sheet_paper,
    wrapped,
)
from forms.layout.speech import ENGLISH, Speech, phrase
from forms.layout.stamp import STAMP

__all__ = ["RoundContent", "RoundDue", "RoundLot", "RoundStop", "RoundVat", "round_sheet", "round_sheets"]

_COLUMNS = (
    (phrase("vat"), 14.0), (phrase("lot"), 36.0), (phrase("on record"), 15.0), (phrase("dead"), 14.0),
    (phrase("weak"), 14.0), (phrase("left"), 17.0), (phrase("danger"), 13.0),
)  # fmt: skip
_DUE_X = sum(wide for _, wide in _COLUMNS)
_ROW_MM, _TICKED_MM = 8.0, 10.6
_SMALL = Look(SMALLEST)
_FOOT_MM = 9.0


@dataclass(frozen=True, slots=True)
class RoundDue:
    """Work due today: its sign, strength or what to do, minutes and protection, where the bath goes, its state, and if done.

    ``key`` names its field; vat, batch and its place in the row where it is empty.
    """

    mark: str
    what: str
    detail: str = ""
    state: str = ""
    done: bool = False
    key: str = ""


@dataclass(frozen=True, slots=True)
class RoundLot:
    """One lot of a vat: animals on record, day of quarantine in words, what is due."""

    batch: str
    name: str
    headcount: int
    day: str = ""
    due: tuple[RoundDue, ...] = ()


@dataclass(frozen=True, slots=True)
class RoundVat:
    """One vat with its lots and the worst that hurts a hand in it."""

    vat: str
    lots: tuple[RoundLot, ...]
    danger: Danger | None = None


@dataclass(frozen=True, slots=True)
class RoundStop:
    """One system: its state in words, the barrier to pass before it, and its vats.

    ``key`` names its fields; its place on the sheet where it is empty.
    """

    system: str
    state: str
    vats: tuple[RoundVat, ...]
    barrier: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class RoundContent:
    """The day's round of one person, stops in the order they are walked: clean water first."""

    farm: str
    date: str
    stops: tuple[RoundStop, ...]
    who: str = ""
    hours: str = ""
    address: str = ""
    printed: str = ""
    kills: tuple[Danger, ...] = ()
    warnings: str = ""
    emergency: str = ""
    temperature_unit: str = "°C"
    salinity_unit: str = "PSU"
    language: Speech = ENGLISH


def round_sheet(content: RoundContent, paper: str = "a4", *, fillable: bool = False) -> bytes:
    """Daily round of one person as PDF; as :func:`round_sheets`."""
    return round_sheets((content,), paper, fillable=fillable)


def round_sheets(
    contents: Sequence[RoundContent], paper: str = "a4", *, fillable: bool = False, subject: str = ""
) -> bytes:
    """Daily rounds as PDF, a sheet for each person.

    Parameters
    ----------
    contents
        One for each person, stops in the order they are walked.
    paper
        ``"a4"`` or ``"letter"``.
    fillable
        True adds named form fields.
    subject
        What a program that reads the form back has to know.

    Raises
    ------
    PaperError
        For an unknown paper or nobody to walk.
    """
    size = sheet_paper(paper)
    if not contents:
        message = "nothing to print: no round was given"
        raise PaperError(message)
    first = contents[0]
    title = joined((first.language.say("Daily round"), first.date))
    canvas, buffer = document(size.size, title, first.farm, first.language)
    if subject:
        canvas.setSubject(clean(subject))
    pen = Pen(canvas, fillable)
    sheet = SheetPen(pen, size)
    for number, content in enumerate(contents, start=1):
        pen.prefix, pen.language = f"round {number}.", content.language
        with canvas.tag("Sect"):
            for draw in _pages(content, sheet):
                draw()
                canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _pages(content: RoundContent, sheet: SheetPen) -> list[partial[None]]:
    width = sheet.width
    above = [_head(content, width), kill_strip(content.kills, content.emergency, width)]
    warned = wear_line((), content.warnings, width)
    above += [warned] if warned else []
    first = sum(row.height for row in above)
    bands = [_band(content, stop, n, width) for n, stop in enumerate(content.stops, start=1)]
    pages = pages_of(bands, first, 12.0, sheet.height - _FOOT_MM)
    return [partial(_draw, sheet, content, page, above, (n, len(pages))) for n, page in enumerate(pages, start=1)]


def _draw(sheet: SheetPen, content: RoundContent, page: DayPage, above: list[Row], place: tuple[int, int]) -> None:
    number, total = place
    y = 0.0
    if number == 1:
        for row in above:
            row.draw(sheet, y)
            y += row.height
    else:
        with sheet.canvas.artifact(HEADER):
            sheet.words(0, 6, joined((content.who, *_titled(content, number))), Look(13, bold=True))
    for top, draw in page.drawn:
        draw(sheet, top)
    bottom = sheet.height - _FOOT_MM
    if page.end + 14 <= bottom:
        with sheet.canvas.tag("H2"):
            sheet.words(0, page.end + 3.4, sheet.say("Seen; told whom"), Look(9, bold=True))
        sheet.ruled(page.end + 3.5, bottom)
    with sheet.canvas.artifact(FOOTER):
        _foot(sheet, content, sheet.say("page {number} of {total}", number=number, total=total))


_DANGERS = (("poison", phrase("poison")), ("cuts", phrase("cuts")), ("stings", phrase("stings")))
_WORK = (("dip", phrase("dip")), ("inspection", phrase("inspect")), ("transfer", phrase("move")))
"""Sign → the word beside it in the foot."""


def _titled(content: RoundContent, number: int) -> tuple[str, str]:
    say = content.language.say
    return say("Round, {day}", day=content.date), say("page {number}", number=number)


def _foot(sheet: SheetPen, content: RoundContent, told: str) -> None:
    y = sheet.height - _FOOT_MM + 1.5
    sheet.line((0, y), (sheet.width, y), GRID)
    x = 0.0
    for mark, word in _DANGERS:
        draw_danger(sheet, mark, (x, y + 0.5), 3.4)
        x += 4.2 + sheet.words(x + 3.9, y + 3.2, sheet.say(word), _SMALL) + 2
    for mark, word in _WORK:
        draw_due(sheet, mark, (x, y + 0.5), 3.2)
        x += 4.0 + sheet.words(x + 3.7, y + 3.2, sheet.say(word), _SMALL) + 2
    sheet.words(sheet.width, y + 3.2, told, Look(SMALLEST, bold=True, align="right"))
    sheet.words(0, y + 6.6, joined((content.printed, content.farm, STAMP.get())), _SMALL)


def _head(content: RoundContent, width: float) -> Row:
    """Whose round, which day, how many vats and animals."""
    side = qr_side(content.address, 13.0)
    who, look = fitted(
        content.who or content.language.say("Everyone"), (30, 24, 18, 14), Look(bold=True, narrow=False), 70
    )
    vats = [vat for stop in content.stops for vat in stop.vats]
    animals = sum(lot.headcount for vat in vats for lot in vat.lots)
    left = max((look.width(line) for line in who), default=0.0) + 4
    say, say_many = content.language.say, content.language.say_many
    here, alive = say_many("{n} vat", "{n} vats", len(vats)), say_many("{n} animal", "{n} animals", animals)
    words = joined((content.hours, say("cleanest water first, never back"), f"{here}, {alive}"))
    lines = wrapped(words, Look(9.5), width - left - side - 2)
    height = max(15.0, side + 1, len(who) * 0.36 * look.size + 2, 7 + len(lines) * 4.0) + 1

    def draw(sheet: SheetPen, y: float) -> None:
        with sheet.canvas.tag("H1"):
            for n, line in enumerate(who):
                sheet.words(0, y + (n + 1) * 0.36 * look.size - 0.5, line, look)
            sheet.words(left, y + 5.2, _titled(content, 1)[0], Look(14, bold=True))
        sheet.lines(left, y + 6.8, lines, Look(9.5))
        sheet.qr(content.address, (width - side, y), side)

    return Row(height, draw)


def _heading(content: RoundContent, stop: RoundStop, width: float) -> Row:
    bold = Look(SMALLEST, bold=True, align="centre")
    due = content.language.say("due today, tick when done")

    def draw(sheet: SheetPen, y: float) -> None:
        sheet.box((0, y), (width, 5.0), GRID, GREY)
        x = 0.0
        with sheet.canvas.table(stop), sheet.canvas.head_row():
            for word, wide in _COLUMNS:
                with sheet.canvas.column_head():
                    sheet.words(x + wide / 2, y + 3.6, sheet.say(word), bold)
                x += wide
            with sheet.canvas.column_head():
                sheet.words(x + (width - _DUE_X) / 2, y + 3.6, due, bold)

    return Row(5.0, draw)


def _band(content: RoundContent, stop: RoundStop, number: int, width: float) -> Band:
    rows = [row for vat in stop.vats for row in _vat_rows(content, stop, vat, width)]
    return Band(_bar(content, stop, number, width), tuple(rows), _heading(content, stop, width))


def _bar(content: RoundContent, stop: RoundStop, number: int, width: float) -> Row:
    """Black bar of a system with the barrier to pass before it, and its water read once."""
    black, name_of = 62.0, f"system.{stop.key}" if stop.key else str(number)
    name, look = fitted(stop.system.upper(), (12, 10, 9), Look(bold=True, white=True), black - 10)
    state = wrapped(stop.state, Look(SMALLEST, white=True), black - 10)
    middle = width - black - 58.0
    barrier = wrapped(stop.barrier, Look(9, bold=True), middle - 9)
    height = max(11.0, len(name) * look.pitch + len(state) * 3.36 + 1.5, len(barrier) * 3.8 + 1) + 1.0

    def draw(sheet: SheetPen, y: float) -> None:
        tall = height - 1.0
        sheet.box((0, y + 1), (width, tall), FRAME)
        sheet.box((0, y + 1), (black, tall), 0.0, 0.0)
        with sheet.canvas.tag("H2"):
            sheet.words(4, y + 1 + tall / 2 + 1.8, str(number), Look(14, bold=True, align="centre", white=True))
            foot = sheet.lines(9, y + 1.5, name, look)
        sheet.lines(9, foot, state, Look(SMALLEST, white=True))
        if stop.barrier:
            draw_wear(sheet, "gloves", (black + 1.5, y + 1 + (tall - 6.6) / 2))
            sheet.lines(black + 9, y + 1 + (tall - len(barrier) * 3.8) / 2, barrier, Look(9, bold=True))
            told = sheet.say("before {system}: {barrier}", system=stop.system, barrier=stop.barrier)
            sheet.tick((width - 57.5, y + 1 + (tall - 10) / 2), f"{name_of}.barrier", told)
        sheet.lines(width - 46, y + 1 + (tall - 6.8) / 2, _whole(sheet), _SMALL)
        units = ((width - 36, "°C", content.temperature_unit), (width - 18, "PSU", content.salinity_unit))
        for x, field, unit in units:
            sheet.write((x, y + 1 + (tall - 9.6) / 2), (17, 9.6), f"{name_of}.{field}", label=unit,
                        told=f"{stop.system}: {unit}")  # fmt: skip

    return Row(height, draw)


def _whole(sheet: SheetPen) -> tuple[str, ...]:
    return wrapped(sheet.say("whole system"), _SMALL, 10.5)


def _vat_rows(content: RoundContent, stop: RoundStop, vat: RoundVat, width: float) -> list[Row]:
    """A row for each lot with the vat's name, large in the first: a row that a new page begins with says where it is too."""

    def within(row: Row) -> Row:
        def draw(sheet: SheetPen, y: float) -> None:
            with sheet.canvas.table(stop), sheet.canvas.tag("TR"):
                row.draw(sheet, y)

        return Row(row.height, draw)

    return [within(_lot_row(content, vat, lot, n, width)) for n, lot in enumerate(vat.lots)]


def _due_lines(due: RoundDue, room: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    detail = wrapped(joined((due.detail, due.state)), _SMALL, room)
    return wrapped(due.what, Look(9.5, bold=True), room), detail


def _lot_row(content: RoundContent, vat: RoundVat, lot: RoundLot, place: int, width: float) -> Row:
    room = width - _DUE_X - 17
    told = [(due, *_due_lines(due, room)) for due in lot.due]
    each = [max(_TICKED_MM, len(what) * 4.0 + len(detail) * 3.36 + 0.8) for _, what, detail in told]
    name = wrapped(lot.name, Look(9), _COLUMNS[1][1] - 2)
    batch, batch_look = fitted(joined((lot.batch, lot.day)), (9, SMALLEST), Look(bold=True), _COLUMNS[1][1] - 2)
    sizes = (9, SMALLEST) if place else (17, 14, 11, 9, SMALLEST)
    vat_name, vat_look = fitted(vat.vat, sizes, Look(bold=not place), _COLUMNS[0][1] - 1)
    left = len(batch) * batch_look.pitch + len(name) * 3.78
    height = max(_ROW_MM, sum(each), left + 0.6, len(vat_name) * vat_look.pitch + 0.6)

    def draw(sheet: SheetPen, y: float) -> None:
        cell = partial(sheet.canvas.tag, "TD")
        sheet.line((0 if not place else _COLUMNS[0][1], y), (width, y), GRID)
        sheet.line((0, y + height), (width, y + height), GRID)
        with sheet.canvas.row_head():
            sheet.lines(0.8, y + (height - len(vat_name) * vat_look.pitch) / 2, vat_name, vat_look)
        with cell():
            foot = sheet.lines(_COLUMNS[0][1] + 1, y + (height - left) / 2, batch, batch_look)
            sheet.lines(_COLUMNS[0][1] + 1, foot, name, Look(9))
        x = _COLUMNS[0][1] + _COLUMNS[1][1]
        with cell():
            count = content.language.count(lot.headcount)
            sheet.words(x + 13.5, y + height / 2 + 1.7, count, Look(13, bold=True, align="right"))
        x += _COLUMNS[2][1]
        for word, wide in _COLUMNS[3:6]:
            told_field = f"{vat.vat}, {lot.batch}: {sheet.say(word)}"
            with cell():
                sheet.entry((x, y), (wide, height), f"{vat.vat}.{lot.batch}.{word}", told_field)
            x += wide
        with cell():
            _draw_sign(sheet, vat.danger, (x + 2.7, y + (height - 7.6) / 2))
        _draw_lines(sheet, y, height, width)
        with cell():
            draw_all_due(sheet, y)

    def draw_all_due(sheet: SheetPen, top: float) -> None:
        for n, ((due, what, detail), tall) in enumerate(zip(told, each, strict=True), start=1):
            draw_due(sheet, due.mark, (_DUE_X + 1, top + 0.8), 3.6)
            below = sheet.lines(_DUE_X + 5.5, top + 0.2, what, Look(9.5, bold=True))
            sheet.lines(_DUE_X + 5.5, below, detail, _SMALL)
            told_as = f"due.{due.key}" if due.key else f"{vat.vat}.{lot.batch}.due-{n}"
            sheet.tick((width - 10.4, top + 0.3), told_as, f"{vat.vat}, {lot.batch}: {due.what}", ticked=due.done)
            top += tall

    return Row(height, draw)


def _draw_sign(sheet: SheetPen, danger: Danger | None, corner: tuple[float, float]) -> None:
    """The sign of what can kill or hurt in a vat, with its words for those who cannot see it."""
    if danger is not None:
        told = danger.short or danger.head or danger.mark
        low = sheet.at(corner[0], corner[1] + 7.6)
        with sheet.canvas.figure(told, low, (7.6 * mm, 7.6 * mm)):
            draw_danger(sheet, danger.mark, corner, 7.6)


def _draw_lines(sheet: SheetPen, y: float, height: float, width: float) -> None:
    x = 0.0
    sheet.line((0, y), (0, y + height), FRAME)
    for _, wide in _COLUMNS:
        x += wide
        sheet.line((x, y), (x, y + height), GRID)
    sheet.line((width, y), (width, y + height), FRAME)
