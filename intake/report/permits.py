"""What became of the animals of each permit line: carcasses are specimens too, and the sum must come out."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from intake.farm.floor import Batch
from intake.ledger.balance import balances, batches
from intake.ledger.corrections import netted
from intake.ledger.entries import SOURCES, Entry, is_vat

__all__ = ["PermitLine", "reconcile"]


@dataclass(frozen=True, slots=True)
class PermitLine:
    """Specimens of one name under one permit; counts are animals.

    Attributes
    ----------
    permit, name, origin, source_code, listing_text
        As the packing list gave them; ``permit`` is empty when it gave none.
    batches
        Batch ids it covers.
    announced
        Announced by the packing list.
    came
        Came, dead or alive.
    missing
        Announced and never found; ``lost`` were lost from sight in a vat later.
    unexplained
        Came and are neither on hand nor anywhere else; 0 unless the books are damaged.
    """

    permit: str
    name: str
    origin: str
    source_code: str
    listing_text: str
    batches: tuple[str, ...]
    announced: int
    came: int
    missing: int
    lost: int
    doa: int
    dead: int
    wrong: int
    sold: int
    sample: int
    discarded: int
    on_hand: int

    @property
    def carcasses(self) -> int:
        """Dead specimens which the permit still covers."""
        return self.doa + self.dead

    @property
    def beyond(self) -> int:
        """Animals that came beyond the number announced; each needs an answer from the supplier."""
        return max(0, self.came - self.announced)

    @property
    def unexplained(self) -> int:
        """Animals that came less all that became of them."""
        gone = self.carcasses + self.wrong + self.sold + self.sample + self.discarded + self.lost
        return self.came - gone - self.on_hand


def reconcile(entries: Iterable[Entry], now: datetime, *, shipment: str | None = None) -> tuple[PermitLine, ...]:
    """Count what became of the animals of each permit and name.

    Parameters
    ----------
    entries
        Entries of the books.
    now
        Moment of looking, time-zone aware.
    shipment
        Only this shipment; all when ``None``.  House stock has no packing list and is left out.
    """
    kept = tuple(entries)
    grouped: defaultdict[tuple[str, ...], list[Batch]] = defaultdict(list)
    for batch in batches(kept, now).values():
        if batch.shipment and shipment in (None, batch.shipment):
            grouped[batch.permit, batch.name, batch.origin, batch.source_code, batch.listing_text].append(batch)
    held: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for (owner, place), count in balances(kept, now).items():
        held[owner]["on hand" if is_vat(place) or place == "dock" else place] += count
    for movement in netted(kept):
        if movement.target == "missing" and is_vat(movement.source) and movement.happened_at <= now:
            held[movement.batch]["lost"] += movement.count
        if movement.source == "missing" and is_vat(movement.target) and movement.happened_at <= now:
            held[movement.batch]["lost"] -= movement.count
    return tuple(_line(key, grouped[key], held) for key in sorted(grouped))


def _line(key: tuple[str, ...], covered: list[Batch], held: defaultdict[str, Counter[str]]) -> PermitLine:
    total: Counter[str] = Counter()
    for batch in covered:
        total.update(held[batch.id])  # Counter.update adds, negatives too
    permit, name, origin, source_code, listing_text = key
    missing = total["missing"] - total["lost"]
    return PermitLine(
        permit=permit,
        name=name,
        origin=origin,
        source_code=source_code,
        listing_text=listing_text,
        batches=tuple(sorted(batch.id for batch in covered)),
        announced=sum(batch.announced for batch in covered),
        came=-sum(total[place] for place in SOURCES) - missing,
        missing=missing,
        lost=total["lost"],
        doa=total["doa"],
        dead=total["dead"],
        wrong=total["wrong"],
        sold=total["sold"],
        sample=total["sample"],
        discarded=total["discarded"],
        on_hand=total["on hand"],
    )
