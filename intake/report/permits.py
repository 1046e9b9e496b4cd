"""Permits: what became of the animals of each line, carcasses included, and what its papers lack.  Not legal advice."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from intake.farm.floor import Batch
from intake.ledger.balance import balances, batches
from intake.ledger.corrections import netted
from intake.ledger.entries import SOURCES, Entry, Movement, is_vat
from intake.report.losses import never_came

__all__ = ["KEEP_YEARS", "Paper", "PaperLine", "PermitLine", "keep_until", "lacking", "permitted", "reconcile"]


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
        Came and are neither on hand nor anywhere else; 0 unless the ledger is damaged.
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
        Entries of the ledger.
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
    moved: defaultdict[str, list[Movement]] = defaultdict(list)
    for movement in netted(kept):
        if movement.happened_at <= now:
            moved[movement.batch].append(movement)
    for owner, its in moved.items():
        held[owner]["lost"] = held[owner]["missing"] - never_came(its)
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


PIECES: Final = frozenset({"NAR", "H87"})
"""Units in which live animals are counted: number of articles, piece (UN/CEFACT codes, S78 of the library's sources)."""

KEEP_YEARS: Final = 5
"""Years papers are kept unless the farm says otherwise: two after import in one country (S71), five in another (from
memory)."""


@dataclass(frozen=True, slots=True)
class PaperLine:
    """One line of a permit: what of, how many, and what the form says of it; ``None`` or empty when it does not."""

    name: str
    quantity: float | None = None
    unit: str = "NAR"
    source_code: str = ""
    origin: str = ""
    appendix: str = ""
    examined: float | None = None


@dataclass(frozen=True, slots=True)
class Paper:
    """A permit or certificate the farm holds.

    Attributes
    ----------
    number, kind
        As printed; kind in the farm's words (export, re-export, import, health …).
    valid_from, valid_until
        First and last day; ``None`` when it has none.
    quantity, unit
        Quantity of the whole permit where its lines give none.
    lines
        Names it covers; none when it is not divided by name.
    shipments
        Shipments it belongs to beside those whose packing list names it.
    """

    number: str
    kind: str
    valid_from: date | None = None
    valid_until: date | None = None
    quantity: float | None = None
    unit: str = "NAR"
    lines: tuple[PaperLine, ...] = ()
    shipments: tuple[str, ...] = ()
    note: str = ""

    def line(self, name: str) -> PaperLine | None:
        """The line for a name, by species or by genus alone; ``None`` when it has none."""
        told = name.casefold()
        genus = told.split(" ")[0]
        exact = [one for one in self.lines if one.name.casefold() == told]
        wide = [one for one in self.lines if one.name.casefold() in (genus, f"{genus} sp.", f"{genus} spp.")]
        return next(iter(exact + wide), None)


def lacking(
    line: PermitLine,
    papers: Mapping[str, Paper] | None,
    day: date,
    *,
    shipment: str = "",
    needs: Sequence[str] = (),
    used: float = 0.0,
) -> tuple[str, ...]:
    """What the papers of a listed line lack, in words; empty when nothing does.  Not legal advice.

    Parameters
    ----------
    line
        Specimens of one name of one shipment.
    papers
        Number → permit on file; ``None`` when the farm keeps no such file, and then only the packing list is judged.
    day
        Day of the landing, on which the papers must be valid.
    shipment, needs
        Its shipment, and the kinds of paper the farm wants for every listed line.
    used
        Specimens of this name that came or are to come under the same permit with other shipments.
    """
    found = []
    if not line.permit:
        found.append("no permit number on the packing list")
    if not line.source_code:
        found.append("no source code")
    if not line.origin:
        found.append("no country of origin")
    if papers is None:
        return tuple(found)
    paper = papers.get(line.permit)
    if line.permit and paper is None:
        found.append(f"permit {line.permit} is not on file")
    held = [one for one in papers.values() if one is paper or (shipment and shipment in one.shipments)]
    found += [f"no {kind} paper on file" for kind in needs if not any(one.kind == kind for one in held)]
    for one in held:
        found += _validity(one, day)
    if paper is not None:
        found += _against(line, paper, used)
    return tuple(found)


def _validity(paper: Paper, day: date) -> Iterator[str]:
    if paper.valid_until is not None and paper.valid_until < day:
        yield f"{paper.kind} {paper.number} is valid until {paper.valid_until}, the landing is on {day}"
    if paper.valid_from is not None and paper.valid_from > day:
        yield f"{paper.kind} {paper.number} is valid from {paper.valid_from}, the landing is on {day}"


def _against(line: PermitLine, paper: Paper, used: float) -> Iterator[str]:
    told = paper.line(line.name)
    if paper.lines and told is None:
        yield f"{paper.number} has no line for {line.name}"
        return
    quantity, unit = permitted(paper, line.name)
    many = max(line.announced, line.came) + used
    if unit not in PIECES:
        yield f"{paper.number} counts in {unit}, which cannot be held against {many:g} animals"
    elif quantity is not None and many > quantity:
        yield f"{many:g} against {quantity:g} permitted by {paper.number}"
    for what, ours, theirs in (
        ("source code", line.source_code, told.source_code if told else ""),
        ("origin", line.origin, told.origin if told else ""),
    ):
        if ours and theirs and ours != theirs:
            yield f"{what} {ours} on the list, {theirs} on {paper.number}"


def permitted(paper: Paper | None, name: str) -> tuple[float | None, str]:
    """Quantity permitted of a name, and its unit; ``None`` when the permit states none."""
    if paper is None:
        return None, "NAR"
    told = paper.line(name)
    if told is not None and told.quantity is not None:
        return told.quantity, told.unit
    return paper.quantity, paper.unit


def keep_until(landed: date, years: int = KEEP_YEARS) -> date:
    """Last day a shipment's papers are kept.

    Examples
    --------
    >>> keep_until(date(2028, 2, 29), 5)
    datetime.date(2033, 2, 28)
    """
    last_of_february = landed.month == 2 and landed.day == 29
    return landed.replace(year=landed.year + years, day=28 if last_of_february else landed.day)
