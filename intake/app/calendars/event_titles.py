"""Titles for a phone's month view: vat and act first, short enough to tell two events of a day apart."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

__all__ = ["title_of"]

_ACTS: Final[Mapping[str, str]] = {
    "clam-brushing": "Brush",
    "clam-freshwater-dip": "Fresh",
    "coral-shake": "Shake",
    "coral-freshwater-dip": "Fresh",
    "coral-iodine-dip": "Iodine",
    "coral-egg-scrape": "Eggs",
    "coral-flatworm-bath": "Flatw.",
    "coral-copepod-bath": "Copep.",
    "coral-nudibranch-series": "Nudib.",
    "zoanthid-freshwater-dip": "Fresh",
    "zoanthid-iodine-dip": "Iodine",
    "zoanthid-inspection": "Torch",
    "soft-coral-iodine-dip": "Iodine",
    "fish-tank-transfer": "Move",
    "fish-freshwater-dip": "Fresh",
    "fish-copper-bath": "Copper",
    "fish-formalin-bath": "Formal.",
    "fish-chloroquine-bath": "Chloro.",
    "peroxide-dip": "Perox.",
    "potassium-chloride-dip": "KCl",
}
"""A word for each treatment of the shipped library; its full name is the first line of the text."""

_KINDS: Final[Mapping[str, str]] = {
    "receive": "Receive",
    "acclimation": "Acclim.",
    "release check": "Release",
    "inspection": "Inspect",
    "transfer": "Move",
    "dip": "Dip",
}
_LONGEST: Final = 7


def title_of(row: Mapping[str, Any]) -> str:
    """The title of a task: ``C1 Shake S2-07 ×40``; a round keeps its own."""
    if not row["batch"] or str(row["uid"]).startswith("land/"):
        return str(row["title"])
    part = str(row["uid"]).partition("/part-")[2]
    batch = f"{row['batch']}/{part}" if part else str(row["batch"])
    words = [str(row["vat"] or ""), _act(row), batch, f"×{row['headcount']}" if row.get("headcount") else ""]
    return " ".join(filter(None, words))


def _act(row: Mapping[str, Any]) -> str:
    dip = str(row.get("dip") or "")
    if dip in _ACTS:
        return _ACTS[dip]
    if dip:  # a treatment of the farm's own: the first word of its name
        return str(row["title"]).split(":")[0].split()[0][:_LONGEST]
    return _KINDS.get(str(row["kind"]), str(row["kind"]).capitalize()[:_LONGEST])
