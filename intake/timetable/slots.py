"""The step of time in which people are booked: a quarter of an hour, counted absolutely."""

from __future__ import annotations

__all__ = ["DAY_SLOTS", "SLOT_MIN"]

SLOT_MIN = 15
DAY_SLOTS = 96
