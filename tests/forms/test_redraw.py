"""Charts on paper and in pixels show what their SVG shows."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import forms
from forms.layout.page import PaperError
from intake.report.charts import IntervalRow, hazard_steps, interval_rows, loss_bars, survival_steps
from intake.report.groupings import daily_hazard
from intake.report.losses import by_day
from intake.report.survival import Life, kaplan_meier
from tests.forms.conftest import Raster
from tests.forms.reading import text_of
from tests.ledger.books import Scribe, hour

SCRIBE = Scribe()
LIVES = [Life(0, 3, 4, died=True), Life(0, 5.5, 2, died=True), Life(0, 9, 30, died=False)]
CURVE = kaplan_meier(LIVES)
(LOSS, *_) = by_day(
    [SCRIBE.move("S1-01", "supplier > vat:Q1", 40), SCRIBE.move("S1-01", "vat:Q1 > doa", 5)], "S1-01", hour(3)
)
CHARTS = {
    "survival": survival_steps([("S1-01 Χταπόδι", CURVE)], title="Share alive"),
    "hazard": hazard_steps(daily_hazard(CURVE), title="Hazard"),
    "losses": loss_bars([LOSS, replace(LOSS, day=1, dead=6, missing=2, doa=0)], title="Losses"),
    "rows": interval_rows([IntervalRow("A", 2, 1, 4), IntervalRow("B", 3, 0, 90)], title="Rows", axis="%"),
}


def pixels(data: bytes) -> np.ndarray:
    """Grey pixels of a PNG."""
    return np.asarray(Image.open(io.BytesIO(data)).convert("L"))


@pytest.mark.parametrize("name", CHARTS)
def test_every_word_of_a_chart_stands_on_its_page(name: str) -> None:
    """Labels, marks and title, as text that can be searched; equal charts give equal bytes."""
    svg = CHARTS[name]
    data = forms.chart_pdf(svg)
    told = text_of(data)
    words = [one.text for one in ET.fromstring(svg).iter() if one.tag.endswith(("text", "title"))]
    assert all(" ".join(word.split()) in told for word in words if word)
    assert data == forms.chart_pdf(svg)
    assert forms.chart_png(svg) == forms.chart_png(svg)


@pytest.mark.parametrize("name", CHARTS)
def test_paper_and_pixels_have_the_same_ink(name: str, raster: Raster) -> None:
    """Drawn by two hands from one text: at the same scale, ink lies in the same places."""
    png = pixels(forms.chart_png(CHARTS[name]))
    page = raster(forms.chart_pdf(CHARTS[name]), 144)[0]
    high, wide = min(png.shape[0], page.shape[0]), min(png.shape[1], page.shape[1])
    blocks = [
        255 - one[: high // 24 * 24, : wide // 24 * 24].reshape(high // 24, 24, wide // 24, 24).mean(axis=(1, 3))
        for one in (png, page)
    ]
    inked = [block > 6 for block in blocks]
    assert inked[0].sum() > 30
    assert (inked[0] ^ inked[1]).sum() <= 0.12 * (inked[0] | inked[1]).sum()
    assert float(blocks[0].mean()) == pytest.approx(float(blocks[1].mean()), rel=0.15)


def test_a_mark_nobody_draws_is_refused() -> None:
    """Left out in silence it would be a picture that lies."""
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><ellipse cx="1"/></svg>'
    for draw in (forms.chart_pdf, forms.chart_png):
        with pytest.raises(PaperError, match="ellipse"):
            draw(svg)
