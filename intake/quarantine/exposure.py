"""Who shared water with whom over time, and from a finding: who could have infected a lot, and whom it could infect."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from intake.farm.site import Site

__all__ = ["Cleaned", "Contact", "Meeting", "Presence", "Reached", "Replumbed", "meetings", "presences_of", "trace"]

How = Literal["shared water", "entered after", "tool or person"]

_FAR_PAST = datetime.min.replace(tzinfo=UTC)
_FAR_FUTURE = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Presence:
    """Animals of a batch in one vat and one water from ``start`` to ``end`` (``None``: still there)."""

    batch: str
    vat: str
    system: str
    start: datetime
    end: datetime | None = None


@dataclass(frozen=True, slots=True)
class Cleaned:
    """A vat or a whole system emptied, disinfected and dried, finished ``at``."""

    place: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Replumbed:
    """A vat joined to another system ``at`` a moment; ``left`` is the system it was part of, empty when not known."""

    vat: str
    system: str
    at: datetime
    left: str = ""


@dataclass(frozen=True, slots=True)
class Contact:
    """A tool or person that went from one vat to another without a change of gloves or disinfection: weaker."""

    source: str
    target: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Meeting:
    """One way in which something could pass from ``source`` to ``target``, possible from ``start`` to ``end``.

    ``place`` is the system, vat or tool.  Water shared at the same time gives two meetings, one each way.
    """

    source: str
    target: str
    place: str
    start: datetime
    end: datetime
    how: How
    why: str

    @property
    def weak(self) -> bool:
        """Whether the exposure is only by tool or person."""
        return self.how == "tool or person"


@dataclass(frozen=True, slots=True)
class Reached:
    """A batch reached by a trace.

    Attributes
    ----------
    at
        Forward: the earliest moment it could have been infected.  Back: the latest moment at which it could have been
        the source.
    steps
        Meetings between it and the batch asked about.
    through
        The batch before it on that way, and the meeting; ``weak`` if any meeting on the way was by tool or person.
    """

    batch: str
    at: datetime
    steps: int
    through: str
    meeting: Meeting
    weak: bool


def presences_of(
    stays: Iterable[tuple[str, str, datetime, datetime | None]], site: Site, replumbed: Sequence[Replumbed] = ()
) -> tuple[Presence, ...]:
    """Stays (batch, vat, start, end) cut where their vat was joined to another water.

    Parameters
    ----------
    stays
        From the ledger, moves included.
    replumbed
        Changes in plumbing, any order; ``site`` shows the plumbing of today, so a change is read backwards too: before
        the first change of a vat its water is the one it left, or ``before <system>`` when that is not known.
    """
    rows: list[Presence] = []
    for batch, vat, start, end in stays:
        changes = sorted((one.at, one.system, one.left) for one in replumbed if one.vat == vat)
        first_water = (changes[0][2] or f"before {changes[0][1]}") if changes else site.vat(vat).system
        cuts = [(_FAR_PAST, first_water), *((at, system) for at, system, _ in changes)]
        for (since, system), until in zip(cuts, [*[at for at, _ in cuts[1:]], _FAR_FUTURE], strict=True):
            first, last = max(start, since), min(end or _FAR_FUTURE, until)
            if first < last:
                rows.append(Presence(batch, vat, system, first, None if last == _FAR_FUTURE else last))
    return tuple(sorted(rows, key=lambda row: (row.start, row.batch, row.vat)))


def meetings(
    presences: Sequence[Presence],
    *,
    cleaned: Sequence[Cleaned] = (),
    contacts: Sequence[Contact] = (),
    until: datetime,
    vats: Mapping[str, Sequence[str]] | None = None,
) -> tuple[Meeting, ...]:
    """Every way in which something could pass between two batches up to ``until``.

    Parameters
    ----------
    vats
        System → its vats: a water counts as clean once the system itself, or each of its vats, has been cleaned.

    References
    ----------
    Stays that overlap, or an entry after another without disinfection and drying between; tools and persons are
    weaker: ``husbandry.md`` 5.1 (our model on the rule of S73).
    """
    rows: list[Meeting] = []
    for one in presences:
        for other in presences:
            if one.batch == other.batch or one.start >= until or other.start >= until:
                continue
            if one.system == other.system:
                met = _overlap(one, other, until) or _after(one, other, cleaned, vats or {})
                if met is not None:
                    rows.append(met)
    rows += [met for contact in contacts for met in _by_tool(contact, presences) if contact.at < until]
    return tuple(sorted(set(rows), key=lambda met: (met.start, met.source, met.target, met.place, met.end)))


def _overlap(one: Presence, other: Presence, until: datetime) -> Meeting | None:
    start, end = max(one.start, other.start), min(one.end or until, other.end or until, until)
    if start >= end:
        return None
    where = f"vat {one.vat}" if one.vat == other.vat else f"the water of {one.system}"
    why = f"{one.batch} and {other.batch} shared {where} from {start:%Y-%m-%d} to {end:%Y-%m-%d}"
    return Meeting(one.batch, other.batch, one.system, start, end, "shared water", why)


def _after(
    one: Presence, other: Presence, cleaned: Sequence[Cleaned], vats: Mapping[str, Sequence[str]]
) -> Meeting | None:
    """``other`` entered after ``one`` had left, and nothing was cleaned between."""
    if one.end is None or other.start < one.end:
        return None
    place = one.vat if one.vat == other.vat else one.system
    if _clean_between(one, other, cleaned, vats.get(one.system, ())):
        return None
    why = f"{other.batch} entered {place} on {other.start:%Y-%m-%d} after {one.batch}, not cleaned and dried between"
    return Meeting(one.batch, other.batch, place, other.start, other.start, "entered after", why)


def _clean_between(one: Presence, other: Presence, cleaned: Sequence[Cleaned], vats: Sequence[str]) -> bool:
    assert one.end is not None  # noqa: S101  # the caller has asked
    within = {event.place for event in cleaned if one.end <= event.at <= other.start}
    whole = one.system in within or (bool(vats) and set(vats) <= within)
    return whole or (one.vat == other.vat and other.vat in within and not vats)


def _by_tool(contact: Contact, presences: Sequence[Presence]) -> list[Meeting]:
    def there(vat: str) -> list[str]:
        return sorted(
            {
                row.batch
                for row in presences
                if row.vat == vat and row.start <= contact.at and (row.end is None or contact.at < row.end)
            }
        )

    return [
        Meeting(
            source,
            target,
            contact.by,
            contact.at,
            contact.at,
            "tool or person",
            f"{contact.by} went from {contact.source} to {contact.target} on {contact.at:%Y-%m-%d}",
        )
        for source in there(contact.source)
        for target in there(contact.target)
        if source != target
    ]


def trace(
    batch: str, met: Sequence[Meeting], *, since: datetime, direction: Literal["forward", "back"], until: datetime
) -> tuple[Reached, ...]:
    """Whom a batch could have infected from ``since`` on, or who could have infected it by ``until``.

    The way must run forward in time: a lot that had already left before it could be infected passes nothing on.

    Parameters
    ----------
    since
        Forward: the batch may have been infectious from here on.  Back: how far to look back.
    until
        Forward: how far to look.  Back: the moment of the finding.
    """
    if direction == "forward":
        return _spread(batch, met, since, until)
    turned = [
        Meeting(one.target, one.source, one.place, _turn(one.end), _turn(one.start), one.how, one.why) for one in met
    ]
    rows = _spread(batch, turned, _turn(until), _turn(since))
    return tuple(
        Reached(row.batch, _turn(row.at), row.steps, row.through, _back(row.meeting), row.weak) for row in rows
    )


def holds_after(batch: str, what: str, reached: Sequence[Reached]) -> tuple[tuple[str, str], ...]:
    """Which batches to put on hold after a finding, each with the reason to be recorded.

    Parameters
    ----------
    batch, what
        The batch on which it was seen, and what was seen.
    reached
        Forward trace from it.  Lots reached only by a tool or a person are to be looked at, not held, so they are left
        out (default of this program, no source: weaker exposure, ``husbandry.md`` 5.1).
    """
    own = (batch, f"{what} seen on it")
    others = [
        (
            row.batch,
            f"{what} seen on {batch}: {row.meeting.why}" + (f" (through {row.through})" if row.steps > 1 else ""),
        )
        for row in reached
        if not row.weak
    ]
    return (own, *sorted(others))


def _spread(batch: str, met: Sequence[Meeting], since: datetime, until: datetime) -> tuple[Reached, ...]:
    """Earliest arrival over the meetings, in order of time (each lot is settled at its earliest moment)."""
    at: dict[str, datetime] = {batch: since}
    reached: dict[str, Reached] = {}
    settled: set[str] = set()
    while True:
        open_lots = [name for name in at if name not in settled]
        if not open_lots:
            return tuple(sorted(reached.values(), key=lambda row: (row.at, row.steps, row.batch)))
        now = min(open_lots, key=lambda name: (at[name], name))
        settled.add(now)
        before = reached.get(now)
        for one in met:
            when = max(at[now], one.start)
            if one.source != now or one.target in settled or when > one.end or when > until:
                continue
            weak = one.weak or (before is not None and before.weak)
            steps = 1 if before is None else before.steps + 1
            known = reached.get(one.target)
            if known is None or (when, weak, steps) < (known.at, known.weak, known.steps):
                at[one.target] = when
                reached[one.target] = Reached(one.target, when, steps, now, one, weak)


def _turn(moment: datetime) -> datetime:
    """Time run backwards, so that looking back is looking forward."""
    return _MIDDLE + (_MIDDLE - moment.astimezone(UTC))


_MIDDLE = datetime(2000, 1, 1, tzinfo=UTC)


def _back(one: Meeting) -> Meeting:
    return Meeting(one.target, one.source, one.place, _turn(one.end), _turn(one.start), one.how, one.why)
