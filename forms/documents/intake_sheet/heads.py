"""The head of each page of an intake sheet: who it is, who printed it, where it comes from."""

from __future__ import annotations

from forms.documents.intake_sheet.sheet_content import SheetContent
from forms.documents.shared_content import joined
from forms.layout.bands import Row
from forms.layout.pdf.structure import HEADER
from forms.layout.sheet_pen import FRAME, SMALLEST, Look, SheetPen, fitted, qr_side, wrapped

__all__ = ["day_head", "facts", "later_head", "permit_notes"]

_LABEL = Look(SMALLEST)
_RIGHT = Look(SMALLEST, align="right")
_RIGHT_BOLD = Look(SMALLEST, bold=True, align="right")


def day_head(content: SheetContent, page: str, width: float) -> Row:
    """Code and species large, the QR code, and who printed it when."""
    side = qr_side(content.count_address, 22.0)
    room = width - side - 57
    code, code_look = fitted(content.batch, (40, 32, 26, 20, 16, 12), Look(bold=True, narrow=False), room)
    name, name_look = fitted(content.name, (20, 17, 14, 12), Look(bold=True, narrow=False), room)
    detail = joined((content.common_name, content.group, content.size, _announced(content)))
    below = wrapped(detail, Look(9.5), room)
    code_mm, name_mm = len(code) * 0.36 * code_look.size, len(name) * name_look.pitch
    right = [*_printed_lines(content, page)]
    height = max(27.0, code_mm + name_mm + len(below) * 4.0 + 1.5, side + 1, 6 + 3.4 * len(right))

    def draw(sheet: SheetPen, y: float) -> None:
        with sheet.canvas.tag("H1") if code or name else sheet.canvas.artifact():
            for number, line in enumerate(code):
                sheet.words(0, y + (number + 0.9) * 0.36 * code_look.size - 0.5, line, code_look)
            foot = sheet.lines(0, y + code_mm, name, name_look)
        sheet.lines(0, foot + 0.5, below, Look(9.5))
        _corner(sheet, sheet.say("Intake · the day"), right, (width, y), side, kind="P" if code or name else "H1")
        sheet.qr(content.count_address, (width - side, y), side)

    return Row(height, draw)


def _announced(content: SheetContent) -> str:
    return content.language.say("{count} announced", count=content.language.count(content.announced))


def _printed_lines(content: SheetContent, page: str) -> list[tuple[str, bool]]:
    lines = [(content.farm, False), *((line, False) for line in content.printed)]
    if content.revision:
        lines.append((content.revision, True))
    fold = [(piece, bold) for line, bold in lines for piece in wrapped(line, Look(SMALLEST, bold=bold), 53)]
    return [*fold, (page, True)]


def _corner(
    sheet: SheetPen, title: str, lines: list[tuple[str, bool]], corner: tuple[float, float], side: float, *, kind: str
) -> None:
    x, y = corner[0] - side - (2.5 if side else 0.0), corner[1]
    with sheet.canvas.tag(kind):
        sheet.words(x, y + 4.4, title, Look(12, bold=True, align="right"))
    for number, (line, bold) in enumerate(lines):
        sheet.words(x, y + 8.2 + 3.4 * number, line, _RIGHT_BOLD if bold else _RIGHT)


def later_head(content: SheetContent, title: str, page: str, width: float, *, heads: bool = False) -> Row:
    """The lower head of every further page, with the code that finds the first; `heads` where a part begins with it."""
    side = qr_side(content.count_address, 13.5)
    code, code_look = fitted(content.batch, (28, 22, 17, 13, 10), Look(bold=True, narrow=False), 42)
    wide = 44 if content.batch else 0
    room = width - side - 62 - wide
    name, name_look = fitted(content.name, (13, 11, 9.5), Look(bold=True), room)
    below = wrapped(joined((content.size, _announced(content))), Look(9), room)
    lines = [(piece, False) for line in content.printed[:1] for piece in wrapped(line, _LABEL, 58)]
    lines.append((joined((content.revision.split(" · ")[0], page)), True))
    left = max(len(code) * 0.36 * code_look.size, len(name) * name_look.pitch + len(below) * 3.8)
    height = max(14.0, side + 0.5, left, 6 + 3.4 * len(lines))

    def draw(sheet: SheetPen, y: float) -> None:
        part = sheet.canvas.here
        with sheet.canvas.artifact(HEADER):
            for number, line in enumerate(code):
                sheet.words(0, y + (number + 1) * 0.36 * code_look.size - 0.5, line, code_look)
            foot = sheet.lines(wide, y, name, name_look)
            sheet.lines(wide, foot, below, Look(9))
            with sheet.canvas.within(part if heads else HEADER):
                _corner(sheet, title, lines, (width, y), side, kind="H2")
            sheet.qr(content.count_address, (width - side, y), side)

    return Row(height, draw)


def facts(content: SheetContent, width: float) -> list[Row]:
    """Supplier, shipment, landing, hours in the bag and boxes, with a tick for each permit seen."""
    say = content.language.say
    permits = [joined((f"{p.kind} {p.number}", p.quantity), ": ") for p in content.permits]
    told = [
        (label, value)
        for label, value in (
            (say("supplier"), content.supplier), (say("shipment"), content.shipment), (say("waybill"), content.waybill),
            (say("lands"), content.lands), (say("in the bag"), content.in_bag), (say("boxes"), _ranges(content.boxes)),
        )
        if value
    ]  # fmt: skip
    first = permits[0] if permits else say("no permit on the list: list checked")
    seen = [say("{permit}: seen", permit=words) for words in permits]
    more = zip(permits[1:], seen[1:], strict=True)
    return [
        _fact_row(told, first, seen[0] if seen else first, width),
        *(_permit_row(words, one, n, width) for n, (words, one) in enumerate(more, start=2)),
    ]


def _ranges(boxes: tuple[str, ...]) -> str:
    """Box numbers with runs of following numbers drawn together: 7–12, 14."""
    parts: list[list[str]] = []
    for box in boxes:
        follows = parts and box.isdecimal() and parts[-1][-1].isdecimal() and int(box) == int(parts[-1][-1]) + 1
        if follows:
            parts[-1] = [parts[-1][0], box]
        else:
            parts.append([box])
    return ", ".join("–".join(part) for part in parts)


def _widths(told: list[tuple[str, str]], room: float) -> list[float]:
    """Widths of the facts: whole where all fit, otherwise the widest broken between words first."""
    bold = Look(9, bold=True)
    least = [3.5 + max(_LABEL.width(label), *(bold.width(word) for word in value.split())) for label, value in told]
    whole = [max(low, 3.5 + bold.width(value)) for low, (_, value) in zip(least, told, strict=True)]
    spare, more = room - sum(least), sum(whole) - sum(least)
    if spare <= 0:
        return [low * room / sum(least) for low in least]
    share = min(1.0, spare / more) if more else 1.0
    wide = [low + (high - low) * share for low, high in zip(least, whole, strict=True)]
    return [one * room / sum(wide) for one in wide]


def _fact_row(told: list[tuple[str, str]], permit: str, seen_words: str, width: float) -> Row:
    right = 46.0
    cells = [
        (label, wide, *fitted(value, (10, 9, 8.5), Look(bold=True), wide - 3))
        for (label, value), wide in zip(told, _widths(told, width - right), strict=True)
    ]
    seen = wrapped(seen_words, Look(9, align="right"), right - 14)
    height = max(11.0, *(5.6 + len(lines) * look.pitch for _, _, lines, look in cells), len(seen) * 3.8 + 1)

    def draw(sheet: SheetPen, y: float) -> None:
        sheet.line((0, y), (width, y))
        x = 0.0
        with sheet.canvas.tag("L"):
            for label, wide, lines, look in cells:
                with sheet.canvas.tag("LI"):
                    _fact(sheet, (x + (1.5 if x else 0), y), label, lines, look)
                x += wide
                sheet.line((x, y), (x, y + height - 0.5))
        sheet.lines(width - 12, y + (height - len(seen) * 3.8) / 2, seen, Look(9, align="right"))
        sheet.tick((width - 10.3, y + (height - 10.5) / 2), "permit.1", permit)
        sheet.line((0, y + height - 0.5), (width, y + height - 0.5))

    return Row(height + 0.5, draw)


def _fact(sheet: SheetPen, corner: tuple[float, float], label: str, lines: tuple[str, ...], look: Look) -> None:
    x, y = corner
    with sheet.canvas.part("Lbl"):
        sheet.words(x, y + 3.4, label, _LABEL)
    with sheet.canvas.part("LBody"):
        sheet.lines(x, y + 4.2, lines, look)


def _permit_row(words: str, seen: str, number: int, width: float) -> Row:
    lines = wrapped(seen, Look(9), width - 14)
    height = max(11.0, len(lines) * 3.8 + 1)

    def draw(sheet: SheetPen, y: float) -> None:
        sheet.lines(0, y + (height - len(lines) * 3.8) / 2, lines, Look(9))
        sheet.tick((width - 10.3, y + 0.3), f"permit.{number}", words)
        sheet.line((0, y + height), (width, y + height), FRAME / 2)

    return Row(height, draw)


def permit_notes(content: SheetContent, width: float) -> Row | None:
    """What the permits are about, small."""
    say = content.language.say
    words = joined(tuple(joined((p.note, say("valid until {day}", day=p.valid_until) if p.valid_until else ""), "; ")
                         for p in content.permits))  # fmt: skip
    lines = wrapped(words, _LABEL, width)
    if not lines:
        return None
    return Row(len(lines) * _LABEL.pitch + 0.8, lambda sheet, y: (sheet.lines(0, y, lines, _LABEL), None)[1])
