"""Cleaning: what people paste must neither break the feed nor come out as something else."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.feed import Event, render, revise
from intake.feed.text import clean, clean_line, clean_name, clean_url
from tests.feed import lint, readers, sample

ANY_TEXT = st.text(
    st.characters(codec=None) | st.sampled_from('\\\r\n;,:"\tNn \x00\x85\u2028\ud83d\ufeff'), max_size=90
)


@pytest.mark.parametrize(("raw", "long", "short"), sample.HOSTILE)
def test_hostile_text_is_cleaned_as_documented(raw: str, long: str, short: str) -> None:
    """Several lines keep their newlines and tabs, one line has none."""
    assert (clean(raw), clean_line(raw)) == (long, short)


@pytest.mark.parametrize("code", [0xFFFE, 0xFFFF, 0x1FFFE, 0x1FFFF, 0x10FFFE, 0x10FFFF, 0xFDD0, 0xFDEF, 0xFEFF])
def test_no_character_that_is_none_is_left(code: int) -> None:
    """Both non-characters at the end of every plane are taken out, and their neighbours stay."""
    assert clean(f"ä{chr(code)}b") == "äb"
    assert clean("ä\ufffdb\ufdcf\ufdf0") == "ä\ufffdb\ufdcf\ufdf0"


@given(ANY_TEXT)
@settings(max_examples=60, deadline=None)
def test_cleaning_twice_is_cleaning_once(raw: str) -> None:
    """Otherwise a text read back and published again would count as a change."""
    for cleaner in (clean, clean_line, clean_name, clean_url):
        once = cleaner(raw)
        assert cleaner(once) == once
        once.encode()


@given(ANY_TEXT, ANY_TEXT)
@settings(max_examples=60, deadline=None)
def test_any_text_reaches_the_reader_as_cleaned(summary: str, description: str) -> None:
    """Written, folded, unfolded and read by a strict reader, every text is the cleaned one."""
    [first, *_] = sample.half_hours("Europe/Berlin")
    event = Event(first.uid, first.start, first.end, f"x{summary}", description, description, (summary, "dip"))
    body = render(
        revise({}, [event], sample.NOW), sample.face(name=f"Hall{summary}", description=description), sample.NOW
    )
    assert lint.findings(body) == []
    read = readers.read_ical(body)[event.uid]
    assert (read["summary"], read["description"]) == (clean_line(f"x{summary}"), clean(description))
    assert read["location"] == clean_line(description)
    assert read["categories"] == [word for word in (clean_name(summary), "dip") if word]


def test_an_address_keeps_its_meaning() -> None:
    """Reserved characters stay as they are, all others are percent-encoded, nothing can start a new line."""
    assert clean_url("https://farm.invalid/a?b=c;d,e&f=%20#g") == "https://farm.invalid/a?b=c;d,e&f=%20#g"
    assert clean_url("https://farm.invalid/\u00e4 b\\\r\nX:1") == "https://farm.invalid/%C3%A4%20b%5C%20X:1"
