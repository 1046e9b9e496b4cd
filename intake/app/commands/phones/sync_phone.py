"""What a phone at the vats sends, perhaps hours late and perhaps twice: counts, their undoing, and photos.

An act is known by the key the phone made when it was tapped.  The same key with the same content is the same act; with
other content it is refused.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Final

from intake.app.access.entry_rights import right_to
from intake.app.commands import count_animals
from intake.app.commands.count_animals import Count
from intake.app.commands.records.undo_act import undo
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.ledger import Entry, Movement, Record, balances, vat_place

__all__ = ["KeyClash", "Sent", "Verdict", "alive_in", "count_once", "seen", "undo_once"]


OLDEST: Final = timedelta(days=30)
"""How long a phone may have carried a count; beyond it someone must look."""
_KEY: Final = re.compile(r"[A-Za-z0-9_-]{16,64}")


class KeyClash(Refused):
    """The key of this act was used for another one."""


@dataclass(frozen=True, slots=True)
class Sent:
    """How an act came: its key, and how long the phone had carried it, by the phone's own clock."""

    key: str
    waited: timedelta = timedelta(0)
    clock_ahead: timedelta = timedelta(0)

    def moment(self, now: datetime) -> datetime:
        """When the act was done, by the server's clock; a phone whose clock is wrong does no harm.

        Raises
        ------
        BadInput
            No usable key, or it waited longer than a month.
        """
        if not _KEY.fullmatch(self.key):
            raise BadInput(Finding("key", self.key[:20], "16 to 64 letters, digits, - or _"))
        if self.waited > OLDEST:
            raise BadInput(Finding("count", f"{self.waited.days} days old", "at most 30 days", "Count again."))
        return now - max(self.waited, timedelta(0))


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of an act: written now, or found to be written already."""

    duplicate: bool
    said: tuple[str, ...]


def seen(house: House, key: str) -> tuple[Entry, ...]:
    """Entries of the act with this key, in the order they were written."""
    return house.act_of(key)


def count_once(  # the facts of a count, all named
    house: House, batch: str, vat: str, tally: Count, sent: Sent, note: str = "", despite: str = ""
) -> Verdict:
    """Record a count that may have been recorded before.

    Raises
    ------
    KeyClash
        Another count has this key.
    IntakeError
        As :func:`intake.app.commands.count_animals.count`.
    """
    moment = sent.moment(house.now)
    before = seen(house, sent.key)
    if before:
        if _told(before) != _asked(batch, vat, tally) or before[0].who != house.who:
            raise KeyClash(Finding("count", f"{batch} in {vat}", "the count this key was made for", "Count again."))
        return Verdict(True, (f"Counted before. {alive_in(house, batch, vat)} of {batch} alive in {vat}",))
    _check_stand(house, batch, vat, tally)
    minutes = round(abs(sent.clock_ahead).total_seconds() / 60)
    if minutes >= 5:
        way = "ahead" if sent.clock_ahead > timedelta(0) else "behind"
        note = f"{note} (phone's clock {minutes} min {way})".strip()
    told = count_animals.count(house, batch, vat, tally, at=moment, note=note, despite=despite, key=sent.key)
    return Verdict(False, told.said)


def _check_stand(house: House, batch: str, vat: str, tally: Count) -> None:
    """Say it plainly when more leave than are there; names the ledger does not know are refused further on."""
    known = batch in house.floor_of(batch).batches and (vat == "dock" or vat in house.site.vats)
    gone, have = tally.doa + tally.dead + tally.missing + tally.wrong - tally.found, alive_in(house, batch, vat)
    if known and gone > have:
        expected = f"at most {have} (alive on record there)"
        raise Refused(
            Finding(f"{batch} in {vat}", f"{gone} counted out", expected, "Count again, or undo an earlier count.")
        )


def alive_in(house: House, batch: str, vat: str) -> int:
    """Animals of a batch alive in a vat, or waiting on the dock, on record."""
    place = vat if vat == "dock" else vat_place(vat)
    return balances(house.stream(batch)).get((batch, place), 0)


def _asked(batch: str, vat: str, tally: Count) -> tuple[str, str, dict[str, object]]:
    numbers = {
        head: number for head, number in asdict(tally).items() if number or (head in {"weak", "alive"} and number == 0)
    }
    return batch, vat, numbers


def _told(before: tuple[Entry, ...]) -> tuple[str, str, dict[str, object]]:
    """The count these entries record, in the same form as the one asked for."""
    batch, vat, numbers = "", "", Counter[str]()
    boxed: dict[str, object] = {}
    for entry in before:
        if isinstance(entry, Movement):
            found = entry.source == "missing"
            batch, vat = entry.batch, (entry.target if found else entry.source).removeprefix("vat:")
            numbers["found" if found else entry.target] += entry.count
        elif entry.kind == "reading":
            head, _, batch = str(entry.payload.get("quantity")).partition(" ")
            vat = entry.subject.removeprefix("vat:")
            numbers[head] = int(str(entry.payload.get("value")))
        elif entry.kind == "box":
            boxed["box"] = str(entry.payload.get("box"))
            boxed |= {"in_box": entry.payload["held"]} if "held" in entry.payload else {}
    return batch, vat, {**numbers, **boxed}


def undo_once(house: House, undoes: str, sent: Sent, despite: str = "") -> Verdict:
    """Take back a whole count by counter movements; the count stays in the ledger.

    Raises
    ------
    UnknownName
        No count has this key: whatever else was recorded under it is not undone from the count page.
    Refused
        It was undone before.
    RulesBroken
        Whoever asks may not count, later entries stand on it, or the animals no longer suit their vat.
    """
    sent.moment(house.now)
    before = seen(house, sent.key)
    if before:
        if {entry.corrects for entry in before} - {entry.key for entry in seen(house, undoes)}:
            raise KeyClash(Finding("undo", undoes, "the count this key was made for"))
        return Verdict(True, ("Taken back before.",))
    found = seen(house, undoes) if _KEY.fullmatch(undoes) else ()
    if not found or not all(_of_a_count(entry) for entry in found):
        raise UnknownName("count", undoes, [], "count")
    told = undo(house, undoes, whole=True, despite=despite, own_key=sent.key)
    return Verdict(False, told.said or ("Taken back.",))


def _of_a_count(entry: Entry) -> bool:
    """Whether an entry belongs to a count, and to nothing a person with less rights than its own could undo here."""
    if isinstance(entry, Record) and entry.kind == "reading":
        return str(entry.payload.get("quantity")).startswith(("weak ", "alive "))
    return right_to(entry) == "count"
