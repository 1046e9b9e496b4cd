"""The present as a value that is caught up by what came since: one account per batch, and what belongs to no batch.

The cost of catching up follows what was written; the cost of the whole follows what is alive and what happened lately.
``fold`` makes every account, so that there is one set of rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Final

from intake.farm.floor import Batch, Floor, Past
from intake.ledger.balance import Parts, balances, floor_of, parts_of
from intake.ledger.corrections import standing
from intake.ledger.entries import Entry, Record, is_vat
from intake.ledger.streams import CARRIED, stream_of

__all__ = ["ALWAYS", "LASTING", "LATELY", "LOOSE", "READ_LATELY", "Account", "Present", "account", "quarantine_since"]

LATELY: Final = timedelta(days=90)
"""How long a batch that has left, and a reading, stay in the present after something was recorded last (design default):
longer than any host-free time and quarantine of the library (60 d), any claim window and the month alarms compare with."""

READ_LATELY: Final = timedelta(days=14)
"""How long a reading stays in the present (design default): twice as long as temperatures are averaged, since a logger writes
thousands in that time.  Older ones are asked for by place; see also :data:`LASTING`."""

LASTING: Final = {"done": "vat", "reading": "copper_ug_per_l"}
"""Kind → topic of records that count however old they are: what went into the water of a vat, and copper measured in it."""

LOOSE: Final = ("reading", "cleaned", "done", "finding", "prescription")
"""Kinds of record that may belong to no batch, kept for :data:`LATELY`."""

ALWAYS: Final = ("received", "farm")
"""Kinds of which every standing record counts, however old: there are few."""

_NEVER: Final = datetime.min.replace(tzinfo=UTC)
_ALWAYS: Final = datetime.max.replace(tzinfo=UTC) - timedelta(days=2)  # may be reported in any time zone


@dataclass(frozen=True, slots=True)
class Account:
    """One batch as its own entries give it.

    Attributes
    ----------
    entries
        Its stream, in the order it was recorded.
    parts
        What they say once all of it has happened.
    settled
        From this moment on the parts are the same at every time.
    touched
        When the last of them was recorded.
    held
        Place → animals, once all of it has happened; empty places left out.
    """

    entries: tuple[Entry, ...]
    parts: Parts
    settled: datetime
    touched: datetime
    held: Mapping[str, int] = field(hash=False)

    @property
    def alive(self) -> bool:
        """Whether any of its animals are in a vat or wait on the dock."""
        return any(count > 0 and (is_vat(place) or place == "dock") for place, count in self.held.items())

    def at(self, moment: datetime) -> Parts:
        """What the entries say at a moment."""
        return self.parts if moment >= self.settled else parts_of(self.entries, moment)


def account(entries: Iterable[Entry]) -> Account:
    """The account of one batch, from its whole stream."""
    kept = tuple(entries)
    held = {place: count for (_, place), count in balances(kept).items()}
    settled = max((entry.happened_at for entry in kept), default=_NEVER)
    touched = max((entry.recorded_at for entry in kept), default=_NEVER)
    return Account(kept, parts_of(kept, _ALWAYS), settled, touched, held)


@dataclass(frozen=True, slots=True)
class Present:
    """What the ledger says of what is alive and of what happened lately.

    Attributes
    ----------
    since
        Records that belong to no batch are here if they happened from this moment on; of cleanings also the last one
        before it of each vat.
    read_since
        The same for readings: with the last one before it of each place and quantity.
    found_since
        The same for findings, which are kept as long as any lot in quarantine has been there, on whichever lot they were
        made: a finding in its water begins its quarantine again.
    accounts
        Batch → account; every batch that is alive, of which something was recorded since ``since``, or that was the
        last to leave a vat.
    loose
        Standing records of :data:`LOOSE` that belong to no batch and of :data:`ALWAYS`; findings of any batch, those
        of a pest or disease however old; and those of :data:`LASTING`, however old.
    recorded
        When the last entry of the ledger was recorded.
    """

    since: datetime
    read_since: datetime
    found_since: datetime
    accounts: Mapping[str, Account] = field(hash=False)
    loose: tuple[Record, ...] = ()
    recorded: datetime = _NEVER

    def grown(
        self, new: Iterable[Entry], batch_of: Mapping[str, str], streams: Mapping[str, tuple[Entry, ...]]
    ) -> Present | None:
        """The present after further entries: accounts none of them names are shared with this one.

        Parameters
        ----------
        new
            Entries recorded since, in their order.
        batch_of
            Key of each new record → the batch it belongs to, empty for none.
        streams
            Whole streams, the new entries among them, of batches named by new entries that have no account here.

        Returns
        -------
        Present or None
            ``None`` when what was the last reading or cleaning of a place was undone and the one before it is not
            known here: then all must be read again.
        """
        added: dict[str, list[Entry]] = {}
        loose: list[Record] = []
        recorded, kept_keys = self.recorded, {record.key for record in self.loose}
        for entry in new:
            recorded = max(recorded, entry.recorded_at)
            batch = batch_of.get(entry.key, "") if isinstance(entry, Record) else entry.batch
            if batch:
                added.setdefault(batch, []).append(entry)
            if isinstance(entry, Record) and (_is_loose(entry, batch) or entry.corrects in kept_keys):
                loose.append(entry)
        if any(record.corrects and not self._replaceable(record, loose) for record in loose):
            return None
        changed = {
            batch: account(streams[batch] if batch in streams else (*self.accounts[batch].entries, *entries))
            for batch, entries in added.items()
        }
        accounts = {**self.accounts, **changed} if changed else self.accounts
        kept = standing((*self.loose, *loose)) if loose else self.loose
        return replace(self, accounts=accounts, loose=kept, recorded=recorded)

    def _replaceable(self, record: Record, new: Iterable[Record]) -> bool:
        """Whether leaving out what a record corrects leaves nothing to look up."""
        if record.kind not in CARRIED:
            return True
        corrected = next((one for one in (*self.loose, *new) if one.key == record.corrects), None)
        since = self.read_since if record.kind == "reading" else self.since
        return corrected is not None and corrected.happened_at >= since

    def floor(self, at: datetime, batches: Mapping[str, Batch] | None = None) -> Floor:
        """Derive the farm at a moment at or after the last entry: what lives, and what happened lately before then.

        Parameters
        ----------
        at
            Moment, time-zone aware.
        batches
            All batches by id; those of the accounts in scope when ``None``.
        """
        lately = at - LATELY
        chosen = {name: one for name, one in self.accounts.items() if one.alive or one.touched >= lately}
        parts = [one.at(at) for one in chosen.values()]
        seen_since = min(lately, quarantine_since(chosen.values(), at))
        others = [one.at(at) for name, one in self.accounts.items() if name not in chosen]
        gone = Parts(past=_last_to_leave([*parts, *others], [past for one in others for past in one.past]))
        return floor_of([*parts, gone, self._loose_parts(at, lately, seen_since)], at, batches)

    def held(self, at: datetime) -> dict[tuple[str, str], int]:
        """(batch, place) → animals at a moment, of every batch that has an account; empty places left out."""
        found: dict[tuple[str, str], int] = {}
        for batch, one in self.accounts.items():
            if at >= one.settled:
                found |= {(batch, place): count for place, count in one.held.items()}
            else:
                found |= balances(one.entries, at)
        return found

    def covers(self, at: datetime) -> bool:
        """Whether everything a floor of this moment needs is here."""
        since = at - LATELY
        if since < self.since or at - READ_LATELY < self.read_since:
            return False
        return quarantine_since(self.accounts.values(), since) >= self.found_since

    def _loose_parts(self, at: datetime, lately: datetime, seen_since: datetime) -> Parts:
        kept: list[Record] = []
        carried: dict[tuple[str, str, str], Record] = {}
        for record in self.loose:
            if record.happened_at > at:
                continue
            since = {"finding": seen_since, "reading": at - READ_LATELY}.get(record.kind, lately)
            if record.happened_at >= since or _lasting(record):
                kept.append(record)
            elif record.kind in CARRIED:
                carried[record.kind, record.subject, stream_of(record).topic] = record
        # given again by parts_of: what was withdrawn or replaced is gone already
        return parts_of([*carried.values(), *kept], at)


def _is_loose(record: Record, batch: str) -> bool:
    if record.kind in LOOSE and (not batch or record.kind == "finding"):
        return True
    return record.kind in ALWAYS or _lasting(record)


def _lasting(record: Record) -> bool:
    """Whether a record counts however old it is, and whosever it is: what is in the water stays until it is cleaned."""
    topic = stream_of(record).topic
    seen = record.kind == "finding" and topic
    return record.kind in ALWAYS or bool(seen) or (bool(topic) and topic == LASTING.get(record.kind))


def _last_to_leave(parts: Iterable[Parts], candidates: Iterable[Past]) -> tuple[Past, ...]:
    """Of these past stays those that are the last of their vat among all."""
    last: dict[str, Past] = {}
    for past in (past for one in parts for past in one.past):
        if past.vat not in last or (past.end, past.batch) > (last[past.vat].end, last[past.vat].batch):
            last[past.vat] = past
    return tuple(past for past in candidates if last[past.vat] == past)


def quarantine_since(accounts: Iterable[Account], at: datetime) -> datetime:
    """Since when the lot that has been in quarantine longest has been there; ``at`` when none has been for longer."""
    stays = (stay for one in accounts for stay in one.parts.stays)
    return min([at, *(stay.since for stay in stays if stay.stage == "quarantine" and stay.count > 0)])
