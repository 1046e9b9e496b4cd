"""One dip, inspection or transfer repeated as its protocol or its pest's life cycle asks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import ceil

from intake.errors import BadInput
from intake.farm.floor import Done, Stay
from intake.library import Dip, Evidence, Library
from intake.quarantine.case import LONGEST_PART_MIN, SET_UP_MIN, Case, blank, minutes_for, parts_of, slotted
from intake.quarantine.clock import days_after
from intake.quarantine.needs import Need, PartOfDay
from intake.quarantine.redip import series

__all__ = ["repeated"]

_STATIONS = {"dip": "dip", "inspection": "inspection"}

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


def repeated(case: Case, dip: Dip, portion: Stay, temperature_c: float, prior: Need | None) -> list[Need]:
    """All repeats of one dip on one portion that are not done.

    Parameters
    ----------
    portion
        Animals of the batch in one vat.
    temperature_c
        Temperature to reckon with.
    prior
        Work of the first day that comes before this one's first: acclimation, or the dip before it in the protocol.
    """
    rhythm = _rhythm(case.library, dip, temperature_c)
    home = "" if dip.kind == "transfer" else f"{case.began.get(portion.vat, portion.vat)}/"
    stem = f"{case.batch.id}/{dip.id}/{home}"
    past = _past(case, dip, portion, stem)
    before = sum(1 for at in past if at < case.clock.started)
    here = past[before:]
    base = _work(case, dip, portion, rhythm)
    needs: list[Need] = []
    for number in range(len(here) + 1, rhythm.baths + 1):
        named = replace(base, uid=f"{stem}{before + number}", number=before + number, of=before + rhythm.baths)
        if needs:
            needs.append(_next_after(named, needs[-1], rhythm, case.floor.at))
        elif here:
            needs.append(_next_since(named, here[-1], rhythm))
        else:
            needs.append(_first(named, case, dip, rhythm, prior))
    return [*_begun(case, base, f"{stem}{len(past)}", past), *needs] if here else needs


def _begun(case: Case, need: Need, uid: str, past: Sequence[datetime]) -> list[Need]:
    """Parts still open of a piece of work of which one part at least is recorded."""
    recorded = {one.task for one in case.floor.done}
    due = replace(
        need,
        uid=uid,
        number=len(past),
        earliest=past[-1],
        nominal=past[-1],
        latest=days_after(past[-1], _FIRST_SLACK_D["inspection"]),
    )
    pieces = parts_of(due)
    return [piece for piece in pieces if piece.uid not in recorded][: len(pieces) - 1]


def _first(need: Need, case: Case, dip: Dip, rhythm: _Rhythm, prior: Need | None) -> Need:
    started, now = case.clock.started, case.floor.at
    due = days_after(started, dip.first_day)
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
    if dip.first_day > 0 or prior is None:
        return timed
    lag = min(slotted(prior.minutes), LONGEST_PART_MIN) / 1440
    return replace(timed, after=prior.uid, lag_min_days=lag)


def _day_end(case: Case, due: datetime, days: float) -> datetime:
    """The last quarter hour of the farm day ``days`` after ``due``."""
    day = days_after(due, days).astimezone(case.site.farm.zone)
    return day.replace(hour=23, minute=45, second=0, microsecond=0)


def _next_since(need: Need, last: datetime, rhythm: _Rhythm) -> Need:
    return replace(
        need,
        earliest=days_after(last, rhythm.low),
        nominal=days_after(last, rhythm.interval),
        latest=days_after(last, rhythm.high),
    )


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
    own = _Rhythm(interval, low, high, dip.baths, dip.why, dip.evidence, dip.source, dip.unsourced)
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
    longest_contact = dip.contact_max or 0.0
    minutes = max(minutes_for(portion.count, case.group.handling.per_hour), ceil(longest_contact) + SET_UP_MIN)
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
        why=rhythm.why,
        evidence=rhythm.evidence,
        source=rhythm.source,
        unsourced=rhythm.unsourced,
        strict=dip.kind == "transfer" or bool(dip.pest) or (rhythm.high <= rhythm.interval and rhythm.baths > 1),
    )


def _past(case: Case, dip: Dip, portion: Stay, stem: str) -> list[datetime]:
    """Moments at which this dip was done on this portion, in this vat or, before it was moved, in another."""
    numbers: dict[int, datetime] = {}
    for one in _of_dip(case.floor.done, case.batch.id, dip.id):
        head, _, tail = one.task.partition("/part-")[0].rpartition("/")
        if not tail.isdigit() or (f"{head}/" != stem and one.at > portion.since):
            continue
        numbers[int(tail)] = max(one.at, numbers.get(int(tail), one.at))
    return [at for _, at in sorted(numbers.items())]


def _of_dip(done: Iterable[Done], batch: str, dip: str) -> list[Done]:
    return [one for one in done if one.batch == batch and one.task.startswith(f"{batch}/{dip}/")]
