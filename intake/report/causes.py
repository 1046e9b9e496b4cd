"""What the dead have in common: box, vat, water, supplier or kind, by an exact test corrected for the many looks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from intake.farm.floor import Batch
from intake.ledger.boxes import BoxLoss, box_losses, in_boxes
from intake.ledger.entries import Entry, vat_id
from intake.ledger.streams import by_batch
from intake.report.groupings import box_label
from intake.report.losses import Losses, summary
from intake.report.stays import spans

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["FACTORS", "Group", "Suspect", "arrival_groups", "common", "holm", "standing_groups"]

FACTORS: Final = ("box", "vat", "water", "supplier", "shipment", "kind", "batch")
"""What animals may share, in the order in which a name is chosen where several hold the same animals."""

_PLACES: Final = frozenset({"vat", "water"})


@dataclass(frozen=True, slots=True)
class Group:
    """Animals of one batch in one vat over a span of time.

    Attributes
    ----------
    shares
        Factor → what they share with others (``{"vat": "Q1", "box": "S1 7"}``).
    animals, dead
        How many there were, and how many of them died.
    """

    shares: Mapping[str, str]
    animals: int
    dead: int


@dataclass(frozen=True, slots=True)
class Suspect:
    """Something the dead have in common.

    Attributes
    ----------
    names
        (factor, value) pairs that hold exactly these animals and so cannot be distinguished.
    dead, animals
        Dead of how many animals that share it.
    dead_elsewhere, animals_elsewhere
        The same for all others.
    chance
        Chance of as many dead or more among them if death struck blindly (one-sided, hypergeometric).
    corrected
        The same after Holm's correction for all that was looked at.
    within_batches, within_vats
        The chance when animals are compared only with others of their own batch, or of their own vat; ``None`` where
        no batch (or vat) holds both kinds, so that the two explanations cannot be distinguished.
    """

    names: tuple[tuple[str, str], ...]
    dead: int
    animals: int
    dead_elsewhere: int
    animals_elsewhere: int
    chance: float
    corrected: float
    within_batches: float | None
    within_vats: float | None


def holm(chances: Sequence[float]) -> list[float]:
    """Correct chances for their number, in the order given.

    Parameters
    ----------
    chances
        Each 0 to 1.

    Notes
    -----
    Holm and not Benjamini–Hochberg: the first name on the list is acted upon, so the chance of naming anything wrongly
    is what must be held; and vats, waters and boxes overlap, which Holm allows in any form.

    References
    ----------
    S. Holm, Scand. J. Stat. 6 (1979) 65–70.

    Examples
    --------
    >>> [round(chance, 3) for chance in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    order = sorted(range(len(chances)), key=lambda index: chances[index])
    corrected = [0.0] * len(chances)
    highest = 0.0
    for rank, index in enumerate(order):
        highest = max(highest, min(1.0, (len(chances) - rank) * chances[index]))
        corrected[index] = highest
    return corrected


def common(groups: Sequence[Group]) -> tuple[Suspect, ...]:
    """Everything the animals share, the likeliest common cause of the deaths first.

    Parameters
    ----------
    groups
        All animals that could have died, also those untouched.

    Notes
    -----
    Each value of each factor is looked at once; values that hold the very same animals count as one look.  Animals of
    one bag die together, so small chances are smaller than they should be; they rank, they do not prove.

    References
    ----------
    R. A. Fisher's exact test, one-sided (1935); within batches or vats the sum of independent hypergeometric counts, as
    in the exact form of the Mantel–Haenszel test (1959).
    """
    counted = [group for group in groups if group.animals > 0]
    total, dead = sum(group.animals for group in counted), sum(group.dead for group in counted)
    if not dead:
        return ()
    named: defaultdict[frozenset[int], list[tuple[str, str]]] = defaultdict(list)
    for factor in FACTORS:
        values = {group.shares[factor] for group in counted if group.shares.get(factor)}
        for value in sorted(values):
            held = frozenset(i for i, group in enumerate(counted) if group.shares.get(factor) == value)
            if len(held) < len(counted):
                named[held].append((factor, value))
    looks = list(named)
    animals = [sum(counted[i].animals for i in held) for held in looks]
    found = [sum(counted[i].dead for i in held) for held in looks]
    chances = [_as_many(x, total, dead, n) for x, n in zip(found, animals, strict=True)]
    suspects = [
        Suspect(
            names=tuple(named[held]),
            dead=found[look],
            animals=animals[look],
            dead_elsewhere=dead - found[look],
            animals_elsewhere=total - animals[look],
            chance=chances[look],
            corrected=corrected,
            within_batches=_within(counted, held, "batch"),
            within_vats=_within(counted, held, "vat"),
        )
        for look, (held, corrected) in enumerate(zip(looks, holm(chances), strict=True))
    ]
    return tuple(sorted(suspects, key=lambda one: (one.chance, one.names)))


def _within(groups: Sequence[Group], held: frozenset[int], stratum: str) -> float | None:
    """Chance of as many dead or more, each batch (or vat) keeping its own number of dead."""
    import numpy as np

    strata: defaultdict[str, list[int]] = defaultdict(list)
    for index, group in enumerate(groups):
        strata[group.shares.get(stratum, "")].append(index)
    spread: NDArray[Any] = np.ones(1)
    seen, offset, told = 0, 0, False
    for members in strata.values():
        inside = [index for index in members if index in held]
        if not inside or len(inside) == len(members):
            continue
        told = True
        total, dead = sum(groups[i].animals for i in members), sum(groups[i].dead for i in members)
        drawn = sum(groups[i].animals for i in inside)
        low, chances = _hypergeometric(total, dead, drawn)
        spread = np.convolve(spread, chances)
        offset += low
        seen += sum(groups[i].dead for i in inside)
    return min(1.0, float(spread[max(0, seen - offset) :].sum())) if told else None


def _as_many(found: int, total: int, dead: int, drawn: int) -> float:
    """Chance of so many dead or more among those drawn."""
    low, chances = _hypergeometric(total, dead, drawn)
    return min(1.0, float(chances[max(0, found - low) :].sum()))


def _hypergeometric(total: int, dead: int, drawn: int) -> tuple[int, NDArray[Any]]:
    """Fewest dead that can be drawn, and the chance of each number from there up.

    By logarithms of factorials: ``scipy.stats`` says the same and takes most of a second to import, for which every look at
    the day would wait.
    """
    import numpy as np
    from scipy.special import gammaln

    def log_choose(n: int, k: Any) -> Any:
        return gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)

    low, high = max(0, drawn + dead - total), min(drawn, dead)
    k = np.arange(low, high + 1)
    logs = log_choose(dead, k) + log_choose(total - dead, drawn - k) - log_choose(total, drawn)
    return low, np.exp(logs)


def standing_groups(
    entries: Iterable[Entry],
    known: Mapping[str, Batch],
    start: datetime,
    end: datetime,
    systems: Mapping[str, str],
) -> tuple[Group, ...]:
    """Animals that stood in vats in a span of time, with those that died in it.

    Parameters
    ----------
    entries
        Entries of the ledger.
    known
        Batches by id.
    start, end
        The span, ``end`` left out as in the days of ``losses.by_day``; time-zone aware.
    systems
        Vat id → system id.

    Notes
    -----
    The dead count whole, where they died.  The others count where they stood, each for its share of the span: a lot that
    was moved the day before yesterday was at risk in its old vat for the days before, or every vat that was emptied would
    hold none but dead.
    """
    shares: defaultdict[tuple[str, str], float] = defaultdict(float)
    dead: defaultdict[tuple[str, str], int] = defaultdict(int)
    for span in spans(entries, end - timedelta(microseconds=1), vat_id):
        if span.batch not in known or span.left_at < start:
            continue
        if span.died:
            dead[span.batch, span.place] += span.count
        else:
            stood = min(span.left_at, end) - max(span.entered_at, start)
            shares[span.batch, span.place] += span.count * (stood / (end - start))
    found = {place: dead[place] + round(shares[place]) for place in sorted({*shares, *dead})}
    return tuple(
        Group(_shares(known[batch], vat, systems), number, dead[batch, vat])
        for (batch, vat), number in found.items()
        if number
    )


def arrival_groups(
    entries: Iterable[Entry], known: Mapping[str, Batch], now: datetime, chosen: Callable[[Batch], bool]
) -> tuple[Group, ...]:
    """Animals that came, with those dead on arrival, for the batches chosen; no vat or water yet.

    Notes
    -----
    Where a batch came in several boxes and its dead were reported by box, each box is a group of its own.  Dead whose box
    no one reported stay with the batch alone, so no box is blamed for them.
    """
    streams = by_batch(entry for entry in entries if entry.happened_at <= now)
    groups: list[Group] = []
    for batch in known.values():
        own = streams.get(batch.id, ())
        told = summary(own, batch.id, now) if chosen(batch) else None
        if told is not None and told.came > 0:
            by_box = [loss for loss in box_losses(own, now) if loss.head == "doa"]
            groups += (
                _boxed(own, batch, told, by_box)
                if by_box
                else [Group(_shares(batch, "", {}), told.came, max(0, told.doa))]
            )
    return tuple(groups)


def _boxed(kept: Sequence[Entry], batch: Batch, told: Losses, lost: Sequence[BoxLoss]) -> list[Group]:
    """One group for each box of a batch, and one for the dead whose box was not reported."""
    shares = {factor: value for factor, value in _shares(batch, "", {}).items() if factor != "box"}
    dead: defaultdict[str, int] = defaultdict(int)
    for loss in lost:
        dead[loss.box] += loss.count
    silent = max(0, told.doa - sum(dead.values()))
    held, _ = in_boxes(kept, batch, told.came - silent)
    groups = [Group({**shares, "box": f"{batch.shipment} {box}"}, held[box], dead[box]) for box in held if held[box]]
    return [*groups, Group(shares, silent, silent)] if silent else groups


def _shares(batch: Batch, vat: str, systems: Mapping[str, str]) -> dict[str, str]:
    box = f"{batch.shipment} {box_label(batch)}" if batch.boxes else ""
    shared = {
        "box": box,
        "vat": vat,
        "water": systems.get(vat, ""),
        "supplier": batch.supplier or "house",
        "shipment": batch.shipment,
        "kind": batch.group,
        "batch": batch.id,
    }
    return {factor: value for factor, value in shared.items() if value}
