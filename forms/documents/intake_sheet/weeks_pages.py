"""The pages of the weeks: a calendar for the vats of each page, what its codes mean, and the gates before release."""

from __future__ import annotations

from dataclasses import dataclass

from forms.documents.intake_sheet.sheet_content import SheetContent, VatShare, WorkKind
from forms.documents.intake_sheet.week_blocks import HEADING_MM, Week, draw_heading, draw_week, weeks_of
from forms.documents.shared_content import joined, marked
from forms.layout.page import PaperError
from forms.layout.sheet_pen import FRAME, GRID, SMALLEST, Look, SheetPen, fitted, wrapped
from forms.layout.speech import phrase

__all__ = ["WeeksPage", "draw_weeks", "weeks_pages"]

_MOST_VATS = 3
_SMALL = Look(SMALLEST)
_GATE = Look(8.5)
_BAR_MM = 10.4
_TALLEST_ONE, _TALLEST_MORE = 22.0, 11.0


@dataclass(frozen=True, slots=True)
class WeeksPage:
    """One page of the calendar: its vats, its weeks, and whether the gates stand below them."""

    vats: tuple[VatShare, ...]
    weeks: tuple[Week, ...]
    gates: bool
    pitch: float


def weeks_pages(content: SheetContent, width: float, room: float) -> list[WeeksPage]:
    """Vats and weeks over pages of `room` mm: up to three vats side by side, fewer where all weeks then fit.

    Raises
    ------
    PaperError
        If one week of one vat is taller than a page.
    """
    vats = content.vats or (VatShare(content.language.say("all"), content.announced),)
    if content.weeks_from is None or content.days < 1:
        return []
    tried = []
    for beside in range(min(_MOST_VATS, len(vats)), 0, -1):
        parts = [_page(content, vats[n : n + beside], width, room) for n in range(0, len(vats), beside)]
        whole = all(len(part) == 1 for part in parts)
        tried.append((sum(map(len, parts)), not whole, [page for part in parts for page in part]))
        if whole:
            break
    return min(tried, key=lambda one: one[:2])[2]


def _page(content: SheetContent, vats: tuple[VatShare, ...], width: float, room: float) -> list[WeeksPage]:
    """The calendar of some vats: one page if it fits, otherwise its weeks shared out evenly over several."""
    weeks = weeks_of(content, vats)
    line = max(week.least_line for week in weeks)
    tall = [week.strip + line * len(vats) for week in weeks]
    ending = _legend_height(content, weeks, width) + gates_height(content, width)
    for count in range(1, len(weeks) + 1):
        parts = _shared_out(tall, count)
        used = [HEADING_MM + sum(tall[n] for n in part) for part in parts]
        if all(u <= room - (ending if part is parts[-1] else 0.0) for u, part in zip(used, parts, strict=True)):
            break
    else:
        message = f"one week of {vats[0].vat} is taller than a page; shorten the work of its days"
        raise PaperError(message)
    most = _TALLEST_ONE if len(vats) == 1 else _TALLEST_MORE
    pages = []
    for n, part in enumerate(parts):
        last = n == len(parts) - 1
        spare = room - used[n] - (ending if last else 0.0)
        pitch = min(max(most, line), line + max(0.0, spare) / (len(part) * len(vats)))
        pages.append(WeeksPage(vats, tuple(weeks[k] for k in part), last, pitch))
    return pages


def _shared_out(tall: list[float], count: int) -> list[list[int]]:
    """Numbers of the weeks for each of `count` pages; the last page, which also takes the gates, has fewest."""
    each = -(-len(tall) // count)
    return [list(range(n, min(n + each, len(tall)))) for n in range(0, len(tall), each)]


def draw_weeks(sheet: SheetPen, content: SheetContent, page: WeeksPage, y: float) -> None:
    """The calendar from y downwards, then the meaning of its codes and the gates."""
    with sheet.canvas.table(page.vats):
        draw_heading(sheet, y, page.weeks[0].first)
        y += HEADING_MM
        for week in page.weeks:
            y = draw_week(sheet, week, y, page.pitch)
    sheet.line((0, y), (sheet.width, y), FRAME)
    if page.gates:
        y = _draw_legend(sheet, content, list(page.weeks), y + 1)
        _draw_gates(sheet, content, page.vats, y + 1)


def _used(content: SheetContent, weeks: list[Week]) -> list[WorkKind]:
    """Kinds of work whose code stands on these vats' pages, in the order of the content."""
    codes = {one.code for week in weeks for day in week.work for one in day}
    return [kind for kind in content.kinds if kind.code in codes or not weeks]


def _legend(content: SheetContent, weeks: list[Week], width: float) -> list[tuple[str, tuple[str, ...]]]:
    found = []
    for kind in _used(content, weeks):
        strength = marked(kind.strength, published=kind.published)
        after = content.language.say("Bath water: {disposal}", disposal=kind.disposal) if kind.disposal else ""
        words = joined((kind.what, strength, kind.minutes, kind.order, kind.protection, after))
        found.append((kind.code, wrapped(words, _SMALL, width - 8)))
    return found


_KEY = phrase("D dead · W weak · L left · heavy box: initials when done · thin box: the round")


def _legend_height(content: SheetContent, weeks: list[Week], width: float) -> float:
    key = wrapped(content.language.say(_KEY), _SMALL, width - 8)
    return 2.0 + len(key) * _SMALL.pitch + sum(len(lines) for _, lines in _legend(content, weeks, width)) * _SMALL.pitch


def _draw_legend(sheet: SheetPen, content: SheetContent, weeks: list[Week], y: float) -> float:
    y = sheet.lines(8, y, wrapped(sheet.say(_KEY), _SMALL, sheet.width - 8), _SMALL)
    with sheet.canvas.tag("L"):
        for code, lines in _legend(content, weeks, sheet.width):
            with sheet.canvas.tag("LI"):
                with sheet.canvas.part("Lbl"):
                    sheet.words(0.5, y + 2.7, code, Look(SMALLEST, bold=True))
                with sheet.canvas.part("LBody"):
                    y = sheet.lines(8, y, lines, _SMALL)
    return y + 1


def _gate_rows(content: SheetContent, width: float) -> list[tuple[list[tuple[str, ...]], float]]:
    """Gates two by two: the lines of each and the height of their row."""
    room = width / 2 - 51
    told = [wrapped(f"{n}  {words}", _GATE, room) for n, words in enumerate(content.gates, start=1)]
    pairs = [told[n : n + 2] for n in range(0, len(told), 2)]
    return [(pair, max(12.0, *(len(lines) * _GATE.pitch + 1.4 for lines in pair))) for pair in pairs]


def gates_height(content: SheetContent, width: float) -> float:
    """Height of the gates and the bar below them, mm."""
    rows = _gate_rows(content, width)
    return sum(height for _, height in rows) + (_BAR_MM + 1.0 if rows else 0.0)


def _draw_gates(sheet: SheetPen, content: SheetContent, vats: tuple[VatShare, ...], y: float) -> None:
    number, half = 0, sheet.width / 2
    rows = _gate_rows(content, sheet.width)
    where = vats[0].vat
    for pair, height in rows:
        for side, lines in enumerate(pair):
            number += 1
            with sheet.canvas.list_of(content.gates), sheet.canvas.tag("LI"), sheet.canvas.part("LBody"):
                _draw_gate(sheet, (side * half, y), (half, height), lines, (number, where))
        y += height
    if rows:
        _draw_bar(sheet, y, where, len(content.gates))


def _draw_gate(
    sheet: SheetPen, corner: tuple[float, float], size: tuple[float, float], lines: tuple[str, ...],
    place: tuple[int, str],
) -> None:  # fmt: skip
    """One gate: what must be so, and room for the date and the signature."""
    (x, y), (half, height), (number, where) = corner, size, place
    sheet.box((x, y), (half, height), FRAME)
    sheet.lines(x + 1.5, y + 0.7, lines, _GATE)
    for left, wide, word in ((half - 47, 20.0, phrase("date")), (half - 25, 23.0, phrase("signature"))):
        sheet.line((x + left, y + height - 3.4), (x + left + wide, y + height - 3.4), GRID)
        sheet.words(x + left, y + height - 0.6, sheet.say(word), _SMALL)
        sheet.entry((x + left, y + height - 11.6), (wide, 8.2), f"gate.{number}.{word}.{where}",
                    _gate_told(sheet, number, word))  # fmt: skip


def _gate_told(sheet: SheetPen, number: int, word: str) -> str:
    return sheet.say("gate {number}: {what}", number=number, what=sheet.say(word))


def _draw_bar(sheet: SheetPen, y: float, where: str, gates: int) -> None:
    sheet.box((0, y), (sheet.width, _BAR_MM), 0.0, 0.0)
    wide = sheet.words(2, y + 6.8, sheet.say("RELEASED"), Look(13, bold=True, narrow=False, white=True))
    words = sheet.say("all {number} gates signed; never by date alone", number=gates)
    told, look = fitted(words, (9, SMALLEST), Look(white=True), sheet.width - 88 - wide - 6)
    for n, line in enumerate(told):
        sheet.words(wide + 5, y + (6.6 if len(told) == 1 else 4.0 + n * look.pitch), line, look)
    x = sheet.width - 88
    for across, word in ((20.0, phrase("count")), (26.0, "date"), (37.0, "signature")):
        sheet.write((x, y + 1), (across, _BAR_MM - 2), f"released.{word}.{where}",
                    label=sheet.say(word), told=sheet.say("released: {what}", what=sheet.say(word)))  # fmt: skip
        x += across + 2
