"""Who met whom on the screen: a bar turns when it was reached, the find is a line, waters without the lot are only named."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from forms.charts.contact_chart import (
    ContactBar,
    ContactContent,
    ContactLane,
    ContactSign,
    ContactWater,
    contacts_drawing,
)
from forms.charts.drawing import wide
from forms.layout.page import PaperError

SVG = "{http://www.w3.org/2000/svg}"
RESIDENT = ContactBar("H1 Zoanthus ← S1", "H1 in G1: shared its water", 0, 30, "reached", 20)
ASKED = ContactBar("S1 Acropora", "S1 in G2: asked about", 20, 30, "asked", 20)


def content(*bars: ContactBar) -> ContactContent:
    """One water with two vats, a find on the twenty-fourth day."""
    lanes = (ContactLane("G1", bars or (RESIDENT,)), ContactLane("G2", (ASKED,)))
    signs = (ContactSign(24.0, "flatworm seen in G2, 25 Mar"),)
    return ContactContent(
        "Who met S1", "Reached: H1.", date(2027, 3, 1), 30.0, (ContactWater("North <water>", lanes),), signs, ("South",)
    )


def boxes(drawing: Any, told: str) -> list[Any]:
    """The boxes that say these words, from the left."""
    return sorted((mark for mark in drawing.marks if getattr(mark, "told", "") == told), key=lambda mark: mark.x)


def test_a_resident_is_plain_before_and_hatched_after_the_newcomer_came() -> None:
    """Twenty days alone, ten together: the bar turns at two thirds of its length, where the other begins."""
    drawing = contacts_drawing(content())
    plain, marked = boxes(drawing, RESIDENT.told)
    assert (plain.fill, marked.fill) == ("light", "hatch")
    assert plain.width / (plain.width + marked.width) == pytest.approx(2 / 3)
    [asked] = boxes(drawing, ASKED.told)
    assert (asked.x, asked.fill) == (pytest.approx(marked.x), "black")


def test_a_lot_gone_before_it_could_be_reached_stays_plain() -> None:
    """Marked from a day after its end means not marked."""
    [bar] = boxes(contacts_drawing(content(replace(RESIDENT, end=10.0))), RESIDENT.told)
    assert bar.fill == "light"


def test_everything_is_said_in_words_too() -> None:
    """Water, vats, the find, what was left out; what the drawing says in its description."""
    root = ET.fromstring(contacts_drawing(content()).svg())
    texts = {node.text for node in root.iter(f"{SVG}text")}
    assert {"North <water>", "G1", "G2", "flatworm seen in G2, 25 Mar", "Reached: H1."} <= texts
    assert "No lot of this trace stood in South." in texts
    assert root.findtext(f"{SVG}desc") == "Reached: H1."
    assert {node.text for node in root.iter(f"{SVG}title")} >= {"Who met S1", RESIDENT.told, ASKED.told}


def test_lots_in_one_vat_at_once_do_not_cover_each_other() -> None:
    """Each has a row; words stay inside their bar, or beside it where it is too short."""
    long = replace(RESIDENT, words="H2 " + "Zoanthus sociatus " * 20, told="H2", end=12.0)
    short = ContactBar("S9 Euphyllia", "S9", 29.5, 30.0)
    drawing = contacts_drawing(content(RESIDENT, long, short))
    rows = [{box.y for box in boxes(drawing, told)} for told in (RESIDENT.told, "H2", "S9")]
    assert rows[0].isdisjoint(rows[1])
    named: Any = next(mark for mark in drawing.marks if getattr(mark, "text", "").startswith("H2"))
    [bar] = boxes(drawing, "H2")
    assert named.text.endswith("…")
    assert named.x + wide(named.text, 11) <= bar.x + bar.width
    beside: Any = next(mark for mark in drawing.marks if getattr(mark, "text", "") == "S9 Euphyllia")
    assert beside.x + wide(beside.text, 11) <= boxes(drawing, "S9")[0].x


def test_pixels_show_black_hatch_and_plain_apart_in_grey() -> None:
    """Shown by shade and pattern: black, white with lines, light grey; the same bytes each time."""
    drawing = contacts_drawing(content())
    pixels = drawing.png()
    assert pixels == contacts_drawing(content()).png()
    picture = Image.open(io.BytesIO(pixels))
    assert picture.mode == "L"

    def shades(box: Any) -> set[int]:
        left, top = int(2 * (box.x + box.width - 14)), int(2 * (box.y + 3))
        right, bottom = int(2 * (box.x + box.width - 4)), int(2 * (box.y + box.height - 3))
        return set(picture.crop((left, top, right, bottom)).tobytes())

    plain, marked = boxes(drawing, RESIDENT.told)
    assert shades(plain) == {0xE4}
    assert {0x55, 0xFF} <= shades(marked)
    assert shades(boxes(drawing, ASKED.told)[0]) == {0}


def test_contacts_over_no_time_are_refused() -> None:
    """A drawing without a scale would show nothing."""
    with pytest.raises(PaperError, match="no time"):
        contacts_drawing(replace(content(), days=0.0))
