"""Papers in another language: the same figures, the same fields, no phrase left in English, nothing beyond the page."""

from __future__ import annotations

import io
import re
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest
from pypdf import PdfReader

from intake.app.commands import schedule_work
from intake.app.documents.printing import print_forms
from intake.app.session import House
from intake.language import language_of
from tests.app.deliveries import LANDED, Open, received
from tests.forms.reading import text_of
from tests.language.phrases import library_words, phrases_of_code

PAPERS = ("round", "dips", "labels", "sheets", "checklists", "boxlabels", "runsheet", "water", "sample")
FILLED = ("round", "dips", "sheets", "checklists", "sample")
LEAST_LETTERS = 9
"""Shorter phrases may be part of a name or a word of both languages."""


@pytest.fixture
def house(house_at: Open) -> House:
    """The farm two hours after its shipment landed, its work scheduled."""
    received(house_at)
    opened = house_at(LANDED + timedelta(hours=2))
    schedule_work.reschedule(opened, seconds=0.5)
    print_forms(opened, "runsheet", opened.folder / "kept")  # keeps the landing day: later prints write no entry
    return opened


def printed(house: House, what: str, code: str, out: Path) -> bytes:
    """One paper in one language."""
    made = print_forms(
        house, what, out / code, language=code, fillable=what in FILLED, batch="S1-01" if what == "sample" else ""
    )
    return made[0].read_bytes()


def figures(data: bytes) -> Counter[str]:
    """Every number of a PDF, whatever its decimal mark, but the numbers of pages."""
    text = re.sub(r"(page|página) \d+( (of|de) \d+)?", "", text_of(data))
    return Counter(re.findall(r"\d+", text.replace("\u202f", "").replace(",", ".")))


@pytest.mark.parametrize("what", PAPERS)
def test_a_spanish_paper_says_the_same_in_spanish(house: House, tmp_path: Path, what: str) -> None:
    """Figure by figure, field by field; and no phrase of the catalogue stands there in English."""
    english, spanish = (printed(house, what, code, tmp_path) for code in ("en", "es"))
    assert printed(house, what, "es", tmp_path / "again") == spanish, "the same facts are the same bytes"
    assert set(figures(spanish)) == set(figures(english))
    assert _fields(spanish) == _fields(english)
    assert str(PdfReader(io.BytesIO(spanish)).root_object["/Lang"]) == "es"
    assert str(PdfReader(io.BytesIO(english)).root_object["/Lang"]) == "en"
    language, text = language_of("es"), " ".join(text_of(spanish).split())
    whole = " ".join(text_of(english).split())
    phrases = [one for one in (*phrases_of_code(), *library_words()) if isinstance(one, str) and "{" not in one]
    own = {name for system in house.site.systems.values() for name in (system.id, system.name)}
    told = [one for one in phrases if one not in own and len(one) >= LEAST_LETTERS and one in whole]
    assert told, "the English paper says phrases of the catalogue"
    assert not [one for one in told if one in text and language.say(one) != one]


def test_the_farm_speaks_its_language_and_each_walker_theirs(
    farm_folder: Path, house: House, house_at: Open, tmp_path: Path
) -> None:
    """The farm's language without being asked; a person's round in the person's; an asked language goes before both."""
    del house
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace("[farm]\n", '[farm]\nlanguage = "es"\n', 1)
    file.write_text(re.sub(r"(\[person\.\w+\]\n)", r'\1language = "en"\n', text), encoding="utf-8")
    opened = house_at(LANDED + timedelta(hours=2))
    assert "animales" in text_of(print_forms(opened, "labels", tmp_path)[0].read_bytes())
    assert "cleanest water first" in text_of(print_forms(opened, "round", tmp_path)[0].read_bytes())
    asked = text_of(print_forms(opened, "round", tmp_path, language="es")[0].read_bytes())
    assert "primero el agua" in asked
    assert "cleanest water" not in asked


def _fields(data: bytes) -> set[str]:
    return set(PdfReader(io.BytesIO(data)).get_fields() or {})
