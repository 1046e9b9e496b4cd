"""How suppliers compare: losses on arrival and after, adjusted toward what is usual, and who cannot be distinguished.

Animals of one shipment share bag, box and flight and die together, so they count for less than as many independent
animals; the design effect says for how much less.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import combinations
from typing import Final

from intake.ledger.balance import batches
from intake.ledger.boxes import box_losses, in_boxes
from intake.ledger.entries import Entry, Movement, movements
from intake.report.comparing.clustered import likeness, shrink_clustered
from intake.report.comparing.past_shipments import PastLine, lost_of_past, past_lines
from intake.report.intervals import Shrunken
from intake.report.losses import summary
from intake.report.survival import Curve, curve

__all__ = [
    "HEADS",
    "SHORT",
    "Place",
    "Scorecard",
    "Share",
    "SupplierRow",
    "chance_lower",
    "design_effect",
    "lost_of",
    "scorecard",
]

HEADS: Final[Mapping[str, float | None]] = {"doa": None, "lost by day 7": 7.0, "lost by day 30": 30.0}
"""Shares compared: dead on arrival of those that came; dead by a day of those alive when opened."""

SHORT: Final = "short"
"""Announced and not delivered, of those announced; only in the scorecard."""


@dataclass(frozen=True, slots=True)
class Share:
    """One share of one supplier.

    Attributes
    ----------
    lost, of
        Animals lost, of how many; for survival, of how many that were watched long enough to count (not whole).
    raw
        lost / of.
    shrunk
        After weighing against what is usual, with its interval.
    shipments
        Shipments it rests on.
    spread_known
        Whether deliveries of one supplier were seen to differ; without it the interval rests on what is assumed, and must
        not be shown as known.
    """

    lost: float
    of: float
    raw: float
    shrunk: Shrunken
    shipments: int
    spread_known: bool = True

    @property
    def between(self) -> tuple[float, float] | None:
        """The interval, ``None`` where how deliveries differ is not known."""
        return (self.shrunk.low, self.shrunk.high) if self.spread_known else None


@dataclass(frozen=True, slots=True)
class SupplierRow:
    """A supplier's line; ``shares`` by head, a head left out when nothing can be said yet.

    Attributes
    ----------
    shipments, batches, came
        Of the farm's own record.
    past_shipments
        Shipments from before it, taken from the owner's tables; the shares hold them too.
    """

    supplier: str
    shipments: int
    batches: int
    came: int
    shares: Mapping[str, Share]
    past_shipments: int = 0


@dataclass(frozen=True, slots=True)
class Place:
    """A place in a ranking: 1 is the lowest loss; ``alike`` are suppliers that cannot be distinguished from this one."""

    place: int
    supplier: str
    alike: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Scorecard:
    """The comparison of suppliers.

    Attributes
    ----------
    rows
        By supplier id.
    rankings
        Head → places, lowest adjusted toward the average loss first.
    usual
        Head → share that is usual among the suppliers, ``None`` when there are fewer than two.
    design_effects
        Head → by how much shared fate lessens the weight of the animals, at least 1; ``None`` when no supplier sent two
        shipments, and then no one is distinguished.
    likeness
        Head → how alike two animals of one shipment are beyond their supplier, 0 to 1, ``None`` when not known; for dead on
        arrival also of one line inside its shipment and one box inside its line, under ``doa, line`` and ``doa, box``.
    confidence
        Of the intervals, and of a difference between two suppliers.
    """

    rows: tuple[SupplierRow, ...]
    rankings: Mapping[str, tuple[Place, ...]]
    usual: Mapping[str, float | None]
    design_effects: Mapping[str, float | None]
    likeness: Mapping[str, float | None]
    confidence: float


@dataclass(frozen=True, slots=True)
class _Seen:
    """Counts of one supplier: (lost, of) of each shipment and of all together."""

    clusters: tuple[tuple[float, float], ...]
    lost: float
    of: float


def scorecard(entries: Iterable[Entry], now: datetime, *, confidence: float = 0.95) -> Scorecard:
    """Compare all suppliers the ledger knows.

    Parameters
    ----------
    entries
        Entries of the ledger.
    now
        Moment of looking, time-zone aware.
    confidence
        Between 0 and 1; two suppliers are distinguished when the chance that one is better passes (1 + confidence) / 2.

    Notes
    -----
    Comparisons are not corrected for their number.
    """
    moved: defaultdict[str, list[Movement]] = defaultdict(list)
    kept = tuple(entries)
    for movement in movements(kept):
        moved[movement.batch].append(movement)
    shipped: defaultdict[str, defaultdict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for batch in batches(kept, now).values():
        # stock found at the first stocktake was never seen to arrive: it says nothing of a journey
        if batch.supplier and batch.shipment and batch.id in moved:
            shipped[batch.supplier][batch.shipment].append(batch.id)
    shares: defaultdict[str, dict[str, Share]] = defaultdict(dict)
    rankings: dict[str, tuple[Place, ...]] = {}
    usual: dict[str, float | None] = {}
    effects: dict[str, float | None] = {}
    alike: dict[str, float | None] = {}
    past = past_lines(kept)
    before: defaultdict[str, defaultdict[str, list[PastLine]]] = defaultdict(lambda: defaultdict(list))
    for line in past:
        before[line.supplier][line.shipment].append(line)
    announced = {batch.id: batch.announced for batch in batches(kept, now).values()}
    for head, day in (*HEADS.items(), (SHORT, None)):
        if head == SHORT:
            seen = {name: _short(sent, moved, announced, now) for name, sent in shipped.items()}
        else:
            seen = {name: _seen(sent, moved, now, day) for name, sent in shipped.items()}
        for name, sent in before.items():
            seen[name] = _with_past(seen.get(name), sent.values(), head)
        known = {name: counts for name, counts in sorted(seen.items()) if counts is not None}
        effects[head] = design_effect([counts.clusters for counts in known.values()])
        usual[head], found, alike[head] = _shares(known, confidence)
        for name, share in found.items():
            shares[name][head] = share
        rankings[head] = _ranking(found, confidence, certain=effects[head] is not None)
    rows = tuple(
        replace(_row(name, shipped[name], moved, now, shares[name]), past_shipments=len(before.get(name, ())))
        for name in sorted({*shipped, *before})
    )
    alike |= _alike_inside(kept, shipped, moved, now)
    return Scorecard(rows, rankings, usual, effects, alike, confidence)


def _alike_inside(
    entries: Sequence[Entry],
    shipped: Mapping[str, Mapping[str, Sequence[str]]],
    moved: Mapping[str, list[Movement]],
    now: datetime,
) -> dict[str, float | None]:
    """How alike the dead on arrival of one line and of one box are."""
    lines, boxes = [], []
    known = batches(entries, now)
    told: defaultdict[tuple[str, str], int] = defaultdict(int)
    for loss in box_losses(entries, now):
        told[loss.batch, loss.box] += loss.count if loss.head == "doa" else 0
    for sent in shipped.values():
        for ids in sent.values():
            lines.append([one for batch in ids if (one := _arrival([batch], moved, now)) is not None])
            for batch in ids:
                came = _arrival([batch], moved, now)
                if came is not None and any(key[0] == batch for key in told):
                    held, _ = in_boxes(entries, known[batch], int(came[1]))
                    boxes.append([(float(min(told[batch, box], of)), float(of)) for box, of in held.items()])
    return {"doa, line": likeness(lines), "doa, box": likeness(boxes)}


def _with_past(seen: _Seen | None, past: Iterable[Sequence[PastLine]], head: str) -> _Seen | None:
    """The farm's own counts with those of past shipments added as further clusters."""
    told = [one for lines in past if (one := lost_of_past(lines, head)) is not None]
    if not told:
        return seen
    own = seen or _Seen((), 0.0, 0.0)
    lost, of = own.lost + sum(one for one, _ in told), own.of + sum(one for _, one in told)
    return _Seen((*own.clusters, *told), lost, of)


def _short(
    sent: Mapping[str, Sequence[str]],
    moved: Mapping[str, list[Movement]],
    announced: Mapping[str, int],
    now: datetime,
) -> _Seen | None:
    """Animals announced and not delivered, by shipment; what came beyond the list makes up for none of another."""
    clusters = []
    for ids in sent.values():
        came = [(announced[batch], losses.came) for batch in ids if (losses := summary(moved[batch], batch, now))]
        whole = sum(of for of, _ in came)
        if whole > 0:
            clusters.append((float(sum(max(0, of - found) for of, found in came)), float(whole)))
    if not clusters:
        return None
    return _Seen(tuple(clusters), sum(lost for lost, _ in clusters), sum(of for _, of in clusters))


def design_effect(suppliers: Sequence[Sequence[tuple[float, float]]]) -> float | None:
    """Estimate by how much shared fate within a shipment lessens the weight of its animals.

    Parameters
    ----------
    suppliers
        For each supplier, (lost, of) of each of its shipments.

    Returns
    -------
    float or None
        At least 1, pooled over suppliers with two shipments or more; ``None`` when there is none.

    References
    ----------
    J. N. K. Rao, A. J. Scott, Biometrics 48 (1992) 577–585 (variance of a ratio over clusters against the binomial
    one; from memory).
    """
    between = within = 0.0
    several = False
    for clusters in suppliers:
        counted = [(lost, of) for lost, of in clusters if of > 0]
        if len(counted) < 2:
            continue
        several = True
        total = sum(of for _, of in counted)
        share = sum(lost for lost, _ in counted) / total
        many = len(counted)
        between += many / (many - 1) * sum((lost - of * share) ** 2 for lost, of in counted)
        within += total * share * (1 - share)
    if not several:
        return None
    return max(1.0, between / within) if within > 0 else 1.0


def chance_lower(first: Shrunken, second: Shrunken) -> float:
    """Chance that the first share is truly lower than the second, 0 to 1.

    Averages the second's upper tail over 400 equal slices of the first's distribution.
    """
    import numpy as np
    from scipy.special import betainc, betaincinv

    at = betaincinv(first.alpha, first.beta, (np.arange(400) + 0.5) / 400)
    return float(1 - betainc(second.alpha, second.beta, at).mean())


def _seen(
    sent: Mapping[str, Sequence[str]], moved: Mapping[str, list[Movement]], now: datetime, day: float | None
) -> _Seen | None:
    """Count one supplier under one head; ``None`` when no animal was watched long enough."""
    clusters = []
    for ids in sent.values():
        cluster = lost_of(ids, moved, now, day)
        if cluster is not None:
            clusters.append(cluster)
    if not clusters:
        return None
    if day is None:
        return _Seen(tuple(clusters), sum(lost for lost, _ in clusters), sum(of for _, of in clusters))
    ids = [batch for shipment in sent.values() for batch in shipment]
    together = _loss_by(curve([m for batch in ids for m in moved[batch]], ids, now), day)
    return None if together is None else _Seen(tuple(clusters), *together)


def lost_of(
    ids: Sequence[str], moved: Mapping[str, list[Movement]], now: datetime, day: float | None
) -> tuple[float, float] | None:
    """Animals lost of how many, for some batches together; ``None`` when not watched long enough.

    Parameters
    ----------
    ids
        Batch ids.
    moved
        Movements of each batch.
    now
        Moment of looking, time-zone aware.
    day
        Day since arrival by which they were lost; ``None`` for dead on arrival.
    """
    if day is None:
        return _arrival(ids, moved, now)
    return _loss_by(curve([movement for batch in ids for movement in moved[batch]], ids, now), day)


def _arrival(ids: Sequence[str], moved: Mapping[str, list[Movement]], now: datetime) -> tuple[float, float] | None:
    found = [losses for batch in ids if (losses := summary(moved[batch], batch, now)) is not None]
    came = sum(losses.came for losses in found)
    return (float(sum(losses.doa for losses in found)), float(came)) if came > 0 else None


def _loss_by(shape: Curve | None, day: float) -> tuple[float, float] | None:
    """Dead by a day, of the number of fully watched animals that would give the same standard error."""
    step = shape.at(day) if shape else None
    if shape is None or step is None:
        return None
    if 0 < step.survival < 1:
        of = step.survival * (1 - step.survival) / step.standard_error**2
    else:
        of = float(shape.at_risk(day) if step.survival == 1 else shape.entered)
    return ((1 - step.survival) * of, of) if of > 0 else None


def _shares(known: Mapping[str, _Seen], confidence: float) -> tuple[float | None, dict[str, Share], float | None]:
    """The usual share, each supplier's, and how alike animals of one shipment are."""
    if not known:
        return None, {}, None
    together = shrink_clustered([seen.clusters for seen in known.values()], confidence)
    spread = together.correlation is not None
    found = {}
    for (name, seen), share in zip(known.items(), together.shares, strict=True):
        found[name] = Share(seen.lost, seen.of, seen.lost / seen.of, share, len(seen.clusters), spread)
    return together.usual, found, together.correlation


def _ranking(found: Mapping[str, Share], confidence: float, *, certain: bool) -> tuple[Place, ...]:
    ordered = sorted(found, key=lambda name: (found[name].shrunk.estimate, name))
    apart: set[frozenset[str]] = set()
    for one, other in combinations(ordered, 2):
        lower = chance_lower(found[one].shrunk, found[other].shrunk)
        if certain and max(lower, 1 - lower) >= (1 + confidence) / 2:
            apart.add(frozenset((one, other)))
    return tuple(
        Place(place, name, tuple(o for o in ordered if o != name and frozenset((name, o)) not in apart))
        for place, name in enumerate(ordered, start=1)
    )


def _row(
    name: str,
    sent: Mapping[str, Sequence[str]],
    moved: Mapping[str, list[Movement]],
    now: datetime,
    shares: Mapping[str, Share],
) -> SupplierRow:
    ids = [batch for shipment in sent.values() for batch in shipment]
    found = [losses for batch in ids if (losses := summary(moved[batch], batch, now)) is not None]
    return SupplierRow(name, len(sent), len(ids), sum(losses.came for losses in found), shares)
