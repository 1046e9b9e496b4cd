"""A printed file is dated by the moment it was printed at, or on one fixed day where it is to be the same each time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import forms
from tests.forms import samples
from tests.forms.reading import reader

MOMENT = datetime(2027, 3, 2, 18, 20, tzinfo=timezone(timedelta(hours=2)))


def _label() -> bytes:
    return forms.labels(samples.label_contents(1))


def _date(data: bytes) -> datetime | None:
    about = reader(data).metadata
    assert about is not None
    assert about.creation_date == about.modification_date
    return about.creation_date


def test_a_file_is_dated_by_the_moment_of_printing() -> None:
    """In the information, in the metadata, and in the ID, which differs with the date."""
    with forms.printed_at(MOMENT):
        data = _label()
        assert _label() == data
    assert _date(data) == MOMENT
    assert b"<xmp:CreateDate>2027-03-02T18:20:00+02:00</xmp:CreateDate>" in data
    assert reader(data).trailer["/ID"] != reader(_label()).trailer["/ID"]


def test_the_outermost_moment_holds() -> None:
    """A command that wants the same bytes each time is not overruled by the paper it asks for."""
    fixed = _label()
    assert _date(fixed) == datetime(2000, 1, 1, tzinfo=UTC)
    with forms.printed_at(None), forms.printed_at(MOMENT):
        assert _label() == fixed
    with forms.printed_at(MOMENT):
        assert _label() != fixed
    assert _label() == fixed
