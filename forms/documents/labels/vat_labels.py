"""Labels that hang at vats: what stands there by the ledger, what is dangerous in that water, and when it may leave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm

from forms.documents.labels.label_sheets import LabelGrid, corner_of, cut_marks, grid_of
from forms.documents.shared_content import Danger
from forms.layout.marks import draw_danger
from forms.layout.page import Paper, PaperError, Pen
from forms.layout.pdf.canvas import document
from forms.layout.qr_code import draw_qr, qr_modules
from forms.layout.sheet_pen import GRID, SMALLEST, Look, SheetPen, fitted, wrapped
from forms.layout.speech import ENGLISH, Speech, phrase

__all__ = ["VatLabel", "VatLot", "vat_labels"]

_LEAST_WIDTH_MM, _LEAST_HEIGHT_MM = 60.0, 36.0
_LEAST_MODULE_MM = 0.45
_PAD = 2.5
_TOLD = Look(SMALLEST, bold=True)


@dataclass(frozen=True, slots=True)
class VatLot:
    """Animals of one batch in the vat, by the ledger."""

    count: int
    batch: str
    name: str


@dataclass(frozen=True, slots=True)
class VatLabel:
    """What one label says.

    Attributes
    ----------
    vat, system
        Vat in the largest type that fits, and its system.
    told
        Count and date of the ledger, such as ``721 animals, 28 Oct 2026``.
    lots
        What stands there, largest first.
    danger
        The worst in that water, shown by a mark and words; None for nothing.
    state, says, notes
        Large word or number of the foot, what it counts, and up to two lines of why.
    free
        True prints the foot black on white: shown by tone and word, not by colour.
    address
        What the QR code says.
    """

    vat: str
    system: str
    told: str
    lots: tuple[VatLot, ...]
    state: str
    says: str
    address: str
    notes: tuple[str, ...] = ()
    danger: Danger | None = None
    free: bool = False


def vat_labels(
    contents: Sequence[VatLabel],
    grid: str | LabelGrid = "a4-2x4",
    first: int = 1,
    *,
    offset_mm: tuple[float, float] = (0.0, 0.0),
    marks: bool = False,
    language: Speech = ENGLISH,
) -> bytes:
    """Vat labels as PDF, filled row by row.

    Parameters
    ----------
    contents
        One for each vat.
    grid
        Name of a shipped grid, or dimensions; a label of at least 60 × 36 mm.
    first
        First free label on the first sheet, counted from 1 along the rows.
    offset_mm
        How far this printer must be shifted to the right and down.
    marks
        True prints cut marks, for plain paper.

    Raises
    ------
    PaperError
        For an unknown or too small grid, no label at all, or a `first` that is not on the sheet.
    """
    chosen = grid_of(grid) if isinstance(grid, str) else grid
    _refuse(contents, chosen, first)
    size = (chosen.page_width_mm * mm, chosen.page_height_mm * mm)
    title = language.say("Vat labels · {vats}", vats=", ".join(content.vat for content in contents)[:200])
    canvas, buffer = document(size, title, language=language)
    paper = Paper(chosen.page, chosen.page_width_mm, chosen.page_height_mm, 0, 0, 0, 0)
    sheet = SheetPen(Pen(canvas, language=language), paper)
    for n, content in enumerate(contents, start=first - 1):
        if n % chosen.each_page == 0 and n >= first:
            canvas.showPage()
        if marks and (n == first - 1 or n % chosen.each_page == 0):
            cut_marks(sheet.pen, chosen, offset_mm)
        x, low = corner_of(chosen, n % chosen.each_page, offset_mm)
        corner = (x / mm, chosen.page_height_mm - low / mm - chosen.height_mm)
        with canvas.tag("Sect"):
            _draw(sheet, content, corner, (chosen.width_mm, chosen.height_mm))
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _refuse(contents: Sequence[VatLabel], grid: LabelGrid, first: int) -> None:
    if not contents:
        message = "no label to print"
        raise PaperError(message)
    if not 1 <= first <= grid.each_page:
        message = f"first free label {first} is not on a sheet of {grid.each_page}"
        raise PaperError(message)
    if grid.width_mm < _LEAST_WIDTH_MM or grid.height_mm < _LEAST_HEIGHT_MM:
        message = (
            f"a vat label of {grid.width_mm:g} x {grid.height_mm:g} mm is below {_LEAST_WIDTH_MM:g} x "
            f"{_LEAST_HEIGHT_MM:g} mm, what vat, mark, code and count need to be read from the gangway"
        )
        raise PaperError(message)


def _draw(sheet: SheetPen, content: VatLabel, corner: tuple[float, float], size: tuple[float, float]) -> None:
    """Head, line, lots and foot; 19.5, 5, the rest and 12 mm on a label 68 mm high."""
    (x, y), (wide, tall) = corner, size
    head = max(0.3 * tall, min(19.5, 17.8 + 0.1 * (tall - 51)))
    line = 4.4 + 0.035 * max(0.0, tall - 51)
    foot = max(8.0, 9.6 + 0.14 * (tall - 51))
    _draw_head(sheet, content, (x, y), wide, head)
    base = y + head + line - 1.2
    sheet.words(x + wide - _PAD, base, content.told, Look(9, align="right"))
    room = wide - 2 * _PAD - Look(9).width(content.told) - 2
    system, look = fitted(content.system, (9, 8), Look(bold=True), room)
    sheet.words(x + _PAD, base, system[0] if len(system) == 1 else f"{system[0]}…" if system else "", look)
    sheet.line((x + _PAD, y + head + line), (x + wide - _PAD, y + head + line), GRID)
    _draw_lots(sheet, content.lots, (x, y + head + line + 0.5), (wide, tall - head - line - foot - 0.8))
    _draw_foot(sheet, content, (x, y + tall - foot), (wide, foot))


def _draw_head(sheet: SheetPen, content: VatLabel, corner: tuple[float, float], wide: float, tall: float) -> None:
    x, y = corner
    side = max(min(16.5, tall - 1), (qr_modules(content.address, "q") + 8) * _LEAST_MODULE_MM)
    draw_qr(sheet.pen.canvas, content.address, sheet.at(x + wide - side - 1, y + 1 + side), side, "q")
    mark = min(16.0, tall - 2) if content.danger else 0.0
    words_room = 0.0
    if content.danger:
        least = max((_TOLD.width(word) for word in content.danger.short.split()), default=0.0) + 1.5
        words_room = max(least, min(30.0, 0.3 * wide))
        mark = min(mark, 0.14 * wide)
    room = wide - side - mark - words_room - 2 * _PAD
    lines, look = fitted(content.vat, (60, 48, 38, 30, 24, 18, 13, 10), Look(bold=True, narrow=False), room)
    while look.size * 0.26 > tall - 2 and look.size > 10:
        look = Look(look.size - 2, bold=True, narrow=False)
    pitch = 0.36 * look.size
    with sheet.canvas.tag("H1"):
        for n, line in enumerate(lines[: max(1, int(tall / pitch))]):
            sheet.words(x + _PAD, y + 1.5 + 0.26 * look.size + n * pitch, line, look)
    if content.danger:
        left = x + wide - side - words_room - mark - 1
        draw_danger(sheet, content.danger.mark, (left, y + 1), mark)
        small = Look(9, bold=True)
        whole = all(small.width(word) <= words_room - 1 for word in content.danger.short.split())
        if not whole or len(wrapped(content.danger.short, small, words_room - 1)) * small.pitch > tall - 1:
            small = _TOLD
        told = wrapped(content.danger.short, small, words_room - 1)
        sheet.lines(left + mark + 0.8, y + max(0.5, (tall - len(told) * small.pitch) / 2), told, small)


def _draw_lots(
    sheet: SheetPen, lots: tuple[VatLot, ...], corner: tuple[float, float], room: tuple[float, float]
) -> None:
    """One or two lots large, three or four smaller; of more, the last line counts what only the scan shows."""
    (x, y), (wide, tall) = corner, room
    least = 4.4
    most = max(1, int(tall / least))
    shown = lots if len(lots) <= most else lots[: most - 1]
    rest = lots[len(shown) :]
    rows = len(shown) + bool(rest)
    if not rows:
        return
    pitch = min(tall / rows, 11.5)
    size = next((s for s in (24, 20, 15, 13, 10, 9) if s * 0.36 <= pitch and s <= (24 if rows <= 2 else 15)), 8)
    counts = [Look(size, bold=True, align="right").width(sheet.pen.language.count(lot.count)) for lot in shown]
    left = x + _PAD + max([*counts, 8.0])
    top = y + max(0.0, (tall - pitch * rows) / 2)
    for lot in shown:
        base = top + pitch / 2 + 0.13 * size
        with sheet.canvas.paragraph():
            sheet.words(left, base, sheet.pen.language.count(lot.count), Look(size, bold=True, align="right"))
            wide_batch = sheet.words(left + 2, base, lot.batch, Look(min(size, 13), bold=True))
            _draw_name(sheet, lot.name, (left + 3.5 + wide_batch, base), x + wide - _PAD, pitch)
        top += pitch
    if rest:
        count = sheet.pen.language.count(sum(lot.count for lot in rest))
        told = phrase("{count} in {number} more lots: scan") if shown else phrase("{count} in {number} lots: scan")
        words = sheet.say(told, count=count, number=len(rest))
        sheet.words(x + _PAD, top + pitch / 2 + 1.2, words, Look(min(size, 11), bold=True))


def _draw_name(sheet: SheetPen, name: str, corner: tuple[float, float], right: float, pitch: float) -> None:
    """A species on one line, or on two small ones; what even they cannot hold ends in dots that the scan completes."""
    x, base = corner
    lines, look = fitted(name, (13, 11, 9, SMALLEST), Look(), right - x)
    fits = max(1, int((pitch + 0.3) / look.pitch))
    if len(lines) > fits:
        lines = (*lines[: fits - 1], f"{lines[fits - 1][:-1]}…")
    up = (len(lines) - 1) * look.pitch / 2
    for n, line in enumerate(lines):
        sheet.words(x, base - up + n * look.pitch, line, look)


def _draw_foot(sheet: SheetPen, content: VatLabel, corner: tuple[float, float], size: tuple[float, float]) -> None:
    (x, y), (wide, tall) = corner, size
    if content.free:
        sheet.line((x, y), (x + wide, y), 0.7)
    else:
        sheet.box((x, y), (wide, tall), 0.0, 0.0)
    white = not content.free
    big = Look(min(26.0, 2.2 * tall), bold=True, white=white)
    says, look = fitted(content.says, (12, 10, 9, SMALLEST), Look(bold=True, white=white), 0.45 * wide - 2)
    says_mm = max((look.width(line) for line in says), default=0.0)
    widest = max((Look(SMALLEST).width(word) for note in content.notes for word in note.split()), default=0.0)
    while big.size > 12 and wide - 2 * _PAD - 4 - big.width(content.state) - says_mm < widest:
        big = Look(big.size - 1, bold=True, white=white)  # the reason beside a long word is broken between words only
    base = y + tall / 2 + 0.13 * big.size
    x += _PAD
    taken = sheet.words(x, base, content.state, big)
    sheet.lines(x + taken + 2, y + (tall - len(says) * look.pitch) / 2, says, look)
    left = x + taken + 4 + max((look.width(line) for line in says), default=0.0)
    room = corner[0] + wide - _PAD - left
    notes = [line for note in content.notes for line in wrapped(note, Look(SMALLEST), room)]
    small = Look(SMALLEST, align="right", white=white)
    most = max(1, int(tall / small.pitch))
    if len(notes) > most:
        notes = [*notes[: most - 1], f"{notes[most - 1][:-1]}…"]
    sheet.lines(corner[0] + wide - _PAD, y + (tall - len(notes) * small.pitch) / 2, tuple(notes), small)
