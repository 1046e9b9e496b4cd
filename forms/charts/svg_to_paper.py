"""Charts given as SVG text put on paper or into pixels: the few kinds of mark our charts are made of, and no others."""

from __future__ import annotations

import io
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import Any

from forms.layout.lettering import BOLD, REGULAR, clean
from forms.layout.pdf.canvas import PaperError, TaggedCanvas, document

__all__ = ["chart_pdf", "chart_png"]

_SCALE = 2
_TEXT_SIZE = 13.0
_TITLE_ROOM = 30.0
_STEPS_OF_A_CIRCLE = 24
_MARKS = re.compile(r"[MLHVZhvl]|-?\d+(?:\.\d+)?")

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Line:
    points: tuple[Point, ...]
    shade: float | None
    fill: float | None
    hatched: bool
    width: float
    dashes: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Words:
    at: Point
    text: str
    anchor: str
    turned: bool


@dataclass(frozen=True, slots=True)
class _Picture:
    title: str
    told: str
    width: float
    height: float
    marks: tuple[_Line | _Words, ...]


def chart_pdf(svg: str) -> bytes:
    """A chart as a PDF page of its own size, in points as many as its units, with its title above.

    Parameters
    ----------
    svg
        Text of one of the charts of the reports.

    Returns
    -------
    bytes
        A PDF; equal text gives equal bytes.

    Raises
    ------
    PaperError
        For a mark that these charts do not use.
    """
    picture = _read(svg)
    canvas, buffer = document((picture.width, picture.height + _TITLE_ROOM), picture.title)
    top = picture.height
    canvas.setFont(BOLD, 14)
    with canvas.tag("H1"):
        canvas.drawString(14, top + 10, clean(picture.title))
    with canvas.figure(picture.told or picture.title or "–", (0, 0), (picture.width, picture.height)):
        _draw(canvas, picture, top)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _draw(canvas: TaggedCanvas, picture: _Picture, top: float) -> None:
    for mark in picture.marks:
        if isinstance(mark, _Words):
            canvas.saveState()
            canvas.translate(mark.at[0], top - mark.at[1])
            canvas.rotate(90 if mark.turned else 0)
            canvas.setFillGray(0)
            canvas.setFont(REGULAR, _TEXT_SIZE)
            draw = {"middle": canvas.drawCentredString, "end": canvas.drawRightString}
            draw.get(mark.anchor, canvas.drawString)(0, 0, clean(mark.text))
            canvas.restoreState()
            continue
        path = canvas.beginPath()
        path.moveTo(mark.points[0][0], top - mark.points[0][1])
        for x, y in mark.points[1:]:
            path.lineTo(x, top - y)
        canvas.setLineWidth(mark.width)
        canvas.setDash(list(mark.dashes))
        canvas.setStrokeGray(mark.shade or 0.0)
        canvas.setFillGray(1.0 if mark.fill is None else mark.fill)
        canvas.drawPath(path, stroke=int(mark.shade is not None), fill=int(mark.fill is not None))
        canvas.setDash([])
        for (x, y), (to_x, to_y) in _hatches(mark):
            canvas.setLineWidth(0.7)
            canvas.line(x, top - y, to_x, top - to_y)


def chart_png(svg: str) -> bytes:
    """A chart as PNG in gray, two pixels a unit, with its title above.

    Parameters
    ----------
    svg
        Text of one of the charts of the reports.

    Raises
    ------
    PaperError
        For a mark that these charts do not use.
    """
    from PIL import Image, ImageDraw

    picture = _read(svg)
    size = (round(_SCALE * picture.width), round(_SCALE * (picture.height + _TITLE_ROOM)))
    image = Image.new("L", size, 255)
    brush = ImageDraw.Draw(image)
    brush.text((14 * _SCALE, 8 * _SCALE), clean(picture.title), fill=0, font=_face(BOLD, 14 * _SCALE))
    for mark in picture.marks:
        if isinstance(mark, _Words):
            _write(image, brush, mark)
        else:
            _trace(brush, mark)
    buffer = io.BytesIO()
    image.save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def _pixel(point: Point) -> Point:
    return _SCALE * point[0], _SCALE * (point[1] + _TITLE_ROOM)


def _trace(brush: Any, mark: _Line) -> None:
    points = [_pixel(point) for point in mark.points]
    if mark.fill is not None and len(points) > 2:
        brush.polygon(points, fill=round(255 * mark.fill))
    for start, end in _hatches(mark):
        brush.line([_pixel(start), _pixel(end)], fill=0, width=1)
    if mark.shade is None:
        return
    for start, end in _dashed(mark.points, mark.dashes):
        brush.line([_pixel(start), _pixel(end)], fill=round(255 * mark.shade), width=max(1, round(_SCALE * mark.width)))


def _write(image: Any, brush: Any, mark: _Words) -> None:
    from PIL import Image, ImageDraw

    face = _face(REGULAR, round(_TEXT_SIZE * _SCALE))
    text, (x, y) = clean(mark.text), _pixel(mark.at)
    anchor = {"middle": "ms", "end": "rs"}.get(mark.anchor, "ls")
    if not mark.turned:
        brush.text((x, y), text, fill=0, font=face, anchor=anchor)
        return
    wide, tall = round(face.getlength(text)) + 4, round(1.4 * _TEXT_SIZE * _SCALE)
    slip = Image.new("L", (wide, tall), 255)
    ImageDraw.Draw(slip).text((wide / 2, tall - 6), text, fill=0, font=face, anchor="ms")
    image.paste(slip.rotate(90, expand=True), (round(x) - tall + 6, round(y - wide / 2)))


@cache
def _face(name: str, size: int) -> Any:
    from PIL import ImageFont

    file = "DejaVuSans-Bold.ttf" if name == BOLD else "DejaVuSans.ttf"
    return ImageFont.truetype(io.BytesIO((resources.files("forms") / "fonts" / file).read_bytes()), size)


def _read(svg: str) -> _Picture:
    """What is drawn, in the order it is drawn."""
    root = ET.fromstring(svg)  # noqa: S314  # our own text, made by the reports
    left, top, width, height = (float(part) for part in str(root.get("viewBox")).split())
    if left or top:
        message = "a chart begins at its upper left corner"
        raise PaperError(message)
    title = next((str(one.text) for one in root if _tag(one) == "title"), "")
    marks = tuple(mark for one in root if _tag(one) not in _SILENT for mark in _KINDS.get(_tag(one), _unknown)(one))
    told = next((str(one.text) for one in root if _tag(one) == "desc"), "")
    return _Picture(title, told, width, height, marks)


_SILENT = frozenset({"title", "desc", "defs"})


def _tag(one: ET.Element) -> str:
    return one.tag.rpartition("}")[2]


def _unknown(one: ET.Element) -> Iterator[_Line | _Words]:
    message = f"charts have no mark <{_tag(one)}>"
    raise PaperError(message)


def _line(one: ET.Element, points: Sequence[Point], *, filled: bool = True) -> _Line:
    fill, stroke = one.get("fill", "#000" if filled else "none"), one.get("stroke", "none")
    hatched = fill.startswith("url(")
    dashes = one.get("stroke-dasharray", "none")
    return _Line(
        tuple(points),
        None if stroke == "none" else _grey(stroke),
        0.8 if hatched else None if fill == "none" else _grey(fill),
        hatched,
        float(one.get("stroke-width", "1")),
        () if dashes == "none" else tuple(float(part) for part in dashes.split()),
    )


def _grey(colour: str) -> float:
    digits = colour.removeprefix("#")
    return int(digits[:2] if len(digits) == 6 else digits[:1] * 2, 16) / 255


def _path(one: ET.Element) -> Iterator[_Line | _Words]:
    for points, closed in _runs(str(one.get("d"))):
        yield _line(one, points, filled=closed or one.get("fill") is not None)


def _runs(words: str) -> Iterator[tuple[list[Point], bool]]:
    """Polylines of a path's words."""
    tokens = _MARKS.findall(words)
    points: list[Point] = []
    command, index, closed = "", 0, False
    while index < len(tokens):
        if tokens[index].isalpha():
            command, index = tokens[index], index + 1
            if command == "Z":
                points.append(points[0])
                closed = True
            continue
        here = points[-1] if points else (0.0, 0.0)
        if command in "MLl":
            x, y = float(tokens[index]), float(tokens[index + 1])
            index += 2
            if command == "M" and points:
                yield points, closed
                points, closed = [], False
            points.append((here[0] + x, here[1] + y) if command == "l" else (x, y))
            command = "L" if command == "M" else command
            continue
        value, index = float(tokens[index]), index + 1
        step = {"H": (value, here[1]), "V": (here[0], value), "h": (here[0] + value, here[1])}
        points.append(step.get(command, (here[0], here[1] + value)))
    if points:
        yield points, closed


def _rect(one: ET.Element) -> Iterator[_Line | _Words]:
    x, y, wide, tall = (float(one.get(name, "0")) for name in ("x", "y", "width", "height"))
    yield _line(one, [(x, y), (x + wide, y), (x + wide, y + tall), (x, y + tall), (x, y)])


def _circle(one: ET.Element) -> Iterator[_Line | _Words]:
    x, y, r = (float(one.get(name, "0")) for name in ("cx", "cy", "r"))
    turns = (2 * math.pi * n / _STEPS_OF_A_CIRCLE for n in range(_STEPS_OF_A_CIRCLE + 1))
    yield _line(one, [(x + r * math.cos(turn), y + r * math.sin(turn)) for turn in turns])


def _text(one: ET.Element) -> Iterator[_Line | _Words]:
    at = float(one.get("x", "0")), float(one.get("y", "0"))
    yield _Words(at, one.text or "", one.get("text-anchor", "start"), one.get("transform", "").startswith("rotate(-90"))


_KINDS: dict[str, Callable[[ET.Element], Iterator[_Line | _Words]]] = {
    "path": _path,
    "rect": _rect,
    "circle": _circle,
    "text": _text,
}


def _hatches(mark: _Line) -> Iterator[tuple[Point, Point]]:
    """Strokes from lower left to upper right inside the mark's rectangle."""
    if not mark.hatched:
        return
    left, right = min(x for x, _ in mark.points), max(x for x, _ in mark.points)
    top, bottom = min(y for _, y in mark.points), max(y for _, y in mark.points)
    total = left + top
    while total < right + bottom:
        x, to_x = max(left, total - bottom), min(right, total - top)
        if to_x > x:
            yield (x, total - x), (to_x, total - to_x)
        total += 6.0


def _dashed(points: Sequence[Point], dashes: Sequence[float]) -> Iterator[tuple[Point, Point]]:
    """The drawn parts of a polyline; the pattern runs on round its corners."""
    if not dashes:
        yield from pairwise(points)
        return
    turn, left = 0, dashes[0]
    for (x, y), (to_x, to_y) in pairwise(points):
        length = math.hypot(to_x - x, to_y - y)
        done = 0.0
        while done < length:
            part = min(left, length - done)
            if turn % 2 == 0:
                a, b = done / length, (done + part) / length
                yield (x + a * (to_x - x), y + a * (to_y - y)), (x + b * (to_x - x), y + b * (to_y - y))
            done, left = done + part, left - part
            if left <= 1e-9:
                turn += 1
                left = dashes[turn % len(dashes)]
