"""Plan picture, run sheet, history curve and rounds: what is drawn is also said, lanes stack, pages carry on."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from itertools import pairwise
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import forms
from forms.charts.batch_fills import FILLS, draw_fill, fills_of
from forms.charts.lane_chart import Bar, Lane, LaneChart, Pattern, _set_lane, _SetLanes, draw_pattern
from forms.charts.step_chart import round_marks
from forms.documents.wall.morning_list import steps_of
from forms.layout.page import PaperError, Pen, document
from tests.forms.conftest import Raster
from tests.forms.reading import pages, text_of
from tests.forms.samples import history_content, plan_content, round_content, runsheet_content, supplier_content


def test_bars_that_overlap_are_stacked_and_others_share_a_level() -> None:
    """Two batches in one vat at once must both be seen."""
    bars = (Bar(0, 5, "a"), Bar(3, 8, "b"), Bar(5, 9, "c"), Bar(8, 9, "d"))
    lane = _set_lane(Lane("Q1", bars=bars), 20.0)
    for level in range(lane.depth):
        alone = [bar for at, bar in lane.stacked if at == level]
        assert all(one.end <= two.start for one, two in pairwise(alone))
    assert lane.depth == 2


def test_a_lane_split_over_pages_repeats_its_system() -> None:
    """Vat Q9 on page two belongs to a water, and says which."""
    lanes = (Lane("System A", heading=True), *(Lane(f"Q{n}") for n in range(9)))
    placed = LaneChart(0, 10, ((0.0, "1 Mar"),), lanes).set(500)
    parts = placed.split(100, 600)
    assert parts is not None
    head, rest = parts
    assert isinstance(head, _SetLanes)
    assert isinstance(rest, _SetLanes)
    assert rest.lanes[0].lane.name == "System A"
    assert rest.lanes[0].lane.detail == "continued"
    assert len(head.lanes) + len(rest.lanes) == 11


def test_a_chart_of_no_time_is_refused() -> None:
    """Until before from is a slip of the caller, not a picture."""
    with pytest.raises(PaperError, match="no time"):
        forms.runsheet(replace(runsheet_content(), from_h=12, until_h=12))


def test_every_bar_of_the_plan_is_also_in_the_list() -> None:
    """A bar too short for its words is still given in words."""
    content = plan_content()
    text = text_of(forms.plan(content))
    words = set(text.split())
    for system in content.systems:
        for vat in system.vats:
            assert {vat.vat, *(bar.batch for bar in vat.bars if bar.batch)} <= words
    assert "860 of 900 placed, 40 not placed" in text
    assert "Clear vat Q7 by 5 Mar" in text
    assert content.short[0].binding in text


def test_a_fuller_vat_shows_a_darker_gauge(raster: Raster) -> None:
    """How full is seen in grey: more percent, more ink, nothing else changed."""

    def ink(percent: float) -> int:
        bar = forms.PlanBar("B", 10, 0, 10, "arriving", percent, "bench")
        content = forms.PlanContent(
            "F", "S", ("d",) * 10, (forms.PlanSystem("A", (forms.PlanVat("Q1", (bar,)),)),), 10, 10
        )
        page = raster(forms.plan(content), 72)[0]
        return int(np.sum(page < 60))

    assert ink(20) + 20 < ink(90)


def test_patterns_differ_without_colour(raster: Raster) -> None:
    """Each kind of bar has its own amount of ink, far enough apart for a poor copier."""

    def ink(pattern: Pattern) -> float:
        canvas, buffer = document((200, 200), "pattern")
        draw_pattern(Pen(canvas), (20, 20), (160, 160), pattern)
        canvas.showPage()
        canvas.save()
        return 255.0 - float(raster(buffer.getvalue(), 150)[0].mean())

    shares = {pattern: ink(pattern) for pattern in get_args(Pattern)}
    assert shares["open"] < 1
    apart = np.diff(sorted(shares.values()))
    assert min(apart) > 5, shares


def test_batch_fills_differ_on_a_poor_copy(raster: Raster) -> None:
    """Any two fills differ at 75 dpi in grey, however one bar lies against the other; the key says which is whose."""
    tiles: dict[str, np.ndarray] = {}
    for fill in FILLS:
        canvas, buffer = document((100, 60), "fill")
        draw_fill(Pen(canvas), (10, 10), (80, 40), fill)
        canvas.showPage()
        canvas.save()
        tiles[fill] = raster(buffer.getvalue(), 75)[0].astype(float)[20:44, 20:84]

    def apart(one: np.ndarray, other: np.ndarray) -> float:
        still = one[7:-7, 7:-7]
        moved = (
            other[7 + y : other.shape[0] - 7 + y, 7 + x : other.shape[1] - 7 + x]
            for y in range(-7, 8)
            for x in range(-7, 8)
        )
        return min(float(np.abs(still - there).mean()) for there in moved)

    least = {(a, b): apart(tiles[a], tiles[b]) for a, b in itertools.combinations(FILLS, 2)}
    assert min(least.values()) > 12, sorted(least.items(), key=lambda pair: pair[1])[:5]


def test_batches_that_come_have_fills_of_their_own_and_are_in_the_key() -> None:
    """Twelve fills for twelve batches; the thirteenth shares one and is shown by its code in the bar."""
    twelve = [f"S1-{n:02d}" for n in range(1, 13)]
    assert len(set(fills_of(twelve).values())) == 12
    assert fills_of([*twelve, "S1-13"])["S1-13"] == fills_of(twelve)["S1-01"]
    content = replace(plan_content(2), names={"KT-26-031-01": "Tridacna maxima"})
    assert "KT-26-031-01 Tridacna maxima" in text_of(forms.plan(content))


def _bars(vat: str, *bars: forms.PlanBar) -> forms.PlanVat:
    return forms.PlanVat(vat, bars)


def _two_vats() -> forms.PlanContent:
    """H1 leaves A5 before a landing, S1-01 comes into it, then goes to G1 and G2, where nothing is planned beyond."""
    vats = (
        _bars("A5", forms.PlanBar("H1", 150, 0, 2, "present", out_before="07:30"), forms.PlanBar("S1-01", 90, 2, 6)),
        _bars("G1", forms.PlanBar("H1", 150, 2, 10, "present"), forms.PlanBar("S1-01", 60, 6, 8, leaves=False)),
        _bars("G2", forms.PlanBar("S1-02", 8, 2, 4), forms.PlanBar("S1-02", 5, 4, 9), forms.PlanBar("S1-01", 30, 6, 8)),
    )
    days = tuple(f"{n:02d} Mar" for n in range(1, 11))
    return forms.PlanContent("F", "S1", days, (forms.PlanSystem("A", vats),), 98, 98)


def test_each_morning_says_what_leaves_before_what_comes() -> None:
    """Read off the bars: with the hour, with where it goes; who stays in the vat is no step, and an end is no move."""
    steps = steps_of(_two_vats())
    assert [(s.day, s.vat, s.words) for s in steps] == [
        (2, "A5", "150 of H1 out before 07:30 to G1"),
        (2, "A5", "90 of S1-01 in"),
        (2, "G1", "150 of H1 in from A5"),
        (2, "G2", "8 of S1-02 in"),
        (4, "G2", "3 of S1-02 out"),
        (6, "A5", "90 of S1-01 out to G1, G2"),
        (6, "G1", "60 of S1-01 in from A5"),
        (6, "G2", "30 of S1-01 in from A5"),
        (8, "G2", "30 of S1-01 out"),
        (9, "G2", "5 of S1-02 out"),
    ]
    text = text_of(forms.plan(_two_vats()))
    assert "03 Mar A5: 150 of H1 out before 07:30 to G1 A5: 90 of S1-01 in" in text
    assert "In the vats on 01 Mar: A5: 150 of H1." in text
    assert "with no move due: 09 Mar G1 (S1-01)" in text


def test_a_vat_is_emptied_before_others_animals_come_into_it() -> None:
    """G1 goes to G3 and G3 to G4: G3 is read first, though the picture has G1 above it; a ring is read as drawn."""

    def outs(*ways: tuple[str, str]) -> list[str]:
        names = sorted({vat for way in ways for vat in way})
        there = {
            name: [forms.PlanBar(f"H-{source}", 5, -1, 2, "present") for source, _ in ways if source == name]
            + [forms.PlanBar(f"H-{source}", 5, 2, 9, "present") for source, target in ways if target == name]
            for name in names
        }
        vats = tuple(forms.PlanVat(name, tuple(bars)) for name, bars in there.items())
        content = forms.PlanContent("F", "S", ("d",) * 8, (forms.PlanSystem("W", vats),), 0, 0)
        return re.findall(r"(\w+): 5 of H-\w+ out", text_of(forms.plan(content)))

    assert outs(("G1", "G3"), ("G3", "G4")) == ["G3", "G1"]
    assert outs(("G1", "G2"), ("G2", "G1")) == ["G1", "G2"]


@given(
    st.lists(
        st.tuples(st.sampled_from("ABC"), st.sampled_from(("x", "y")), st.integers(1, 40), st.integers(0, 8),
                  st.integers(1, 6)),
        max_size=12,
    )
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_the_mornings_add_up_to_what_stands(rows: list[tuple[str, str, int, int, int]]) -> None:
    """Ins less outs up to a day are the animals the picture shows in each vat after that day's work."""
    bars = [(vat, forms.PlanBar(batch, n, start, start + long)) for vat, batch, n, start, long in rows]
    vats = tuple(forms.PlanVat(name, tuple(bar for vat, bar in bars if vat == name)) for name in "ABC")
    content = forms.PlanContent("F", "S", ("d",) * 20, (forms.PlanSystem("W", vats),), 0, 0)
    steps = steps_of(content)
    for day in range(20):
        for vat, batch in itertools.product("ABC", ("x", "y")):
            stands = sum(b.count for v, b in bars if (v, b.batch) == (vat, batch) and b.from_day <= day < b.until_day)
            mine = [s for s in steps if (s.vat, s.batch) == (vat, batch) and s.day <= day]
            assert sum(-s.count if s.out else s.count for s in mine) == stands


@pytest.mark.parametrize(("paper", "most"), [("a4", 3), ("letter", 3), ("a3", 2)])
def test_the_picture_takes_few_pages_and_names_each_vat_once(paper: str, most: int) -> None:
    """Sixteen vats with 48 bars: each vat's name heads one lane, and the type in the bars stays readable."""
    content = plan_content(8)
    read = pages(forms.plan(content, paper))
    drawn = [page for page in read if "0.72 m² bench" in page]
    assert len(drawn) <= most
    whole = " ".join(read)
    assert [whole.count(f"Q{n} 0.72 m² bench") for n in range(1, 17)] == [1] * 16


def test_run_sheet_lists_every_box_in_its_order() -> None:
    """The order of opening is the point of the sheet."""
    content = runsheet_content(14)
    text = text_of(forms.runsheet(content))
    places = [text.index(f"KT-26-031-{n:02d}") for n in range(1, 15)]
    assert places == sorted(places)
    assert "36 h limit" in text
    assert content.water[0].volume in text


def test_round_keeps_the_order_clean_to_dirty() -> None:
    """Walked the other way a pest is carried."""
    text = text_of(forms.round_sheet(round_content()))
    walked = (
        "1 GROW-OUT A",
        "Clean hands, dry nets",
        "2 QUARANTINE B",
        "New gloves",
    )  # each barrier in its system's bar
    places = [text.index(words) for words in walked]
    assert places == sorted(places)


def test_history_curve_falls_and_says_its_interval(raster: Raster) -> None:
    """The curve's ink moves down to the right, and its last value is printed with its interval."""
    content = history_content()
    data = forms.history(content)
    assert "72.0 % alive on day 30 (58.0 – 86.0 %)" in text_of(data)
    flat = replace(content, survival=(forms.SurvivalPoint(0, 1.0, 1.0, 1.0),))
    assert not np.array_equal(raster(data, 72)[0], raster(forms.history(flat), 72)[0])


def test_corrections_are_told_in_the_history() -> None:
    """Nothing is deleted; what was wrong and what corrected it both stand."""
    event = forms.HistoryEvent("4 Mar", "Count", count=-1, corrects="entry 17")
    assert "corrects entry 17" in text_of(forms.history(replace(history_content(), events=(event,))))


def test_rates_are_never_printed_bare() -> None:
    """A percent without its interval misleads; none at all is a dash."""
    (page,) = pages(forms.supplier_report(supplier_content()))
    assert "3.4 % (2.7 – 4.3)" in page
    assert "Nowhere Lagoon 1 40 – 2.5 % (0.3 – 9.0)" in page


@pytest.mark.parametrize("end", [1.0, 7.0, 30.0, 90.0, 365.0])
def test_marks_on_the_axis_are_few_and_inside(end: float) -> None:
    """Ten marks are read, forty are a smear."""
    marks = round_marks(end)
    assert 2 <= len(marks) <= 11
    assert marks[0] == 0
    assert marks[-1] <= end
