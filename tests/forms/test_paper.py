"""What every printed page must hold: same bytes, ink inside the margins, embedded faces, no colour, whole words."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import forms
from forms.layout.blocks import Heading, Text
from forms.layout.lettering import BOLD, LEAST_SIZE, REGULAR, _width, clean, lay, unprintable
from forms.layout.page import Block, Paper, PaperError, flow, paper_of
from forms.layout.sheet_pen import sheet_paper
from forms.layout.table_grid import Column, Grid
from tests.forms.conftest import Raster
from tests.forms.reading import pages, reader, says, text_of
from tests.forms.samples import (
    LONG_NAME,
    checklist_content,
    claim_content,
    every_form,
    history_content,
    label_contents,
    log_content,
    plan_content,
    runsheet_content,
    sheet_content,
)

LANDSCAPE = {"plan", "runsheet", "log", "season", "capacity"}


@pytest.fixture(scope="module", params=["a4", "letter"])
def printed(request: pytest.FixtureRequest) -> tuple[str, dict[str, bytes]]:
    """Every form on one paper."""
    return request.param, every_form(request.param)


def test_same_content_gives_same_bytes(printed: tuple[str, dict[str, bytes]]) -> None:
    """A reprint that differs in nothing must not look changed to whoever compares files."""
    paper, first = printed
    assert every_form(paper) == first
    assert forms.labels(label_contents(3)) == forms.labels(label_contents(3))
    assert forms.sheet(sheet_content(), paper, fillable=True) == forms.sheet(sheet_content(), paper, fillable=True)


def test_a_file_says_whose_it_is_and_what_it_is_about(printed: tuple[str, dict[str, bytes]]) -> None:
    """Author is the farm that printed it; the title names more than the kind of form, and holds no date of printing."""
    for name, data in printed[1].items():
        about = reader(data).metadata
        assert about is not None
        assert about.author in {
            "Ångström Lagoon Farm",
            sheet_content().farm,
            claim_content().claimant.partition("\n")[0],
        }, name
        assert name == "checklist" or " · " in str(about.title), (name, about.title)


def test_bytes_do_not_depend_on_the_process() -> None:
    """Hash salts and clocks differ between processes; the paper may not."""
    program = (
        "import hashlib, sys; from tests.forms.samples import *;"
        "sys.stdout.write(hashlib.sha256(forms.sheet(sheet_content()) + forms.plan(plan_content())).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", program], env={"PYTHONHASHSEED": salt, "TZ": zone}, capture_output=True, check=True
        ).stdout
        for salt, zone in (("1", "UTC"), ("2", "Pacific/Auckland"))
    }
    assert len(digests) == 1
    assert len(digests.pop()) == 64


def _margins(name: str, paper: str) -> Paper:
    return sheet_paper(paper) if name in {"sheet", "round"} else paper_of(paper, landscape=name in LANDSCAPE)


def test_no_ink_outside_the_margins(printed: tuple[str, dict[str, bytes]], raster: Raster) -> None:
    """A printer cannot reach the edge, and a punched sheet loses what stands in the margin."""
    paper, documents = printed
    for name, data in documents.items():
        size = _margins(name, paper)
        for page in raster(data, 60):
            dots = 60 / 25.4
            top, bottom = int((size.top_mm - 1) * dots), int((size.bottom_mm - 1) * dots)
            left, right = int((size.left_mm - 1) * dots), int((size.right_mm - 1) * dots)
            assert page.min() < 64, f"{name} printed an empty page"
            edges = (page[:top], page[-bottom:], page[:, :left], page[:, -right:])
            assert all(int(edge.min()) == 255 for edge in edges), f"{name} on {paper} has ink in a margin"


def test_pages_have_the_size_of_the_paper(printed: tuple[str, dict[str, bytes]]) -> None:
    """A4 content scaled onto Letter by a printer would shrink the codes."""
    paper, documents = printed
    for name, data in documents.items():
        wanted = paper_of(paper, landscape=name in LANDSCAPE).size
        for page in reader(data).pages:
            assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(wanted, abs=0.01)


def test_every_face_is_embedded(printed: tuple[str, dict[str, bytes]]) -> None:
    """Greek and accents must print on a machine that has no such face."""
    for name, data in printed[1].items():
        for page in reader(data).pages:
            faces = page["/Resources"]["/Font"]  # type: ignore[index]
            assert faces, name
            for face in faces.values():
                assert "/FontFile2" in face.get_object()["/FontDescriptor"], f"{name} relies on a face of the reader"


def test_nothing_is_said_in_colour(printed: tuple[str, dict[str, bytes]]) -> None:
    """Sheets are copied in black and white; only photographs may hold colour."""
    for name, data in printed[1].items():
        for page in reader(data).pages:
            operators = set(page.get_contents().get_data().split())  # type: ignore[union-attr]
            assert b"g" in operators, name
            assert not operators & {b"rg", b"RG", b"k", b"K", b"sc", b"scn", b"SC", b"SCN"}, f"{name} uses colour"


def test_each_page_says_which_of_how_many(printed: tuple[str, dict[str, bytes]]) -> None:
    """A dropped second page must be missed."""
    for name, data in printed[1].items():
        texts = pages(data)
        for number, text in enumerate(texts, start=1):
            assert f"page {number} of {len(texts)}" in text, name


def test_greek_accents_and_signs_can_be_searched() -> None:
    """Names are kept as the supplier writes them."""
    for data in (forms.sheet(sheet_content()), forms.claim(claim_content())):
        assert "Ångström" in text_of(data)
        assert "Χταπόδι" in text_of(data)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_longest_names_stand_whole_on_every_form(paper: str) -> None:
    """Names wrap or shrink; a clipped species name is a wrong permit."""
    documents = [
        forms.sheet(sheet_content(name=LONG_NAME, common_name=LONG_NAME, supplier=LONG_NAME), paper),
        forms.claim(claim_content(), paper),
        forms.runsheet(runsheet_content(), paper),
        forms.plan(plan_content(), paper),
        *(forms.labels(label_contents(2), grid) for grid in forms.GRIDS if grid != "roll-50x25"),
    ]
    assert all(says(data, LONG_NAME) for data in documents)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_word_of_a_heading_is_split(paper: str) -> None:
    """A narrow column once broke 'Announced' after its eighth letter."""
    wanted = {
        forms.sheet(sheet_content(), paper): (
            "OPEN ACCLIMATE PLACE box seal photo opened DOA missing wrong initials opening counted second RELEASED"
        ),
        forms.claim(claim_content(), paper): (
            "Line, species Announced DOA First days Missing Wrong Allowance agreed used Claimable Price Amount "
            "Evidence Measured"
        ),
        forms.runsheet(
            runsheet_content(), paper
        ): "Opens Hours in bag Batch Species Count Station Acclimation Placed Watch",
        forms.dip_log(log_content(), paper): "Date Vat Batch Count What Strength Minutes Protection Done Found:",
        forms.history(history_content(), paper): "When What Count From To Who Note",
        forms.checklist([checklist_content()], paper): "Minute Do PSU pH NBS NH₃-N mg/L Read Done",
    }
    for data, words in wanted.items():
        missing = set(words.split()) - set(text_of(data).split())
        assert not missing


@pytest.mark.parametrize(
    ("data", "heading"),
    [
        (lambda: forms.claim(claim_content(60)), "Claimable"),
        (lambda: forms.runsheet(runsheet_content(60)), "Hours in bag"),
        (lambda: forms.dip_log(log_content(60)), "Protection"),
        (lambda: forms.history(history_content(150)), "When What Count"),
        (lambda: forms.checklist([checklist_content(60)]), "Minute Do °C"),
    ],
)
def test_headings_repeat_on_each_page_of_a_long_table(data: object, heading: str) -> None:
    """The third page of a list is read without the first."""
    texts = pages(data())  # type: ignore[operator]
    # pictures of the day, and the evidence that follows the lines of a claim, stand on their own pages
    beside = ("Stations, ", "Evidence on file", "Where all ", "Statement and sign")
    lists = [text for text in texts[:-1] if not any(words in text for words in beside)]
    assert len(lists) >= (2 if heading == "Claimable" else 3)
    assert all(heading in text for text in lists)


def test_unknown_paper_is_refused_with_the_known_ones() -> None:
    """A typing slip must not print on a wrong size."""
    with pytest.raises(PaperError, match="a4 or letter"):
        forms.sheet(sheet_content(), "a3")


def test_no_content_is_refused() -> None:
    """An empty file would look like a printed one."""
    with pytest.raises(PaperError):
        forms.sheets(())
    with pytest.raises(PaperError):
        forms.checklist(())
    with pytest.raises(PaperError):
        forms.labels(())


_TEXTS = st.text(st.characters(exclude_categories=()), max_size=120)


@settings(max_examples=15, deadline=None)
@given(name=_TEXTS, batch=_TEXTS, supplier=_TEXTS, caution=_TEXTS, do=_TEXTS)
def test_any_text_prints(name: str, batch: str, supplier: str, caution: str, do: str) -> None:
    """Control characters, lone surrogates and words without spaces come in packing lists."""
    acclimation = forms.Acclimation("drip", do, (forms.AcclimationStep(0, do),), limit=do)
    content = sheet_content(
        name=name, batch=batch, supplier=supplier, wear_words=caution, acclimation=acclimation, gates=(do,)
    )
    told = " ".join((name, batch, supplier, caution, do))
    try:
        data = forms.sheet(content)
    except PaperError as error:
        named = [int(code, 16) for code in re.findall(r"U\+([0-9A-F]{4,6})", str(error))]
        assert named
        assert all(chr(code) in clean(told) for code in named)
        assert all(unprintable(chr(code), REGULAR) for code in named)
    else:
        assert len(reader(data).pages) >= 2
        assert not unprintable(clean(told).replace("\n", " "), REGULAR)


@pytest.mark.parametrize("name", ["鹿角珊瑚", "サンゴ", "산호", "ปะการัง", "مرجان", "אלמוג"])
def test_a_script_without_a_face_is_refused_by_its_characters(name: str) -> None:
    """An empty box, or letters in the wrong order, is another name: the refusal says which characters and where."""
    makers: tuple[Callable[[], bytes], ...] = (
        lambda: forms.sheet(sheet_content(name=name)),
        lambda: forms.history(replace(history_content(2), name=name)),
        lambda: forms.labels([forms.LabelContent("Q1", (name,))]),
    )
    for make in makers:
        with pytest.raises(PaperError, match="cannot be printed") as caught:
            make()
        assert any(f"U+{ord(one):04X}" in str(caught.value) for one in name)


@pytest.mark.parametrize("name", ["Χταπόδι", "San hô sừng hươu", "Зоантус", "Ångström"])
def test_greek_vietnamese_and_cyrillic_print_as_written(name: str) -> None:
    """Composed accents stay on their letters."""
    assert name in text_of(forms.sheet(sheet_content(name=name)))


def test_a_cell_taller_than_the_page_is_continued_not_lost() -> None:
    """A note of two thousand words is silly, and yet nothing of it may vanish."""
    words = " ".join(f"word{n}" for n in range(2500))
    content = history_content(1)
    event = forms.HistoryEvent("3 Mar", "Note", note=words)
    text = text_of(forms.history(forms.HistoryContent("Farm", "B", content.name, (event,))))
    assert not {f"word{n}" for n in range(2500)} - set(text.split())


@settings(max_examples=60, deadline=None)
@given(
    text=st.text(max_size=80), width=st.floats(20, 300), size=st.floats(6, 30), face=st.sampled_from([REGULAR, BOLD])
)
def test_no_line_is_wider_than_its_room(text: str, width: float, size: float, face: str) -> None:
    """What is wider is cut off by the next cell."""
    lines, fitted = lay(text, face, size, width)
    assert all(_width(line, face, fitted) <= width + 0.01 for line in lines)


@pytest.mark.parametrize("width", [40.0, 60.0, 120.0])
def test_words_shrink_before_they_split(width: float) -> None:
    """Shrunk is read, split is misread."""
    lines, fitted = lay("Announced quantity", BOLD, 12, width)
    assert LEAST_SIZE <= fitted <= 12
    assert " ".join(lines) == "Announced quantity"


def test_a_number_is_not_parted_from_its_unit() -> None:
    """'3' at the line's end and '%' on the next reads as three."""
    for width in np.linspace(60, 200, 29):
        lines, _ = lay("Hydrogen peroxide 3 % at 25 °C in 46 L of 35 PSU", REGULAR, 9, float(width))
        assert not any(line.startswith(("%", "°", "L", "PSU")) for line in lines)


def test_a_heading_never_stands_alone_at_the_foot() -> None:
    """A heading over nothing sends the reader to the wrong page."""
    for filler in range(20, 42):
        blocks: tuple[Block, ...] = (
            *(Text(f"line {n}", 14) for n in range(filler)),
            Heading("Here it is"),
            Grid((Column(),), (("under",),)),
        )
        placed = flow(blocks, paper_of("a4"))
        kinds = [[type(block).__name__ for block in page] for page in placed]
        assert kinds[-1][-1] == "_SetGrid"
        assert kinds[-1][-2] == "Lines"


def test_text_too_long_for_any_code_is_refused() -> None:
    """Better no sheet than a sheet whose code cannot be read."""
    with pytest.raises(PaperError, match="QR"):
        forms.sheet(sheet_content(count_address="http://192.168.4.20/" + "x" * 5000))


@pytest.mark.parametrize("totals", [0, 1])
def test_tables_of_any_height_are_set(totals: int) -> None:
    """Rows that just fill a page once left the gap below it nowhere to go; every row is set once, in order."""
    full = paper_of("a4").content_height / 72 * 25.4
    for row_mm in np.arange(full / 2 - 16, full - 1, 1.7):
        for count in (2, 3, 5):
            rows = tuple((f"row{n}",) for n in range(count))
            grid = Grid((Column("Head"),), rows, row_mm=float(row_mm), totals=totals)
            placed = [block for page in flow((Text("above"), grid), paper_of("a4")) for block in page[-1:]]
            text = [line for block in placed for row in block.rows for line in row.cells[0].lines]  # type: ignore[attr-defined]
            assert [word for word in text if word] == [f"row{n}" for n in range(count)]
