"""When and where one box is opened, soaked and placed, and by whom."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Placed"]


@dataclass(frozen=True, slots=True)
class Placed:
    """When one box is opened, put into its tub and taken out, in minutes from the origin, where and by whom."""

    box: str
    open_at: int
    counted_at: int
    tub_at: int
    finish_at: int
    placed_at: int
    table: str
    opener: str
    tub: str
    setter: str
    dip_place: str
    finisher: str
