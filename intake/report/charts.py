"""Pictures of survival and losses as SVG text: labelled axes, distinguished by dashes and shade, readable in gray."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Final
from xml.sax.saxutils import escape

from intake.errors import BadInput, Finding
from intake.report.chart_frame import BOTTOM, HEIGHT, LEFT, WIDTH, Frame, document, marks_of, short
from intake.report.groupings import HazardDay
from intake.report.losses import LossDay
from intake.report.survival import Curve

if TYPE_CHECKING:
    from intake.report.alarms.farm_watch import LookedAt  # which needs NumPy; a picture of losses does not

__all__ = ["IntervalRow", "control_steps", "hazard_steps", "interval_rows", "loss_bars", "survival_steps"]

_DASHES: Final = ("none", "8 4", "2 3", "10 3 2 3", "14 5", "4 2")
_SHADES: Final = ("#000", "#444", "#222", "#555", "#333", "#666")

# Attributes rather than a style, which a page's content policy may refuse.

_HATCH: Final = (
    '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="6" fill="#ccc"/><path d="M0 6L6 0" stroke="#000"/></pattern></defs>'
)


def survival_steps(curves: Sequence[tuple[str, Curve]], *, title: str, band: bool = True) -> str:
    """Draw survival curves as steps, with ticks where animals were last seen alive.

    Parameters
    ----------
    curves
        (label, curve), one to six.
    title
        Title of the picture.
    band
        Whether the interval of a single curve is shaded; several curves are drawn without.

    Returns
    -------
    str
        A complete SVG document with ``<title>`` and ``<desc>``.

    Raises
    ------
    BadInput
        For no curve or more than six, which dashes cannot distinguish.
    """
    if not 1 <= len(curves) <= len(_DASHES):
        raise BadInput(Finding("chart", f"{len(curves)} curves", f"1 to {len(_DASHES)} curves"))
    days = max(1.0, *(curve.last_day for _, curve in curves))
    floor = _floor(curves)
    frame = Frame(days, 100.0, floor)
    parts = [*frame.axes("days since arrival", "alive, % of those alive when opened")]
    if floor:
        parts.extend(_broken(f"axis begins at {floor:g} %"))
    for index, (label, curve) in enumerate(curves):
        if band and len(curves) == 1:
            parts.append(_band(frame, curve))
        path = _step_path(frame, [(step.day, step.survival) for step in curve.steps], curve.last_day)
        line = f'fill="none" stroke="{_SHADES[index]}" stroke-width="2" stroke-dasharray="{_DASHES[index]}"'
        parts.append(f'<path class="curve" d="{path}" {line}/>')
        parts.extend(_ticks(frame, curve))
        parts.extend(_legend(index, f"{label} (n = {curve.entered})"))
    words = _survival_words(curves) + (f" The axis begins at {floor:g} %." if floor else "")
    return document(title, words, parts)


def _floor(curves: Sequence[tuple[str, Curve]]) -> float:
    """Where the axis of survival begins: 0, or the ten below every limit where all lie above half and would run together."""
    lowest = min((step.low for _, curve in curves for step in curve.steps), default=1.0)
    return 10.0 * math.floor(min(10 * lowest, 9)) if lowest >= 0.5 else 0.0


def _broken(words: str) -> Iterable[str]:
    """The mark of an axis that does not begin at nothing, and words that say so."""
    left, bottom = LEFT, HEIGHT - BOTTOM
    yield f'<path class="broken" d="M{left - 6} {bottom - 8}l12 -5M{left - 6} {bottom - 14}l12 -5" stroke="#000"/>'
    yield f'<text x="{left + 10}" y="{bottom - 8}">{escape(words)}</text>'


def loss_bars(days: Sequence[LossDay], *, title: str, zone: tzinfo | None = None) -> str:
    """Draw losses of a batch by day: dead on arrival black, dead hatched, missing white, stacked; days with their dates.

    Parameters
    ----------
    days
        Days in order, as ``losses.by_day`` gives them; one at least.
    title
        Title of the picture.
    zone
        Time zone of the dates; ``None``: that of the days themselves.

    Returns
    -------
    str
        A complete SVG document with ``<title>`` and ``<desc>``.

    Raises
    ------
    BadInput
        For no day at all.
    """
    if not days:
        raise BadInput(Finding("chart", "", "at least one day"))
    heads = (("dead on arrival", "#000"), ("dead", "url(#hatch)"), ("missing", "#fff"))
    tallest = max(1, *(max(0, day.doa) + max(0, day.dead) + day.missing for day in days), 1)
    frame = Frame(float(len(days)), float(tallest))
    arrived = days[0].starts_at.astimezone(zone or days[0].starts_at.tzinfo) - timedelta(days=days[0].day)
    parts = [
        _HATCH,
        *frame.axes(
            f"days since arrival on {arrived:%d %b %Y}",
            "animals lost",
            name=lambda day: f"{day:g} · {_short_date(arrived + timedelta(days=day))}",
        ),
    ]
    for day in days:
        base = 0.0
        for count, (_, fill) in zip((day.doa, day.dead, day.missing), heads, strict=True):
            if count <= 0:
                continue
            left, right = frame.x(day.day + 0.1), frame.x(day.day + 0.9)
            top, bottom = frame.y(base + count), frame.y(base)
            box = f'x="{short(left)}" y="{short(top)}" width="{short(right - left)}" height="{short(bottom - top)}"'
            parts.append(f'<rect class="loss" {box} fill="{fill}" stroke="#000"/>')
            base += count
    for index, (label, fill) in enumerate(heads):
        x, y = LEFT + 170 * index, 26
        parts.append(f'<rect x="{x}" y="{y}" width="12" height="12" fill="{fill}" stroke="#000"/>')
        parts.append(f'<text x="{x + 18}" y="{y + 11}">{escape(label)}</text>')
    return document(title, _loss_words(days), parts)


_LETTER_WIDE: Final = 8.0
"""Room of a letter in a chart's words, px: that of the widest digits of common sans-serif faces at 13 px."""


def control_steps(days: Sequence[LookedAt], *, title: str) -> str:
    """Draw the control chart of a batch: deaths of each day, what is usual, and the fewest that alarm.

    Parameters
    ----------
    days
        Looks at single days, in order; one at least.
    title
        Title of the picture.

    Returns
    -------
    str
        A complete SVG document with ``<title>`` and ``<desc>``; alarms are ringed and named by their day.

    Raises
    ------
    BadInput
        For no day at all.
    """
    if not days:
        raise BadInput(Finding("chart", "", "at least one day"))
    last = max(day.day for day in days) + 1
    frame = Frame(float(last), float(max(max(day.deaths, day.limit) for day in days) + 1))
    parts = [*frame.axes("days since arrival", "dead found in a day")]
    for name, dash, heights in (
        ("alarm", "8 4", [float(day.limit) for day in days]),
        ("usual", "2 3", [day.expected for day in days]),
    ):
        path = "M" + "L".join(
            f"{short(frame.x(day.day))} {short(frame.y(height))}L{short(frame.x(day.day + 1))} {short(frame.y(height))}"
            for day, height in zip(days, heights, strict=True)
        )
        parts.append(f'<path class="{name}" d="{path}" fill="none" stroke="#000" stroke-dasharray="{dash}"/>')
    right: dict[int, float] = {}
    for day in days:
        x, y = frame.x(day.day + 0.5), frame.y(float(day.deaths))
        parts.append(f'<circle class="day" cx="{short(x)}" cy="{short(y)}" r="3"/>')
        if day.out:
            parts.append(f'<circle class="out" cx="{short(x)}" cy="{short(y)}" r="8" fill="none" stroke="#000"/>')
            # at one height words never run into each other: the number alone, or none; the description names them all
            for words in (f"day {day.day}", str(day.day)):
                half = len(words) * _LETTER_WIDE / 2
                if x - half >= right.get(day.deaths, 0.0):
                    parts.append(f'<text x="{short(x)}" y="{short(y - 12)}" text-anchor="middle">{words}</text>')
                    right[day.deaths] = x + half
                    break
    for index, (words, dash) in enumerate((("fewest dead that alarm", "8 4"), ("usual", "2 3"))):
        x = LEFT + 230 * index
        parts.append(f'<path d="M{x} 16h34" stroke="#000" stroke-dasharray="{dash}"/>')
        parts.append(f'<text x="{x + 40}" y="20">{words}</text>')
    out = [str(day.day) for day in days if day.out]
    said = f"Alarm on day {', '.join(out)}." if out else "No single day alarms."
    return document(title, f"{len(days)} days, {sum(day.deaths for day in days)} dead. {said}", parts)


def hazard_steps(days: Sequence[HazardDay], *, title: str) -> str:
    """Draw deaths per animal and day since arrival, each day with its exact interval.

    Parameters
    ----------
    days
        As ``groupings.daily_hazard`` gives them; one with animals at risk at least.
    title
        Title of the picture.

    Returns
    -------
    str
        A complete SVG document with ``<title>`` and ``<desc>``.

    Raises
    ------
    BadInput
        For no day with animals at risk.

    Notes
    -----
    The axis follows three times the highest rate: an interval beyond it ends in an arrow, as days with few animals have
    limits far beyond all others.
    """
    told = [(day.day, day.deaths, day.rate) for day in days if day.rate is not None]
    if not told:
        expected = "at least one day with animals in the vats"
        raise BadInput(Finding("losses", "nothing to draw yet", expected, "Ask again tomorrow."))
    top = 100 * max(3 * max(rate.estimate for _, _, rate in told), min(rate.high for _, _, rate in told), 1e-6)
    frame = Frame(float(told[-1][0] + 1), top)
    parts = [*frame.axes("days since arrival", "deaths a day, % of those alive (95 %)", _spaced(top))]
    for day, _, rate in told:
        x, low, high = frame.x(day + 0.5), 100 * rate.low, min(top, 100 * rate.high)
        parts.append(
            f'<path class="interval" d="M{short(x)} {short(frame.y(low))}V{short(frame.y(high))}" stroke="#777"/>'
        )
        if 100 * rate.high > top:
            parts.append(f'<path class="beyond" d="M{short(x - 3)} {short(frame.y(top) + 6)}l3 -6l3 6Z" fill="#777"/>')
        parts.append(f'<circle class="day" cx="{short(x)}" cy="{short(frame.y(100 * rate.estimate))}" r="3"/>')
    day, deaths, rate = max(told, key=lambda one: one[2].estimate)
    worst = f"Highest on day {day}: {deaths} dead, {rate.estimate:.2%} ({rate.low:.2%} to {rate.high:.2%})."
    return document(title, f"{len(told)} days, {sum(n for _, n, _ in told)} dead. {worst}", parts)


@dataclass(frozen=True, slots=True)
class IntervalRow:
    """One line of a comparison: an estimate with its interval, in the unit of the picture's axis, and a note."""

    label: str
    estimate: float
    low: float
    high: float
    note: str = ""


def interval_rows(rows: Sequence[IntervalRow], *, title: str, axis: str) -> str:
    """Draw estimates with their intervals, one below the other.

    Parameters
    ----------
    rows
        In order from the top, 1 to 40.
    title, axis
        Title of the picture, and what its axis shows with its unit.

    Returns
    -------
    str
        A complete SVG document with ``<title>`` and ``<desc>``.

    Raises
    ------
    BadInput
        For no row or more than 40.
    """
    if not 1 <= len(rows) <= 40:
        raise BadInput(Finding("chart", f"{len(rows)} rows", "1 to 40 rows"))
    # one row of no deaths has an upper limit far beyond all others; the axis follows the estimates and the arrow shows the rest
    widest = max(max(row.estimate for row in rows) * 3, sorted(row.high for row in rows)[len(rows) // 2], 1e-9)
    left, right, step = 170, WIDTH - 90, 22
    bottom = 30 + step * len(rows)

    def x(value: float) -> float:
        return left + (right - left) * min(value, widest) / widest

    parts = [f'<path d="M{left} 24V{bottom}H{right}" fill="none" stroke="#000"/>']
    for mark in _spaced(widest):
        parts.append(f'<path d="M{short(x(mark))} {bottom}v5" stroke="#000"/>')
        parts.append(f'<text x="{short(x(mark))}" y="{bottom + 19}" text-anchor="middle">{mark:g}</text>')
    for index, row in enumerate(rows):
        y = 40 + step * index
        label = row.label if len(row.label) <= 20 else f"{row.label[:19]}…"
        parts.append(f'<text x="{left - 8}" y="{y + 4}" text-anchor="end">{escape(label)}</text>')
        parts.append(f'<path class="interval" d="M{short(x(row.low))} {y}H{short(x(row.high))}" stroke="#000"/>')
        parts.append(f'<circle class="estimate" cx="{short(x(row.estimate))}" cy="{y}" r="4"/>')
        if row.high > widest:
            parts.append(f'<path class="beyond" d="M{right} {y - 5}l8 5l-8 5Z"/>')
        parts.append(f'<text x="{right + 14}" y="{y + 4}">{escape(row.note[:12])}</text>')
    parts.append(f'<text x="{(left + right) // 2}" y="{bottom + 40}" text-anchor="middle">{escape(axis)}</text>')
    told = (f"{row.label}: {row.estimate:.3g} ({row.low:.3g} to {row.high:.3g})." for row in rows)
    return document(title, " ".join(told), parts, height=bottom + 52)


def _spaced(largest: float) -> list[float]:
    """Four to eight round values from 0, also where the largest is far below 1."""
    scale = 10 ** math.floor(math.log10(largest / 4))
    return [round(mark * scale, 12) for mark in marks_of(largest / scale)]


def _step_path(frame: Frame, steps: Sequence[tuple[float, float]], last_day: float) -> str:
    path = f"M{short(frame.x(0))} {short(frame.y(100))}"
    for day, share in steps:
        path += f"H{short(frame.x(day))}V{short(frame.y(100 * share))}"
    return path + f"H{short(frame.x(last_day))}"


def _band(frame: Frame, curve: Curve) -> str:
    upper = _step_path(frame, [(step.day, step.high) for step in curve.steps], curve.last_day)
    back = ""
    below = [1.0, *(step.low for step in curve.steps)]
    for step, low_before in zip(reversed(curve.steps), reversed(below[:-1]), strict=True):
        back += f"V{short(frame.y(100 * step.low))}H{short(frame.x(step.day))}V{short(frame.y(100 * low_before))}"
    return f'<path class="band" d="{upper}{back}Z" fill="#e4e4e4" stroke="none"/>'


def _ticks(frame: Frame, curve: Curve) -> Iterable[str]:
    for day in curve.censored_days:
        step = curve.at(day)
        if step is not None:
            x, y = frame.x(day), frame.y(100 * step.survival)
            yield f'<path class="censored" d="M{short(x)} {short(y - 5)}v10" stroke="#000"/>'


def _legend(index: int, label: str) -> Iterable[str]:
    x, y = LEFT + 220 * (index % 3), 16 + 18 * (index // 3)
    line = f'stroke="{_SHADES[index]}" stroke-width="2" stroke-dasharray="{_DASHES[index]}"'
    yield f'<path d="M{x} {y}h34" {line}/><text x="{x + 40}" y="{y + 4}">{escape(label)}</text>'


def _survival_words(curves: Sequence[tuple[str, Curve]]) -> str:
    told = []
    for label, curve in curves:
        end = curve.at(curve.last_day)
        if end is not None:
            alive = f"{100 * end.survival:.1f} % alive at day {curve.last_day:.1f}"
            between = f"{100 * end.low:.1f} to {100 * end.high:.1f} % at {100 * curve.confidence:g} % confidence"
            told.append(f"{label}: {curve.deaths} of {curve.entered} died, {alive} ({between}).")
    return " ".join(told)


def _short_date(when: datetime) -> str:
    return f"{when.day} {when:%b}"


def _loss_words(days: Sequence[LossDay]) -> str:
    doa, dead, missing = (sum(getattr(day, head) for day in days) for head in ("doa", "dead", "missing"))
    return f"{len(days)} days: {doa} dead on arrival, {dead} dead after, {missing} missing."
