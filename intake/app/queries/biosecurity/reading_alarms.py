"""Readings outside their alarm limits, and waters no one has read: shown at once on the board, in the report, on the round."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from intake.app.session import House
from intake.rules import Scene
from intake.rules.limits import QUANTITIES, limits_of
from intake.rules.recording import alarm_words

__all__ = ["ReadingAlarm", "alarm_lines", "reading_alarms", "unread"]

READ_EVERY = timedelta(hours=24)
"""A water with animals is read once a day at the least (design default)."""


@dataclass(frozen=True, slots=True)
class ReadingAlarm:
    """A reading outside its limits, or one that is missing (``value`` is ``None``)."""

    place: str
    quantity: str
    value: float | None
    at: datetime | None
    words: str
    animals: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        plain = asdict(self)
        return plain | {"at": self.at.isoformat() if self.at else None, "animals": list(self.animals)}


def reading_alarms(house: House, *, days: float = 1.0) -> tuple[ReadingAlarm, ...]:
    """Alarms of the last days, the newest reading of each place and quantity that lies outside; then what was not read."""
    floor = house.floor()
    scene = Scene(house.site, house.library, floor)
    newest: dict[tuple[str, str], ReadingAlarm] = {}
    for one in house.measured(since=house.now - timedelta(days=days)):
        kind, limits = QUANTITIES.get(one.quantity), limits_of(scene, one.place, one.quantity)
        if kind is None or limits is None or one.at > house.now:
            continue
        place = one.place.removeprefix("vat:")
        words = alarm_words(one.value, limits, kind.unit)
        if words:
            told = f"{place}: {one.value:g} {kind.unit}, {words}. Look at the water and the animals now."
            newest[place, one.quantity] = ReadingAlarm(place, one.quantity, one.value, one.at, told, limits.animals)
        else:
            newest.pop((place, one.quantity), None)  # back between its limits
    return (*newest.values(), *unread(house))


def alarm_lines(house: House, found: tuple[ReadingAlarm, ...] | None = None) -> tuple[str, ...]:
    """Alarms as lines to read, systems by name; waters not read since the same moment share a line."""
    names = {system.id: system.name or system.id for system in house.site.systems.values()}
    lines: list[str] = []
    missing: dict[datetime | None, list[str]] = {}
    for one in reading_alarms(house) if found is None else found:
        name = names.get(one.place, one.place)
        if one.value is None:
            missing.setdefault(one.at, []).append(name)
        else:
            lines.append(name + one.words.removeprefix(one.place))
    for at, places in missing.items():
        said = _unread_words(house, at).removesuffix(".")
        lines.append(f"{said[0].upper()}{said[1:]}: {'; '.join(places)}.")
    return tuple(lines)


def _unread_words(house: House, last: datetime | None) -> str:
    when = f"since {last.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M}" if last else "yet"
    return f"no temperature was read {when}. Read it now."


def unread(house: House) -> tuple[ReadingAlarm, ...]:
    """Waters with animals whose temperature no one has read for a day, on a farm that reads at all."""
    floor = house.floor()
    scene = Scene(house.site, house.library, floor)
    warm = [one for one in floor.readings if one.quantity == "temperature_c"]
    if not any(one.place.removeprefix("vat:") in {*house.site.vats, *house.site.systems} for one in warm):
        return ()
    found = []
    for system in house.site.systems.values():
        stays = scene.in_water(system.id)
        places = {system.id, *(vat.id for vat in house.site.vats_of(system.id))}
        last = max((one.at for one in warm if one.place.removeprefix("vat:") in places), default=None)
        since = min((stay.since for stay in stays), default=house.now)
        if stays and max(last or since, since) < house.now - READ_EVERY:
            words = f"{system.id}: {_unread_words(house, last)}"
            animals = tuple(sorted({stay.batch for stay in stays}))
            found.append(ReadingAlarm(system.id, "temperature_c", None, last, words, animals))
    return tuple(found)
