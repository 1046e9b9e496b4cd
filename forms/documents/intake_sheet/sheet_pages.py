"""Intake sheets over pages: the day, the weeks, as many further pages as the boxes, vats or steps need; nothing is cut."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from forms.documents.danger_strip import kill_strip, wear_line
from forms.documents.intake_sheet.day_bands import day_bands
from forms.documents.intake_sheet.heads import day_head, facts, later_head, permit_notes
from forms.documents.intake_sheet.sheet_content import SheetContent
from forms.documents.intake_sheet.weeks_pages import WeeksPage, draw_weeks, weeks_pages
from forms.documents.shared_content import joined
from forms.layout.bands import DayPage, Row, pages_of
from forms.layout.lettering import clean
from forms.layout.page import PaperError, Pen
from forms.layout.pdf.canvas import document
from forms.layout.pdf.structure import FOOTER
from forms.layout.sheet_pen import GRID, SMALLEST, Look, SheetPen, sheet_paper
from forms.layout.stamp import STAMP

__all__ = ["sheet", "sheets"]

_FOOT_MM = 11.5
_NOTES_MM = 14.0
_NOTES = Look(9, bold=True)


def sheet(content: SheetContent, paper: str = "a4", *, fillable: bool = False) -> bytes:
    """Intake sheet of one batch as PDF.

    Parameters
    ----------
    content
        What it says.
    paper
        ``"a4"`` or ``"letter"``.
    fillable
        True adds named form fields to every box to write in, to tick or to choose.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper, or one word or row taller than a page.
    """
    return sheets((content,), paper, fillable=fillable)


def sheets(contents: Iterable[SheetContent], paper: str = "a4", *, fillable: bool = False) -> bytes:
    """Intake sheets of many batches in one PDF, page numbers within each batch.

    Raises
    ------
    PaperError
        As `sheet`; also for no content at all.
    """
    size = sheet_paper(paper)
    told = list(contents)
    if not told:
        message = "nothing to print: no content was given"
        raise PaperError(message)
    canvas, buffer = document(size.size, _title(told), told[0].farm, told[0].language)
    canvas.setSubject(clean("; ".join(f"{content.batch} {content.revision.split(' · ')[0]}" for content in told)))
    pen = Pen(canvas, fillable)
    seen: dict[str, int] = {}
    for content in told:
        seen[content.batch] = seen.get(content.batch, 0) + 1
        again = f"~{seen[content.batch]}" if seen[content.batch] > 1 else ""
        pen.prefix, pen.language = f"{content.batch}{again}.", content.language
        with canvas.tag("Sect"):
            for drawn in _pages(content, SheetPen(pen, size)):
                drawn()
                canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _title(contents: list[SheetContent]) -> str:
    say = contents[0].language.say
    if len(contents) == 1:
        return joined((say("Intake sheet"), contents[0].batch, contents[0].name))
    shipments = ", ".join(dict.fromkeys(content.shipment for content in contents if content.shipment))
    return joined((say("Intake sheets"), shipments))


def _pages(content: SheetContent, sheet: SheetPen) -> list[Callable[[], None]]:
    """Every page as a call that draws it; heads are set again once it is known how many pages there are."""
    width, bottom = sheet.width, sheet.height - _FOOT_MM
    above, say = _above(content, width), content.language.say
    longest, of_weeks = say("page {number} of {total}", number=10, total=10), say("Intake · the weeks")
    first = day_head(content, longest, width).height + sum(row.height for row in above) + 1
    later = later_head(content, of_weeks, longest, width).height + 1
    days = pages_of(day_bands(content, width), first, later, bottom)
    weeks = weeks_pages(content, width, bottom - later)
    total = len(days) + len(weeks)

    def day(number: int) -> Callable[[], None]:
        def draw() -> None:
            _draw_day(sheet, content, days[number - 1], above, (number, total))

        return draw

    def week(number: int, page: WeeksPage) -> Callable[[], None]:
        def draw() -> None:
            told = say("page {number} of {total}", number=number, total=total)
            later_head(content, of_weeks, told, width, heads=page is weeks[0]).draw(sheet, 0)
            draw_weeks(sheet, content, page, later)
            _foot(sheet, content, told)

        return draw

    return [
        *(day(number) for number in range(1, len(days) + 1)),
        *(week(len(days) + number, page) for number, page in enumerate(weeks, start=1)),
    ]


def _above(content: SheetContent, width: float) -> list[Row]:
    """What stands between head and bands on the first page."""
    rows = [
        kill_strip(content.kills, content.emergency, width),
        wear_line(content.wear, content.wear_words, width),
        *facts(content, width),
        permit_notes(content, width),
    ]
    return [row for row in rows if row is not None]


def _draw_day(sheet: SheetPen, content: SheetContent, page: DayPage, above: list[Row], place: tuple[int, int]) -> None:
    number, total = place
    told = sheet.say("page {number} of {total}", number=number, total=total)
    if number == 1:
        y = day_head(content, told, sheet.width).height
        day_head(content, told, sheet.width).draw(sheet, 0)
        for row in above:
            row.draw(sheet, y)
            y += row.height
    else:
        later_head(content, sheet.say("Intake · the day, continued"), told, sheet.width).draw(sheet, 0)
    for top, draw in page.drawn:
        draw(sheet, top)
    bottom = sheet.height - _FOOT_MM
    if page.end + _NOTES_MM <= bottom:
        with sheet.canvas.tag("H2"):
            sheet.words(
                0, page.end + 3.4, sheet.say("What you saw: color, gaping, damage, slime, smell; who was told"), _NOTES
            )
        sheet.ruled(page.end + 3.5, bottom)
    _foot(sheet, content, told)


def _foot(sheet: SheetPen, content: SheetContent, told: str) -> None:
    """Code, species, revision and page below a line, then the mark of unsourced values and the ledger's head."""
    with sheet.canvas.artifact(FOOTER):
        _foot_lines(sheet, content, told)


def _foot_lines(sheet: SheetPen, content: SheetContent, told: str) -> None:
    y = sheet.height - _FOOT_MM + 1.5
    sheet.line((0, y), (sheet.width, y), GRID)
    look, bold = Look(SMALLEST), Look(SMALLEST, bold=True, align="right")
    right = sheet.words(sheet.width, y + 3.2, told, bold)
    revision = content.revision.split(" · ")[0]
    words = joined((content.batch, content.name, revision, content.shipment))
    short = content.name if look.width(words) < sheet.width - right - 4 else ""
    sheet.words(0, y + 3.2, words if short else joined((content.batch, revision, content.shipment)), look)
    sheet.words(0, y + 6.5, content.foot, look)
    sheet.words(0, y + 9.8, STAMP.get(), look)
