"""Conditional requests: the tag of a body, and whether the reader already holds it.

Pure text in and a yes or no out; status codes and headers are the board's.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from hashlib import sha256

__all__ = ["etag", "http_date", "not_modified"]

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_LONG_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_TAG = r'(?:W/)?"[\x21\x23-\x7e\x80-\U0010ffff]*"'
_TAG_LIST = re.compile(rf"[ \t]*,?[ \t]*{_TAG}(?:[ \t]*,[ \t]*(?:{_TAG})?)*[ \t]*")
_CLOCK = r"(?P<hour>\d\d):(?P<minute>\d\d):(?P<second>\d\d)"
_MONTH = rf"(?P<month>{'|'.join(_MONTHS)})"
# The three forms of RFC 9110, section 5.6.7; month and day names are English whatever the machine's language.
_DATES = (
    re.compile(rf"(?:{'|'.join(_DAYS)}), (?P<day>\d\d) {_MONTH} (?P<year>\d{{4}}) {_CLOCK} GMT"),
    re.compile(rf"(?:{'|'.join(_LONG_DAYS)}), (?P<day>\d\d)-{_MONTH}-(?P<year>\d\d) {_CLOCK} GMT"),
    re.compile(rf"(?:{'|'.join(_DAYS)}) {_MONTH} (?P<day>[ \d]\d) {_CLOCK} (?P<year>\d{{4}})"),
)


def etag(body: bytes) -> str:
    """Give the strong entity tag of these bytes, quotes included.

    Parameters
    ----------
    body
        The final bytes, before any content coding.

    References
    ----------
    RFC 9110, section 8.8.3.
    """
    return f'"{sha256(body).hexdigest()[:40]}"'


def http_date(moment: datetime) -> str:
    """Write the moment as an HTTP date, for Last-Modified.

    Parameters
    ----------
    moment
        Aware datetime; fractions of a second are cut.

    References
    ----------
    RFC 9110, section 5.6.7 (IMF-fixdate).
    """
    utc = moment.astimezone(UTC)
    return f"{_DAYS[utc.weekday()]}, {utc.day:02} {_MONTHS[utc.month - 1]} {utc.year:04} {utc:%H:%M:%S} GMT"


def not_modified(
    tag: str,
    if_none_match: str | None = None,
    if_modified_since: str | None = None,
    last_modified: datetime | None = None,
) -> bool:
    """Whether a GET or HEAD may be answered 304.

    Parameters
    ----------
    tag
        Entity tag of the present body, as `etag` gives it, or its weak form.
    if_none_match, if_modified_since
        The request's fields as they came; None when absent.
    last_modified
        When the present body was made, with a time zone.

    Returns
    -------
    bool
        If-None-Match decides alone when it is there, by weak comparison; a field that cannot be read means 200.

    References
    ----------
    RFC 9110, sections 8.8.3.2, 13.1.2, 13.1.3 and 13.2.2.
    """
    if if_none_match is not None:
        return _names(if_none_match, tag)
    if if_modified_since is None or last_modified is None:
        return False
    since = _parse_date(if_modified_since)
    return since is not None and last_modified.replace(microsecond=0) <= since


def _names(field: str, tag: str) -> bool:
    if field.strip(" \t") == "*":
        return True
    if not _TAG_LIST.fullmatch(field):
        return False
    return tag.removeprefix("W/") in (each.removeprefix("W/") for each in re.findall(_TAG, field))


def _parse_date(text: str) -> datetime | None:
    """Find the moment an HTTP date names, or None."""
    met = next(filter(None, (form.fullmatch(text.strip(" \t")) for form in _DATES)), None)
    if met is None:
        return None
    year = int(met["year"])
    if len(met["year"]) == 2:
        # Two-digit years stand for the 1900s from 70 on; such dates are only met from very old programs.
        year += 1900 if year >= 70 else 2000
    try:
        moment = datetime(year, _MONTHS.index(met["month"]) + 1, int(met["day"]), tzinfo=UTC)
    except ValueError:
        return None
    clock = int(met["hour"]), int(met["minute"]), int(met["second"])
    if clock[0] > 23 or clock[1] > 59 or clock[2] > 60:
        return None
    return moment + timedelta(hours=clock[0], minutes=clock[1], seconds=clock[2])
