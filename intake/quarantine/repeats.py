"""One dip, inspection or transfer repeated as its protocol or its pest's life cycle asks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from math import ceil, isfinite
from typing import Final

from intake.errors import BadInput
from intake.farm.floor import Done, Stay
from intake.library import Dip, Evidence, Library
from intake.quarantine.case import (
    LONGEST_PART_MIN,
    SET_UP_MIN,
    Case,
    blank,
    minutes_for,
    part_number,
    parts_of,
    slotted,
)
from intake.quarantine.needs import Need, PartOfDay
from intake.quarantine.quarantine_clock import days_after
from intake.quarantine.redip import series

__all__ = ["COUNTS_WITHIN_H", "repeated", "rested"]

_STATIONS = {"dip": "dip", "inspection": "inspection"}

COUNTS_WITHIN_H: Final[Mapping[str, float]] = {"dip": 12.0, "inspection": 12.0, "transfer": 1.0}
"""Hours by which a recorded repeat may miss its window and still count: figures in days mean days, the 72 h of a
transfer mean hours; house rule, no source."""

_FIRST_SLACK_D = {"dip": 1.0, "inspection": 2.0, "transfer": 1.0}
"""Days within which the first of a series must begin: house rule, no source."""


@dataclass(frozen=True, slots=True)
class _Rhythm:
    """How often a dip is due: its own figures or the pest's cycle at the water's temperature."""

    interval: float
    low: float
    high: float
    baths: int
    why: str
    evidence: Evidence
    source: str
    unsourced: bool
    again: bool = True
    """Whether a repeat that comes too late begins the series again; no course of a prescriber is made longer by itself."""


@dataclass(frozen=True, slots=True)
class _Run:
    """What the record says of a series.

    Attributes
    ----------
    counted
        Repeats that count; -1 for transfers of which the next, being late, only begins the count again.
    last
        From when the next counts.
    words
        What went wrong, with its arithmetic.
    deadline
        Moment after which a next repeat no longer follows the last, so that the series begins again.
    expired
        Whether that moment has passed.
    parts
        Number of a part of the last repeat (1 where it was not cut) → when it was done.
    """

    counted: int
    last: datetime | None
    words: str
    deadline: datetime | None = None
    expired: bool = False
    parts: Mapping[int, datetime] = field(default_factory=dict)


def repeated(
    case: Case,
    dip: Dip,
    portion: Stay,
    temperature_c: float,
    prior: Need | None,
    not_before: datetime | None = None,
) -> list[Need]:
    """All repeats of one dip on one portion that are not done.

    Parameters
    ----------
    portion
        Animals of the batch in one vat.
    temperature_c
        Temperature to calculate with.
    prior
        Work of the first day that comes before this one's first: acclimation, or the dip before it in the protocol.
    not_before
        Earliest moment of the first: two days after another agent's first.
    """
    rhythm = _rhythm(case.library, dip, temperature_c)
    home = "" if dip.kind == "transfer" else f"{case.began.get(portion.vat, portion.vat)}/"
    stem = f"{case.batch.id}/{dip.id}/{home}"
    past = _past(case, dip, portion, stem)
    run = _run_of(case, dip, rhythm, [parts for _, parts in past if max(parts.values()) >= case.clock.started])
    highest = past[-1][0] if past else 0
    base = _work(case, dip, portion, rhythm)
    left = rhythm.baths - run.counted
    needs: list[Need] = []
    for step in range(1, left + 1):
        named = replace(base, uid=f"{stem}{highest + step}", number=highest + step, of=highest + left)
        if needs:
            needs.append(_next_after(named, needs[-1], rhythm, case.floor.at))
        elif run.last is not None and run.expired:
            needs.append(_again(named, case, run))
        elif run.last is not None:
            needs.append(_priced(_next_since(named, run, rhythm), run, rhythm))
        else:
            needs.append(_priced(_first(named, case, dip, rhythm, (prior, not_before)), run, rhythm))
    if run.last is None:
        return needs
    begun = _begun(case, base, f"{stem}{highest}", past)
    if needs and not run.expired:
        needs[:1] = _each_part(needs[0], run, rhythm, begun)
    return [*begun, *needs]


def _run_of(case: Case, dip: Dip, rhythm: _Rhythm, done: Sequence[Mapping[str, datetime]]) -> _Run:
    """How many of the repeats done count: too soon does not count, too late begins the series again.

    A transfer counts from the entry into the vat left, so the entry of the lot is its day 0; a bath is its own.
    """
    moves = dip.kind == "transfer"
    spare = COUNTS_WITHIN_H[dip.kind] / 24
    last: Mapping[str, datetime] | None = {"": case.clock.started} if moves else None
    counted, words = 0, ""
    for parts in done:
        short, long = (0.0, 0.0) if last is None else _gaps(last, parts)
        on = f"{max(parts.values()):%Y-%m-%d}"
        if last is not None and rhythm.again and long > rhythm.high + spare:
            counted, words = (0 if moves else 1), f"{long:.3g} d had passed, so the series began again on {on}"
        elif last is not None and short < rhythm.low - spare:
            words = f"the one on {on}, after {short:.3g} d, came too soon to count"
            continue
        else:
            counted += 1
        last = parts
    latest = max(last.values()) if last and done else None
    if last is None or counted >= rhythm.baths:
        return _Run(min(counted, rhythm.baths), latest, words)
    deadline = days_after(min(last.values()), rhythm.high + spare) if rhythm.again else None
    if deadline is None or case.floor.at <= deadline:
        numbered = {int(part or 1): at for part, at in last.items()}
        return _Run(counted, latest, words, deadline, parts=numbered)
    words = (
        f"the next had to follow the one on {max(last.values()):%Y-%m-%d} by {deadline:%Y-%m-%d %H:%M} "
        "and is not recorded, so the series begins again with it"
    )
    return _Run(-1 if moves else 0, latest, words, expired=True)


def _gaps(before: Mapping[str, datetime], after: Mapping[str, datetime]) -> tuple[float, float]:
    """Shortest and longest time between two repeats, days, part by part: the second part has its own animals."""
    both = before.keys() & after.keys()
    pairs = [(before[part], after[part]) for part in both] or [(max(before.values()), max(after.values()))]
    days = [(later - earlier).total_seconds() / 86400 for earlier, later in pairs]
    return min(days), max(days)


def _begun(case: Case, need: Need, uid: str, past: Sequence[tuple[int, Mapping[str, datetime]]]) -> list[Need]:
    """Parts still open of a task of which one part at least is recorded."""
    recorded = {one.task for one in case.floor.done}
    number, parts = past[-1]
    begun = max(parts.values())
    latest = days_after(begun, _FIRST_SLACK_D["inspection"])
    due = replace(need, uid=uid, number=number, earliest=begun, nominal=begun, latest=latest)
    pieces = parts_of(due, max(int(part or 1) for part in parts))
    return [piece for piece in pieces if piece.uid not in recorded][: len(pieces) - 1]


def _first(need: Need, case: Case, dip: Dip, rhythm: _Rhythm, before: tuple[Need | None, datetime | None]) -> Need:
    started, now, (prior, not_before) = case.clock.started, case.floor.at, before
    due, words = rested(case, dip, days_after(started, dip.first_day))
    due = max(due, not_before or due)
    need = replace(need, why="; ".join(part for part in (need.why, words) if part))
    if dip.kind == "transfer":  # the first stay counts from entry: the interval is an upper limit already
        earliest, latest = days_after(started, rhythm.low), days_after(started, rhythm.high)
    else:
        earliest, latest = due, _day_end(case, due, _FIRST_SLACK_D[dip.kind])
    if latest < now:
        why = f"{need.why}; was due by {latest:%Y-%m-%d} and is not recorded, so the series is counted from now"
        return replace(
            need, opens=True, earliest=now, nominal=now, latest=days_after(now, _FIRST_SLACK_D["inspection"]), why=why
        )
    timed = replace(need, opens=True, earliest=earliest, nominal=due, latest=latest)
    if due > started or prior is None:
        return timed
    lag = min(slotted(prior.minutes), LONGEST_PART_MIN) / 1440
    return replace(timed, after=prior.uid, lag_min_days=lag)


def rested(case: Case, dip: Dip, due: datetime) -> tuple[datetime, str]:
    """When the first bath of an agent, or the first brushing, may be, and why where the rest after placing sets it.

    References
    ----------
    The library's table of the first days (A009 to A017): eyes, tweezers and a shake have no row and need no rest; where
    none is allowed the rules refuse the bath.
    """
    agents = case.library.agents(dip.id)
    if dip.kind not in {"dip", "inspection"}:
        return due, ""
    found = case.library.after_arrival.rest_hours(case.group.id, agents)
    if found is None or not isfinite(found[0]):
        return due, ""
    hours, row = found
    free = days_after(case.clock.entered, hours / 24)
    return (free, f"{hours:g} h of rest after placing ({row.id}: {row.source})") if free > due else (due, "")


def _day_end(case: Case, due: datetime, days: float) -> datetime:
    """The last quarter hour of the farm day ``days`` after ``due``."""
    day = days_after(due, days).astimezone(case.site.farm.zone)
    return day.replace(hour=23, minute=45, second=0, microsecond=0)


def _again(need: Need, case: Case, run: _Run) -> Need:
    """The next repeat of a series that has run out: it begins the series again, so it is due now."""
    now = case.floor.at
    why = "; ".join(words for words in (need.why, run.words) if words)
    return replace(need, earliest=now, nominal=now, latest=days_after(now, _FIRST_SLACK_D["inspection"]), why=why)


def _priced(need: Need, run: _Run, rhythm: _Rhythm) -> Need:
    """A next repeat with the moment after which the whole series begins again, and how long it then runs."""
    if run.deadline is None:
        return need
    repeats = rhythm.baths if need.kind == "transfer" else rhythm.baths - 1
    return replace(need, deadline=run.deadline, again_d=repeats * rhythm.interval)


def _next_since(need: Need, run: _Run, rhythm: _Rhythm) -> Need:
    last = run.last
    assert last is not None  # noqa: S101  # asked by the caller
    return replace(
        need,
        why="; ".join(words for words in (need.why, run.words) if words),
        earliest=days_after(last, rhythm.low),
        nominal=days_after(last, rhythm.interval),
        latest=days_after(last, rhythm.high),
    )


def _each_part(need: Need, run: _Run, rhythm: _Rhythm, begun: Sequence[Need]) -> list[Need]:
    """The next repeat part by part, each counted from the same part of the last: they may have been done a day apart.

    A part of the last repeat that is still open is waited for.  Where the work has fewer parts now, the last of them holds
    the animals of the rest.
    """
    pieces = parts_of(need)
    waited = {part_number(one.uid): one for one in begun}
    timed = []
    for number, piece in enumerate(pieces, start=1):
        own = [at for part, at in run.parts.items() if part == number or (number == len(pieces) < part)]
        if number in waited:
            before = waited[number].uid
            # its own part before is not done yet: its deadline is counted from there, not from the others'
            waits = replace(piece, after=before, lag_min_days=rhythm.low, lag_max_days=rhythm.high, deadline=None)
            timed.append(waits)
        elif own:
            timed.append(_since(piece, min(own), max(own), rhythm))
        else:
            timed.append(piece)
    return timed


def _since(piece: Need, first: datetime, last: datetime, rhythm: _Rhythm) -> Need:
    """A repeat of animals of which some were last treated at ``first`` and the others by ``last``."""
    earliest = days_after(last, rhythm.low)
    latest = max(earliest, days_after(first, rhythm.high))
    deadline = piece.deadline and days_after(first, rhythm.high + COUNTS_WITHIN_H[piece.kind] / 24)
    nominal = min(days_after(last, rhythm.interval), latest)
    return replace(piece, earliest=earliest, nominal=nominal, latest=latest, deadline=deadline)


def _next_after(need: Need, previous: Need, rhythm: _Rhythm, now: datetime) -> Need:
    return replace(
        need,
        earliest=days_after(max(previous.earliest, now), rhythm.low),
        nominal=days_after(max(previous.nominal, now), rhythm.interval),
        latest=days_after(max(previous.latest, now), rhythm.high),
        after=previous.uid,
        lag_min_days=rhythm.low,
        lag_max_days=rhythm.high,
    )


def _rhythm(library: Library, dip: Dip, temperature_c: float) -> _Rhythm:
    """Interval and number: the pest's cycle at this temperature where figures exist, else the dip's own, marked."""
    interval = dip.interval_days or 0.0
    slack = 1.0 if interval > 2 else 0.5
    low = dip.interval_min_days if dip.interval_min_days is not None else max(0.0, interval - slack)
    high = dip.interval_max_days if dip.interval_max_days is not None else interval + slack
    again = dip.course_days is None
    own = _Rhythm(interval, low, high, dip.baths, dip.why, dip.evidence, dip.source, dip.unsourced, again)
    if not dip.pest:
        return own
    try:
        found = series(library.pests[dip.pest], temperature_c)
    except BadInput as trouble:
        why = f"{dip.why}; the library's own interval is kept, since {trouble}"
        return replace(own, why=why, evidence="default", unsourced=True)
    return _Rhythm(
        found.interval_days,
        found.interval_min_days,
        found.interval_max_days,
        found.baths,
        f"{dip.why}; {found.arithmetic}",
        found.evidence,
        found.source,
        dip.unsourced,
    )


def _work(case: Case, dip: Dip, portion: Stay, rhythm: _Rhythm) -> Need:
    part: PartOfDay = "after dark" if dip.after_dark else "morning" if dip.kind == "transfer" else "any"
    if part == "any" and case.group.id.startswith("fish"):
        part = "light"
    chemical = dip.kind == "dip" and not any(word in dip.agent.lower() for word in _PLAIN_WATER)
    longest_contact = dip.contact_max or 0.0
    minutes = max(minutes_for(portion.count, case.group.handling.per_hour), ceil(longest_contact) + SET_UP_MIN)
    counts_h = rhythm.high * 24 + COUNTS_WITHIN_H[dip.kind]
    again = f"; one later than {counts_h:g} h after the one before begins all {rhythm.baths} again"
    told = again if rhythm.baths > 1 and rhythm.again else ""
    return replace(
        blank(case, portion, portion.count),
        kind=dip.kind,
        dip=dip.id,
        title=f"{dip.name}: {case.batch.name}",
        minutes=minutes,
        skill=dip.skill,
        station="" if dip.after_dark else _STATIONS.get(dip.kind, ""),
        agent=dip.agent,
        strength=dip.strength,
        contact_min=dip.contact_min,
        contact_max=dip.contact_max,
        protection=dip.protection,
        part_of_day=part,
        people=2 if chemical else 1,
        company=chemical,
        why=rhythm.why + told + ("; no one dips in chemicals alone" if chemical else ""),
        evidence=rhythm.evidence,
        source=rhythm.source,
        unsourced=rhythm.unsourced,
        strict=dip.kind == "transfer" or bool(dip.pest) or (rhythm.high <= rhythm.interval and rhythm.baths > 1),
    )


_PLAIN_WATER = ("fresh water", "freshwater", "low-salinity", "hyposaline", "seawater", "ro water", "purified water")
"""Agents that are no chemical: the rule that nobody works alone is about the others (common practice, no source)."""


def _past(case: Case, dip: Dip, portion: Stay, stem: str) -> list[tuple[int, dict[str, datetime]]]:
    """Numbers of the repeats done on this portion, here or in the vat it stood in before, and when each part was done.

    A transfer counts only by the move it was: a tick without a vat is none (S54: what stays in the water stays with it).
    """
    numbers: dict[int, dict[str, datetime]] = {}
    for one in _of_dip(case.floor.done, case.batch.id, dip.id):
        if dip.kind == "transfer" and not one.to:
            continue
        whole, _, part = one.task.partition("/part-")
        head, _, tail = whole.rpartition("/")
        if not tail.isdigit() or (f"{head}/" != stem and one.at > portion.since):
            continue
        parts = numbers.setdefault(int(tail), {})
        parts[part] = max(one.at, parts.get(part, one.at))
    return sorted(numbers.items())


def _of_dip(done: Iterable[Done], batch: str, dip: str) -> list[Done]:
    return [one for one in done if one.batch == batch and one.task.startswith(f"{batch}/{dip}/")]
