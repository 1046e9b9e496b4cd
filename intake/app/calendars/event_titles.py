"""Titles for a phone's month view: vat and act first, short enough to keep two events of a day apart."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from intake.language import ENGLISH, Language, phrase

__all__ = ["title_of"]

_ACTS: Final[Mapping[str, str]] = {
    "clam-brushing": phrase("Brush"),
    "clam-freshwater-dip": phrase("Fresh"),
    "coral-shake": phrase("Shake"),
    "coral-freshwater-dip": phrase("Fresh"),
    "coral-iodine-dip": phrase("Iodine"),
    "coral-egg-scrape": phrase("Eggs"),
    "coral-flatworm-bath": phrase("Flatw."),
    "coral-copepod-bath": phrase("Copep."),
    "coral-nudibranch-series": phrase("Nudib."),
    "zoanthid-freshwater-dip": phrase("Fresh"),
    "zoanthid-iodine-dip": phrase("Iodine"),
    "zoanthid-inspection": phrase("Torch"),
    "soft-coral-iodine-dip": phrase("Iodine"),
    "fish-tank-transfer": phrase("Move"),
    "fish-freshwater-dip": phrase("Fresh"),
    "fish-copper-bath": phrase("Copper"),
    "fish-formalin-bath": phrase("Formal."),
    "fish-chloroquine-bath": phrase("Chloro."),
    "peroxide-dip": phrase("Perox."),
    "potassium-chloride-dip": phrase("KCl"),
}
"""A word for each treatment of the shipped library; its full name is the first line of the text."""

_KINDS: Final[Mapping[str, str]] = {
    "receive": phrase("Receive"),
    "acclimation": phrase("Acclim."),
    "release check": phrase("Release"),
    "inspection": phrase("Inspect"),
    "transfer": phrase("Move"),
    "dip": phrase("Dip"),
}
_LONGEST: Final = 7


def title_of(row: Mapping[str, Any], language: Language = ENGLISH) -> str:
    """The title of a task: ``C1 Shake S2-07 ×40``; a round keeps its own."""
    if not row["batch"] or str(row["uid"]).startswith("land/"):
        return language.retell(str(row["title"]))
    part = str(row["uid"]).partition("/part-")[2]
    batch = f"{row['batch']}/{part}" if part else str(row["batch"])
    words = [str(row["vat"] or ""), _act(row, language), batch, f"×{row['headcount']}" if row.get("headcount") else ""]
    return " ".join(filter(None, words))


def _act(row: Mapping[str, Any], language: Language) -> str:
    dip = str(row.get("dip") or "")
    if dip in _ACTS:
        return language.say(_ACTS[dip])
    if dip:  # a treatment of the farm's own: the first word of its name
        return language.retell(str(row["title"]).split(":")[0]).split()[0][:_LONGEST]
    known = _KINDS.get(str(row["kind"]))
    return language.say(known) if known else str(row["kind"]).capitalize()[:_LONGEST]
