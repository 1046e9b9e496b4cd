"""A random sample of a batch: which animals to examine by vat or box, and what it proves when all are clean."""

from __future__ import annotations

from typing import Any

from intake.app.act_recording import batch_named
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.ledger import balances, is_vat, vat_id
from intake.quarantine.sampling import clean_sample_confidence
from intake.report.draws import draw, most_carriers

__all__ = ["PREVALENCES", "draw_sample", "places_of"]

PREVALENCES = (0.10, 0.05, 0.02, 0.01)
"""Prevalences for which the answer says what a clean sample proves (the conventional 10, 5 and 2 %, and 1 %)."""


def places_of(house: House, batch: str) -> list[tuple[str, int]]:
    """Where a batch stands: its vats in the order of the farm file; its boxes while it has not been unpacked.

    Raises
    ------
    UnknownName
        No such batch.
    """
    told = batch_named(house.floor(), batch)
    held = {place: count for (one, place), count in balances(house.stream(batch), house.now).items() if one == batch}
    vats = {vat_id(place): count for place, count in held.items() if is_vat(place) and count > 0}
    order = list(house.site.vats)
    standing = sorted(vats.items(), key=lambda one: (order.index(one[0]) if one[0] in order else len(order), one[0]))
    if standing:
        return [(f"vat {vat}", count) for vat, count in standing]
    if any(count > 0 for place, count in held.items() if place != "dock") or not told.boxes:
        return [("dock", held["dock"])] if held.get("dock", 0) > 0 else []
    # the list says how many came, not how many in each box: they are taken as packed evenly
    each, more = divmod(held.get("dock", told.announced), len(told.boxes))
    return [(f"box {box}", each + (index < more)) for index, box in enumerate(told.boxes)]


def draw_sample(
    house: House, batch: str, n: int, *, seed: str = "", confidence: float = 0.95, sensitivity: float = 1.0
) -> dict[str, Any]:
    """Draw animals of a batch by lot, and say what n clean ones prove.

    Parameters
    ----------
    n
        Animals to examine.
    seed
        Words that fix the draw; the batch and the day when empty.
    confidence
        Of what is proved, between 0 and 1.
    sensitivity
        Share of carriers the examination finds, above 0 and at most 1.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        None of it is here, or n is out of range.
    """
    if not 0 < confidence < 1:
        raise BadInput(Finding("--confidence", f"{confidence:g}", "a fraction between 0 and 1"))
    places = places_of(house, batch)
    if not places:
        raise BadInput(Finding("report draw", batch, "a batch with animals in vats, on the dock or still in boxes"))
    words = seed or f"{batch} {house.today.isoformat()}"
    drawn = draw(places, n, words)
    lot = sum(count for _, count in places)
    carriers = most_carriers(lot, n, confidence, sensitivity)
    return {
        "batch": batch,
        "name": house.floor().batches[batch].name,
        "seed": words,
        "lot": lot,
        "n": n,
        "sensitivity": sensitivity,
        "take": [
            {"place": one.place, "standing": one.standing, "numbers": list(one.numbers)} for one in drawn if one.numbers
        ],
        "clean_proves": {
            "confidence": confidence,
            "at_most_carriers": carriers,
            "at_most_share": carriers / lot,
            "by_prevalence": [
                {"prevalence": share, "confidence": clean_sample_confidence(lot, n, share, sensitivity)}
                for share in PREVALENCES
            ],
        },
    }
