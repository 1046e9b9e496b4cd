"""Which box the animals counted at opening lay in: recorded beside the movement, undone together with it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from intake.farm.floor import Batch
from intake.ledger.corrections import netted, standing
from intake.ledger.entries import Entry, Record

__all__ = ["BoxLoss", "box_losses", "in_boxes"]


@dataclass(frozen=True, slots=True)
class BoxLoss:
    """Animals of one batch that one box is known to have lost.

    Attributes
    ----------
    batch, box
        Batch id, and the box as its packing list names it.
    head
        ``doa``, ``dead``, ``missing`` or ``wrong``.
    count
        Animals, 1 or more; never more than the movement still stands for after corrections.
    happened_at
        When they were counted out.
    """

    batch: str
    box: str
    head: str
    count: int
    happened_at: datetime


def box_losses(entries: Iterable[Entry], at: datetime | None = None) -> tuple[BoxLoss, ...]:
    """Losses recorded with their box, in the order they happened.

    Parameters
    ----------
    entries
        Entries of the ledger.
    at
        Moment, time-zone aware; the end of the ledger when ``None``.

    Notes
    -----
    A box is reported as a record that names its movement.  A movement undone leaves its box nothing, and one undone
    in part what is left of it, so boxes can never lose more animals than the batch did.
    """
    kept = tuple(entries)
    moved = {movement.key: movement for movement in netted(kept)}
    left = {key: movement.count for key, movement in moved.items()}
    found = []
    for record in standing(kept, "box"):
        movement = moved.get(_text(record, "movement"))
        if movement is None or (at is not None and movement.happened_at > at):
            continue
        count = min(_whole(record, "count"), left[movement.key])
        if count:
            left[movement.key] -= count
            found.append(BoxLoss(movement.batch, _text(record, "box"), movement.target, count, movement.happened_at))
    return tuple(found)


def in_boxes(entries: Iterable[Entry], batch: Batch, came: int) -> tuple[dict[str, int], frozenset[str]]:
    """Animals of a batch by the box they came in.

    Parameters
    ----------
    entries
        Entries of the ledger.
    batch
        The batch, with its boxes.
    came
        Animals of it that came, dead or alive, over all its boxes.

    Returns
    -------
    dict, frozenset
        Box → animals, adding up to ``came`` or, where people reported more, to what they reported; and the boxes whose number
        was reported.  What was not reported is taken as packed evenly (design default: a list says how many came, not how many
        lay in each box), but no box holds fewer than it lost.
    """
    kept = tuple(entries)
    told: dict[str, int] = {}
    for record in standing(kept, "box"):
        if record.subject == batch.id and record.payload.get("held") is not None:
            told[_text(record, "box")] = _whole(record, "held")
    lost: Counter[str] = Counter()
    for loss in box_losses(kept):
        if loss.batch == batch.id and loss.head in ("doa", "dead", "wrong"):
            lost[loss.box] += loss.count
    boxes = dict.fromkeys((*batch.boxes, *told, *sorted(lost)))
    open_ = [box for box in boxes if box not in told]
    shared = _evenly(max(0, came - sum(told.values())), open_, lost)
    return {box: max(told.get(box, 0), shared.get(box, 0), lost[box]) for box in boxes}, frozenset(told)


def _evenly(total: int, boxes: list[str], least: Mapping[str, int]) -> dict[str, int]:
    """Share animals evenly; a box that lost more than its share keeps what it lost, the others share the rest."""
    share: defaultdict[str, int] = defaultdict(int)
    waiting = list(boxes)
    while waiting:
        each, more = divmod(max(0, total), len(waiting))
        over = [box for box in waiting if least.get(box, 0) > each]
        if not over:
            for index, box in enumerate(waiting):
                share[box] = each + (index < more)
            break
        for box in over:
            share[box] = least[box]
            total -= least[box]
            waiting.remove(box)
    return dict(share)


def _text(record: Record, name: str) -> str:
    return str(record.payload.get(name) or "")


def _whole(record: Record, name: str) -> int:
    value = record.payload.get(name)
    return value if isinstance(value, int) and not isinstance(value, bool) else 0
