"""Pictures of the board drawn by hand as SVG: vat space over time and the receiving day, readable without color."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any, Final
from urllib.parse import quote
from zoneinfo import ZoneInfo

from markupsafe import Markup, escape

from intake.app.queries.overview.vat_timeline import Bar, SpaceFacts
from intake.app.queries.overview.water_readings import Trend
from intake.farm.shown_units import SI, FarmUnits

__all__ = ["day_picture", "inline", "qr_svg", "space_picture", "trend_picture"]

_LEFT, _TOP, _ROW, _GAP = 96, 46, 26, 6
_DAY: Final = 15
_HATCH: Final = (
    '<defs><pattern id="planned" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<rect width="7" height="7" class="ground"/><path d="M0 7L7 0" class="hatch"/></pattern></defs>'
)


def inline(svg: str) -> Markup:
    """A picture drawn elsewhere in this house, to stand inside a page."""
    return Markup(svg)  # noqa: S704  # report.charts escapes every word it draws


def qr_svg(text: str, title: str = "QR code of the address above") -> str:
    """A QR code as SVG text under a title that names what it opens, without styles of its own."""
    import segno

    out = io.BytesIO()
    code = segno.make(text, error="m", micro=False, boost_error=False)
    code.save(out, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=4, svgclass="qr", lineclass=None,
              dark="#000", light="#fff", title=title)  # fmt: skip
    return out.getvalue().decode()


def space_picture(facts: SpaceFacts) -> Markup:
    """Draw vats as rows and stays as bars: filled for present, hatched for planned, empty for past."""
    days = (facts.last - facts.first).days
    parts: list[str] = [_HATCH]
    y = _TOP
    for system, vats in facts.systems:
        parts.append(f'<text x="4" y="{y + 17}" class="system">{escape(system)}</text>')
        y += _ROW
        for vat, bars in vats:
            lanes = _lanes(bars)
            height = max(1, len(lanes)) * _ROW
            parts.append(f'<path d="M0 {y}H{_LEFT + days * _DAY}" class="rule"/>')
            parts.append(f'<a href="/vats/{quote(vat)}"><text x="8" y="{y + 18}">{escape(vat)}</text></a>')
            for number, lane in enumerate(lanes):
                parts.extend(_bar(bar, facts, y + number * _ROW) for bar in lane)
            y += height
        y += _GAP
    today = _LEFT + (facts.today - facts.first).days * _DAY
    axis = list(_weeks(facts.first, days, y))
    line = f'<path d="M{today} {_TOP - 22}V{y}" class="today"/><text x="{today + 3}" y="{_TOP - 26}">today</text>'
    words = f"Vats over {days} days from {facts.first:%d %b %Y}; the same stays are listed below the picture."
    return _document(_LEFT + days * _DAY, y + 4, "Vat space over time", words, [*axis, *parts, line])


def _lanes(bars: Sequence[Bar]) -> list[list[Bar]]:
    """Bars that overlap stand under each other."""
    lanes: list[list[Bar]] = []
    for bar in bars:
        free = next((lane for lane in lanes if lane[-1].last <= bar.first), None)
        if free is None:
            lanes.append([bar])
        else:
            free.append(bar)
    return lanes


def _bar(bar: Bar, facts: SpaceFacts, y: int) -> str:
    first, last = max(bar.first, facts.first), min(bar.last, facts.last)
    x, width = _LEFT + (first - facts.first).days * _DAY, (last - first).days * _DAY
    until = "no end date" if bar.open_end else f"until {bar.last:%d %b}"
    told = f"{bar.count} of {bar.batch} {bar.name} in {bar.vat}, {bar.kind}, from {bar.first:%d %b}, {until}"
    label = f"{bar.batch} ×{bar.count}"
    shown = label if 7.2 * len(label) <= width - 6 else (bar.batch if 7.2 * len(bar.batch) <= width - 6 else "")
    text = f'<text x="{x + 4}" y="{y + 17}" class="in-{bar.kind}">{escape(shown)}</text>' if shown else ""
    # A hatch is hard to read through: planned bars carry their words on plain ground.
    plate = (
        f'<rect x="{x + 2}" y="{y + 5}" width="{min(width - 5, 8.2 * len(shown) + 4):.0f}" height="16" class="ground"/>'
    )
    box = f'<rect x="{x}" y="{y + 2}" width="{max(2, width - 1)}" height="{_ROW - 4}" class="{bar.kind}"/>'
    back = plate if shown and bar.kind == "planned" else ""
    return f'<a href="/batches/{quote(bar.batch)}"><title>{escape(told)}</title>{box}{back}{text}</a>'


def _weeks(first: date, days: int, bottom: int) -> Iterable[str]:
    for offset in range(days):
        day = first + timedelta(days=offset)
        if day.weekday() == 0:
            x = _LEFT + offset * _DAY
            yield f'<path d="M{x} {_TOP - 8}V{bottom}" class="week"/>'
            yield f'<text x="{x + 2}" y="{_TOP - 10}">{day.day} {day:%b}</text>'


def trend_picture(trend: Trend, zone: ZoneInfo, measures: FarmUnits = SI) -> Markup:
    """Draw one quantity over time as a line with its lowest, highest and last value written beside it."""
    wide, tall, left, foot = 600, 150, 56, 24
    moments = [at for at, _ in trend.values]
    values = [round(measures.number(trend.quantity, value), 4) for _, value in trend.values]
    low, high = min(values), max(values)
    span = (moments[-1] - moments[0]).total_seconds() or 1.0
    room = (high - low) or 1.0
    points = [
        (
            left + (wide - left - 60) * (at - moments[0]).total_seconds() / span,
            10 + (tall - foot - 20) * (1 - (value - low) / room),
        )
        for at, value in zip(moments, values, strict=True)
    ]
    line = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    last = points[-1]
    zero, full = 10 + (tall - foot - 20), 10
    parts = [
        f'<path d="M{left} {full}H{wide - 60}M{left} {zero}H{wide - 60}" class="rule"/>',
        f'<text x="4" y="{full + 5}">{high:g}</text><text x="4" y="{zero + 5}">{low:g}</text>',
        f'<path d="{line}" class="trend"/><circle cx="{last[0]:.1f}" cy="{last[1]:.1f}" r="4" class="present"/>',
        f'<text x="{wide - 52}" y="{last[1] + 5:.1f}">{values[-1]:g}</text>',
        f'<text x="{left}" y="{tall - 4}">{moments[0].astimezone(zone):%d %b %H:%M}</text>',
        f'<text x="{wide - 170}" y="{tall - 4}">{moments[-1].astimezone(zone):%d %b %H:%M}</text>',
    ]
    words = f"{len(values)} readings from {low:g} to {high:g}, the last {values[-1]:g}."
    return _document(wide, tall, f"{trend.quantity.replace('_', ' ')} at {trend.place}", words, parts)


_STEPS: Final = {"open": "O", "count": "C", "acclimate": "A", "dip": "D", "place": "P"}


def day_picture(plan: Any, zone: ZoneInfo) -> Markup:
    """Draw the lanes of a receiving day: tables, tubs and benches as rows, each step a bar with box and letter."""
    steps = [step for step in plan.steps if step.lane]
    if not steps:
        return Markup("")
    start = min(step.start for step in steps).astimezone(zone).replace(minute=0, second=0, microsecond=0)
    end = max(step.end for step in steps)
    lanes = list(dict.fromkeys(step.lane for step in steps))
    hours = int((end - start) / timedelta(hours=1)) + 1
    per_hour = max(60, 1000 // hours)
    parts = []
    bottom = _TOP + len(lanes) * _ROW
    for hour in range(hours + 1):
        x = _LEFT + 60 + hour * per_hour
        parts.append(f'<path d="M{x} {_TOP - 8}V{bottom}" class="week"/>')
        parts.append(f'<text x="{x + 2}" y="{_TOP - 12}">{start + timedelta(hours=hour):%H:%M}</text>')
    for row, lane in enumerate(lanes):
        parts.append(f'<text x="4" y="{_TOP + row * _ROW + 18}">{escape(lane)}</text>')
    for step in steps:
        x = _LEFT + 60 + (step.start - start) / timedelta(hours=1) * per_hour
        width = max(3.0, (step.end - step.start) / timedelta(hours=1) * per_hour - 1)
        y = _TOP + lanes.index(step.lane) * _ROW
        box = step.box.rsplit("/", 1)[-1]
        label = f"{_STEPS.get(step.step, '')} {box}"
        kind = "present" if step.step in {"open", "count"} else "planned" if step.step == "dip" else "past"
        told = f"Box {box}: {step.step} at {step.lane}, {step.start.astimezone(zone):%H:%M}–{step.end.astimezone(zone):%H:%M}"
        text = (
            f'<text x="{x + 3:.1f}" y="{y + 17}" class="in-{kind}">{escape(label)}</text>'
            if width > 7.4 * len(label)
            else ""
        )
        parts.append(
            f'<g><title>{escape(told)}</title><rect x="{x:.1f}" y="{y + 2}" width="{width:.1f}" height="{_ROW - 4}" '
            f'class="{kind}"/>{text}</g>'
        )
    words = "Lanes of the day: O open, C count, A acclimate, D dip, P place. The order of opening is listed below."
    return _document(_LEFT + 60 + hours * per_hour + 50, bottom + 4, "Receiving day", words, [_HATCH, *parts])


def _document(width: int, height: int, title: str, words: str, parts: Iterable[str]) -> Markup:
    parts = list(parts)
    role = "group" if any("<a href" in part for part in parts) else "img"  # links inside an image cannot be reached
    head = f'<svg class="picture" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="{role}" '
    label = f'aria-label="{escape(title)}. {escape(words)}">'
    return Markup(f"{head}{label}<title>{escape(title)}</title><desc>{escape(words)}</desc>{''.join(parts)}</svg>")  # noqa: S704
