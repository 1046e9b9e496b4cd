"""Timetable to calendar subscription: revisions of published events and the iCalendar bytes every reader agrees on.

It stores nothing, serves nothing and asks no clock: the caller keeps the revisions, the last good bytes and ``now``.
"""

from intake.feed.answer import etag, http_date, not_modified
from intake.feed.event import CalendarInfo, Event, Published
from intake.feed.revision import revise
from intake.feed.whole import is_whole
from intake.feed.write import render

__all__ = [
    "CalendarInfo",
    "Event",
    "Published",
    "etag",
    "http_date",
    "is_whole",
    "not_modified",
    "render",
    "revise",
]
