"""Where each claim stands: its amounts, deadlines and state."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from intake.app.session import House
from intake.errors import UnknownName
from intake.ledger import Entry, Record
from intake.report.claim_lines import ClaimTerms
from intake.report.claims import Claim, assess, facts_of, versions

__all__ = [
    "OpenClaim",
    "all_claims",
    "claim_state",
    "current",
    "history",
    "money_words",
    "open_claims",
    "steps_of",
    "terms_of",
    "unsettled",
]


_PRESSING_H: Final = 8.0
"""Hours before the window's end from which the clock is pressing (design default: a shift)."""


@dataclass(frozen=True, slots=True)
class OpenClaim:
    """A claim whose clock is running or that waits for an answer, for every face to show.

    Attributes
    ----------
    deadline
        End of the window while the claim has not been sent; afterwards ``None``.
    hours_left
        Hours until then, negative when it has passed; ``None`` once sent.
    press
        ``calm``, ``soon`` (less than a shift is left) or ``late``.
    claimable, value
        Animals claimed so far, and their value in words.
    words
        One line that says it all.
    """

    shipment: str
    supplier: str
    state: str
    deadline: datetime | None
    hours_left: float | None
    press: str
    claimable: int
    value: str
    words: str


def terms_of(house: House, supplier: str) -> ClaimTerms:
    """What the farm file says was agreed with a supplier."""
    agreed = house.site.supplier(supplier)
    return ClaimTerms(
        agreed.claim_window_h, agreed.daa_days, agreed.allowance_percent, agreed.allowance_by, agreed.evidence
    )


def current(house: House, shipment: str) -> Claim:
    """The claim for a shipment as the books have it now.

    Raises
    ------
    UnknownName
        No such shipment.
    """
    return history(house, shipment)[-1]


def history(house: House, shipment: str) -> tuple[Claim, ...]:
    """Every version of a shipment's claim, oldest first; the last is :func:`current`."""
    known = house.latest("shipment")
    if shipment not in known:
        raise UnknownName("shipment", shipment, sorted(known), "shipment")
    story = _story(house, shipment)
    facts = facts_of(story, shipment)
    return versions(facts, terms_of(house, facts.supplier), story, house.now)


def _story(house: House, shipment: str) -> tuple[Entry, ...]:
    """All that a claim rests on: the shipment's records, its batches' entries, and readings of its bags and boxes."""
    lines = house.lines_of(shipment)
    places = {shipment, *(line.id for line in lines), *(f"{shipment}/{box}" for line in lines for box in line.boxes)}
    return (*house.shipment_stream(shipment), *house.readings_of(*places))


def all_claims(house: House) -> list[Claim]:
    """Claims of every received shipment."""
    return [_assessed(house, shipment) for shipment in sorted(house.floor().received)]


def _assessed(house: House, shipment: str) -> Claim:
    story = _story(house, shipment)
    facts = facts_of(story, shipment)
    return assess(facts, terms_of(house, facts.supplier), story, house.now)


def unsettled(house: House) -> list[str]:
    """Shipments whose claim may be open: within the longest terms agreed with anybody, or sent and not settled.

    Of all others nothing can be claimed any more: their terms have run out, or their claim is settled.
    """
    agreed = house.site.suppliers.values()
    longest = max((max(one.claim_window_h / 24, one.daa_days) for one in agreed), default=0.0)
    since = house.now - timedelta(days=longest + 1)
    waiting = {
        name for name, told in house.latest("claim").items() if told.payload.get("state") in ("sent", "answered")
    }
    return sorted(name for name, at in house.floor().received.items() if at >= since or name in waiting)


def open_claims(house: House) -> list[OpenClaim]:
    """Claims somebody must still do something about, the most pressing first.

    A shipment within its window is open though nothing was claimed yet: what is found now still counts.  After the
    window only a claim with animals in it stays open, until it is settled or has expired.
    """
    found = []
    for one in (_assessed(house, shipment) for shipment in unsettled(house)):
        running = one.state == "drafted" and one.deadline is not None and house.now <= one.deadline
        waiting = one.claimable > 0 and one.state in ("drafted", "sent", "answered")
        if running or waiting:
            found.append(_open(house, one))
    return sorted(found, key=lambda one: (one.hours_left is None, one.hours_left or 0.0, one.shipment))


def _open(house: House, one: Claim) -> OpenClaim:
    left = None
    if one.state == "drafted" and one.deadline is not None:
        left = (one.deadline - house.now).total_seconds() / 3600
    press = "calm" if left is None or left >= _PRESSING_H else "soon" if left > 0 else "late"
    value = " + ".join(f"{value:,.2f} {currency}" for currency, value in one.totals) or "–"
    words = f"{one.shipment}: {claim_state(one, house.now)}; {one.claimable} animals, {value}"
    deadline = None if left is None else one.deadline
    return OpenClaim(one.shipment, one.supplier, one.state, deadline, left, press, one.claimable, value, words)


def claim_state(claim: Claim, now: datetime) -> str:
    """Where the claim stands, in words with the time left."""
    if claim.received_at is None:
        return "not received yet"
    if claim.state == "drafted" and claim.deadline is not None:
        left = (claim.deadline - now).total_seconds() / 3600
        return f"drafted, {left:.1f} h left to send it" if left > 0 else f"drafted, window ended {-left:.0f} h ago"
    return claim.state


def steps_of(house: House, shipment: str) -> tuple[Record, ...]:
    """What was recorded of a claim: sent, answered, settled, oldest first."""
    return house.standing("claim", shipment)


def money_words(claim: Claim) -> str:
    """Value of a claim in words, each currency apart."""
    return " + ".join(f"{value:,.2f} {currency}" for currency, value in claim.totals) or "–"
