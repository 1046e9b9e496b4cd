"""The last look before bytes are served: a broken answer empties subscribers' calendars, one of them for good."""

from __future__ import annotations

import pytest

from intake.feed import is_whole, render, revise
from tests.feed import sample


@pytest.fixture(scope="module")
def body() -> bytes:
    """A whole feed with a zone, events and alarms."""
    return render(revise({}, sample.events()[-6:], sample.NOW), sample.face(), sample.NOW)


def test_a_feed_of_ours_is_whole(body: bytes) -> None:
    """The look must not refuse what is right."""
    assert is_whole(body)


def test_no_shortened_feed_is_whole(body: bytes) -> None:
    """A write cut off after any octet, as by a full disk, is never served."""
    assert not any(is_whole(body[:cut]) for cut in range(len(body)))


@pytest.mark.parametrize(
    "broken",
    [
        b"<!DOCTYPE html>\r\n",
        b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nPRODID:x\r\nBEGIN:VEVENT\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nEND:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nBEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nBEGIN:VEVENT\r\nEND:VALARM\r\nEND:VCALENDAR\r\n",
    ],
)
def test_pages_and_empty_frames_are_not(broken: bytes) -> None:
    """Error pages, empty calendars and unbalanced ones."""
    assert not is_whole(broken)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"\r\n", b"\n"),
        (b"SUMMARY", b"SUMM\xffARY"),
        (b"SUMMARY:", b"SUMMARY:" + b"x" * 75),
        (b"\r\nUID", b"\r\n\r\nUID"),
    ],
)
def test_bytes_no_reader_should_meet_are_not(body: bytes, old: bytes, new: bytes) -> None:
    """Bare line feeds, bytes outside UTF-8, overlong and empty lines."""
    assert not is_whole(body.replace(old, new, 1))
