"""The catalogue: every phrase in it, every translation whole, and its header says that no native reader has seen it."""

from __future__ import annotations

import io
import string
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from intake.language import CODES, language_of
from tests.language.phrases import library_words, phrases_of_code
from tests.language.renew import LOCALE

LANGUAGES = sorted({code.partition("-")[0] for code in CODES} - {"en"})


def catalogue(code: str) -> Catalog:
    """The catalogue as people edit it."""
    return read_po(io.BytesIO(file_of(code).read_bytes()), locale=code)


def file_of(code: str) -> Path:
    """Where it lies."""
    return LOCALE / code / "LC_MESSAGES" / "vatside.po"


def places(words: str) -> list[str]:
    """Names in braces, sorted; a plural may leave out the number it is about."""
    return sorted(name for _, name, _, _ in string.Formatter().parse(words) if name is not None)


def pairs(message: Message) -> list[tuple[str, str]]:
    """Each English form beside each translation of it."""
    if isinstance(message.id, str):
        return [(message.id, str(message.string))]
    one, many = message.id
    return [(one if n == 0 else many, told) for n, told in enumerate(tuple(message.string or ()))]


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_phrase_said_is_in_the_catalogue(code: str) -> None:
    """Of the forms, the calendars and the shipped library: nothing falls back to English unseen."""
    held = catalogue(code)
    said = {key if isinstance(key, str) else key[0] for key in phrases_of_code()} | library_words()
    assert len(said) > 300, "the phrases are found at all"
    assert not sorted(one for one in said if held.get(one) is None), "run python -m tests.language.renew"
    language = language_of(code)
    assert not sorted(one for one in phrases_of_code() if isinstance(one, str) and not language.knows(one))


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_entry_is_translated_with_the_same_values(code: str) -> None:
    """A translation that lost a value would print a strength without its number."""
    for message in catalogue(code):
        if not message.id:
            continue
        for english, told in pairs(message):
            assert told.strip(), english
            assert places(told) == places(english), english
            assert english[:1].isspace() == told[:1].isspace(), english
            assert " " not in english or (english[-1:] == ".") == (told[-1:] == "."), english


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_compiled_catalogue_is_the_one_people_edit(code: str) -> None:
    """What is read at run time was compiled from the text that was reviewed."""
    out = io.BytesIO()
    write_mo(out, catalogue(code))
    assert file_of(code).with_suffix(".mo").read_bytes() == out.getvalue()


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_header_says_that_no_native_reader_has_seen_it(code: str) -> None:
    """Whoever opens the file reads it first."""
    head = file_of(code).read_text(encoding="utf-8").split("msgid", 1)[0]
    assert "WITHOUT A NATIVE READER" in head
