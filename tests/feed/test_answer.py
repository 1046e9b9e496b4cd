"""Conditional requests: a wrong 304 freezes a subscriber, a needless 200 costs the whole feed each poll."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from intake.feed import etag, http_date, not_modified

TAG = etag(b"feed")
MADE = datetime(2026, 10, 25, 1, 30, 15, 900_000, tzinfo=UTC)
SINCE = "Sun, 25 Oct 2026 01:30:15 GMT"


def test_the_tag_depends_on_the_bytes_alone() -> None:
    """Same bytes, same tag; one octet more, another; quoted as the standard wants it."""
    assert etag(b"feed") == TAG != etag(b"feed ")
    assert TAG[0] == TAG[-1] == '"'
    assert len(TAG) == 42


@pytest.mark.parametrize(
    "field", [TAG, f"W/{TAG}", "*", f'"other", {TAG}', f'"a,b" , W/{TAG},"c"', f" {TAG} ", f', {TAG}, , "x"']
)
def test_held_bytes_are_not_sent_again(field: str) -> None:
    """The tag itself, its weak form, lists with commas in tags, and the star."""
    assert not_modified(TAG, field)
    assert not_modified(f"W/{TAG}", field)


@pytest.mark.parametrize(
    "field", ["", '"other"', TAG.strip('"'), f"{TAG} {TAG}", f"w/{TAG}", f"x{TAG}", f'{TAG[:-2]}"', "**"]
)
def test_another_or_unreadable_tag_gets_the_bytes(field: str) -> None:
    """A tag that does not match, or a field outside the grammar, is answered in full."""
    assert not not_modified(TAG, field)


def test_the_tag_wins_over_the_date() -> None:
    """Two changes within a second share a date: with a tag at hand the date is not even looked at."""
    assert not not_modified(TAG, '"other"', SINCE, MADE)
    assert not not_modified(TAG, "", SINCE, MADE)
    assert not_modified(TAG, TAG, "Thu, 01 Jan 1970 00:00:00 GMT", MADE)


@pytest.mark.parametrize("since", [SINCE, "Sunday, 25-Oct-26 01:30:15 GMT", "Sun Oct 25 01:30:15 2026"])
def test_the_three_forms_of_a_date(since: str) -> None:
    """All three must be understood; the fraction of a second that no header can carry does not count."""
    assert not_modified(TAG, None, since, MADE)
    assert not not_modified(TAG, None, since, MADE + timedelta(seconds=1))
    assert not_modified(TAG, None, since, MADE.astimezone(timezone(timedelta(hours=5, minutes=45))))


def test_two_digits_of_a_year_are_of_the_last_century_from_seventy_on() -> None:
    """The example of RFC 9110, 5.6.7, is 6 November 1994."""
    made = datetime(1994, 11, 6, 8, 49, 37, tzinfo=UTC)
    assert not_modified(TAG, None, "Sunday, 06-Nov-94 08:49:37 GMT", made)
    assert not not_modified(TAG, None, "Sunday, 06-Nov-94 08:49:37 GMT", made + timedelta(seconds=1))


@pytest.mark.parametrize(
    "since",
    ["", "now", "2026-10-25T01:30:15Z", "Sun, 32 Oct 2027 01:30:15 GMT", "Sun, 25 Oct 2027 24:30:15 GMT",
     "Sun, 25 Okt 2027 01:30:15 GMT", "Sun, 25 Oct 2027 01:30:15 CET", f"{SINCE}, {SINCE}",
     "Sun, 25 Oct 0000 01:30:15 GMT", "\u0661\u0662"],
)  # fmt: skip
def test_an_unreadable_date_gets_the_bytes(since: str) -> None:
    """Guessing a date freezes a subscriber for as long as the guess is ahead."""
    assert not not_modified(TAG, None, since, MADE)


def test_without_conditions_the_bytes_are_sent() -> None:
    """A first visit, or one whose date cannot be compared with anything."""
    assert not not_modified(TAG)
    assert not not_modified(TAG, None, SINCE)


def test_the_date_sent_is_the_date_understood() -> None:
    """What Last-Modified says comes back as If-Modified-Since."""
    assert http_date(MADE) == SINCE
    assert not_modified(TAG, None, http_date(MADE), MADE)
