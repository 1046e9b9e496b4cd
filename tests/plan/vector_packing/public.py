"""Public packing instances whose fewest number of bins is known, in one and two dimensions."""

from __future__ import annotations

import json
from pathlib import Path

from tests.plan.vector_packing.planted import Item, Packing

__all__ = ["SETS", "packings"]

SETS = Path(__file__).with_name("public.json")


def packings(*kinds: str) -> list[Packing]:
    """The instances of some sets, or of all, in the order of the file; a dimension an instance lacks is never short."""
    held = json.loads(SETS.read_text(encoding="utf-8"))["instances"]
    return [
        Packing(
            row["name"],
            tuple(_three(item, 0) for *item, times in row["items"] for _ in range(times)),
            row["fewest"],
            _three(row["size"], 1),
        )
        for row in held
        if not kinds or row["set"] in kinds
    ]


def _three(numbers: list[int], else_: int) -> Item:
    first, second, third = [*numbers, else_, else_][:3]
    return (first, second, third)
