"""What every record answers with, and the names it is asked by."""

from __future__ import annotations

from dataclasses import dataclass

from intake.app.session import Act, House
from intake.errors import Refused, UnknownName
from intake.farm.floor import Batch, Floor
from intake.ledger import Record, shortages

__all__ = ["Recorded", "batch_named", "refuse_shortage", "told_as"]


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was written, in one sentence for each entry, and the key that undoes it."""

    said: tuple[str, ...]
    keys: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """For ``--json``."""
        return {"recorded": list(self.said), "keys": list(self.keys)}


def batch_named(floor: Floor, identity: str) -> Batch:
    """The batch of this id, or :class:`UnknownName` with the closest."""
    if identity not in floor.batches:
        import difflib

        close = difflib.get_close_matches(identity, floor.batches, n=3, cutoff=0.4)
        raise UnknownName("batch", identity, close, "batch")
    return floor.batches[identity]


def told_as(house: House, key: str, kind: str, subject: str = "") -> Record | None:
    """The record this key was used for before, if it was of this kind and subject: the same act told again.

    A key used for anything else gives ``None``; the books refuse it when the act is written.
    """
    entry = house.told_before(key)
    if isinstance(entry, Record) and entry.kind == kind and subject in {"", entry.subject}:
        return entry
    return None


def refuse_shortage(house: House, act: Act, batch: str) -> None:
    """Refuse an act that takes more of a batch from a place than stands there, told on the farm's clock.

    Raises
    ------
    Refused
        Naming every such place; the books would refuse it too, but they know no time zone.
    """
    found = shortages(act.entries("movement", batch))
    if found:
        raise Refused([shortage.as_finding(house.site.farm.zone) for shortage in found])
