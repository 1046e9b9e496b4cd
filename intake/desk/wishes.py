"""What the owner wishes of a plan beside its facts: order of the aims, worth of animals, room for fewer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from intake.errors import BadInput, Finding, UnknownName
from intake.plan.aims import NAMES
from intake.plan.framing import Arrival

__all__ = ["aims_in_order", "check_worth", "without"]

_AIMS = dict(zip(("placed", "moves", "vats", "room", "balance"), NAMES, strict=True))


def aims_in_order(order: Sequence[str]) -> tuple[str, ...]:
    """All aims in the order asked for by their short names; those not named follow in the usual order.

    Raises
    ------
    BadInput
        A name that is none, or room or balance before moves and vats.
    """
    short = list(dict.fromkeys(("placed", *order)))
    short += [name for name in _AIMS if name not in short]
    late = {"room", "balance"}
    if set(short) != set(_AIMS) or not set(short[:3]).isdisjoint(late):
        expected = "moves and vats in either order, then room and balance in either order"
        raise BadInput(Finding("--aims", ",".join(order), expected, "For example: --aims vats,moves"))
    return tuple(_AIMS[name] for name in short)


def check_worth(weights: Mapping[str, int], coming: Sequence[str]) -> None:
    """See that every weight is 1 or more and for a batch to come.

    Raises
    ------
    UnknownName
        No such batch is to come.
    BadInput
        A weight below 1.
    """
    for batch, worth in weights.items():
        if batch not in coming:
            raise UnknownName("batch to come", batch, sorted(coming), "--worth")
        if worth < 1:
            raise BadInput(Finding(f"--worth {batch}", str(worth), "1 or more"))


def without(arrival: Arrival, fewer: Mapping[str, int]) -> Arrival:
    """The arrival less some animals of its batches; one of every batch is left."""
    batches = (replace(one, announced=max(1, one.announced - fewer.get(one.id, 0))) for one in arrival.batches)
    return replace(arrival, batches=tuple(batches))
