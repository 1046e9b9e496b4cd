"""The ladder of an acclimation: every step as a rung, the last one black, INTO VAT; nothing is left to another paper."""

from __future__ import annotations

from collections.abc import Sequence

from forms.documents.acclimation_steps import AcclimationStep
from forms.documents.intake_sheet.sheet_content import SheetContent
from forms.documents.shared_content import Units, joined, marked, number
from forms.layout.bands import Band, Row, band_of
from forms.layout.sheet_pen import FRAME, GRID, SMALLEST, Look, SheetPen, fitted, wrapped
from forms.layout.speech import Speech

__all__ = ["ladder", "rungs_of"]

_MOST = 7
"""Rungs that stand side by side."""
_DO = Look(9)
_WATER = Look(9.5, bold=True)
_LABEL = Look(SMALLEST)
_HAND_MM = 13.0


def rungs_of(steps: Sequence[AcclimationStep]) -> list[tuple[AcclimationStep, ...]]:
    """Steps a rung each, two or three following ones together where that lets all stand in one row; the last alone."""
    if not steps:
        return []
    *before, last = steps
    each = next((k for k in (1, 2, 3) if len(before) <= k * (_MOST - 1)), 1)
    return [*(tuple(before[n : n + each]) for n in range(0, len(before), each)), (last,)]


def ladder(content: SheetContent, place: int, width: float) -> Band | None:
    """The band ACCLIMATE; None where no acclimation is known."""
    plan = content.acclimation
    if plan is None:
        return None
    language = content.language
    say = joined((marked(plan.mode, published=plan.published), language.say("tick when every tub has passed")))
    rows = [*_said(content, width)]
    rungs = rungs_of(plan.steps)
    for n in range(0, len(rungs), _MOST):
        rows.append(_rung_row(content, rungs[n : n + _MOST], n, width))
    return Band(band_of(place, language.say("ACCLIMATE"), say, width), tuple(rows))


def _said(content: SheetContent, width: float) -> list[Row]:
    """What the rungs have no room for: the limit that is passed, an unread bag, the tubs, the first step whole."""
    plan = content.acclimation
    if plan is None:
        return []
    opening = plan.steps[0].do if plan.steps and plan.steps[0].brief else ""
    unread = content.language.say("EXPECTED BAG WATER: measure one bag, print again if it differs.")
    flag = unread if plan.expected else ""
    told = [(plan.limit, Look(11, bold=True)), (joined((flag, opening), " "), Look(9.5, bold=True)),
            (plan.tubs, Look(9))]  # fmt: skip
    if not plan.steps and plan.reason:
        told.append((plan.reason, Look(9)))
    laid = [(wrapped(words, look, width - 2), look) for words, look in told if words]
    if not laid:
        return []

    def draw(sheet: SheetPen, y: float) -> None:
        for lines, look in laid:
            y = sheet.lines(1, y, lines, look)

    return [Row(sum(len(lines) * look.pitch for lines, look in laid) + 1, draw)]


def _rung_row(content: SheetContent, rungs: Sequence[tuple[AcclimationStep, ...]], first: int, width: float) -> Row:
    language, units = content.language, content.units
    wide = width / max(4, len(rungs))
    told = [_rung_words(rung, wide - 3, language) for rung in rungs]
    middle = max(len(words) for words in told) * _DO.pitch
    height = max(36.0, 9 + middle + 9 + _HAND_MM)

    def draw(sheet: SheetPen, y: float) -> None:
        with sheet.canvas.list_of(content.acclimation):
            for place, (rung, words) in enumerate(zip(rungs, told, strict=True)):
                with sheet.canvas.tag("LI"):
                    one(sheet, y, place, rung, words)

    def one(sheet: SheetPen, y: float, place: int, rung: tuple[AcclimationStep, ...], words: tuple[str, ...]) -> None:
        x, step, last = place * wide, rung[0], rung[-1].into_vat
        sheet.box((x, y), (wide, height - 0.5), FRAME if last else GRID, 0.0 if last else 1.0)
        with sheet.canvas.part("Lbl"):
            _rung_head(sheet, step, (x + 1.5, y), last=last)
        water = (
            f"{number(step.temperature, 1, language)} {units.temperature}",
            f"{number(step.salinity, units.salinity_decimals, language)} {units.salinity.split()[0]}",
        )
        with sheet.canvas.part("LBody"):
            foot = sheet.lines(x + 1.5, y + (9.6 if last else 8), words, Look(9, white=last))
            sheet.lines(x + 1.5, max(foot, y + 9 + middle) + 0.3, water, Look(9.5, bold=True, white=last))
            _rung_hand(sheet, (x, y + height - _HAND_MM), wide, first + place + 1, units, last=last)

    return Row(height, draw)


def _rung_words(rung: Sequence[AcclimationStep], room: float, language: Speech) -> tuple[str, ...]:
    """What to do at the rung's first minute, then each further step it holds with its minute."""
    lines: list[str] = []
    for place, step in enumerate(rung):
        words = step.brief or step.do
        at = language.say("at {minute}: {words}", minute=number(step.minute, 0), words=words)
        lines += wrapped(words if place == 0 else at, _DO, room)
    return tuple(lines)


def _rung_head(sheet: SheetPen, step: AcclimationStep, corner: tuple[float, float], *, last: bool) -> None:
    x, y = corner
    if last:
        words, look = fitted(sheet.say("INTO VAT"), (14, 12), Look(bold=True, white=True), 24)
        sheet.lines(x, y + 0.5, words, look)
        sheet.words(
            x, y + 9.2, sheet.say("minute {number}", number=number(step.minute, 0)), Look(9, bold=True, white=True)
        )
        return
    wide = sheet.words(x, y + 6.6, number(step.minute, 0), Look(17, bold=True))
    sheet.words(x + wide + 1, y + 6.6, "min", _DO)


def _rung_hand(
    sheet: SheetPen, corner: tuple[float, float], wide: float, place: int, units: Units, *, last: bool
) -> None:
    """A blank for what was read (the clock at the last rung) and the tick."""
    x, y = corner
    label = sheet.say("clock") if last else units.temperature
    name = f"step.{place}"
    sheet.write((x + 1.2, y + 1.2), (wide - 14.0, 10), f"{name}.{'clock' if last else 'temperature'}", label=label,
                told=sheet.say("step {number}: {what}", number=place, what=label), weight=FRAME)  # fmt: skip
    sheet.tick((x + wide - 11.4, y + 1.2), f"{name}.done", sheet.say("step {number} done", number=place), weight=FRAME)
