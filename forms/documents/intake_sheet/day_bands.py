"""The numbered bands of the day: open the boxes, acclimate, dip, place in the vats, and the balance that must come out."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import replace

from forms.documents.intake_sheet.rungs import ladder
from forms.documents.intake_sheet.sheet_content import Bath, SheetContent, VatShare
from forms.documents.shared_content import joined, marked
from forms.layout.bands import Band, Row, band_of
from forms.layout.marks import draw_due
from forms.layout.sheet_pen import FRAME, GREY, GRID, OWED, SMALLEST, Look, SheetPen, fitted, wrapped
from forms.layout.speech import Speech, phrase

__all__ = ["balance", "day_bands"]

_CAPTION = Look(SMALLEST)
_HEAD = Look(SMALLEST, bold=True, align="centre")
_COLUMNS = (
    (phrase("box"), 14.0), (phrase("seal photo"), 15.0), (phrase("opened = min 0"), 17.0), ("{temperature}", 15.5),
    ("{salinity}", 15.5), ("pH", 14.0), (phrase("pH scale: one"), 23.0), (phrase("DOA"), 15.0), (phrase("missing"), 15.5),
    (phrase("wrong"), 15.0),
)  # fmt: skip
_ROW_MM = 11.0
_BESIDE_MM, _LEAST_BESIDE_MM = 55.0, 50.0
_TOGETHER = 4
"""Lines of care that stand together on a page."""


def day_bands(content: SheetContent, width: float) -> list[Band]:
    """Bands in the order of the work; baths stand before or after PLACE as the timetable has them."""
    makers = [_open, ladder]
    before = tuple(bath for bath in content.baths if bath.before_vat)
    after = tuple(bath for bath in content.baths if not bath.before_vat)
    bands: list[Band] = []
    for maker in makers:
        made = maker(content, len(bands) + 1, width)
        bands += [made] if made else []
    if before:
        bands.append(_dip(content.language, before, len(bands) + 1, width))
    bands.append(_place(content, len(bands) + 1, width))
    if after:
        bands.append(_dip(content.language, after, len(bands) + 1, width))
    bands[-1] = replace(bands[-1], tail=(*bands[-1].tail, *balance(content, width)))
    return bands


def _edges(width: float) -> list[tuple[str, float, float]]:
    """Heading, left edge and width of each column of OPEN."""
    x, found = 0.0, []
    for head, wide in (*_COLUMNS, (phrase("initials"), width - sum(wide for _, wide in _COLUMNS))):
        found.append((head, x, wide))
        x += wide
    return found


def _open(content: SheetContent, number: int, width: float) -> Band:
    say = content.language.say
    how = say("photo the sealed bag with its label first · count in pairs, out loud")
    boxes = content.boxes or ("",)
    rows = tuple(_box_row(content, box, n, width) for n, box in enumerate(boxes, start=1))
    return Band(band_of(number, say("OPEN"), how, width), rows, _open_heading(content, width), (_total_row(width),))


def _column_of(sheet: SheetPen, number: int) -> AbstractContextManager[object]:
    """A cell of a box's row: the first says which box it is."""
    return sheet.canvas.row_head() if number == 1 else sheet.canvas.tag("TD")


def _open_heading(content: SheetContent, width: float) -> Row:
    def draw(sheet: SheetPen, y: float) -> None:
        sheet.box((0, y), (width, 7.3), GRID, GREY)
        with sheet.canvas.table(content.boxes), sheet.canvas.head_row():
            for head, x, wide in _edges(width):
                words = head.format(temperature=content.units.temperature, salinity=content.units.salinity)
                words = words if "{" in head or head == "pH" else sheet.say(words)
                lines = wrapped(words, _HEAD, wide - 0.8)
                with sheet.canvas.column_head():
                    sheet.lines(x + wide / 2, y + (7.3 - len(lines) * _HEAD.pitch) / 2, lines, _HEAD)
                sheet.line((x, y), (x, y + 7.3))

    return Row(7.3, draw)


def _box_row(content: SheetContent, box: str, number: int, width: float) -> Row:
    lines, look = fitted(box, (15, 12, 10, 8), Look(bold=True), 12.5)
    height = max(_ROW_MM, len(lines) * look.pitch + 1)
    name = f"open.{box or number}"
    language = content.language
    told = language.say("box {box}", box=box) if box else language.say("box in row {number}", number=number)
    asked = {3: "opened", 4: "temperature", 5: "salinity", 6: "ph", 8: "doa", 9: "missing", 10: "wrong", 11: "by"}
    said = {
        3: language.say("opened at"), 4: content.units.temperature, 5: content.units.salinity, 6: "pH",
        8: language.say("dead on arrival"), 9: language.say("missing"), 10: language.say("not as ordered"),
        11: language.say("initials"),
    }  # fmt: skip

    def draw(sheet: SheetPen, y: float) -> None:
        sheet.box((0, y), (width, height), GRID)
        with sheet.canvas.table(content.boxes), sheet.canvas.tag("TR"):
            for column, (_, x, wide) in enumerate(_edges(width), start=1):
                sheet.line((x, y), (x, y + height))
                with _column_of(sheet, column):
                    fill(sheet, column, (x, y), wide)

    def fill(sheet: SheetPen, column: int, corner: tuple[float, float], wide: float) -> None:
        x, y = corner
        if column == 1:
            sheet.lines(x + 1, y + (height - len(lines) * look.pitch) / 2, lines, look)
            if not box:
                sheet.entry((x, y), (wide, height), f"{name}.box", language.say("box number"))
        elif column == 2:
            sheet.tick((x + (wide - 10) / 2, y + (height - 10) / 2), f"{name}.photo",
                       f"{told}: {language.say('seal photo taken')}")  # fmt: skip
        elif column == 7:
            for place, word in ((0.26, "NBS"), (0.74, "total")):
                scale = f"{told}: {language.say('pH scale')}"
                sheet.ring((x + place * wide, y + height / 2), word, f"{name}.scale", scale)
        else:
            sheet.entry((x, y), (wide, height), f"{name}.{asked[column]}", f"{told}: {said[column]}")

    return Row(height, draw)


def _total_row(width: float) -> Row:
    height = 11.0

    def draw(sheet: SheetPen, y: float) -> None:
        edges = _edges(width)
        sheet.box((0, y), (width, height), GRID, GREY)
        sheet.words(1.5, y + 6.6, sheet.say("Ammonia of box"), Look(9))
        sheet.write((25, y + 1.2), (12, 8.6), "ammonia.box", told=sheet.say("box the ammonia was read in"))
        sheet.write((39, y + 1.2), (18, 8.6), "ammonia.read", told=sheet.say("total ammonia, mg/L"))
        sheet.words(58.5, y + 6.6, sheet.say("mg/L as"), Look(9))
        for x, word in ((77, "N"), (88.5, "NH₃")):
            sheet.ring((x, y + height / 2), word, "ammonia.form", sheet.say("ammonia given as"))
        sheet.words(edges[7][1] - 2, y + 6.8, sheet.say("total ▸"), Look(10, bold=True, align="right"))
        for column, name, word in ((7, "doa", "DOA"), (8, "missing", "missing"), (9, "wrong", "wrong")):
            _, x, wide = edges[column]
            told = sheet.say("all boxes: {what}", what=sheet.say(word))
            sheet.write((x, y), (wide, height), f"total.{name}", told=told, weight=OWED)

    return Row(height, draw)


def _dip(language: Speech, baths: Sequence[Bath], number: int, width: float) -> Band:
    how = language.say("fresh mix for every batch · rinse between two · a second person at the bench")
    wide = (width - 3) / 2
    rows = [_bath_row(language, baths[n : n + 2], n + 1, wide) for n in range(0, len(baths), 2)]
    return Band(band_of(number, language.say("DIP"), how, width), tuple(rows))


def _bath_row(language: Speech, baths: Sequence[Bath], first: int, wide: float) -> Row:
    told = []
    for bath in baths:
        name, name_look = fitted(bath.name, (14, 12, 10), Look(bold=True), wide - 32)
        strength = wrapped(marked(bath.strength, published=bath.published), Look(11, bold=True), wide - 32)
        after = language.say("then: {disposal}", disposal=bath.disposal) if bath.disposal else ""
        care = wrapped(joined((bath.protection, after), ". "),
                       _CAPTION, wide - 4)  # fmt: skip
        told.append((bath, name, name_look, strength, care))
    upper = max(12.0, *(2 + len(n) * look.pitch + len(s) * 4.7 for _, n, look, s, _ in told))
    height = upper + max(len(care) * _CAPTION.pitch for *_, care in told) + 15.5

    def draw(sheet: SheetPen, y: float) -> None:
        for number, (bath, name, name_look, strength, care) in enumerate(told):
            x = number * (wide + 3)
            sheet.box((x, y), (wide, height - 1), FRAME)
            draw_due(sheet, "dip", (x + 1.5, y + 1.5), 5)
            below = sheet.lines(x + 8, y + 1.2, name, name_look)
            sheet.lines(x + 8, below, strength, Look(11, bold=True))
            minutes, look = fitted(bath.minutes, (20, 16, 12), Look(bold=True, align="right"), 22)
            sheet.lines(x + wide - 2, y + 1, minutes, look)
            sheet.lines(x + 2, y + upper, care, _CAPTION)
            _bath_boxes(sheet, (x, y + height - 15), wide, first + number)

    return Row(height, draw)


_BATH_TIMES = (("mixed", phrase("mixed by")), ("in", phrase("in at")), ("out", phrase("out at")))
"""Field → the label above its box."""


def _bath_boxes(sheet: SheetPen, corner: tuple[float, float], wide: float, number: int) -> None:
    x, y = corner
    each = (wide - 16) / 3 - 1
    for place, (name, label) in enumerate(_BATH_TIMES):
        left = x + 2 + place * (each + 1)
        sheet.words(left, y + 2.8, sheet.say(label), _CAPTION)
        told = sheet.say("bath {number}: {what}", number=number, what=sheet.say(label))
        sheet.write((left, y + 3.5), (each, 9.5), f"bath.{number}.{name}", told=told)
    sheet.tick((x + wide - 12, y + 3), f"bath.{number}.done", sheet.say("bath {number} done", number=number))


def _place(content: SheetContent, number: int, width: float) -> Band:
    say = content.language.say
    how = say("second count by another person, without looking at the first")
    vats = content.vats or (VatShare("", content.announced),)
    wide = (width - 4) / 3
    last = len(vats) - (len(vats) - 1) % 3 - 1
    beside = content.onwards and _beside(content, width - (len(vats) - last) * (wide + 2)) <= _BESIDE_MM
    rows = [
        _card_row(vats[n : n + 3], wide, content if beside and n == last else replace(content, onwards=()), width)
        for n in range(0, len(vats), 3)
    ]
    if content.onwards and not beside:
        rows += _onwards_rows(content, width)
    return Band(band_of(number, say("PLACE"), how, width), tuple(rows))


def _onwards_title(content: SheetContent) -> str:
    say, vats = content.language.say, ", ".join(v.vat for v in content.vats)
    return say("{vats} from now on", vats=vats) if vats else say("From now on")


def _onwards_lines(content: SheetContent, room: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    title = wrapped(_onwards_title(content), Look(9.5, bold=True), room)
    return title, wrapped(" ".join(content.onwards), Look(9), room)


def _beside(content: SheetContent, room: float) -> float:
    """Height of what holds from now on, set beside the last cards, mm; more than any page where there is no room."""
    if room < _LEAST_BESIDE_MM:
        return 1000.0
    title, words = _onwards_lines(content, room - 3)
    return 2 + len(title) * 4.0 + len(words) * 3.78


def _onwards_rows(content: SheetContent, width: float) -> list[Row]:
    """What holds from now on over the whole width, parted every few lines so that any page takes it."""
    title, words = _onwards_lines(content, width - 3)
    rows = [Row(len(title) * 4.0, lambda sheet, y: (sheet.lines(1.5, y, title, Look(9.5, bold=True)), None)[1])]
    for n in range(0, len(words), _TOGETHER):
        rows.append(_lines_row(words[n : n + _TOGETHER]))
    return rows


def _lines_row(lines: tuple[str, ...]) -> Row:
    def draw(sheet: SheetPen, y: float) -> None:
        sheet.lines(1.5, y, lines, Look(9))

    return Row(len(lines) * 3.78 + 0.5, draw)


def _card_row(vats: Sequence[VatShare], wide: float, content: SheetContent, width: float) -> Row:
    cards = [(share, *fitted(share.vat, (28, 22, 17, 13, 9), Look(bold=True, narrow=False), 0.42 * wide))
             for share in vats]  # fmt: skip
    places = [_where(share, lines, look, wide) for share, lines, look in cards]
    upper = max(13.5, *(len(lines) * 0.37 * look.size + 2 for _, lines, look in cards),
                *(8 + len(lines) * 3.8 for lines in places))  # fmt: skip
    free = 3 - len(vats) if content.onwards else 0
    left = len(vats) * (wide + 2)
    title, words = _onwards_lines(content, width - left - 3) if free else ((), ())
    height = max(upper + 13.5, 2 + len(title) * 4.0 + len(words) * 3.78) + 1

    def draw(sheet: SheetPen, y: float) -> None:
        with sheet.canvas.list_of(content.vats):
            for number, (share, lines, look) in enumerate(cards):
                x = number * (wide + 2)
                sheet.box((x, y), (wide, height - 1), FRAME)
                with sheet.canvas.tag("LI"):
                    card(sheet, (x, y), number, share, lines, look)
        if free:
            sheet.box((left, y), (width - left, height - 1), FRAME)
            foot = sheet.lines(left + 1.5, y + 0.8, title, Look(9.5, bold=True))
            sheet.lines(left + 1.5, foot, words, Look(9))

    def card(sheet: SheetPen, corner: tuple[float, float], number: int, share: VatShare, lines: tuple[str, ...],
             look: Look) -> None:  # fmt: skip
        x, y = corner
        with sheet.canvas.part("Lbl"):
            for n, line in enumerate(lines):
                sheet.words(x + 1.5, y + 1 + (n + 0.95) * 0.37 * look.size, line, look)
        with sheet.canvas.part("LBody"):
            _planned(sheet, share, (x + wide - 1.5, y))
            sheet.lines(x + wide - 1.5, y + 7.6, places[number], Look(9, align="right"))
            _counted(sheet, share.vat or "vat", (x, y + height - 14.5), wide)

    return Row(height, draw)


def _where(share: VatShare, lines: tuple[str, ...], look: Look, wide: float) -> tuple[str, ...]:
    """Kind of place and system, in the room the vat's name leaves."""
    taken = max((look.width(line) for line in lines), default=0.0)
    return wrapped(joined((share.place, share.system), ", "), Look(9, align="right"), wide - taken - 6)


def _planned(sheet: SheetPen, share: VatShare, corner: tuple[float, float]) -> None:
    wide = sheet.words(
        corner[0], corner[1] + 6.6, sheet.pen.language.count(share.count), Look(17, bold=True, align="right")
    )
    sheet.words(corner[0] - wide - 1, corner[1] + 6.6, sheet.say("planned"), Look(9, align="right"))


_COUNTS = {
    "counted": (phrase("counted"), "counted"),
    "initials": ("initials", "initials"),
    "second": (phrase("second"), phrase("second count")),
}
"""Field → the label above its box, and its tooltip."""


def _counted(sheet: SheetPen, vat: str, corner: tuple[float, float], wide: float) -> None:
    x, y = corner
    sheet.words(x + 1.2, y + 9.8, "→", Look(14, bold=True))
    boxes = ((7.5, 23.0, "counted", OWED), (32.0, 12.0, "initials", GRID), (45.5, wide - 47.0, "second", GRID))
    for left, across, label, weight in boxes:
        sheet.words(x + left, y + 2.8, sheet.say(_COUNTS[label][0]), _CAPTION)
        told = f"{vat}: {sheet.say(_COUNTS[label][1])}"
        sheet.write((x + left, y + 3.4), (across, 10.0), f"place.{vat}.{label}", told=told, weight=weight)


def balance(content: SheetContent, width: float) -> tuple[Row, ...]:
    """Announced less missing, wrong and dead is placed: the line that must come out, and what to do when it does not."""
    told, say = content.language.count(content.announced), content.language.say
    note = wrapped(
        say(
            "“placed” must equal the sum of the counted cards. If not, count again before anyone leaves; "
            "keep both figures."
        ),
        Look(9, align="right"),
        width,
    )

    def draw(sheet: SheetPen, y: float) -> None:
        sheet.box((0, y), (width, 13.0), FRAME)
        with sheet.canvas.paragraph():
            sum_line(sheet, y)
        with sheet.canvas.paragraph():
            for n, line in enumerate(note):
                sheet.words(width, y + 17.0 + 3.78 * n, line, Look(9, align="right"))

    def sum_line(sheet: SheetPen, y: float) -> None:
        base, bold = y + 8.2, Look(10, bold=True)
        x = 2.0 + sheet.words(2.0, base, say("announced"), bold) + 1.5
        x += sheet.words(x, base, told, Look(18, bold=True)) + 1.5
        for sign, name in (("−", "missing"), ("−", "wrong"), ("−", "DOA")):
            x += sheet.words(x, base, f"{sign} {say(name)}", bold) + 1.5
            sheet.write(
                (x, y + 1.5), (14.6, 10), f"balance.{name}", told=say("balance: {what}", what=say(name)), weight=GRID
            )
            x += 16.1
        sheet.words(width - 25.5, base, say("= placed"), Look(10, bold=True, align="right"))
        sheet.write((width - 24, y + 1.5), (22, 10), "balance.placed", told=say("balance: placed"), weight=OWED)

    return (Row(18.5 + 3.78 * (len(note) - 1), draw),)
