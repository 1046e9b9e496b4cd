"""On every form and label: names in scripts print as written or are refused by character; no field is without its words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

import forms
from forms.layout.page import PaperError
from tests.forms import samples
from tests.forms.measuring import fields, least_tick, type_sizes
from tests.forms.reading import text_of

GRID = forms.grid_of("a4-2x4")


def _label(name: str) -> bytes:
    lot = forms.VatLot(7, "S1-01", name)
    one = forms.VatLabel("A3", name, "7 animals", (lot,), "FREE", "sell", "http://farm.invalid/vats/A3", (name,))
    return forms.vat_labels([one], GRID)


FORMS: dict[str, Callable[[str], bytes]] = {
    "sheet": lambda name: forms.sheet(samples.sheet_content(farm=name)),
    "claim": lambda name: forms.claim(samples.claim_content(2, claimant=name)),
    "checklist": lambda name: forms.checklist([replace(samples.checklist_content(2), farm=name)]),
    "runsheet": lambda name: forms.runsheet(replace(samples.runsheet_content(3), farm=name)),
    "plan": lambda name: forms.plan(replace(samples.plan_content(2), farm=name)),
    "round": lambda name: forms.round_sheet(replace(samples.round_content(2), farm=name)),
    "log": lambda name: forms.dip_log(replace(samples.log_content(2), farm=name)),
    "history": lambda name: forms.history(replace(samples.history_content(2), name=name)),
    "supplier": lambda name: forms.supplier_report(replace(samples.supplier_content(), farm=name)),
    "sampling": lambda name: forms.sampling_list(replace(samples.sampling_content(4), farm=name)),
    "label": lambda name: forms.labels([forms.LabelContent("Q1", (name,))]),
    "vat label": _label,
}
PRINTED = {"Greek": "Χταπόδι", "Vietnamese": "San hô sừng hươu"}
REFUSED = {
    "Thai": "ปะการัง",
    "Arabic": "مرجان",
    "Hebrew": "אלמוג",
    "Chinese": "鹿角珊瑚",
    "Japanese": "サンゴ",
    "Korean": "산호",
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("script", PRINTED)
def test_greek_and_vietnamese_print_on_every_form(form: str, script: str) -> None:
    """They need no shaping, and the bundled faces hold them."""
    assert PRINTED[script] in text_of(FORMS[form](PRINTED[script]))


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("script", REFUSED)
def test_other_scripts_are_refused_by_character_on_every_form(form: str, script: str) -> None:
    """Never an empty box, and never letters in the wrong order."""
    name = REFUSED[script]
    with pytest.raises(PaperError, match="cannot be printed") as caught:
        FORMS[form](name)
    assert any(f"U+{ord(one):04X}" in str(caught.value) for one in name)


FILLED: dict[str, Callable[[], bytes]] = {
    "sheet": lambda: forms.sheet(samples.sheet_content(), fillable=True),
    "claim": lambda: forms.claim(samples.claim_content(2), fillable=True),
    "checklist": lambda: forms.checklist([samples.checklist_content(3)], fillable=True),
    "round": lambda: forms.round_sheet(samples.round_content(2), fillable=True),
    "log": lambda: forms.dip_log(samples.log_content(3), fillable=True),
    "sampling": lambda: forms.sampling_list(samples.sampling_content(6), fillable=True),
}


@pytest.mark.parametrize("form", FILLED)
def test_every_field_says_what_it_takes(form: str) -> None:
    """A tooltip in words on each, not the name programs know it by."""
    found = fields(FILLED[form]())
    assert found
    assert not [one["name"] for one in found if not one["told"] or one["told"] == one["name"]]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("form", ["sheet", "claim", "checklist", "round", "log", "supplier", "sampling"])
def test_nothing_is_below_eight_points(form: str, paper: str) -> None:
    """On forms without a drawing; labels of drawings have 7."""
    assert min(type_sizes(samples.every_form(paper)[form])) >= 8.0


@pytest.mark.parametrize("steps", [4, 7, 8, 10, 11, 12])
def test_a_checklist_that_keeps_to_one_page_keeps_its_ticks(steps: int) -> None:
    """The text gives way, never the box a wet glove has to hit; the scale of pH is one choice."""
    made = forms.checklist([samples.checklist_content(steps)], fillable=True)
    assert least_tick(made) >= 10.0 - 0.05
    assert {str(one["kind"]) for one in fields(made) if one["name"] == "1/ph-scale"} == {"choice"}
