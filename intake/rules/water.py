"""What a water remembers of parasites: which findings still close it, to whom, and from when it is free."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from intake.farm.floor import Batch, Found
from intake.library import Hazard
from intake.rules.scene import Scene

__all__ = ["UNNAMED_DAYS", "ClosedBy", "carried", "closed_by", "found_in_water", "inspection_owed", "standing_findings"]

UNNAMED_DAYS = 30
"""Host-free days after a finding that names no hazard of the library (as for white spot, design default)."""


@dataclass(frozen=True, slots=True)
class ClosedBy:
    """A finding that closes a water.

    Attributes
    ----------
    free
        When the water is free if no host enters before; ``None`` while hosts are in it, or where time clears nothing.
    """

    found: Found
    name: str
    days: int | None
    free: datetime | None
    source: str

    @property
    def words(self) -> str:
        """What is needed, in words."""
        return "every vat of it emptied, cleaned and dry" if self.days is None else f"{self.days} days without hosts"


def closed_by(scene: Scene, system: str, batch: Batch, at: datetime) -> tuple[ClosedBy, ...]:
    """Findings in a water that still close it to a batch at a moment."""
    rows = []
    for found in scene.floor.found:
        if found.what and found.at <= at and system in _waters(scene, found):
            hazard = scene.library.hazards.get(found.what)
            if _strikes(scene, found, hazard, batch):
                closed = _closed(scene, system, found, hazard, at)
                if closed is not None:
                    rows.append(closed)
    newest = {row.name: row for row in sorted(rows, key=lambda row: row.found.at)}
    return tuple(newest.values())


def standing_findings(scene: Scene, batch: Batch, at: datetime) -> tuple[Found, ...]:
    """Findings on a batch that it still carries at a moment: the newest of each, until it was found clean in time."""
    newest: dict[str, Found] = {}
    for found in sorted(scene.floor.found, key=lambda one: one.at):
        if found.batch != batch.id or not found.what or found.at > at or _clean_since(scene, batch, found, at):
            continue
        hazard = scene.library.hazards.get(found.what)
        if hazard is None or hazard.host_free_days != "0":
            newest[found.what] = found
    return tuple(newest.values())


def inspection_owed(scene: Scene, batch: Batch) -> tuple[str, ...]:
    """Findings a batch still carries, in words, each with what clears it: release and moves ask for the same."""
    days = timedelta(days=scene.group(batch).quarantine.days)
    return tuple(
        f"{one.what} found on it on {scene.day(one.at)}: no clean inspection since; "
        f"inspect it on or after {scene.day(one.at + days)} (vatside finding {batch.id} clean)"
        for one in standing_findings(scene, batch, scene.floor.at)
    )


def found_in_water(scene: Scene, system: str, what: str, at: datetime) -> tuple[Found, ...]:
    """Findings of a hazard in a water on animals not found clean since, while the water has not been emptied and cleaned."""
    rows = [one for one in scene.floor.found if one.what == what and one.at <= at and system in _waters(scene, one)]
    return tuple(
        one
        for one in rows
        if not _cleaned(scene, system, one) and not _clean_since(scene, scene.batch(one.batch), one, at)
    )


def carried(scene: Scene, batch: Batch, system: str, at: datetime) -> tuple[tuple[Found, tuple[str, ...]], ...]:
    """Findings a batch carries that could strike someone who is in a water, with those batches."""
    others = [scene.batch(stay.batch) for stay in scene.in_water(system) if stay.batch != batch.id]
    rows = []
    for found in standing_findings(scene, batch, at):
        hazard = scene.library.hazards.get(found.what)
        struck = tuple(sorted({one.id for one in others if _strikes(scene, found, hazard, one)}))
        if struck:
            rows.append((found, struck))
    return tuple(rows)


def _waters(scene: Scene, found: Found) -> set[str]:
    """The waters a finding was made in: of its vat, else of every vat the batch stood in at the time."""
    if found.vat:
        return {scene.system(found.vat).id} if found.vat in scene.site.vats else set()
    now = [one.vat for one in scene.floor.stays if one.batch == found.batch and one.since <= found.at]
    then = [one.vat for one in scene.floor.past if one.batch == found.batch and one.start <= found.at < one.end]
    return {scene.system(vat).id for vat in (*now, *then) if vat in scene.site.vats}


def _strikes(scene: Scene, found: Found, hazard: Hazard | None, batch: Batch) -> bool:
    if hazard is not None:
        return hazard.host_free_days != "0" and hazard.strikes(batch.group, scene.taxa(batch))
    seen = scene.floor.batches.get(found.batch)
    return seen is not None and scene.group(seen).kind == scene.group(batch).kind


def _hosts(
    scene: Scene, system: str, found: Found, hazard: Hazard | None
) -> list[tuple[datetime, datetime | None, Batch]]:
    """When each host that has stood in the water since the finding came and left (``None`` for those in it), by entry."""
    vats = {vat.id for vat in scene.site.vats_of(system)}
    rows: list[tuple[datetime, datetime | None, str]] = [
        (stay.since, None, stay.batch) for stay in scene.floor.stays if stay.vat in vats
    ]
    rows += [
        (past.start, past.end, past.batch)
        for past in scene.floor.past
        if past.vat in vats and past.end > found.at and past.batch in scene.floor.batches
    ]
    known = [(start, end, scene.batch(name)) for start, end, name in rows]
    hosts = [row for row in known if _strikes(scene, found, hazard, row[2])]
    return sorted(hosts, key=lambda row: (row[0], row[2].id))


def _since_free(
    scene: Scene, found: Found, hosts: list[tuple[datetime, datetime | None, Batch]], days: int | None
) -> list[tuple[datetime, datetime | None, Batch]]:
    """The hosts that count: not those who came once the water had stood without any for long enough, unless they carry it."""
    if days is None:
        return hosts
    counted, last = [], found.at
    for start, end, batch in hosts:
        if start < last + timedelta(days=days) or _carries(scene, batch, found, start):
            counted.append((start, end, batch))
            last = max(last, end or scene.floor.at)
    return counted


def _carries(scene: Scene, batch: Batch, found: Found, at: datetime) -> bool:
    """Whether a batch brought the same hazard with it at a moment: found on it before and not found clean since."""
    seen = [one for one in scene.floor.found if one.batch == batch.id and one.what == found.what and one.at <= at]
    return bool(seen) and not _clean_since(scene, batch, max(seen, key=lambda one: one.at), at)


def _closed(scene: Scene, system: str, found: Found, hazard: Hazard | None, at: datetime) -> ClosedBy | None:
    days = UNNAMED_DAYS if hazard is None else hazard.days
    name = found.what if hazard is None else hazard.name
    source = "common practice, no source" if hazard is None else hazard.source
    hosts = _since_free(scene, found, _hosts(scene, system, found, hazard), days)
    inside = [batch for _, left, batch in hosts if left is None]
    if _cleaned(scene, system, found) and not inside:
        return None
    if inside and all(_clean_since(scene, batch, found, at) for batch in inside):
        return None
    if inside or days is None:
        return ClosedBy(found, name, days, None, source)
    last = max([found.at, *(left for _, left, _ in hosts if left is not None)])
    free = last + timedelta(days=days)
    return ClosedBy(found, name, days, free, source) if at < free else None


def _cleaned(scene: Scene, system: str, found: Found) -> bool:
    """Whether every vat of a water was emptied, cleaned and dry after the finding and after its last animals left."""
    for vat in scene.site.vats_of(system):
        left = max((one.end for one in scene.floor.past if one.vat == vat.id), default=found.at)
        since = min((one.since for one in scene.floor.in_vat(vat.id)), default=None)
        cleaned = scene.floor.cleaned.get(vat.id)
        if cleaned is None or cleaned < max(found.at, left) or (since is not None and since < cleaned):
            return False
    return True


def _clean_since(scene: Scene, batch: Batch, found: Found, at: datetime) -> bool:
    """Whether a batch was looked over and found clean a whole quarantine after the last such finding on it."""
    later = [one.at for one in scene.floor.found if one.batch == batch.id and one.what == found.what]
    last = max([found.at, *later])
    due = last + timedelta(days=scene.group(batch).quarantine.days)
    return any(one.batch == batch.id and not one.what and due <= one.at <= at for one in scene.floor.found)
