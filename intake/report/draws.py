"""Which animals to examine: a draw by lot over vats or boxes, and what a clean sample then proves."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from intake.errors import BadInput, Finding
from intake.quarantine.sampling import clean_sample_confidence

__all__ = ["Drawn", "draw", "most_carriers"]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Animals to take from one place: their numbers, counted from 1 as they are there."""

    place: str
    standing: int
    numbers: tuple[int, ...]


def draw(places: Sequence[tuple[str, int]], n: int, seed: str) -> tuple[Drawn, ...]:
    """Draw animals by lot; every set of n animals of the lot is as likely as any other.

    Parameters
    ----------
    places
        (name, animals) of each vat or box, in the order they are counted through.
    n
        Animals to draw, 1 to all.
    seed
        Any words; the same words over the same places draw the same animals.

    Returns
    -------
    tuple of Drawn
        One for each place, in order, also where none was drawn.

    Raises
    ------
    BadInput
        For more animals than there are, or none.

    Notes
    -----
    Each animal's lot is the SHA-256 of the words and its number; the n smallest are drawn.  So the sample is a simple
    random one over the whole lot, as the formulas for sample sizes require, not so many from each vat.

    Examples
    --------
    >>> [one.numbers for one in draw((("Q1", 3), ("Q2", 2)), 5, "any")]
    [(1, 2, 3), (1, 2)]
    """
    total = sum(number for _, number in places)
    if not 1 <= n <= total:
        raise BadInput(Finding("--n", str(n), f"1 to {total}, the animals now there"))
    lots = [
        (hashlib.sha256(f"{seed}/{place}/{number}".encode()).digest(), index, number)
        for index, (place, standing) in enumerate(places)
        for number in range(1, standing + 1)
    ]
    taken = sorted(lots)[:n]
    return tuple(
        Drawn(place, standing, tuple(sorted(number for _, where, number in taken if where == index)))
        for index, (place, standing) in enumerate(places)
    )


def most_carriers(lot: int, examined: int, confidence: float, sensitivity: float = 1.0) -> int:
    """Most carriers that a lot may hold after so many animals were all found clean.

    Parameters
    ----------
    lot, examined
        Animals, 0 ≤ examined ≤ lot.
    confidence
        Between 0 and 1.
    sensitivity
        Share of carriers the examination finds, above 0 and at most 1.

    Returns
    -------
    int
        With this confidence the lot holds no more carriers than this; ``lot`` when nothing is proved.

    References
    ----------
    The largest D not ruled out by the hypergeometric distribution (``quarantine.sampling``).

    Examples
    --------
    >>> most_carriers(100, 45, 0.95)
    4
    """
    low, high = 0, lot  # D = high + 1 carriers are ruled out, low are not known to be
    while low < high:
        middle = (low + high) // 2
        if clean_sample_confidence(lot, examined, (middle + 1) / lot, sensitivity) >= confidence - 1e-9:
            high = middle
        else:
            low = middle + 1
    return low
