"""A returned form that is no intake sheet: its fields by name, the faults found in them, and what was recorded since."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time

from intake.app.documents.weekly.returned.form_origin import Origin
from intake.app.documents.weekly.returned.returned_pdf import Returned, whole_of
from intake.app.documents.weekly.returned.typed_sheet import act_key
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.local_time import on_farm_clock
from intake.ledger import Entry, Record

__all__ = ["CLEAN_WORDS", "TypedForm", "pest_of"]

_CLOCK = re.compile(r"(?:(\d{4}-\d{2}-\d{2})\s+)?(\d{1,2})[:.h](\d{2})\b")
CLEAN_WORDS = frozenset({"clean", "nothing", "none", "0", "limpio", "nada", "ninguno"})
"""Words under *found* that say an inspection saw nothing."""


@dataclass(slots=True)
class TypedForm:
    """The typed values of a form; notes which fields were used and what is wrong with them."""

    house: House
    found: Returned
    origin: Origin
    used: set[str] = field(default_factory=set)
    faults: list[Finding] = field(default_factory=list)

    def text(self, name: str) -> str:
        """What was typed; empty for nothing."""
        self.used.add(name)
        return self.found.typed.get(name, "")

    def ticked(self, name: str) -> bool:
        """Whether a box has a tick."""
        return name in self.found.ticked

    def fault(self, name: str, expected: str, do: str = "") -> None:
        """Note that a field's value cannot be."""
        self.faults.append(Finding(name, self.found.typed.get(name, "ticked"), expected, do))

    def whole(self, name: str) -> int | None:
        """A number of animals; ``None`` for nothing typed or no number, which is noted."""
        text = self.text(name)
        value = whole_of(text) if text else None
        if text and value is None:
            self.fault(name, "a number of animals, such as 3")
        return value

    def measured(self, name: str, quantity: str) -> float | None:
        """A reading in the unit printed beside it or in the one it names, in SI or °C."""
        text = self.text(name).replace(",", ".")
        if not text:
            return None
        try:
            return self.house.site.farm.measures.read(quantity, text).value
        except BadInput as error:
            self.fault(name, error.findings[0].expected)
            return None

    def key(self, name: str) -> tuple[str, tuple[Entry, ...]]:
        """Key of an act by this print and field, and what stands recorded under it."""
        printed = self.origin.printed.isoformat()
        return act_key(self.house, f"{self.house.site.farm.name}|{self.origin.kind}|{printed}|{name}")

    def clash(self, name: str, was: str, key: str) -> None:
        """Note that a line was recorded before with other values."""
        do = f"If the form is right: vatside undo {key}, then scan again."
        self.fault(name, f"{was}, as recorded from this form", do)

    def day_moment(self) -> datetime | None:
        """When what a form of one day says was seen: now on that day, else the moment it was printed."""
        zone = self.house.site.farm.zone
        same = self.house.now.astimezone(zone).date() == self.origin.printed.astimezone(zone).date()
        return None if same else self.origin.printed

    def clock(self, name: str, day: date, *, needed: bool) -> tuple[datetime | None, str]:
        """Time of day typed in a field, on its own day or on ``day``, and the words beside it.

        Without a time it is now on the day itself; on a later day that is a fault where a time is ``needed``.
        """
        text = self.text(name)
        found, zone = _CLOCK.search(text), self.house.site.farm.zone
        if found is None:
            if needed and day != self.house.now.astimezone(zone).date():
                self.fault(name, "the time it was done, such as 09:40 or 2026-12-01 09:40")
            return None, text
        rest = " ".join((text[: found.start()] + text[found.end() :]).split())
        try:
            told = date.fromisoformat(found[1]) if found[1] else day
            at = on_farm_clock(datetime.combine(told, time(int(found[2]), int(found[3]))), zone, name)
        except (ValueError, BadInput):
            self.fault(name, "a time of that day, such as 09:40")
            return None, rest
        if at > self.house.now:
            self.fault(name, f"a time until now, {self.house.now.astimezone(zone):%Y-%m-%d %H:%M}")
        return at, rest

    def since(self, entries: Iterable[Entry], own: str = "") -> str:
        """The last of these entries that was recorded after the form was printed, and not from it; empty for none."""
        later = [one for one in entries if one.recorded_at > self.origin.printed and one.corrects is None]
        if own:
            mine = {one.key for one in self.house.act_of(own)}
            later = [one for one in later if one.key not in mine]
        undone = {one.corrects for one in self.house.corrections(one.key for one in later)} if later else set()
        left = [one for one in later if one.key not in undone]
        return _said(self.house, left[-1]) if left else ""

    def left(self) -> tuple[tuple[str, str], ...]:
        """Fields with words of which no record is made."""
        return tuple((name, value) for name, value in self.found.typed.items() if name not in self.used)


def _said(house: House, entry: Entry) -> str:
    """One entry in a few words: what, when and by whom."""
    at = f"{entry.recorded_at.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M} by {entry.who}"
    if isinstance(entry, Record):
        told = entry.payload
        words = str(told.get("quantity") or told.get("what") or "clean")
        value = told.get("value", "")
        return f"{words} {value}".strip() + f", {at}"
    return f"{entry.count} {entry.target.removeprefix('vat:')}, {at}"


def pest_of(house: House, text: str) -> str | None:
    """Pest of the library named at the beginning of a text; ``None`` where none is."""
    told = text.lower()
    pests = {**{one.name.lower(): name for name, one in house.library.pests.items()}}
    pests |= {name.lower(): name for name in (*house.library.pests, *house.library.hazards)}
    for words in sorted(pests, key=len, reverse=True):
        if told == words or told.startswith((f"{words} ", f"{words},", f"{words}:")):
            return pests[words]
    return None
