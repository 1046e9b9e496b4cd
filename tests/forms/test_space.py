"""Vat space on the screen: SVG and pixels show the same, words never leave their bar, an impossible drawing is refused."""

from __future__ import annotations

import io
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from forms.charts.capacity_chart import DayRoom, room_drawing
from forms.charts.drawing import Drawing, wide
from forms.charts.vat_space_chart import SpaceBar, SpaceContent, SpaceLane, SpaceStep, SpaceSystem, space_drawing
from forms.layout.page import PaperError

SVG = "{http://www.w3.org/2000/svg}"


def content(words: str = "S1-01 ×40 Tridacna maxima") -> SpaceContent:
    """One water with two vats."""
    bars = (SpaceBar(words, 2, 20), SpaceBar("H1 ×7", 0, 9, "present"), SpaceBar("", 20, 23, "fallow"))
    lanes = (SpaceLane("Q1", bars, (SpaceStep(0, 9, 40, "area"), SpaceStep(9, 20, 120, "oxygen"))), SpaceLane("Q2"))
    days = tuple(f"{day:02} Mar" for day in range(1, 29))
    return SpaceContent("Vat space", "40 of 40 placed.", days, (SpaceSystem("North <water>", lanes),))


def mark(drawing: Drawing, words: str, field: str = "told") -> Any:
    """The mark that says these words, or shows them."""
    return next(one for one in drawing.marks if getattr(one, field, "").startswith(words))


def test_every_vat_bar_and_gauge_is_in_the_svg_and_said() -> None:
    """What is pointed at names itself, so nothing hangs on shade."""
    root = ET.fromstring(space_drawing(content()).svg())
    texts = {node.text for node in root.iter(f"{SVG}text")}
    assert {"Q1", "Q2", "North <water>"} <= texts
    told = {node.text for node in root.iter(f"{SVG}title")}
    assert "S1-01 ×40 Tridacna maxima, 03 Mar to 21 Mar" in told
    assert "120 % of oxygen, 10 Mar to 21 Mar" in told


def test_words_are_cut_to_their_bar() -> None:
    """A long name ends in an ellipsis before its bar does."""
    drawing = space_drawing(content("S1-01 ×40 " + "Tridacna maxima " * 20))
    cut, bar = mark(drawing, "S1-01", "text"), mark(drawing, "S1-01")
    assert cut.text.endswith("…")
    assert cut.x + wide(cut.text, 11) <= bar.x + bar.width


def test_bars_that_overlap_do_not_cover_each_other() -> None:
    """Two batches in one vat at once must both be seen."""
    drawing = space_drawing(content())
    first, second = mark(drawing, "S1-01"), mark(drawing, "H1")
    assert first.y + first.height <= second.y or second.y + second.height <= first.y


def test_pixels_are_grey_and_the_same_each_time() -> None:
    """A PNG of twice the size, in grey alone, equal for equal content; the drawing is not blank."""
    drawing = space_drawing(content())
    data = drawing.png()
    assert data == space_drawing(content()).png()
    with Image.open(io.BytesIO(data)) as picture:
        assert (picture.mode, picture.size) == ("L", (2 * drawing.width, 2 * drawing.height))
        darkest, lightest = picture.getextrema()
        assert (darkest, lightest) == (0, 255)


def test_a_pattern_fills_its_box_and_nothing_beside_it() -> None:
    """The hatch is cut at the edges by our own arithmetic, so it is looked at."""
    drawing = Drawing(60, 60, "hatch")
    drawing.box((20, 20), (20, 20), "cross", edge=0)
    with Image.open(io.BytesIO(drawing.png(1))) as picture:
        pixels: Any = picture.load()
        dark = [(x, y) for x in range(60) for y in range(60) if pixels[x, y] < 200]
    assert dark
    assert all(19 <= x <= 40 and 19 <= y <= 40 for x, y in dark)


def test_room_by_day_tells_when_all_fits() -> None:
    """Columns up to what fits, a line at the whole."""
    rows = [DayRoom(f"2030-03-0{day}", 20 * day, 60, proved=True) for day in range(1, 5)]
    svg = room_drawing(rows, title="Room").svg()
    assert "All of it fits from 2030-03-03." in svg
    assert "2030-03-04: 80 of 60, proved" in svg
    assert "fits on none of these days" in room_drawing(rows[:1], title="Room").svg()


def test_drawings_of_no_day_are_refused() -> None:
    """There is nothing to show, and the caller is told so."""
    with pytest.raises(PaperError, match="no day"):
        space_drawing(SpaceContent("Vat space", "", (), ()))
    with pytest.raises(PaperError, match="no day"):
        room_drawing([], title="Room")
