"""Every form says its structure: all that is drawn is tagged or an artifact, and headings, tables and figures are told.

Each is also held against the rules of PDF/UA-1 (ISO 14289-1) by an open validator.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import page as validator
import pikepdf
import pytest

import forms
from tests.forms import samples
from tests.forms.reading import reader

PAINTED = {"Tj", "TJ", "'", '"', "S", "s", "f", "F", "f*", "B", "B*", "b", "b*", "sh", "Do", "INLINE IMAGE"}
"""Operators that put something on the page."""
HEADINGS = {"/H1": 1, "/H2": 2, "/H3": 3}
FILLED: dict[str, Callable[[], bytes]] = {
    "sheet": lambda: forms.sheet(samples.sheet_content(), fillable=True),
    "claim": lambda: forms.claim(samples.claim_content(2), fillable=True),
    "checklist": lambda: forms.checklist([samples.checklist_content(3)], fillable=True),
    "round": lambda: forms.round_sheet(samples.round_content(2), fillable=True),
    "log": lambda: forms.dip_log(samples.log_content(3), fillable=True),
    "sampling": lambda: forms.sampling_list(samples.sampling_content(6), fillable=True),
}
LOT = forms.VatLot(7, "S1-01", "Tridacna maxima")
LABEL = forms.VatLabel("A3", "Quarantine", "7 animals", (LOT,), "FREE", "sell", "http://farm.invalid/vats/A3")
SVG = '<svg viewBox="0 0 100 50"><title>Alive</title><desc>All alive on day 3.</desc><path d="M0 0H10" stroke="#000"/></svg>'


@dataclass(slots=True)
class Node:
    """One element: kind, attributes, elements in it, its marks as (page, number), its fields; the root keeps the document."""

    kind: str
    raw: Any
    kids: list[Node] = field(default_factory=list)
    marks: list[tuple[int, int]] = field(default_factory=list)
    fields: list[Any] = field(default_factory=list)
    document: pikepdf.Pdf | None = None

    def walk(self) -> Iterator[Node]:
        """The element and all below, in reading order."""
        yield self
        for kid in self.kids:
            yield from kid.walk()

    def of(self, kind: str) -> list[Node]:
        """Elements of one kind below."""
        return [one for one in self.walk() if one.kind == kind]


def tree_of(pdf: pikepdf.Pdf) -> Node:
    """The structure of a document."""
    pages = {page.obj.objgen: n for n, page in enumerate(pdf.pages)}

    def node(raw: Any, parent: Any) -> Node:
        assert raw.P.objgen == parent.objgen, "an element names another as the one above it"
        made = Node(str(raw.S), raw)
        held = raw.get("/K", [])
        for kid in held if isinstance(held, (pikepdf.Array, list)) else [held]:
            if isinstance(kid, int):
                made.marks.append((pages[raw.Pg.objgen], kid))
            elif kid.get("/Type") == "/MCR":
                made.marks.append((pages[kid.Pg.objgen], int(kid.MCID)))
            elif kid.get("/Type") == "/OBJR":
                made.fields.append(kid.Obj)
            else:
                made.kids.append(node(kid, raw))
        return made

    root = pdf.Root.StructTreeRoot
    made = node(root.K, root)
    made.document = pdf
    return made


def marks_of(page: pikepdf.Page) -> list[int]:
    """Numbers of the marks of a page, in their order; fails where something is drawn outside of any."""
    open_marks: list[int | None] = []
    found: list[int] = []
    for one in pikepdf.parse_content_stream(page):
        operands, name = one.operands, str(one.operator)
        if name in {"BDC", "BMC"}:
            assert not open_marks, "marks within marks"
            number = operands[1].get("/MCID") if name == "BDC" and operands[0] != "/Artifact" else None
            open_marks.append(None if number is None else int(number))
            if number is not None:
                found.append(int(number))
        elif name == "EMC":
            open_marks.pop()
        elif name in PAINTED:
            assert open_marks, f"{name} is drawn neither in a tag nor in an artifact"
    assert not open_marks, "a mark is not closed on its page"
    return found


def opened(data: bytes) -> pikepdf.Pdf:
    """The PDF opened by another library than wrote it; nothing in it is damaged."""
    pdf = pikepdf.open(io.BytesIO(data))
    assert not pdf.check_pdf_syntax()
    return pdf


def judge(data: bytes) -> Node:
    """Hold a document against the rules of the standard, by the validator and by our own reading; gives its structure."""
    found = validator.validate_pdf_bytes(data, profile=validator.ValidationProfile.PDF_UA_1)
    assert found.is_compliant, [one.message for one in found.failures]
    return read_through(data)


def read_through(data: bytes) -> Node:
    """Hold a document against what a reader aloud relies on; gives its structure."""
    pdf = opened(data)
    root = pdf.Root
    assert root.MarkInfo.Marked
    assert str(root.Lang) == "en"
    assert root.ViewerPreferences.DisplayDocTitle
    tree = tree_of(pdf)
    _marks_match(pdf, tree)
    _headings(tree)
    for table in tree.of("/Table"):
        rows = [[kid.kind for kid in row.kids] for row in table.kids]
        assert {row.kind for row in table.kids} == {"/TR"}
        assert any(kind == "/TH" for row in rows for kind in row), "a table without heads"
        assert len({len(row) for row in rows}) == 1, f"rows of {sorted({len(row) for row in rows})} cells"
    for head in tree.of("/TH"):
        assert str(head.raw.A.Scope) in {"/Column", "/Row"}
    for figure in tree.of("/Figure"):
        assert len(str(figure.raw.Alt).strip()) > 1, "a figure without words"
        assert len(figure.raw.A.BBox) == 4
    for one in tree.walk():
        assert one.kind != "/P" or one.marks or one.kids or one.fields, "a paragraph of nothing"
        assert one.kind != "/L" or {kid.kind for kid in one.kids} == {"/LI"}
        assert one.kind != "/LI" or {kid.kind for kid in one.kids} <= {"/Lbl", "/LBody"}
    return tree


def _marks_match(pdf: pikepdf.Pdf, tree: Node) -> None:
    """Every mark belongs to one element, the parent tree names it, and reading goes from page to page."""
    seen = [mark for one in tree.walk() for mark in one.marks]
    drawn = [(n, number) for n, page in enumerate(pdf.pages) for number in marks_of(page)]
    assert sorted(seen) == drawn
    assert [page for page, _ in seen] == sorted(page for page, _ in seen), "reading jumps between pages"
    nums = list(pdf.Root.StructTreeRoot.ParentTree.Nums)
    parents = dict(zip((int(key) for key in nums[::2]), nums[1::2], strict=True))
    owner = {mark: one.raw.objgen for one in tree.walk() for mark in one.marks}
    for n, page in enumerate(pdf.pages):
        assert page.obj.Tabs == "/S"
        above = [one.objgen for one in parents[int(page.obj.StructParents)]]
        assert above == [owner[n, number] for number in range(len(above))]
    widgets = [(n, one) for n, page in enumerate(pdf.pages) for one in page.obj.get("/Annots", [])]
    forms_of = {one.fields[0].objgen: one for one in tree.of("/Form")}
    assert len(forms_of) == len(widgets)
    for _, widget in widgets:
        assert parents[int(widget.StructParent)].objgen == forms_of[widget.objgen].raw.objgen
        assert str(widget.get("/TU") or widget.Parent.TU).strip()


def _headings(tree: Node) -> None:
    """A document begins with a first heading where it has any; none skips a level; none is empty."""
    level = 0
    for one in tree.walk():
        if one.kind in HEADINGS:
            assert one.marks, f"{one.kind} of nothing"
            assert HEADINGS[one.kind] <= level + 1, f"{one.kind} follows a heading of level {level}"
            level = HEADINGS[one.kind]
        elif one.kind == "/Sect":
            level = 0


def test_every_form_is_tagged() -> None:
    """Headed by its name; every table, picture and code said in words."""
    for name, data in samples.every_form("letter").items():
        tree = judge(data)
        assert tree.of("/H1"), name
        if name not in {"plan", "season"}:
            assert tree.of("/Table"), name


@pytest.mark.parametrize("name", samples.stress_sheets())
def test_sheets_under_stress_are_tagged(name: str) -> None:
    """Nine vats, forty boxes and sixty steps are read like one; each sheet has its boxes in one table."""
    content = samples.stress_sheets()[name]
    tree = judge(forms.sheet(content, fillable=True))
    rows = [[cell.kind for cell in row.kids] for row in tree.of("/TR")]
    boxes = [row for row in rows if row == ["/TH", *["/TD"] * 10]]
    assert len(boxes) == max(1, len(content.boxes))


@pytest.mark.parametrize("form", FILLED)
def test_every_field_is_an_element_with_its_words(form: str) -> None:
    """Fields stand in the reading order, each with its tooltip."""
    assert judge(FILLED[form]()).of("/Form")


def test_labels_and_charts_are_tagged() -> None:
    """A label begins with its vat; a chart says what it shows."""
    for data in (
        forms.labels(samples.label_contents(3), marks=True), forms.vat_labels([LABEL, LABEL], marks=True),
        forms.calibration("a4-3x7"), forms.water_list(_water()),
    ):  # fmt: skip
        judge(data)
    assert len(judge(forms.vat_labels([LABEL, LABEL])).of("/H1")) == 2
    chart = judge(forms.chart_pdf(SVG))
    (figure,) = chart.of("/Figure")
    assert str(figure.raw.Alt) == "All alive on day 3."


def _water() -> forms.WaterListContent:
    rows = (forms.RunWater("09:00", "Tub 3", "120 L", "4.2 kg", "25 °C"),)
    return forms.WaterListContent("Farm", "S1", "Mon 2 Mar", rows, (("All water", "120 L"),))


def test_a_table_over_pages_is_one_table() -> None:
    """Its heads are repeated for the eye alone."""
    data = forms.history(samples.history_content(150))
    tables = judge(data).of("/Table")
    assert len(tables) == 1
    assert len(reader(data).pages) > 2
    assert sum(cell.kind == "/TH" for row in tables[0].kids for cell in row.kids) == 7


def test_a_code_and_a_tick_are_said_in_words() -> None:
    """What a QR code holds and what is printed ticked."""
    tree = judge(forms.dip_log(samples.log_content(30)))
    sheet = judge(forms.sheet(samples.sheet_content()))
    told = [str(one.raw.Alt) for one in sheet.of("/Figure")]
    assert f"QR: {samples.sheet_content().count_address}" in told
    assert any(str(one.raw.Alt).startswith("✓ ") for one in tree.of("/Figure"))


def test_lines_are_read_with_a_space_between_them() -> None:
    """Words that stand on two lines are two words for who hears them."""
    data = forms.labels([forms.LabelContent("Q1", ("one two three four five six seven eight nine ten",))], "a4-3x7")
    pdf = opened(data)
    drawn = pikepdf.parse_content_stream(pdf.pages[0])
    told = [bytes(one.operands[0]) for one in drawn if str(one.operator) == "Tj"]
    assert len(told) > 3
    assert all(words.endswith(b" ") for words in told)


def test_tagging_is_noticed_when_it_is_missing() -> None:
    """The judge of these tests is no rubber stamp: a line outside of any mark, a figure and a field without words."""
    data = forms.sheet(samples.sheet_content(), fillable=True)

    def spoiled(spoil: Callable[[pikepdf.Pdf], None]) -> bytes:
        pdf, out = pikepdf.open(io.BytesIO(data)), io.BytesIO()
        spoil(pdf)
        pdf.save(out)
        return out.getvalue()

    def figure(pdf: pikepdf.Pdf) -> None:
        tree_of(pdf).of("/Figure")[0].raw.Alt = pikepdf.String("")

    def scope(pdf: pikepdf.Pdf) -> None:
        row = tree_of(pdf).of("/TR")[1].raw
        row.K = pikepdf.Array([one for n, one in enumerate(row.K) if n])

    spoils: tuple[Callable[[pikepdf.Pdf], None], ...] = (
        lambda pdf: pdf.pages[0].contents_add(b"0 0 m 9 9 l S"),
        figure,
        scope,
        lambda pdf: pdf.pages[0].obj.Annots[0].__delitem__("/TU"),
    )
    for spoil in spoils:
        with pytest.raises((AssertionError, AttributeError)):
            read_through(spoiled(spoil))
