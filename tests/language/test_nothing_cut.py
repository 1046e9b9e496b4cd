"""Spanish papers, the demo's and the hard ones: every phrase said stands whole, nothing below 8 pt, no word on another."""

from __future__ import annotations

import dataclasses
import io
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import pytest
from pypdf import PdfReader

import forms
from forms.documents.acclimation_checklist import checklist
from forms.documents.intake_sheet.week_blocks import DAY_MM
from forms.layout.lettering import load_faces
from forms.layout.sheet_pen import SMALLEST, Look
from intake.language import Language, in_figures, language_of
from tests.forms import samples
from tests.forms.measuring import least_tick, least_writing, type_sizes

SPANISH = language_of("es")


@dataclass
class Heard:
    """Spanish that remembers every phrase it was asked to say."""

    said: dict[str, None] = field(default_factory=dict)
    spoken: Language = SPANISH
    code: str = "es"

    def _kept(self, words: str) -> str:
        self.said[words] = None
        return words

    def say(self, words: str, /, **values: object) -> str:
        """As the language does, kept."""
        return self._kept(self.spoken.say(words, **values))

    def say_many(self, one: str, many: str, n: int, /, **values: object) -> str:
        """As the language does, kept."""
        return self._kept(self.spoken.say_many(one, many, n, **values))

    def number(self, value: float, decimals: int) -> str:
        """As the language does."""
        return self.spoken.number(value, decimals)

    def count(self, n: int) -> str:
        """As the language does."""
        return self.spoken.count(n)

    def day(self, moment: date, form: str) -> str:
        """As the language does, kept."""
        return self._kept(self.spoken.day(moment, form))


ONLY_MEASURED = frozenset(
    {
        SPANISH.say("EMERGENCY number of this farm"),  # the shorter words stand where it does not fit its box
        SPANISH.say("page {number} of {total}", number=10, total=10),  # the widest a number of pages can be
        SPANISH.say("Intake · the weeks"),  # asked for the head of pages that a bare sheet does not have
        SPANISH.say("all"),
        *(SPANISH.say(one) for one in ("supplier", "shipment", "waybill", "in the bag")),  # labels of facts not known
        *(SPANISH.say(one) for one in ("What moved", "Assumptions and delays")),  # heads of lists that are empty
        SPANISH.say("Bath water: {disposal}", disposal="waste drain"),  # of a bath on no day of the sheet
        SPANISH.say("EXPECTED BAG WATER: measure one bag, print again if it differs."),
    }
)
"""Said to learn how wide or high it would be, or instead of something shorter; not printed on every paper."""
NOT_PRINTED = frozenset(
    {"language", "address", "count_address", "mark", "kind", "key", "short", "wear", "reason", "brief", "do", "head"}
)
"""Fields that are codes, words for labels, or told in fewer words on this form."""


def retold(content: Any) -> Any:
    """The content with what the catalogue knows of its texts in Spanish."""
    if isinstance(content, str):
        return SPANISH.retell(content)
    if dataclasses.is_dataclass(content) and not isinstance(content, type):
        names = [one.name for one in dataclasses.fields(content) if one.name not in {"language", "units"}]
        return replace(content, **{name: retold(getattr(content, name)) for name in names})
    return tuple(map(retold, content)) if isinstance(content, tuple) else content


def spoken(content: Any, heard: Heard) -> Any:
    """The content as a Spanish farm's paper has it."""
    return in_figures(replace(retold(content), language=heard), SPANISH)


Make = Callable[[Heard, str], tuple[Any, bytes]]


def _of(content: Any, make: Callable[..., bytes]) -> Make:
    def made(heard: Heard, paper: str) -> tuple[Any, bytes]:
        told = spoken(content, heard)
        return told, make(told, paper, fillable=True)

    return made


def _listed(content: Any, paper: str, *, fillable: bool) -> bytes:
    return checklist([content], paper, fillable=fillable)


def _run(content: Any, paper: str, *, fillable: bool) -> bytes:
    del fillable
    return forms.runsheet(content, paper)


FORMS: dict[str, Make] = {
    "sheet": _of(samples.sheet_content(), forms.sheet),
    **{f"sheet, {name}": _of(one, forms.sheet) for name, one in samples.stress_sheets().items()},
    "checklist": _of(samples.checklist_content(20), _listed),
    "round": _of(samples.round_content(10), forms.round_sheet),
    "dip log": _of(samples.log_content(30), forms.dip_log),
    "sampling list": _of(samples.sampling_content(), forms.sampling_list),
    "run sheet": _of(samples.runsheet_content(30), _run),
}


def bare(text: str) -> str:
    """A text without its spaces: lines may end anywhere, words may not."""
    return "".join(text.split())


def everything(data: bytes) -> str:
    """All a PDF says: its pages, the tooltips of its fields, its title."""
    told = PdfReader(io.BytesIO(data))
    fields = " | ".join(str(one.get("/TU") or "") for one in (told.get_fields() or {}).values())
    return bare(" ".join((*(page.extract_text() for page in told.pages), fields, str(told.metadata))))


def strings(content: Any) -> Iterator[str]:
    """Every text a content holds that its form prints."""
    if isinstance(content, str):
        yield content
    elif dataclasses.is_dataclass(content) and not isinstance(content, type):
        for one in dataclasses.fields(content):
            if one.name not in NOT_PRINTED:
                yield from strings(getattr(content, one.name))
    elif isinstance(content, tuple):
        for value in content:
            yield from strings(value)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("form", FORMS)
def test_every_phrase_of_a_spanish_paper_stands_whole(form: str, paper: str) -> None:
    """Words longer than the English ones are wrapped or go to a further page; none is cut, none is shrunk below 8 pt."""
    heard = Heard()
    _, data = FORMS[form](heard, paper)
    text = everything(data)
    at = re.compile(
        re.escape(SPANISH.say("at {minute}: {words}")).replace(r"\{minute\}", r"\d+").replace(r"\{words\}", ".+")
    )
    said = [one for one in heard.said if one.strip() and one not in ONLY_MEASURED and not at.fullmatch(one)]
    assert len(said) > 15, "the phrases were heard"
    assert not [one for one in said if bare(one) not in text]
    drawn = form == "run sheet"
    assert min(type_sizes(data)) >= (7.0 if drawn else 8.0)
    if not drawn:
        assert least_tick(data) >= 10.0 - 0.05
        assert least_writing(data) >= 8.0 - 0.05


@pytest.mark.parametrize("words", ["release check", "move", "done", "missed", "late", "running"])
def test_a_word_of_a_day_is_not_broken(words: str) -> None:
    """The few words in a day of the calendar stand beside its box: a word that is wider is broken in two."""
    load_faces()
    room = DAY_MM - 11.2
    assert max(Look(SMALLEST).width(one) for one in SPANISH.retell(words).split()) <= room


STEPS = ("sheet", "sheet, sixty steps", "checklist")


@pytest.mark.parametrize("form", STEPS)
def test_every_step_and_every_balance_stands_whole_in_spanish(form: str) -> None:
    """The words of each acclimation step, and the line that makes the count close."""
    content, data = FORMS[form](Heard(), "a4")
    text = everything(data)
    steps = [one.do if form == "checklist" else one.brief or one.do for one in content.acclimation.steps]
    assert len(steps) > 5
    assert not [one for one in steps if bare(one) not in text]
    if form != "checklist":
        for word in ("announced", "missing", "wrong"):
            assert bare(SPANISH.say(word)) in text


@pytest.mark.parametrize("form", ["sheet", "checklist", "round", "dip log", "sampling list"])
def test_every_text_of_the_content_is_on_the_spanish_paper(form: str) -> None:
    """What can kill, who and when, each lot, each day's work with its strength."""
    content, data = FORMS[form](Heard(), "letter")
    text = everything(data)
    assert not [one for one in strings(content) if one.strip() and bare(one) not in text]


@pytest.mark.parametrize("form", FORMS)
def test_no_word_of_a_spanish_paper_lies_on_another(form: str) -> None:
    """Boxes of words, as another reader of PDFs places them."""
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("pdftotext (poppler-utils) is not installed, so the words cannot be placed")
    _, data = FORMS[form](Heard(), "letter")
    told = subprocess.run([tool, "-bbox", "-", "-"], input=data, capture_output=True, check=True).stdout.decode()
    pages = [_boxes(page) for page in told.split("<page ")[1:]]
    assert sum(map(len, pages)) > 40, "the words were placed"
    assert not [pair for page in pages for pair in _overlaps(page)]


_WORD = re.compile(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>')
_Box = tuple[float, float, float, float, str]


def _boxes(page: str) -> list[_Box]:
    return [(float(a), float(b), float(c), float(d), word) for a, b, c, d, word in _WORD.findall(page)]


def _overlaps(words: list[_Box]) -> Iterator[tuple[str, str]]:
    """Words of which one lies over a third of the other's height and more than a point of its width."""
    for n, one in enumerate(words):
        for other in words[n + 1 :]:
            wide = min(one[2], other[2]) - max(one[0], other[0])
            high = min(one[3], other[3]) - max(one[1], other[1])
            if wide > 1.0 and high > 0.35 * min(one[3] - one[1], other[3] - other[1]):
                yield one[4], other[4]
