"""One week of the calendar on a sheet: a strip with each day's work to initial, and a line a vat for dead, weak, left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from forms.documents.intake_sheet.sheet_content import DayWork, SheetContent, VatShare
from forms.layout.marks import draw_due
from forms.layout.pdf.structure import COLUMN
from forms.layout.sheet_pen import FRAME, GREY, GRID, HAIR, OWED, SMALLEST, WEEKEND, Look, SheetPen, fitted, wrapped
from forms.layout.speech import phrase

__all__ = ["DAY_MM", "HEADING_MM", "OPENING_MM", "Week", "draw_heading", "weeks_of"]

OPENING_MM, DAY_MM, HEADING_MM = 17.0, 22.0, 7.4
_STRIP_MM, _DEAD_MM, _WEAK_MM = 10.6, 6.6, 6.6
_LEAST_LINE_MM = 8.0
_NAME_MM = 8.3
_SMALL, _SMALL_BOLD = Look(SMALLEST), Look(SMALLEST, bold=True)
_TIGHT = 3.0
_DATE_MM = 4.2


@dataclass(frozen=True, slots=True)
class Week:
    """A week of the calendar on the page of some vats.

    Attributes
    ----------
    number, first
        Week of quarantine, counted from 1, and its first day.
    last
        Last day that is one; later days of the week are hatched.
    vats
        Vats whose lines stand in it.
    work
        What is due in it, a list for each of the seven days.
    strip
        Height of the strip above the vat lines, mm.
    stands
        Vat the animals stand in on each day, where transfers move them; empty where none does.
    """

    number: int
    first: date
    last: date
    vats: tuple[VatShare, ...]
    work: tuple[tuple[DayWork, ...], ...]
    strip: float
    stands: tuple[str, ...] = ()

    @property
    def least_line(self) -> float:
        """Least height of a vat's line, mm: room to write in, more for a name too long to stand beside the count."""
        least = max(_name_height(share.vat) for share in self.vats)
        return max(least, _LEAST_LINE_MM + 3.2) if self.stands else least


def weeks_of(content: SheetContent, vats: tuple[VatShare, ...]) -> list[Week]:
    """The calendar in weeks from the landing weekday, for the vats of one page."""
    if content.weeks_from is None or content.days < 1:
        return []
    names = {share.vat for share in vats}
    last = content.weeks_from + timedelta(days=content.days - 1)
    moved = any(one.to_vat for one in content.work)
    found = []
    for number in range(1, -(-content.days // 7) + 1):
        first = content.weeks_from + timedelta(days=7 * (number - 1))
        days = tuple(_work_of(content.work, first + timedelta(days=n), names) for n in range(7))
        strip = max(_STRIP_MM, *(_stack(work, names) for work in days))
        stands = tuple(_stands(content, vats, first + timedelta(days=n)) for n in range(7)) if moved else ()
        found.append(Week(number, first, last, vats, days, strip, stands))
    return found


def _stands(content: SheetContent, vats: tuple[VatShare, ...], day: date) -> str:
    """Vat the animals of one vat's line stand in on the evening of a day, after the transfers until then."""
    moves = [one.to_vat for one in content.work if one.to_vat and one.day <= day]
    return moves[-1] if moves else vats[0].vat


def _work_of(work: Sequence[DayWork], day: date, vats: set[str]) -> tuple[DayWork, ...]:
    return tuple(one for one in work if one.day == day and (not one.vats or vats & set(one.vats)))


def _told(one: DayWork, vats: set[str]) -> tuple[str, ...]:
    """Lines of one work in its day: few words, the vats if not all, the state the books give it."""
    some = "" if not one.vats or vats <= set(one.vats) else ", ".join(v for v in one.vats if v in vats)
    room = DAY_MM - 11.2
    return tuple(line for words in (one.brief, some, one.state) for line in wrapped(words, _SMALL, room))


def _stack(work: Sequence[DayWork], vats: set[str]) -> float:
    """Height of one day's work, each below the other with its own box to initial."""
    tall = 0.0
    for place, one in enumerate(work):
        lines = len(_told(one, vats))
        tall += max(_STRIP_MM, _DATE_MM + lines * _TIGHT + 0.6 + (3.0 if place == 0 and one.day.day == 1 else 0.0))
    return tall


def _name_height(vat: str) -> float:
    lines, look = fitted(vat, (11, 9.5, SMALLEST), Look(bold=True), _NAME_MM)
    if len(lines) * look.pitch <= _LEAST_LINE_MM:
        return _LEAST_LINE_MM
    return len(wrapped(vat, _SMALL_BOLD, OPENING_MM - 1.5)) * _SMALL_BOLD.pitch + _LEAST_LINE_MM + 0.5


_CELLS = (
    (0.0, _DEAD_MM, phrase("D")), (_DEAD_MM, _WEAK_MM, phrase("W")), (13.2, DAY_MM - 13.2, phrase("L")),
)  # fmt: skip
"""Left edge and width of a day's cells, mm, and their letters: dead, weak, left."""


def draw_heading(sheet: SheetPen, y: float, first: date) -> None:
    """Weekdays from the landing day on, and what the three cells of each day take."""
    sheet.box((0, y), (sheet.width, HEADING_MM), FRAME, GREY)
    head = Look(SMALLEST, bold=True, align="centre")
    with sheet.canvas.head_row() as row:
        cells = [row if row.begin else row.add("TH", more=COLUMN) for _ in range(9)]
    with sheet.canvas.within(cells[0]):
        sheet.lines(OPENING_MM / 2, y + 0.3, (sheet.say("vat"), sheet.say("opening")), head)
    with sheet.canvas.within(cells[8]):
        sheet.lines((OPENING_MM + 7 * DAY_MM + sheet.width) / 2, y + 0.3, (sheet.say("dead"), sheet.say("sum")), head)
    for n in range(7):
        x = OPENING_MM + n * DAY_MM
        with sheet.canvas.within(cells[n + 1]):
            sheet.words(x + DAY_MM / 2, y + 3.1, sheet.pen.language.day(first + timedelta(days=n), "%a"), head)
            for left, wide, word in _CELLS:
                sheet.words(x + left + wide / 2, y + 6.6, sheet.say(word), Look(SMALLEST, align="centre"))


def draw_week(sheet: SheetPen, week: Week, y: float, pitch: float) -> float:
    """One week from y downwards with vat lines of `pitch` mm; gives the y below it."""
    foot = y + week.strip + pitch * len(week.vats)
    with sheet.canvas.tag("TR"):
        with sheet.canvas.row_head():
            sheet.words(0.8, y + 3.6, sheet.say("week {number}", number=week.number), _SMALL_BOLD)
            sheet.words(0.8, y + 7.0, f"{week.first.day} {sheet.pen.language.day(week.first, '%b')}", _SMALL_BOLD)
        sheet.line((0, y), (sheet.width, y), FRAME)
        for n in range(7):
            with sheet.canvas.tag("TD"):
                _draw_strip(sheet, week, n, y, foot)
        with sheet.canvas.tag("TD"):
            pass
    for n in range(8):
        x = OPENING_MM + n * DAY_MM
        sheet.line((x, y), (x, foot), GRID)
    top = y + week.strip
    for share in week.vats:
        with sheet.canvas.tag("TR"):
            _draw_line(sheet, week, share, top, pitch)
        top += pitch
    sheet.line((0, y), (0, foot), FRAME)
    sheet.line((sheet.width, y), (sheet.width, foot), FRAME)
    return foot


def _draw_strip(sheet: SheetPen, week: Week, n: int, y: float, foot: float) -> None:
    """One day above the lines of the vats: what is due, hatched where it is no day of quarantine."""
    day = week.first + timedelta(days=n)
    corner = (OPENING_MM + n * DAY_MM, y)
    if day > week.last:
        sheet.hatched(corner, (DAY_MM, foot - y))
        return
    if day.weekday() >= 5:
        sheet.box(corner, (DAY_MM, foot - y), 0.0, WEEKEND)
    _draw_day(sheet, week, day, week.work[n], corner, {share.vat for share in week.vats})


def _draw_day(
    sheet: SheetPen, week: Week, day: date, work: Sequence[DayWork], corner: tuple[float, float], names: set[str]
) -> None:
    x, y = corner
    first_of_month = day.day == 1
    words = f"{day.day} {sheet.pen.language.day(day, '%b')}" if first_of_month else str(day.day)
    size = SMALLEST if first_of_month and work else 9.0 if work else 10.5
    wide = sheet.words(x + 0.6, y + 3.8, words, Look(size, bold=True))
    if not work:
        told = sheet.say("round of {day} done", day=sheet.pen.language.day(day, "%d %b"))
        sheet.tick((x + DAY_MM - 10.3, y + 0.3), f"round.{day.isoformat()}.{week.vats[0].vat}", told, weight=HAIR)
    for place, one in enumerate(work):
        start = y + (3.0 if place == 0 and first_of_month else 0.0)
        left = x + 0.6 + (wide + 0.4 if place == 0 and not first_of_month else 0.0)
        side = min(3.2, x + DAY_MM - 10.8 - left - _SMALL_BOLD.width(one.code))
        draw_due(sheet, _MARKS.get(one.code[:1], "inspection"), (left, start + 0.9), side)
        sheet.words(left + side + 0.2, start + 3.7, one.code, _SMALL_BOLD)
        foot = start + _DATE_MM
        for line in _told(one, names):
            sheet.words(x + 0.8, foot + 2.6, line, _SMALL)
            foot += _TIGHT
        name = f"work.{day.isoformat()}.{one.code}.{place + 1}.{week.vats[0].vat}"
        done = one.done
        told = sheet.say("{code} of {day}: initials", code=one.code, day=sheet.pen.language.day(day, "%d %b"))
        sheet.tick((x + DAY_MM - 10.35, y + 0.3), name, told, weight=OWED, ticked=done)
        y += max(_STRIP_MM, foot + 0.6 - y)


_MARKS = {"D": "dip", "I": "inspection", "M": "transfer", "R": "release check"}
"""First letter of a code → its sign."""


def _draw_line(sheet: SheetPen, week: Week, share: VatShare, y: float, pitch: float) -> None:
    """One vat's week: its name and opening count, seven times dead, weak, left, and the sum of the dead."""
    sheet.line((0, y), (sheet.width, y), GRID)
    with sheet.canvas.row_head():
        _draw_name(sheet, share.vat, y, pitch, f"{share.vat}.week-{week.number}")
    for n in range(7):
        with sheet.canvas.tag("TD"):
            _draw_cells(sheet, week, share, n, (y, pitch))
    x = OPENING_MM + 7 * DAY_MM
    with sheet.canvas.tag("TD"):
        sheet.entry((x, y), (sheet.width - x, pitch), f"{share.vat}.week-{week.number}.dead-sum",
                    sheet.say("{vat}, week {number}: dead, sum", vat=share.vat, number=week.number))  # fmt: skip


def _draw_cells(sheet: SheetPen, week: Week, share: VatShare, n: int, line: tuple[float, float]) -> None:
    """Dead, weak and left of one vat on one day; none where it is no day of quarantine."""
    (y, pitch), above = line, 3.2 if week.stands else 0.0
    day = week.first + timedelta(days=n)
    if day > week.last:
        return
    x, name = OPENING_MM + n * DAY_MM, f"{share.vat}.{day.isoformat()}"
    cells = ((0.0, _DEAD_MM, "dead"), (_DEAD_MM, _WEAK_MM, "weak"), (13.2, DAY_MM - 13.2, "left"))
    for left, wide, word in cells:
        sheet.line((x + left, y), (x + left, y + pitch), HAIR)
        told = f"{share.vat}, {sheet.pen.language.day(day, '%d %b')}: {sheet.say(word)}"
        sheet.entry((x + left, y + above), (wide, pitch - above), f"{name}.{word}", told)
    if week.stands:
        sheet.words(x + DAY_MM - 0.6, y + 2.9, week.stands[n], Look(SMALLEST, align="right"))


def _draw_name(sheet: SheetPen, vat: str, y: float, pitch: float, name: str) -> None:
    told = sheet.say("{vat}: count at the start of the week", vat=vat)
    lines, look = fitted(vat, (11, 9.5, SMALLEST), Look(bold=True), _NAME_MM)
    if len(lines) * look.pitch <= _LEAST_LINE_MM:
        sheet.lines(0.8, y + (pitch - len(lines) * look.pitch) / 2, lines, look)
        sheet.write((_NAME_MM + 0.6, y), (OPENING_MM - _NAME_MM - 0.6, pitch), f"{name}.opening", told=told)
        return
    foot = sheet.para(0.8, y, OPENING_MM - 1.5, vat, _SMALL_BOLD)
    sheet.write((0, foot), (OPENING_MM, y + pitch - foot), f"{name}.opening", told=told)
