"""The season as a picture and on paper: every week drawn, the band where it is drawn, one page where it fits, type from 8 pt."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

import forms
from forms.charts.drawing import Box, Drawing, Line, Words, wide
from forms.charts.drawing_on_paper import LEAST_POINTS, Picture
from forms.charts.season_chart import SeasonGrowOut, season_drawing, season_pages
from forms.layout.page import PaperError, paper_of
from tests.forms.reading import reader, text_of
from tests.forms.season_samples import capacity_paper, season_content, season_paper


def told(drawing: Drawing) -> list[str]:
    """What the boxes say when they are pointed at."""
    return [mark.told for mark in drawing.marks if isinstance(mark, Box) and mark.told]


def words(drawing: Drawing) -> set[str]:
    """What stands in the drawing."""
    return {mark.text for mark in drawing.marks if isinstance(mark, Words)}


def test_each_week_of_a_water_is_told_by_its_state() -> None:
    """Taken, present, fallow; a fullness nobody knows is not made up."""
    drawing = season_drawing(season_content())
    said = told(drawing)
    assert "1 quarantine water, week of 04 Mar: taken, 40 % of the bench area" in said
    assert "1 quarantine water, week of 01 Mar: present, 55 % of the bench area" in said
    assert "2 quarantine water, week of 01 Mar: present" in said
    assert "1 quarantine water, week of 02 Mar: fallow" in said
    assert {"180", "260", "not known", "45 %"} <= words(drawing)


def test_a_bar_is_as_tall_as_the_share() -> None:
    """Half as full is half as tall, from the foot of the same row."""
    drawing = season_drawing(season_content())
    bars: dict[str, Box] = {mark.told: mark for mark in drawing.marks if isinstance(mark, Box)}
    low = bars["1 quarantine water, week of 04 Mar: taken, 40 % of the bench area"]
    high = bars["4 quarantine water, week of 12 Mar: taken, 69 % of the bench area"]
    assert high.height / low.height == pytest.approx(69 / 40)
    sold = bars["Week of 08 Mar: 7 of 20"]
    assert sold.fill == "grey"
    assert bars["Week of 15 Mar: 14 of 20"].height == pytest.approx(2 * sold.height)


def test_the_band_is_drawn_only_where_there_is_one() -> None:
    """No figures, no band, and no key for it."""
    content = season_content()
    assert content.grow_out is not None
    bare = replace(content, grow_out=SeasonGrowOut(1.5, content.grow_out.planned))
    assert sum("in 9 of 10 futures" in one for one in told(season_drawing(content))) > 10
    assert not any("futures" in one for one in told(season_drawing(bare)))
    assert not any("futures" in one for one in words(season_drawing(bare)))


def test_nothing_is_drawn_outside_the_drawing() -> None:
    """Also with two years of weeks, none of them with room for words."""
    letter = int(paper_of("letter", landscape=True).content_width)
    for content, width in ((season_content(), letter), (season_content(weeks=104, waters=9, suppliers=12), 1000)):
        drawing = season_drawing(content, width=width)
        for mark in drawing.marks:
            if isinstance(mark, Box):
                assert 0 <= mark.x <= mark.x + mark.width <= drawing.width + 0.1, mark
                assert 0 <= mark.y <= mark.y + mark.height <= drawing.height + 0.1, mark
            elif isinstance(mark, Line):
                assert max(mark.y, mark.to_y) <= drawing.height
            else:
                assert mark.x + wide(mark.text, mark.size, bold=mark.bold) <= drawing.width, mark.text


@pytest.mark.parametrize("paper", ["a4", "letter", "a3"])
def test_a_usual_season_stands_on_one_page_with_its_picture_whole(paper: str) -> None:
    """Three waters and three suppliers: the picture is one, and the orders follow."""
    data = forms.season(season_paper(waters=3), paper)
    first = reader(data).pages[0].extract_text()
    assert "Quarantine, share of bench area used" in first
    assert "Sales, animals a week" in first
    assert "Assumed" in text_of(data)


def test_a_large_season_is_parted_and_nothing_is_left_out() -> None:
    """Each drawing fits the height it was given."""
    content = season_content(waters=30, suppliers=25)
    parts = list(season_pages(content, width=770, tall=420))
    assert all(one.height <= 420 for one in parts)
    shown = set().union(*(words(one) for one in parts))
    assert {row.name for row in (*content.waters, *content.suppliers)} <= shown
    assert "Sales, animals a week" in shown


def test_type_below_8_pt_is_refused_not_printed() -> None:
    """A drawing as wide as a screen does not fit a page."""
    assert pytest.approx(8.0) == LEAST_POINTS
    large = season_drawing(season_content(), width=1600)
    with pytest.raises(PaperError, match="too small to read"):
        Picture(large).set(770.0)
    sizes = [
        mark.size
        for one in season_pages(season_content(), width=770, tall=420)
        for mark in one.marks
        if isinstance(mark, Words)
    ]
    assert min(sizes) >= LEAST_POINTS


def test_no_order_and_no_week() -> None:
    """Nothing to order is said in words; no week is refused."""
    assert "Nothing to order" in text_of(forms.season(season_paper(orders=0)))
    nothing: Any = replace(season_content(), weeks=())
    with pytest.raises(PaperError, match="at least one week"):
        season_drawing(nothing)


def test_the_capacity_curve_is_on_paper_with_its_table() -> None:
    """Every day with its figure and whether it is proved."""
    text = text_of(forms.capacity(capacity_paper()))
    assert "All of it fits from 2027-03-17" in text
    assert "at least this many" in text
    assert "2027-03-20" in text
