"""What a feed is made of: an event as the timetable wants it, a revision as it was published, and the calendar's face.

Nothing here is written as iCalendar; that is `intake.feed.write`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Any

__all__ = ["CANCELLED", "CONFIRMED", "CalendarInfo", "Event", "Published", "parse_moment"]

CONFIRMED, CANCELLED = "CONFIRMED", "CANCELLED"


@dataclass(frozen=True, slots=True)
class Event:
    r"""One task or stage as the timetable wants it shown.

    Attributes
    ----------
    uid
        Name of the task for life: printable ASCII without spaces, quotes or ``\ ; ,``, at most 255 characters, derived
        from the task's own key and never from its title, time or place in a list.
    start, end
        Both datetimes with a time zone, or both dates for a stage lasting whole days; ``end`` is the first moment (or
        the first day) that no longer belongs to the event, and is later than ``start``.
    summary, description, location
        Text for people; cleaned by `intake.feed.text` before it is published.
    categories
        Words a reader may filter by; they lose ``\ ; , "`` like a calendar's name.
    status
        ``"CONFIRMED"`` or ``"CANCELLED"``.
    alarms_minutes
        Minutes before ``start`` at which a reader may ring, each 0 or more.
    follows
        Pairs of (uid of the event that must be finished first, least minutes between its end and this start).
    url
        Address at which the task is recorded; empty for none.
    free
        Takes no one's time any more (done, missed): transparent, and no alarm.
    former
        Pairs of (category of a reader who had it before, mark put before the title there).
    timed, digest
        Whether it has a moment of its own that matters, and whether it is a day's list of the others.
    completed
        When it was recorded as done, for readers of tasks.
    told
        Triples of (code of a language, summary, description) for those who read another than the farm's.
    """

    uid: str
    start: datetime | date
    end: datetime | date
    summary: str
    description: str = ""
    location: str = ""
    categories: tuple[str, ...] = ()
    status: str = CONFIRMED
    alarms_minutes: tuple[int, ...] = ()
    follows: tuple[tuple[str, int], ...] = ()
    url: str = ""
    free: bool = False
    former: tuple[tuple[str, str], ...] = ()
    timed: bool = True
    digest: bool = False
    completed: datetime | None = None
    told: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Published:
    """One revision of an event, as subscribers received it; rows are appended and never changed.

    Attributes
    ----------
    uid
        The event's name for life.
    sequence
        Number of the revision from 0.
    stamp
        Moment of the revision in UTC, whole seconds; written as DTSTAMP and as LAST-MODIFIED.
    fingerprint
        SHA-256 of ``fields``, hexadecimal.
    fields
        What a reader sees, as plain JSON data, so that an event the timetable forgot can still be shown as canceled.
    """

    uid: str
    sequence: int
    stamp: datetime
    fingerprint: str
    fields: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class CalendarInfo:
    r"""The face of one subscribed calendar.

    Attributes
    ----------
    name, description
        Shown in the reader's list of calendars; ``name`` loses ``\ ; , "`` since some readers show them escaped.
    time_zone
        IANA name of the zone in which times are written.
    color
        CSS3 color name (RFC 7986, section 5.9).
    hex_color
        ``#rrggbb`` of the same color for readers that know only X-APPLE-CALENDAR-COLOR; empty leaves it out.
    refresh_minutes
        Suggested least time between two looks, 1 to 10 080.
    omit_cancelled
        True leaves canceled events out at once instead of showing them for a while.
    alarms_minutes
        None: alarms as each event has them; a tuple: these instead (empty for silence).  It belongs to the address:
        changing it for an address in use changes bytes without a new revision, which some readers overlook.
    todos
        True writes each as a VTODO instead of a VEVENT, for readers with a list of tasks.
    cancelled_word, cancelled_order
        Word put before the title of a canceled event, and what it asks of a reader.
    prodid
        Name of the writing program, as PRODID.
    """

    name: str
    time_zone: str
    description: str = ""
    color: str = "teal"
    hex_color: str = "#008080"
    refresh_minutes: int = 60
    omit_cancelled: bool = False
    alarms_minutes: tuple[int, ...] | None = None
    todos: bool = False
    cancelled_word: str = "Canceled"
    cancelled_order: str = "do not do this"
    prodid: str = "-//Vatside//Timetable//EN"


@lru_cache(maxsize=65_536)  # a calendar written again reads the same thousands of moments
def parse_moment(text: str) -> datetime | date:
    """Read a stored start or end as the date or the UTC datetime it stands for.

    Parameters
    ----------
    text
        ISO 8601 as `Published.fields` holds it: ``2026-10-25`` or ``2026-10-25T00:30:00Z``.
    """
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
