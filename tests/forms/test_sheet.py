"""The intake sheet: text as agreed, two pages at most, nothing left out in silence, a code that reads."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

import forms
from forms.documents.shared_content import number
from tests.forms.conftest import Raster
from tests.forms.reading import lines_of, pages, reader, says, text_of
from tests.forms.samples import sheet_content, steps, work

GOLDEN = Path(__file__).parent / "goldens" / "sheet.txt"
ACCLIMATION: forms.Acclimation = sheet_content().acclimation or forms.Acclimation("")


def test_sheet_says_what_was_agreed() -> None:
    """Golden text: a changed sheet is read again by a person before it is accepted."""
    assert lines_of(forms.sheet(sheet_content())) == GOLDEN.read_text(encoding="utf-8").splitlines()


def test_sheet_states_every_fact_given() -> None:
    """Each field of the content reaches the paper."""
    content = sheet_content()
    text = text_of(forms.sheet(content))
    wanted = [
        content.batch, content.name, content.common_name, content.group, content.size, f"{content.announced} announced",
        content.supplier, content.shipment, content.waybill, content.lands, content.boxes, content.emergency,
        *content.cautions, *content.release, *(v.vat for v in content.vats), *(str(v.count) for v in content.vats),
        *(p.number for p in content.permits), *(p.valid_until for p in content.permits), *content.loss_dates,
        "Follow local rules and your veterinarian.",
    ]  # fmt: skip
    assert [fact for fact in wanted if fact not in text] == []
    for step in ACCLIMATION.steps:
        assert says(forms.sheet(content), " ".join(step.printed()))


@settings(max_examples=15, deadline=None)
@given(
    n_steps=st.integers(0, 60), n_work=st.integers(0, 50), n_days=st.integers(0, 150), n_vats=st.integers(0, 6),
    paper=st.sampled_from(["a4", "letter"]),
)  # fmt: skip
def test_two_pages_hold_any_batch_and_omissions_are_told(
    n_steps: int, n_work: int, n_days: int, n_vats: int, paper: str
) -> None:
    """A third page is lost in the hall; a step left out without a word kills animals."""
    content = sheet_content(
        acclimation=replace(ACCLIMATION, steps=steps(n_steps)),
        work=work(n_work),
        loss_dates=tuple(f"d{n}" for n in range(n_days)),
        vats=tuple(forms.VatShare(f"Q{n}", 10) for n in range(n_vats)),
    )
    data = forms.sheet(content, paper)
    assert len(reader(data).pages) <= 2
    words = text_of(data).split()
    text = " ".join(words)
    days_shown = sum(f"d{n}" in words for n in range(n_days))
    assert days_shown == n_days or f"{n_days - days_shown} later days: see the daily round sheet." in text
    steps_shown = sum(" ".join(step.printed()[1:]) in text for step in steps(n_steps))
    left = n_steps - steps_shown
    assert not left or f"{left} more step{'s' if left > 1 else ''}: see the acclimation checklist." in text
    work_shown = text.count("Hydrogen peroxide 3 %") + text.count("flatworm eggs")
    left = n_work - work_shown
    assert not left or f"{left} later date{'s' if left > 1 else ''}: see the dip and inspection log." in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_code_on_the_sheet_reads_the_count_page(paper: str, raster: Raster) -> None:
    """The thumb on a wet phone has one try."""
    content = sheet_content()
    first, _ = raster(forms.sheet(content, paper), 150)
    found = zxingcpp.read_barcodes(first)
    assert [code.text for code in found] == [content.count_address]


def test_code_on_the_sheet_is_no_smaller_than_25_mm(raster: Raster) -> None:
    """Measured on the page: dark modules and quiet zone together."""
    first, _ = raster(forms.sheet(sheet_content()), 150)
    corners = zxingcpp.read_barcodes(first)[0].position
    dark = (corners.top_right.x - corners.top_left.x) / 150 * 25.4
    modules = 29  # version 3
    assert dark / modules * (modules + 8) >= 25


def test_each_batch_counts_its_own_pages() -> None:
    """A pile of sheets is handed out batch by batch."""
    data = forms.sheets([sheet_content(batch=f"B-{n}") for n in range(3)])
    texts = pages(data)
    assert len(texts) == 6
    assert [text.count("page 1 of 2") for text in texts] == [1, 0] * 3
    assert all(f"B-{n // 2}" in text for n, text in enumerate(texts))


def test_unsourced_values_are_marked_only_where_they_stand() -> None:
    """The crew sees which strength rests on practice alone; a mark on all says nothing."""
    assert "40 mL/L †" in text_of(forms.sheet(sheet_content()))
    sure = sheet_content(
        work=tuple(replace(row, published=True) for row in work()),
        acclimation=replace(ACCLIMATION, published=True),
        stages=(),
    )
    assert "†" not in text_of(forms.sheet(sure))


def test_tick_boxes_are_ten_millimetres_when_there_is_room(raster: Raster) -> None:
    """Wet gloves and a thick pen: a box of a short sheet is 10 mm inside its lines."""
    content = sheet_content(acclimation=replace(ACCLIMATION, steps=steps(1)), work=(), loss_dates=(), permits=())
    page = raster(forms.sheet(content), 100)[0]
    wanted = 10 / 25.4 * 100
    dark = page < 110
    squares = 0
    for column in range(dark.shape[1] - int(wanted) - 2):
        tall = _longest_run(dark[:, column])
        squares += abs(tall - wanted) <= 3
    assert squares >= 2


def _longest_run(dark: object) -> int:
    longest = run = 0
    for value in dark:  # type: ignore[attr-defined]
        run = run + 1 if value else 0
        longest = max(longest, run)
    return longest


def test_fillable_sheet_takes_counts_and_ticks() -> None:
    """Typed counts come back by name; the plain sheet has no field at all."""
    fields = reader(forms.sheet(sheet_content(), fillable=True)).get_fields() or {}
    assert {"1.count.Q3.Alive", "1.count.Q4.DOA", "1.bag.1.ph", "1.step.1", "1.work.1", "1.loss.1.0"} <= set(fields)
    assert fields["1.step.1"]["/FT"] == "/Btn"
    assert fields["1.count.Q3.Alive"]["/FT"] == "/Tx"
    assert not reader(forms.sheet(sheet_content())).get_fields()


def test_fields_of_two_sheets_never_share_a_name() -> None:
    """Fields of one name hold one value: a count typed for one batch would show on the other."""
    one = reader(forms.sheet(sheet_content(), fillable=True)).get_fields() or {}
    two = reader(forms.sheets([sheet_content(), sheet_content()], fillable=True)).get_fields() or {}
    assert len(two) == 2 * len(one) > 100


@pytest.mark.parametrize(
    ("value", "decimals", "printed"),
    [(None, 1, "–"), (-1.25, 1, "−1.2"), (-0.01, 1, "0.0"), (25.0, 1, "25.0"), (0.0044, 3, "0.004")],
)
def test_numbers_print_with_their_decimals(value: float | None, decimals: int, printed: str) -> None:
    """A dash is not a zero, and minus nothing is nothing."""
    assert number(value, decimals) == printed
