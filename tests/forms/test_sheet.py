"""The intake sheet: sizes for wet hands measured on the paper, every step, day and gate on it, nothing cut in silence."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

import forms
from forms.documents.intake_sheet.rungs import rungs_of
from forms.documents.shared_content import number
from forms.layout.page import Pen, document
from tests.forms.conftest import Raster
from tests.forms.measuring import MM, fields, least_tick, least_writing, type_sizes
from tests.forms.reading import lines_of, pages, reader, text_of
from tests.forms.samples import (
    LANDED,
    LONG_NAME,
    due_days,
    mains,
    palytoxin,
    sheet_content,
    steps,
    stress_sheets,
)

GOLDEN = Path(__file__).parent / "goldens" / "sheet.txt"
ACCLIMATION: forms.Acclimation = sheet_content().acclimation or forms.Acclimation("")
PAPERS = ("a4", "letter")
HARD = {"full": sheet_content(), **stress_sheets()}


def test_sheet_says_what_was_agreed() -> None:
    """Golden text: a changed sheet is read again by a person before it is accepted."""
    assert lines_of(forms.sheet(sheet_content())) == GOLDEN.read_text(encoding="utf-8").splitlines()


def test_sheet_states_every_fact_given() -> None:
    """Each field of the content reaches the paper."""
    content = sheet_content()
    text = text_of(forms.sheet(content))
    wanted = [
        content.batch, content.name, content.common_name, content.group, content.size, f"{content.announced} announced",
        content.supplier, content.shipment, content.waybill, content.lands, content.in_bag, content.emergency,
        *content.printed, content.revision, content.wear_words, *content.onwards, *content.gates, content.foot,
        *(v.vat for v in content.vats), *(str(v.count) for v in content.vats), *(v.system for v in content.vats),
        *(p.number for p in content.permits), *(p.valid_until for p in content.permits),
        *(kind.what for kind in content.kinds), *(kind.disposal for kind in content.kinds),
    ]  # fmt: skip
    assert [fact for fact in wanted if fact.replace("  ", " ") not in text] == []


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", HARD)
def test_hands_and_eyes_find_what_they_need(name: str, paper: str) -> None:
    """No type below 8 pt, no tick or ring below 10 mm, no line to write on below 8 mm: measured on the PDF."""
    assert min(type_sizes(forms.sheet(HARD[name], paper))) >= 8.0
    filled = forms.sheet(HARD[name], paper, fillable=True)
    assert least_tick(filled) >= 9.99
    assert least_writing(filled) >= 7.99


def test_the_measuring_sees_small_type_and_small_ticks() -> None:
    """A ruler that measures nothing would pass every sheet."""
    canvas, buffer = document((200, 200), "small")
    pen = Pen(canvas, fillable=True)
    pen.text(20, 20, "small", size=7.5)
    pen.tick("tick", (50, 50), 6 * MM)
    pen.field("line", (50, 90), (80, 5 * MM))
    canvas.save()
    data = buffer.getvalue()
    assert min(type_sizes(data)) == pytest.approx(7.5)
    assert least_tick(data) == pytest.approx(6.0, abs=0.01)
    assert least_writing(data) == pytest.approx(5.0, abs=0.01)


@pytest.mark.parametrize("paper", PAPERS)
def test_what_kills_is_read_at_arm_s_length(paper: str) -> None:
    """Words that can save a life are 14 pt or more on both papers, and the blank for the number is there."""
    data = forms.sheet(sheet_content(kills=(palytoxin(), mains()), emergency=""), paper)
    large: list[str] = []

    def saw(text: str, _cm: object, matrix: list[float], _font: object, size: float) -> None:
        if abs(size * matrix[3]) >= 14:
            large.append(text)

    reader(data).pages[0].extract_text(visitor_text=saw)
    said = " ".join(" ".join(large).split())
    for danger in (palytoxin(), mains()):
        assert set(f"{danger.head} {danger.words}".split()) <= set(said.split())
    assert "EMERGENCY" in text_of(data)


@settings(max_examples=25, deadline=None)
@given(
    n_steps=st.integers(0, 60), n_work=st.integers(0, 40), n_days=st.integers(1, 120), n_vats=st.integers(0, 12),
    n_boxes=st.integers(0, 45), paper=st.sampled_from(PAPERS),
)  # fmt: skip
def test_nothing_is_left_out_however_much_there_is(
    n_steps: int, n_work: int, n_days: int, n_vats: int, n_boxes: int, paper: str
) -> None:
    """A step left out without a word kills animals: every box, step, vat, day of work and gate is on the sheet."""
    content = sheet_content(
        acclimation=replace(ACCLIMATION, steps=steps(n_steps)),
        work=due_days(n_work),
        days=n_days,
        vats=tuple(forms.VatShare(f"Q{n}", 10) for n in range(n_vats)),
        boxes=tuple(f"b{n}" for n in range(n_boxes)),
    )
    data = forms.sheet(content, paper)
    texts = pages(data)
    words = " ".join(texts).split()
    assert {f"b{n}" for n in range(n_boxes)} <= set(words)
    assert all(words.count(f"Q{n}") >= 1 + -(-n_days // 7) for n in range(n_vats))
    if n_steps:
        assert "INTO" in words
        shown = sum(words.count(f"{10 * k}") > 0 or f"{10 * k}:" in words for k in range(n_steps))
        assert shown == n_steps
    due = [one for one in content.work if one.day < LANDED + timedelta(days=n_days)]
    each_vat = max(1, -(-n_vats // 3))
    codes = sum(words.count(code) for code in ("D1", "I1"))
    assert codes >= len(due) * each_vat
    assert "“placed”" in words
    assert all(f"page {n} of {len(texts)}" in text for n, text in enumerate(texts, start=1))


@pytest.mark.parametrize("paper", PAPERS)
def test_no_page_has_two_lines_on_it(paper: str) -> None:
    """A page that only ends the one before is lost in the hall: the balance never leaves the last vat."""
    for content in HARD.values():
        for text in pages(forms.sheet(content, paper)):
            assert len(text.split()) > 40
            if "“placed”" in text:
                assert re.search(r"counted (initials|→|second)|counted", text)


def test_every_step_stands_on_the_ladder_and_the_last_one_goes_into_the_vat() -> None:
    """Up to three steps share a rung; never is one left to another paper."""
    for n in range(1, 40):
        given_steps = steps(n)
        rungs = rungs_of(given_steps)
        assert tuple(step for rung in rungs for step in rung) == given_steps
        assert len(rungs[-1]) == 1
        assert len(rungs) <= 7 or n > 19


@pytest.mark.parametrize("paper", PAPERS)
def test_plain_text_holds_balance_steps_and_dip_days(paper: str, tmp_path: Path) -> None:
    """What a reader of the text layer gets: the balance line, each step with its minute, each day with its strength."""
    content = sheet_content()
    (tmp_path / "sheet.pdf").write_bytes(forms.sheet(content, paper))
    command = ["pdftotext", "-raw", "sheet.pdf", "-"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    text = " ".join(done.stdout.replace("\xa0", " ").split())
    assert "announced 240 − missing − wrong − DOA = placed" in text
    for step in ACCLIMATION.steps:
        assert re.search(rf"\b{number(step.minute, 0)}\b", text)
        assert step.brief in text
    for one in content.work:
        assert re.search(rf"\b{one.day.day}( Apr)? {one.code} {one.brief}", text), one


def test_states_of_the_books_are_printed_in_the_day() -> None:
    """A sheet printed again shows what was done and missed, and ticks the done."""
    first, *rest = due_days()
    done = replace(first, state="done", done=True)
    missed = replace(rest[0], state="missed")
    text = text_of(forms.sheet(sheet_content(work=(done, missed, *rest[1:]))))
    assert "done" in text.split()
    assert "missed" in text.split()
    ticked = reader(forms.sheet(sheet_content(work=(done, *rest)), fillable=True)).get_fields() or {}
    hooks = [name for name, field in ticked.items() if field.get("/V") == "/Yes"]
    assert len(hooks) == 1
    assert "D1" in hooks[0]


def test_fish_that_move_are_counted_in_the_vat_of_the_day() -> None:
    """From one vat to the other and back: the move names both, and each later day the vat it left them in."""
    words = text_of(forms.sheet(HARD["fish that move"])).split()
    assert words.count("A1▸A2") == words.count("A2▸A1") == 2
    days = 42
    assert words.count("A2") == 6  # two moves there, three days each
    assert words.count("A1") >= days - 6


@pytest.mark.parametrize("paper", PAPERS)
def test_code_on_the_sheet_reads_the_count_page(paper: str, raster: Raster) -> None:
    """The thumb on a wet phone has one try, on every page."""
    content = sheet_content()
    for page in raster(forms.sheet(content, paper), 150):
        assert [code.text for code in zxingcpp.read_barcodes(page)] == [content.count_address]


def test_modules_of_every_code_are_wide_enough(raster: Raster) -> None:
    """0.45 mm a module or more, also on the lower heads of further pages."""
    for page in raster(forms.sheet(sheet_content()), 150):
        corners = zxingcpp.read_barcodes(page)[0].position
        dark = (corners.top_right.x - corners.top_left.x) / 150 * 25.4
        assert dark / 29 >= 0.44  # version 3 has 29 modules; one dot of 150 dpi is 0.17 mm over all of them


def test_each_batch_counts_its_own_pages() -> None:
    """A pile of sheets is handed out batch by batch."""
    data = forms.sheets([sheet_content(batch=f"B-{n}") for n in range(3)])
    texts = pages(data)
    each = len(texts) // 3
    assert len(texts) == 3 * each
    assert [int(f"page 1 of {each}" in text) for text in texts] == [1, *[0] * (each - 1)] * 3
    assert all(f"B-{n // each}" in text for n, text in enumerate(texts))


def test_unsourced_values_are_marked_only_where_they_stand() -> None:
    """The crew sees which strength rests on practice alone; a mark on all says nothing."""
    content = sheet_content(foot="")
    assert "40 mL/L †" in text_of(forms.sheet(content))
    sure = replace(
        content,
        kinds=tuple(replace(kind, published=True) for kind in content.kinds),
        acclimation=replace(ACCLIMATION, published=True),
    )
    assert "†" not in text_of(forms.sheet(sure))


def test_fillable_sheet_takes_every_count_once_and_names_each_field() -> None:
    """Typed values come back by name; every field says what it is; one scale of a meter excludes the other."""
    found = fields(forms.sheet(sheet_content(), fillable=True))
    names = {one["name"] for one in found}
    wanted = {
        "open/3/doa",
        "open/3/temperature",
        "place/Q3/counted",
        "balance/placed",
        "Q4/2026-03-05/dead",
        "step/1/done",
    }
    assert {f"KT-26-031-04/{name}" for name in wanted} <= names
    assert all(one["told"] and one["told"] != one["name"] for one in found)
    choices = [one["name"] for one in found if one["kind"] == "choice"]
    assert choices.count("KT-26-031-04/open/3/scale") == 2
    plain = [one["name"] for one in found if one["kind"] != "choice"]
    assert len(plain) == len(set(plain))
    assert not reader(forms.sheet(sheet_content())).get_fields()


def test_fields_of_two_sheets_never_share_a_name() -> None:
    """Fields of one name hold one value: a count typed for one batch would show on the other."""
    one = reader(forms.sheet(sheet_content(), fillable=True)).get_fields() or {}
    two = reader(forms.sheets([sheet_content(), sheet_content()], fillable=True)).get_fields() or {}
    assert len(two) == 2 * len(one) > 100


def test_boxes_to_write_in_do_not_lie_over_each_other() -> None:
    """Two fields on one place hide each other's value, and two boxes drawn into each other are no boxes."""
    for content in HARD.values():
        found = fields(forms.sheet(content, fillable=True))
        for page in {one["page"] for one in found}:
            here = [one for one in found if one["page"] == page]
            for n, one in enumerate(here):
                for other in here[n + 1 :]:
                    across = min(one["left"] + one["width"], other["left"] + other["width"]) - max(
                        one["left"], other["left"]
                    )
                    down = min(one["low"] + one["height"], other["low"] + other["height"]) - max(
                        one["low"], other["low"]
                    )
                    assert min(across, down) < 2 / MM, (one["name"], other["name"])


@pytest.mark.parametrize("paper", PAPERS)
def test_names_of_sixty_characters_stand_whole(paper: str) -> None:
    """A clipped species name is a wrong permit, a clipped vat is another vat."""
    long_vat = "north-hall-raceway-of-the-second-quarantine-water-number-12"
    content = sheet_content(name=LONG_NAME, supplier=LONG_NAME, vats=(forms.VatShare(long_vat, 10),), boxes=(long_vat,))
    text = "".join(text_of(forms.sheet(content, paper)).split())
    assert text.count(LONG_NAME.replace(" ", "")) >= 2
    assert text.count(long_vat) >= 1 + 6


@pytest.mark.parametrize(
    ("value", "decimals", "printed"),
    [(None, 1, "–"), (-1.25, 1, "−1.2"), (-0.01, 1, "0.0"), (25.0, 1, "25.0"), (0.0044, 3, "0.004")],
)
def test_numbers_print_with_their_decimals(value: float | None, decimals: int, printed: str) -> None:
    """A dash is not a zero, and minus nothing is nothing."""
    assert number(value, decimals) == printed
