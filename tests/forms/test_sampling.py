"""The sampling list, cautions in columns, and a checklist kept on its page."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import zxingcpp

import forms
from forms.layout.blocks import Caution
from tests.forms.conftest import Raster
from tests.forms.reading import pages, reader, says, text_of
from tests.forms.samples import LONG_NAME, checklist_content, history_content, sampling_content


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_animal_drawn_has_its_line_and_the_code_reads(paper: str, raster: Raster) -> None:
    """Each number stands once, with its vat above; the long name is whole; the QR leads to the batch."""
    content = sampling_content()
    data = forms.sampling_list(content, paper)
    words = text_of(data).split()
    for place in content.places:
        assert f"{place.place}: {len(place.numbers)} of {place.standing}" in text_of(data)
        assert all(str(number) in words for number in place.numbers)
    assert says(data, LONG_NAME)
    assert "april, by Mira Sandholm" in text_of(data)
    first = raster(data, 150)[0]
    assert [code.text for code in zxingcpp.read_barcodes(first)] == [content.address]
    assert all("Looked" in page for page in pages(data))


def test_its_boxes_are_ten_millimetres(raster: Raster) -> None:
    """Two boxes an animal for a thick pen in a wet glove, measured on the page."""
    page = raster(forms.sampling_list(sampling_content(20)), 100)[0] < 110
    wanted = 10 / 25.4 * 100

    def boxed(column: np.ndarray) -> bool:
        """A line as long as the side of a box: one of its edges; the black strip above is longer."""
        edges = np.flatnonzero(np.diff(np.concatenate(([0], column.astype(np.int8), [0]))))
        return any(abs(int(end - start) - wanted) <= 3 for start, end in zip(edges[::2], edges[1::2], strict=True))

    assert sum(boxed(page[:, x]) for x in range(page.shape[1])) >= 8


def test_it_can_be_filled_in_on_a_screen() -> None:
    """A tick for looked and clean, and words for what was found, each under its own name."""
    fields = reader(forms.sampling_list(sampling_content(), fillable=True)).get_fields() or {}
    assert {"1/Vat Q1/1/looked", "1/Vat Q1/1/clean", "1/Vat Q1/1/found", "1/found"} <= set(fields)
    assert not reader(forms.sampling_list(sampling_content())).get_fields()


def test_many_cautions_stand_in_columns_and_none_is_lost() -> None:
    """A wall of warnings is not read: side by side it is lower; order and words stay."""
    lines = tuple(f"Caution number {n}: gloves and goggles." for n in range(12))
    narrow, wide = Caution(lines).set(260), Caution(lines).set(760)
    assert wide.height < 0.5 * narrow.height
    told = [line.removeprefix("! ") for column in wide.columns for line in column]  # type: ignore[attr-defined]
    assert tuple(told) == lines
    assert len(Caution(lines[:1]).set(760).columns) == 1  # type: ignore[attr-defined]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_checklist_tightens_before_it_turns_the_page(paper: str) -> None:
    """A second page that holds a signature alone is lost at the tub."""
    counts = [len(pages(forms.checklist([checklist_content(n)], paper))) for n in range(4, 13)]
    assert counts == sorted(counts)
    assert counts[0] == 1
    long = pages(forms.checklist([checklist_content(40)], paper))
    assert "Minute Do" in long[-1] or "Minute Do" in long[-2]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_step_into_the_vat_is_never_alone_on_a_page(paper: str) -> None:
    """A page that holds one step is lost at the tub, and the last step is the one that matters."""
    turned = [pages(forms.checklist([checklist_content(n)], paper)) for n in range(10, 45)]
    for told in (one for one in turned if len(one) > 1):
        last = next(text for text in reversed(told) if "Minute Do" in " ".join(text.split()))
        assert sum(f"{10 * n} Drip" in " ".join(last.split()) for n in range(45)) >= 4
    assert any(len(told) > 1 for told in turned)


def test_a_small_loss_is_drawn_where_it_can_be_seen() -> None:
    """Where nearly all live the axis begins above none, and says so; where many died it begins at none."""
    healthy = tuple(forms.SurvivalPoint(day, 1 - day / 1000, 0.95 - day / 1000, 1.0) for day in range(20))
    content = history_content()
    assert "the axis begins at 90 %" in text_of(forms.history(replace(content, survival=healthy, until_day=20)))
    assert "the axis begins at 50 %" in text_of(forms.history(content))
    sick = (forms.SurvivalPoint(0, 1.0, 1.0, 1.0), forms.SurvivalPoint(3, 0.4, 0.2, 0.6))
    assert "the axis begins" not in text_of(forms.history(replace(content, survival=sick)))
