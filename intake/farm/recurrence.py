"""Days that return by a rule (RFC 5545): every second Saturday worked, a vat closed on the first Monday of the month."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Annotated, Literal

from dateutil.rrule import rrule, rrulestr
from pydantic import AfterValidator, Field, model_validator

from intake.library.library_values import Strict

__all__ = ["ALL_DAYS", "Closed", "Leave", "Recurs", "Rule", "Weekday", "days_of", "works_on"]

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
ALL_DAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

EXAMPLE = "FREQ=WEEKLY;INTERVAL=2;BYDAY=SA"
_DAY = "(?:MO|TU|WE|TH|FR|SA|SU)"
_FORMS: Mapping[str, tuple[str, str]] = {
    "FREQ": ("DAILY|WEEKLY|MONTHLY|YEARLY", "DAILY, WEEKLY, MONTHLY or YEARLY"),
    "INTERVAL": ("[1-9][0-9]{0,2}", "a whole number from 1 to 999"),
    "COUNT": ("[1-9][0-9]{0,3}", "a whole number from 1 to 9999"),
    "UNTIL": ("[0-9]{8}", "a date such as 20271231"),
    "BYDAY": (
        rf"(?:[+-]?[1-9][0-9]?)?{_DAY}",
        "MO TU WE TH FR SA SU, with a number before it for the n-th (1MO, -1FR)",
    ),
    "BYMONTH": ("[1-9]|1[0-2]", "months 1 to 12"),
    "BYMONTHDAY": ("-?(?:[1-9]|[12][0-9]|3[01])", "days 1 to 31, or -1 for the last"),
    "BYYEARDAY": ("-?(?:[1-9]|[1-9][0-9]|[12][0-9]{2}|3[0-5][0-9]|36[0-6])", "days 1 to 366"),
    "BYWEEKNO": ("-?(?:[1-9]|[1-4][0-9]|5[0-3])", "weeks 1 to 53"),
    "BYSETPOS": ("-?(?:[1-9]|[1-9][0-9]|[12][0-9]{2}|3[0-5][0-9]|36[0-6])", "positions 1 to 366"),
    "WKST": (_DAY, "the first day of the week, MO to SU"),
}
"""Parts of a rule that say days, each with its form; hours, minutes and seconds are no days."""

_LISTS = frozenset({"BYDAY", "BYMONTH", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO", "BYSETPOS"})
_ONLY_WITH: Mapping[str, frozenset[str]] = {
    "BYMONTHDAY": frozenset({"DAILY", "MONTHLY", "YEARLY"}),
    "BYYEARDAY": frozenset({"YEARLY"}),
    "BYWEEKNO": frozenset({"YEARLY"}),
}
"""RFC 5545 3.3.10: with any other FREQ these must not be used."""

_LONGEST_MONTH = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _parts(text: str) -> dict[str, str]:
    """The parts of a rule by name, each of its own form.

    Raises
    ------
    ValueError
        Saying what is accepted.
    """
    parts: dict[str, str] = {}
    for part in text.split(";"):
        name, sign, value = part.partition("=")
        if not sign or name not in _FORMS:
            msg = f"an RFC 5545 rule of days, parts {', '.join(_FORMS)}, such as '{EXAMPLE}' (not '{part}')"
            raise ValueError(msg)
        if name in parts:
            msg = f"each part once ({name} stands twice)"
            raise ValueError(msg)
        form, words = _FORMS[name]
        for one in value.split(",") if name in _LISTS else [value]:
            if not re.fullmatch(form, one):
                msg = f"{name} = {words} (not '{one}')"
                raise ValueError(msg)
        parts[name] = value
    return parts


def _refuse_contradictions(parts: Mapping[str, str]) -> None:
    frequency = parts.get("FREQ", "")
    numbered = any(len(one) > 2 for one in parts.get("BYDAY", "").split(","))
    faults = [
        (not frequency, f"a rule with FREQ, such as '{EXAMPLE}'"),
        ("COUNT" in parts and "UNTIL" in parts, "COUNT or UNTIL, not both"),
        (numbered and frequency not in {"MONTHLY", "YEARLY"}, "a numbered day such as 1MO with FREQ=MONTHLY or YEARLY"),
        (
            "BYSETPOS" in parts and not any(name in parts for name in _LISTS - {"BYSETPOS"}),
            "BYSETPOS beside another BY…",
        ),
        *(
            (name in parts and frequency not in allowed, f"{name} with FREQ={' or '.join(sorted(allowed))}")
            for name, allowed in _ONLY_WITH.items()
        ),
        (_no_such_day(parts), "a day that exists in one of its months"),
    ]
    for wrong, expected in faults:
        if wrong:
            raise ValueError(expected)


def _no_such_day(parts: Mapping[str, str]) -> bool:
    if "BYMONTH" not in parts or "BYMONTHDAY" not in parts:
        return False
    longest = max(_LONGEST_MONTH[int(month) - 1] for month in parts["BYMONTH"].split(","))
    return all(abs(int(day)) > longest for day in parts["BYMONTHDAY"].split(","))


def _rule(text: str) -> str:
    bare = text.strip().upper().removeprefix("RRULE:")
    _refuse_contradictions(_parts(bare))
    return bare


@lru_cache(maxsize=256)
def _expander(rule: str, since: date) -> rrule:
    found = rrulestr(rule, dtstart=datetime.combine(since, time(0)))
    if not isinstance(found, rrule):
        msg = "one rule"
        raise TypeError(msg)
    return found


@lru_cache(maxsize=4096)
def days_of(rule: str, since: date, year: int) -> frozenset[date]:
    """Days of one year on which a checked rule falls, counted from ``since``.

    References
    ----------
    RFC 5545, 3.3.10; expanded by python-dateutil.
    """
    first, last = datetime(year, 1, 1), datetime(year, 12, 31)  # noqa: DTZ001  # days of the farm have no zone
    return frozenset(found.date() for found in _expander(rule, since).between(first, last, inc=True))


def _gives_a_day(rule: str, since: date) -> None:
    try:
        first = next(iter(_expander(rule, since)), None)
    except ValueError as error:
        msg = f"an RFC 5545 rule of days such as '{EXAMPLE}' ({error})"
        raise ValueError(msg) from None
    if first is None:
        msg = "a rule that gives at least one day from `since` on"
        raise ValueError(msg)


Rule = Annotated[str, Field(min_length=1, max_length=300), AfterValidator(_rule)]


class Recurs(Strict):
    """Days that return: an RFC 5545 rule and the day it is counted from."""

    rule: Rule
    since: date

    @model_validator(mode="after")
    def _falls(self) -> Recurs:
        _gives_a_day(self.rule, self.since)
        return self

    def on(self, day: date) -> bool:
        """Whether the rule falls on ``day``."""
        return day in days_of(self.rule, self.since, day.year)


class _Span(Strict):
    """Days in a row, once (``first`` to ``last``) or by a rule (``rule`` counted from ``since``, ``days`` long).

    Attributes
    ----------
    first, last
        First and last day, both included.
    rule
        RFC 5545 rule of its first days, instead of ``first`` and ``last``.
    since
        Day the rule is counted from.
    days
        Length of each return of the rule, in days.
    """

    first: date | None = None
    last: date | None = None
    rule: Rule | None = None
    since: date | None = None
    days: int = Field(default=1, ge=1, le=366)

    @model_validator(mode="after")
    def _one_way(self) -> _Span:
        dated, ruled = (self.first, self.last), (self.rule, self.since)
        if (None in dated and None in ruled) or (any(dated) and any(ruled)):
            msg = "first and last, or rule and since"
            raise ValueError(msg)
        if self.first and self.last and self.last < self.first:
            msg = "first on or before last"
            raise ValueError(msg)
        if self.rule and self.since:
            _gives_a_day(self.rule, self.since)
        return self

    def holds(self, day: date) -> bool:
        """Whether ``day`` lies in it."""
        return any(first <= day <= last for first, last in self.spans(day, day))

    def spans(self, begin: date, end: date) -> Iterator[tuple[date, date]]:
        """First and last day of each stretch: the dated one, or those of the rule that touch ``begin`` to ``end``."""
        if self.first and self.last:
            yield self.first, self.last
        if self.rule and self.since:
            reach = timedelta(days=self.days - 1)
            for year in range((begin - reach).year, end.year + 1):
                for day in sorted(days_of(self.rule, self.since, year)):
                    if begin - reach <= day <= end:
                        yield day, day + reach


class Leave(_Span):
    """Days off, both ends included."""


class Closed(_Span):
    """Days on which a vat cannot be used, or the team does not receive; both ends included."""

    why: str = ""


def works_on(day: date, days: tuple[Weekday, ...], also: tuple[Recurs, ...], off: Iterable[Closed | Leave]) -> bool:
    """Whether ``day`` is one of the weekdays or a return of ``also``, and lies in none of the stretches ``off``."""
    on = ALL_DAYS[day.weekday()] in days or any(returns.on(day) for returns in also)
    return on and not any(gap.holds(day) for gap in off)
