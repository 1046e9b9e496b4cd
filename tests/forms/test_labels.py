"""Labels: grids that add up, ink inside its own label, codes that read from every grid."""

from __future__ import annotations

import numpy as np
import pytest
import zxingcpp

import forms
from forms.layout.page import PaperError
from forms.layout.qr_code import LEAST_LABEL_MM
from tests.forms.conftest import Raster
from tests.forms.reading import reader, text_of
from tests.forms.samples import label_contents

SHEETS = [name for name in forms.GRIDS if not name.startswith("roll")]
DPI = 150


@pytest.mark.parametrize("name", forms.GRIDS)
def test_shipped_grids_fit_and_are_named_by_their_dimensions(name: str) -> None:
    """A grid off by a gap prints over the next label."""
    grid = forms.GRIDS[name]
    assert grid.problems() == []
    assert grid.name == name
    assert str(grid.columns) in name or grid.page == "roll"


@pytest.mark.parametrize("name", SHEETS)
def test_sheet_grids_are_centred_on_their_page(name: str) -> None:
    """Shipped dimensions come from memory; that both margins come out equal is what can be checked."""
    grid = forms.GRIDS[name]
    across = 2 * grid.left_mm + grid.columns * grid.width_mm + (grid.columns - 1) * grid.gap_across_mm
    down = 2 * grid.top_mm + grid.rows * grid.height_mm + (grid.rows - 1) * grid.gap_down_mm
    assert across == pytest.approx(grid.page_width_mm, abs=0.1)
    assert down == pytest.approx(grid.page_height_mm, abs=0.1)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"columns": 4}, "mm across a page"),
        ({"rows": 9}, "mm down a page"),
        ({"width_mm": 30}, "below"),
        ({"height_mm": 20}, "below"),
        ({"columns": 0}, "at least one"),
        ({"left_mm": -1}, "below 0"),
    ],
)
def test_grids_that_do_not_fit_are_refused(changes: dict[str, float], words: str) -> None:
    """Refused before a sheet of labels is spoilt, in words that say what is wrong."""
    values: dict[str, object] = {
        "page": "a4", "page_width_mm": 210, "page_height_mm": 297, "columns": 3, "rows": 8,
        "width_mm": 70, "height_mm": 37,
    }  # fmt: skip
    with pytest.raises(PaperError, match=words):
        forms.LabelGrid(**(values | changes))  # type: ignore[arg-type]


def test_unknown_grid_lists_the_known_ones() -> None:
    """The answer to a typing slip is the list."""
    with pytest.raises(PaperError, match="a4-3x7"):
        forms.labels(label_contents(1), "a4-9x9")


@pytest.mark.parametrize("first", [0, 22])
def test_first_label_must_be_on_the_sheet(first: int) -> None:
    """Label 22 of 21 is a slip."""
    with pytest.raises(PaperError, match="not on a sheet of 21"):
        forms.labels(label_contents(1), "a4-3x7", first)


@pytest.mark.parametrize("name", forms.GRIDS)
def test_every_code_reads_from_a_150_dpi_page(name: str, raster: Raster) -> None:
    """Cheap printers: what does not read at 150 dpi will not read wet."""
    contents = label_contents(8)
    found = [code.text for page in raster(forms.labels(contents, name), DPI) for code in zxingcpp.read_barcodes(page)]
    assert sorted(found) == sorted(content.address for content in contents)


@pytest.mark.parametrize("name", ["a4-3x7", "letter-3x10", "roll-50x25"])
def test_codes_are_no_smaller_than_18_mm(name: str, raster: Raster) -> None:
    """Measured on the page, quiet zone of four modules included."""
    page = raster(forms.labels(label_contents(1), name), DPI)[0]
    code = zxingcpp.read_barcodes(page)[0]
    dark = (code.position.top_right.x - code.position.top_left.x) / DPI * 25.4
    modules = 29  # version 3, level Q, for these addresses
    assert dark / modules * (modules + 8) >= LEAST_LABEL_MM - 0.2


@pytest.mark.parametrize("name", SHEETS)
def test_no_ink_outside_the_labels(name: str, raster: Raster) -> None:
    """Ink in a gap sits on the neighbour."""
    grid = forms.GRIDS[name]
    for page in raster(forms.labels(label_contents(grid.each_page), name), DPI):
        free = np.ones_like(page, dtype=bool)
        for row in range(grid.rows):
            for column in range(grid.columns):
                x = grid.left_mm + column * (grid.width_mm + grid.gap_across_mm)
                y = grid.top_mm + row * (grid.height_mm + grid.gap_down_mm)
                x0, x1 = (round(value / 25.4 * DPI) for value in (x + 0.5, x + grid.width_mm - 0.5))
                y0, y1 = (round(value / 25.4 * DPI) for value in (y + 0.5, y + grid.height_mm - 0.5))
                free[y0:y1, x0:x1] = False
        assert free.any()
        assert int(page[free].min()) == 255


def test_used_labels_stay_blank(raster: Raster) -> None:
    """A started sheet is put in again with its first labels gone."""
    grid = forms.GRIDS["a4-3x7"]
    data = forms.labels(label_contents(20), grid, first=3)
    pages = raster(data, 60)
    assert len(pages) == 2
    bottom = round((grid.top_mm + grid.height_mm) / 25.4 * 60)
    third = round((grid.left_mm + 2 * (grid.width_mm + grid.gap_across_mm)) / 25.4 * 60)
    assert int(pages[0][:bottom, :third].min()) == 255
    assert int(pages[0][:bottom, third:].min()) < 64


def test_a_full_sheet_is_not_followed_by_an_empty_one() -> None:
    """Twenty-one labels are one sheet, twenty-two are two."""
    assert [len(reader(forms.labels(label_contents(n), "a4-3x7")).pages) for n in (21, 22)] == [1, 2]


def test_what_does_not_fit_a_label_ends_in_dots() -> None:
    """On the smallest roll a hopeless text is visibly cut, never silently."""
    content = forms.LabelContent("Q1", ("word " * 120,), "Q1")
    assert "…" in text_of(forms.labels([content], "roll-50x25"))


def test_calibration_numbers_every_label() -> None:
    """Held against the sheet to measure the printer's shift."""
    text = text_of(forms.calibration("letter-2x5"))
    assert all(f"label {n} " in text for n in range(1, 11))
