"""Whether the ledger adds up: animals conserved, no place below zero, corrections and keys sound, clock in order."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Final

from intake.errors import Finding
from intake.ledger.clock_ahead import CLOCK, Span, believed, spans_of
from intake.ledger.corrections import is_counter, netted
from intake.ledger.entries import SOURCES, Entry, Movement, Record, faults, movements, records
from intake.ledger.kept_revisions import PUBLISHED, base_of, wrong_base

__all__ = ["CLOCK_SLACK", "Shortage", "check", "out_of_time", "shortages"]

CLOCK_SLACK: Final = timedelta(minutes=5)
"""How far two clocks of a farm may differ before an entry's time is doubted (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Shortage:
    """A place that would hold fewer than no animals.

    Attributes
    ----------
    batch, place
        Which animals, where.
    have
        Animals the place held just before, on record.
    want
        Animals that were to leave it.
    at
        When it would happen.
    """

    batch: str
    place: str
    have: int
    want: int
    at: datetime

    def as_finding(self, zone: tzinfo | None = None) -> Finding:
        """Put the shortage in words, its time on the clock of a zone; as on record when ``None``."""
        when = f"{self.at.astimezone(zone):%Y-%m-%d %H:%M}" if zone else self.at.isoformat(timespec="minutes")
        return Finding(
            f"batch {self.batch}, {self.place}",
            f"{self.want} to leave at {when}",
            f"at most {self.have}, the animals the ledger has there",
            "Count again; if an earlier count was wrong, correct that entry.",
        )


def shortages(entries: Iterable[Entry]) -> tuple[Shortage, ...]:
    """Places which at any moment fall below zero, the first moment of each, in the order it happens.

    Movements of one moment count together, so their order among themselves does not matter.
    """
    held: Counter[tuple[str, str]] = Counter()
    found: dict[tuple[str, str], Shortage] = {}
    moved = netted(entries)
    start = 0
    while start < len(moved):
        at = moved[start].happened_at
        end = start
        out: Counter[tuple[str, str]] = Counter()
        into: Counter[tuple[str, str]] = Counter()
        while end < len(moved) and moved[end].happened_at == at:
            out[moved[end].batch, moved[end].source] += moved[end].count
            into[moved[end].batch, moved[end].target] += moved[end].count
            end += 1
        for spot, count in out.items():
            have = held[spot] + into[spot]
            if count > have and spot[1] not in SOURCES and spot not in found:
                found[spot] = Shortage(*spot, have=have, want=count, at=at)
        held.update(into)
        held.subtract(out)
        start = end
    return tuple(found.values())


def check(entries: Iterable[Entry]) -> list[Finding]:
    """Everything wrong with the ledger; an empty list when they add up.

    Parameters
    ----------
    entries
        All entries in the order they were recorded.
    """
    kept = tuple(entries)
    found = [finding for entry in kept for finding in faults(entry)]
    if found:
        return found  # times without a zone cannot be compared, nor damaged counts added
    found.extend(_keys(list(movements(kept)), "movement"))
    found.extend(_keys(list(records(kept)), "record"))
    found.extend(_corrections(kept))
    found.extend(wrong_bases(records(kept)))
    found.extend(_sums(kept))
    found.extend(shortage.as_finding() for shortage in shortages(kept))
    found.extend(out_of_time(kept))
    return found


def _keys(entries: Sequence[Entry], kind: str) -> Iterator[Finding]:
    for key, times in Counter(entry.key for entry in entries).items():
        if times > 1:
            yield Finding(f"{kind} key", key, "a key used once", f"It stands {times} times; restore a sound copy.")


def _corrections(entries: Sequence[Entry]) -> Iterator[Finding]:
    known: dict[tuple[type, str], Entry] = {}
    countered: Counter[str] = Counter()
    for entry in entries:
        if entry.corrects is not None:
            corrected = known.get((type(entry), entry.corrects))
            if corrected is None:
                yield Finding(f"entry {entry.key}, corrects", entry.corrects, "the key of an earlier entry")
            elif isinstance(entry, Movement) and isinstance(corrected, Movement) and is_counter(entry, corrected):
                countered[corrected.key] += entry.count
                if countered[corrected.key] > corrected.count:
                    taken = str(countered[corrected.key])
                    yield Finding(f"corrections of {corrected.key}", taken, f"at most its {corrected.count} animals")
        known[type(entry), entry.key] = entry


def wrong_bases(noted: Iterable[Record], known: Mapping[str, Record] | None = None) -> Iterator[Finding]:
    """Revisions kept as changes that do not give back what was published.

    Parameters
    ----------
    noted
        Records in the order they were recorded.
    known
        By key, records of before.
    """
    whole = dict(known or {})
    for record in noted:
        if record.kind != PUBLISHED:
            continue
        base = base_of(record)
        if not base:
            whole[record.key] = record
        elif (wrong := wrong_base(record, whole.get(base))) is not None:
            yield wrong


def _sums(entries: Sequence[Entry]) -> Iterator[Finding]:
    """Double entry: what left all places of a batch is what came into them, raw and after netting."""
    raw: defaultdict[tuple[str, str], int] = defaultdict(int)
    net: defaultdict[tuple[str, str], int] = defaultdict(int)
    for totals, moved in ((raw, tuple(movements(entries))), (net, netted(entries))):
        for movement in moved:
            totals[movement.batch, movement.source] -= movement.count
            totals[movement.batch, movement.target] += movement.count
    for batch in sorted({batch for batch, _ in raw}):
        total = sum(count for (owner, _), count in raw.items() if owner == batch)
        if total:
            yield Finding(f"batch {batch}, sum over all places", str(total), "0")
    for spot in sorted(raw):
        if raw[spot] != net[spot]:
            yield Finding(f"batch {spot[0]}, {spot[1]}", str(net[spot]), f"{raw[spot]}, as the raw movements say")


def out_of_time(
    entries: Sequence[Entry], last: datetime | None = None, spans: Sequence[Span] | None = None
) -> Iterator[Finding]:
    """Entries recorded before the one before them, or that happened after they were recorded.

    Parameters
    ----------
    last
        When the last entry before these was recorded.
    spans
        Recorded times of clocks ahead that were called wrong; those the entries themselves name when ``None``.
    """
    wrong = spans_of(records(entries, CLOCK)) if spans is None else spans
    for entry in entries:
        if not believed(entry.recorded_at, wrong):
            continue
        if last is not None and entry.recorded_at < last - CLOCK_SLACK:
            yield Finding(
                f"entry {entry.key}, recorded at",
                entry.recorded_at.isoformat(timespec="seconds"),
                f"not before {last.isoformat(timespec='seconds')}, when the entry before it was recorded",
                "The clock was wrong at one of the two; note which.",
            )
        if entry.happened_at > entry.recorded_at + CLOCK_SLACK and entry.corrects is None:
            yield Finding(
                f"entry {entry.key}, happened at",
                entry.happened_at.isoformat(timespec="seconds"),
                f"not after it was recorded, {entry.recorded_at.isoformat(timespec='seconds')}",
            )
        last = entry.recorded_at if last is None else max(last, entry.recorded_at)
