"""The year's own judge: reads what ``--json`` answers and the diary of what was done, and shares no code with the tool.

A rule is a function from :class:`Seen` to sentences, one for each breach; it is in force once it stands in :data:`RULES`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from tests.story.year.farm import QUARANTINES, VATS, Kind
from tests.story.year.truth import Act

__all__ = ["RULES", "Judge", "Seen"]

_SYSTEM = {place.vat: place.system for place in VATS}
_PLACE = {place.vat: place for place in VATS}
_JAM_DAYS = 100
_LATEST_BRUSHING = timedelta(days=8, hours=12)
_BRUSHINGS = 6


@dataclass(slots=True)
class Seen:
    """One evening as the tool answers it, with what the judge remembers of the evenings before.

    Attributes
    ----------
    stands
        (batch, vat) → animals, from ``report vats --json``.
    check
        ``check --json`` of the day, or ``None`` on days without one.
    placements
        Placements of the accepted plan of each shipment received today.
    losses, lost
        Rows of ``report losses --json`` by batch, on days with one, and the same in truth by batch and head.
    oxygen_mg_per_l
        Oxygen at saturation in the farm's water, from ``water oxygen --json``.
    """

    day: date
    at: datetime
    stands: Mapping[tuple[str, str], int]
    truth: Mapping[tuple[str, str], int]
    kinds: Mapping[str, Kind]
    suppliers: Mapping[str, str]
    entered: Mapping[str, datetime]
    diary: list[Act]
    oxygen_mg_per_l: float
    check: Mapping[str, Any] | None = None
    placements: Mapping[str, list[dict[str, Any]]] = field(default_factory=dict)
    doa: Mapping[str, int] = field(default_factory=dict)
    losses: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    lost: Mapping[tuple[str, str], int] = field(default_factory=dict)
    before: Mapping[tuple[str, str], int] = field(default_factory=dict)
    met: dict[str, set[str]] = field(default_factory=dict)
    """Batch → those it shared quarantine water with, on any evening so far."""
    emptied: dict[str, date] = field(default_factory=dict)
    """Water → last evening on which nobody stood in it."""
    tasks: list[Mapping[str, Any]] = field(default_factory=list)
    """Tasks of ``timetable --json``, on days with one."""


def same_as_the_simulator(seen: Seen) -> Iterator[str]:
    """Counts by batch and vat are what the crew knows."""
    for spot in sorted(seen.stands.keys() | seen.truth.keys()):
        if seen.stands.get(spot, 0) != seen.truth.get(spot, 0):
            yield f"{spot[0]} in {spot[1]}: {seen.stands.get(spot, 0)} by the tool, {seen.truth.get(spot, 0)} in truth"


def losses_as_they_were(seen: Seen) -> Iterator[str]:
    """Dead on arrival, dead since and sold, batch by batch, in the report as in truth."""
    for batch, row in seen.losses.items():
        told = {"doa": row["doa"], "dead": row["dead_first_7_days"] + row["dead_later"], "sold": row["sold"]}
        for head, number in told.items():
            if number != seen.lost.get((batch, head), 0):
                yield f"{batch}: {number} {head} by the report, {seen.lost.get((batch, head), 0)} in truth"


def one_supplier_in_a_water(seen: Seen) -> Iterator[str]:
    """Lots of two suppliers never share quarantine water: the farm file allows it nowhere."""
    for system in QUARANTINES:
        inside = {seen.suppliers[batch] for batch, vat in seen.stands if _SYSTEM[vat] == system}
        if len(inside) > 1:
            yield f"{system}: suppliers {', '.join(sorted(inside))} share the water"


def no_vat_over_its_bench(seen: Seen) -> Iterator[str]:
    """Bench area by the judge's own footprints."""
    for vat, place in _PLACE.items():
        taken = sum(seen.kinds[batch].area_cm2 * n for (batch, where), n in seen.stands.items() if where == vat) / 1e4
        if taken > place.area_m2 + 1e-9:
            yield f"{vat}: {taken:.3f} m² of {place.area_m2:g} m²"


def no_vat_out_of_oxygen(seen: Seen) -> Iterator[str]:
    """Flow times what lies between saturation and 5 mg/L, and the air."""
    for vat, place in _PLACE.items():
        used = sum(seen.kinds[batch].oxygen_mg_per_h * n for (batch, where), n in seen.stands.items() if where == vat)
        has = place.flow_l_per_h * (seen.oxygen_mg_per_l - 5.0) + place.aeration_mg_per_h
        if used > has:
            yield f"{vat}: {used:.0f} mg/h of oxygen, {has:.0f} supplied"


def nobody_released_early(seen: Seen) -> Iterator[str]:
    """Who left quarantine water had served its days, its brushings and no hold, and so had all it met there."""
    inside = {batch for batch, vat in seen.stands if _SYSTEM[vat] in QUARANTINES}
    was = {batch for batch, vat in seen.before if _SYSTEM[vat] in QUARANTINES}
    out = {batch for batch, vat in seen.stands if _SYSTEM[vat] not in QUARANTINES}
    left = {batch for batch in was if batch in out and (batch, "") not in seen.before}
    fresh = {batch for batch in left if not any(b == batch and _SYSTEM[v] not in QUARANTINES for b, v in seen.before)}
    for batch in sorted(fresh):
        if _held(seen, batch):
            yield f"{batch} left quarantine on hold"
        for lot in sorted({batch, *(seen.met.get(batch, set()) & (inside | {batch}))}):
            end = _own_end(seen, lot)
            if end is None or end > seen.at:
                yield f"{batch} left quarantine, {lot} is in its water and not done before {end}"


def _held(seen: Seen, batch: str) -> bool:
    acts = [act for act in seen.diary if act.batch == batch and act.what in {"hold", "lift"}]
    return bool(acts) and max(acts, key=lambda act: (act.at, act.what == "lift")).what == "hold"


def _own_end(seen: Seen, batch: str) -> datetime | None:
    """End of a lot by itself; ``None`` while brushings are missing."""
    kind, start = seen.kinds[batch], seen.entered[batch]
    waters = {_SYSTEM[vat] for b, vat in (*seen.before, *seen.stands) if b == batch and _SYSTEM[vat] in QUARANTINES}
    for act in seen.diary:
        if act.what == "finding" and act.at >= start and (act.batch == batch or _SYSTEM[act.vat] in waters):
            start = max(start, act.at)
    end = start + timedelta(days=kind.days)
    if not kind.brushed:
        return end
    series: dict[str, list[datetime]] = {}
    for act in seen.diary:
        if act.what == "done" and act.words.startswith(f"{batch}/clam-brushing/") and act.at >= start:
            series.setdefault(act.words.split("/")[2], []).append(act.at)
    if not series:
        return None
    for times in series.values():
        run = 0
        for number, at in enumerate(sorted(times)):
            late = number and at - sorted(times)[number - 1] > _LATEST_BRUSHING
            run = 1 if late else run + 1
        if run < _BRUSHINGS:
            return None
        end = max(end, max(times))
    return end


def plans_carried_out_or_told(seen: Seen) -> Iterator[str]:
    """On the day of a receipt the animals stand as accepted, or the plan's breach is reported that day."""
    told = {str(row["batch"]) for row in (seen.check or {}).get("no_longer_holds", ())}
    for rows in seen.placements.values():
        for row in rows:
            batch, vat = str(row["batch"]), str(row["vat"])
            if row["stage"] != "quarantine" or batch in told:
                continue
            stands = seen.stands.get((batch, vat), 0)
            if not row["count"] - seen.doa.get(batch, 0) <= stands <= row["count"]:
                yield f"{batch}: {row['count']} accepted for {vat}, {stands} stand there, and check says nothing"


def nothing_before_the_last_placing(seen: Seen) -> Iterator[str]:
    """Open work of a lot begins once the last of its boxes is placed, as the timetable itself shows both."""
    placed: dict[str, datetime] = {}
    for row in (row for row in seen.tasks if row["kind"] == "placing"):
        end = datetime.fromisoformat(row["end"])
        for batch in str(row["title"]).partition(": ")[2].split(", "):
            placed[batch] = max(end, placed.get(batch, end))
    for row in seen.tasks:
        end = placed.get(row["batch"], datetime.fromisoformat(row["start"]))
        other = row["kind"] not in {"receive", "acclimation", "placing"} and row["state"] not in {"done", "missed"}
        if other and datetime.fromisoformat(row["start"]) < end:
            yield f"{row['batch']}: {row['title']} at {row['start']}, before its last box is placed at {end}"


def no_jam(seen: Seen) -> Iterator[str]:
    """Every quarantine water is empty at least once in 100 days; a finding in it begins its lots, and so the days, again."""
    for system in QUARANTINES:
        findings = [act.at.date() for act in seen.diary if act.what == "finding" and _SYSTEM[act.vat] == system]
        since = max([seen.emptied[system], *findings])
        if seen.day - since > timedelta(days=_JAM_DAYS):
            yield f"{system}: not empty since {seen.emptied[system]}"


def the_books_are_sound(seen: Seen) -> Iterator[str]:
    """``check`` finds no fault and no rule that stands broken."""
    if seen.check is not None:
        yield from (f"check: {fault}" for fault in seen.check["faults"])
        yield from (f"check: {breach['what']} ({breach['id']})" for breach in seen.check.get("breaches", ()))


RULES: tuple[Callable[[Seen], Iterator[str]], ...] = (
    same_as_the_simulator,
    losses_as_they_were,
    one_supplier_in_a_water,
    no_vat_over_its_bench,
    no_vat_out_of_oxygen,
    nobody_released_early,
    plans_carried_out_or_told,
    nothing_before_the_last_placing,
    no_jam,
    the_books_are_sound,
)


@dataclass(slots=True)
class Judge:
    """Looks at every evening and keeps what it needs for the next."""

    first: date
    before: Mapping[tuple[str, str], int] = field(default_factory=dict)
    met: dict[str, set[str]] = field(default_factory=dict)
    emptied: dict[str, date] = field(default_factory=dict)

    def look(self, seen: Seen) -> list[str]:
        """Breaches of one evening, each under its day."""
        inside: dict[str, set[str]] = {system: set() for system in QUARANTINES}
        for batch, vat in seen.stands:
            if _SYSTEM[vat] in inside:
                inside[_SYSTEM[vat]].add(batch)
        for system, batches in inside.items():
            if not batches or system not in self.emptied:
                self.emptied[system] = seen.day if not batches else self.first
            for batch in batches:
                self.met.setdefault(batch, set()).update(batches - {batch})
        seen.before, seen.met, seen.emptied = self.before, self.met, self.emptied
        found = [f"{seen.day}: {words}" for rule in RULES for words in rule(seen)]
        self.before = dict(seen.stands)
        return found
