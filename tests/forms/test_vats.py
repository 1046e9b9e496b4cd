"""Labels at vats and the daily round: danger on each, what is due with its state, nothing below 8 pt, codes that read."""

from __future__ import annotations

from dataclasses import replace

import pytest
import zxingcpp

import forms
from forms.layout.page import PaperError
from tests.forms.conftest import Raster
from tests.forms.measuring import fields, least_tick, least_writing, type_sizes
from tests.forms.reading import pages, text_of
from tests.forms.samples import LONG_NAME, palytoxin, round_content

GRID_NAMES = [name for name, grid in forms.GRIDS.items() if grid.width_mm >= 60 and grid.height_mm >= 36]


def label(vat: str = "A3", lots: int = 2, **changes: object) -> forms.VatLabel:
    """A vat of some lots with the poison in its water."""
    held = tuple(forms.VatLot(700 - n, f"S1-{n:02d}", "Tridacna maxima" if n else LONG_NAME) for n in range(lots))
    total = sum(lot.count for lot in held)
    made = forms.VatLabel(
        vat, "Quarantine A", f"{total:,} animals, 28 Oct 2026", held, "32", "days to release",
        f"http://192.168.4.20:8080/vats/{vat}", ("not before Sun 29 Nov", "last in: S1-08"), palytoxin(),
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("grid", [*GRID_NAMES, "99x68", "101x51"])
def test_a_vat_label_of_any_size_says_vat_danger_and_days(grid: str, raster: Raster) -> None:
    """On every stock: the vat, its mark with words, the count, the days, and a code that reads at 150 dpi."""
    stock: str | forms.LabelGrid = grid
    if "x" in grid and grid[0].isdigit():
        wide, tall = (float(part) for part in grid.split("x"))
        stock = forms.grid_for("a4" if wide < 100 else "letter", (wide, tall))
    data = forms.vat_labels([label(), label("north-hall-12", 9)], stock)
    text = text_of(data)
    for words in ("A3", "PALYTOXIN", "32", "days to release", "28 Oct 2026"):
        assert words in text
    assert "lots: scan" in text or "S1-08 " in text
    assert min(type_sizes(data)) >= 8.0
    codes = {code.text for page in raster(data, 150) for code in zxingcpp.read_barcodes(page)}
    assert codes == {"http://192.168.4.20:8080/vats/A3", "http://192.168.4.20:8080/vats/north-hall-12"}


def test_lots_that_find_no_line_are_counted_on_the_last() -> None:
    """The numbers on the label and in its last line add up to its total."""
    data = forms.vat_labels([label(lots=9)], "letter-2x5")
    told = text_of(data)
    shown = [n for n in range(9) if f"S1-{n:02d} " in told]
    rest = sum(700 - n for n in range(9) if n not in shown)
    assert 1 <= len(shown) < 9
    assert f"{rest:,} in {9 - len(shown)} more lots: scan" in told


def test_held_and_free_differ_in_more_than_tone(raster: Raster) -> None:
    """Copied in grey both are read by the word; the foot of what may leave is white."""
    held = raster(forms.vat_labels([label(state="HELD", says="do not move")], "a4-2x4"), 60)[0]
    free = raster(forms.vat_labels([label(state="FREE", says="sell, cut, move", free=True)], "a4-2x4"), 60)[0]
    assert (held < 64).sum() > 1.5 * (free < 64).sum()


def test_a_vat_label_too_small_to_be_read_is_refused() -> None:
    """Refused in words with both sizes."""
    with pytest.raises(PaperError, match="60 x 36"):
        forms.vat_labels([label()], "roll-50x25")
    with pytest.raises(PaperError, match="not on a sheet"):
        forms.vat_labels([label()], "a4-2x4", 9)
    with pytest.raises(PaperError, match="no label"):
        forms.vat_labels([], "a4-2x4")


def test_stock_given_in_mm_is_centred_or_placed_as_told() -> None:
    """As many as fit, in the middle; margins and gaps are kept where they are given."""
    grid = forms.grid_for("a4", (99, 68), gap_mm=(2, 0))
    assert (grid.columns, grid.rows) == (2, 4)
    assert 2 * grid.left_mm + 2 * 99 + 2 == pytest.approx(210)
    told = forms.grid_for("a4", (99, 68), margin_mm=(4, 10), across_down=(1, 2))
    assert (told.left_mm, told.top_mm, told.each_page) == (4, 10, 2)
    with pytest.raises(PaperError):
        forms.grid_for("a4", (99, 68), across_down=(3, 4))


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("vats", [1, 4, 20])
def test_the_round_names_danger_due_and_state(vats: int, paper: str) -> None:
    """Each lot with its count, each vat with its worst danger, each bath with strength and drain; sizes for wet hands."""
    content = round_content(vats)
    data = forms.round_sheet(content, paper)
    text = text_of(data)
    lots = [lot for stop in content.stops for vat in stop.vats for lot in vat.lots]
    assert all(stop.system.upper() in text for stop in content.stops)
    assert {vat.vat for stop in content.stops for vat in stop.vats} <= set(text.split())
    assert {str(lot.headcount) for lot in lots} <= set(text.split())
    assert "PALYTOXIN" in text
    assert text.count("waste drain") == sum(len(lot.due) for lot in lots)
    assert min(type_sizes(data)) >= 8.0
    filled = forms.round_sheet(content, paper, fillable=True)
    assert least_tick(filled) >= 9.99
    assert least_writing(filled) >= 7.99
    assert all(one["told"] for one in fields(filled))
    assert all(f"page {n} of {len(pages(data))}" in page for n, page in enumerate(pages(data), start=1))


def test_each_person_walks_with_a_sheet_of_their_own() -> None:
    """Page numbers within each, and no field of one shared with the other."""
    one, other = round_content(1), replace(round_content(1), who="Oskar")
    data = forms.round_sheets([one, other], fillable=True)
    assert "Mira Sandholm" in pages(data)[0]
    assert "Oskar" in pages(data)[-1]
    names = [field["name"] for field in fields(data)]
    assert len(names) == len(set(names))
    with pytest.raises(PaperError):
        forms.round_sheets([])


def test_each_row_of_the_round_says_which_vat_it_is_in() -> None:
    """A page that turns between two lots of one vat left the second without its place."""
    content = round_content(10)
    rows = [(vat.vat, lot.batch) for stop in content.stops for vat in stop.vats for lot in vat.lots]
    for vat, batch in rows:
        (page,) = [text for text in pages(forms.round_sheet(content)) if batch in text.split()]
        words = page.split()
        assert vat in words[max(0, words.index(batch) - 2) : words.index(batch)], (vat, batch)


def test_nothing_is_black_where_nothing_can_kill(raster: Raster) -> None:
    """White on black is kept for what kills: the emergency number alone stands in a frame."""
    content = round_content(1)
    first, bare = (raster(forms.round_sheet(one), 100)[0] for one in (content, replace(content, kills=())))
    assert (bare < 64).sum() < 0.7 * (first < 64).sum()
