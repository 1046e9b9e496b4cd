"""Losses at opening by box: what each box held, what was dead, missing or wrong in it, and how sure that share is."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from intake.farm.floor import Batch
from intake.ledger.boxes import BoxLoss, box_losses, in_boxes
from intake.ledger.entries import Entry
from intake.ledger.streams import by_batch
from intake.report.intervals import Interval, wilson
from intake.report.losses import Losses, summary

__all__ = ["BoxRow", "box_rows"]


@dataclass(frozen=True, slots=True)
class BoxRow:
    """One box at its opening; counts are animals.

    Attributes
    ----------
    box
        Shipment and box number; empty for the boxes of one batch that no one counted, with losses recorded without a box.
    batches
        Batches that lay in it.
    came
        Dead or alive in it.
    came_told
        False when any part of ``came`` is the list's number shared evenly over the boxes.
    doa, missing, wrong
        Counted out of it.
    doa_share
        Dead on arrival of those that came (Wilson interval).
    """

    box: str
    batches: tuple[str, ...]
    came: int
    came_told: bool
    doa: int
    missing: int
    wrong: int
    doa_share: Interval | None


def box_rows(
    entries: Iterable[Entry],
    known: Mapping[str, Batch],
    now: datetime,
    chosen: Callable[[Batch], bool],
    confidence: float = 0.95,
) -> tuple[BoxRow, ...]:
    """Every box of the batches chosen that came, and last, for each batch, what no box was reported for.

    Parameters
    ----------
    entries
        Entries of the ledger.
    known
        Batches by id.
    now
        Moment of looking, time-zone aware.
    chosen
        Which batches.
    confidence
        Of the intervals.

    Notes
    -----
    A batch packed in one box has all its losses at opening in that box.  The rows add up to what
    came and what was lost of the batches.
    """
    streams = by_batch(entry for entry in entries if entry.happened_at <= now)
    came: Counter[tuple[str, str]] = Counter()
    out: defaultdict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    lain: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    shared: set[tuple[str, str]] = set()
    for batch in known.values():
        own = tuple(streams.get(batch.id, ()))
        losses = summary(own, batch.id, now) if chosen(batch) else None
        if losses is None or not batch.shipment:
            continue
        by_box, silent = _split(batch, losses, box_losses(own, now))
        held, counted = _held(own, batch, losses.came - silent["doa"])
        rest = ("", batch.id)
        for box, number in held.items():
            # a box no one counted is not one without losses while the batch has losses recorded without a box
            unknown = silent.total() and box not in by_box and box not in counted
            spot = rest if unknown else (batch.shipment, box)
            came[spot] += number
            out[spot] += by_box.get(box, Counter())
            lain[spot].append(batch.id)
            shared |= set() if unknown or box in counted else {spot}
        if silent.total():
            out[rest] += silent
            came[rest] += silent["doa"]
            lain[rest].append(batch.id)
            shared |= {rest} if by_box else set()
    return tuple(
        _row(spot, tuple(dict.fromkeys(lain[spot])), came[spot], spot not in shared, out[spot], confidence)
        for spot in sorted(lain, key=lambda spot: (not spot[0], spot[0], _natural(spot[1])))
    )


def _split(batch: Batch, losses: Losses, told: Iterable[BoxLoss]) -> tuple[dict[str, Counter[str]], Counter[str]]:
    """Losses at opening by box, and those that no box was reported for."""
    mine = Counter({"doa": losses.doa, "missing": losses.missing, "wrong": losses.wrong})
    by_box: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for loss in told:
        if loss.batch == batch.id and loss.head in mine:
            by_box[loss.box][loss.head] += loss.count
    if len(batch.boxes) == 1 and set(by_box) <= set(batch.boxes):
        return {batch.boxes[0]: mine}, Counter()
    return dict(by_box), mine - sum(by_box.values(), Counter[str]())


def _held(kept: tuple[Entry, ...], batch: Batch, came: int) -> tuple[dict[str, int], frozenset[str]]:
    """Animals by box, and the boxes whose number needs no guess: those reported, and an only box."""
    held, told = in_boxes(kept, batch, max(0, came))
    if len(held) == 1 and not told:
        return dict.fromkeys(held, max(0, came)), frozenset(held)
    return held, told


def _row(
    spot: tuple[str, str], batches: tuple[str, ...], came: int, told: bool, out: Counter[str], confidence: float
) -> BoxRow:
    doa = out["doa"]
    # a rest whose losses may be of boxes shown apart has no share of its own
    share = wilson(doa, came, confidence) if came and 0 <= doa <= came and (spot[0] or told) else None
    return BoxRow(" ".join(spot) if spot[0] else "", batches, came, told, doa, out["missing"], out["wrong"], share)


def _natural(box: str) -> tuple[int, str]:
    return (int(box), "") if box.isdecimal() else (10**9, box)
