"""Where each claim stands: its amounts, deadlines and state."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Final

from intake.app.output_files import kept_file
from intake.app.session import House
from intake.errors import UnknownName
from intake.farm.site import Agreed, Supplier
from intake.ledger import Entry
from intake.report.claiming.claim_lines import ClaimFacts
from intake.report.claiming.steps import RECORDABLE, ClaimStep, fold_steps
from intake.report.claiming.steps import steps_of as claim_steps
from intake.report.claiming.terms import ClaimTerms
from intake.report.claiming.versions import Claim, agreed_terms, assess, facts_of, versions

__all__ = [
    "OpenClaim",
    "all_claims",
    "claim_state",
    "current",
    "history",
    "kept_bytes",
    "kept_version",
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
        The deadline that runs: until the claim was sent, and again while covered deaths have come since; else ``None``.
    hours_left
        Hours until then, negative when it has passed.
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


def terms_of(house: House, facts: ClaimFacts) -> ClaimTerms:
    """Terms a shipment is claimed under: those kept with what was sent, else those of its day of receipt."""
    zone = house.site.farm.zone
    day = (facts.received_at or house.now).astimezone(zone).date()
    agreed = house.site.supplier(facts.supplier).agreed_on(day)
    named = {item.name: getattr(agreed, item.name) for item in fields(ClaimTerms) if item.name != "window_h"}
    terms = ClaimTerms(window_h=agreed.claim_window_h, **named)
    return agreed_terms(house.standing("claim", facts.shipment), facts.shipment, terms)


def current(house: House, shipment: str) -> Claim:
    """The claim for a shipment as it is on record now.

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
    return versions(facts, terms_of(house, facts), story, house.now)


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
    return assess(facts, terms_of(house, facts), story, house.now)


def unsettled(house: House) -> list[str]:
    """Shipments whose claim may be open: within the longest terms agreed with anyone, or sent and not settled.

    Of all others nothing can be claimed any more: their terms have run out, or their claim is settled.
    """
    suppliers = house.site.suppliers.values()
    agreed: list[Supplier | Agreed] = [*suppliers, *(change for one in suppliers for change in one.terms)]
    longest = max((_days_of(one) for one in agreed), default=0.0)
    since = house.now - timedelta(days=longest + 1)
    waiting = {name for name in house.latest("claim") if _waits(house, name)}
    return sorted(name for name, at in house.floor().received.items() if at >= since or name in waiting)


def _days_of(terms: Supplier | Agreed) -> float:
    return max((terms.claim_window_h or 0) / 24, (terms.daa_days or 0) + (terms.daa_window_h or 0) / 24)


def _waits(house: House, shipment: str) -> bool:
    state = fold_steps(claim_steps(house.standing("claim", shipment), shipment)).state
    return state in ("sent", "answered", "settled in part")


def open_claims(house: House) -> list[OpenClaim]:
    """Claims someone must still do something about, the most pressing first.

    A shipment within its window is open even if nothing was claimed yet: what is found now still counts.  After the
    window only a claim with animals in it stays open, until it is settled or has expired.
    """
    found = []
    for one in (_assessed(house, shipment) for shipment in unsettled(house)):
        running = one.state == "drafted" and one.deadline is not None and house.now <= one.deadline
        waiting = one.claimable > 0 and one.state in ("drafted", "sent", "answered", "settled in part")
        if running or waiting:
            found.append(_open(house, one))
    return sorted(found, key=lambda one: (one.hours_left is None, one.hours_left or 0.0, one.shipment))


def _open(house: House, one: Claim) -> OpenClaim:
    deadline = _clock(one, house.now)
    left = None if deadline is None else (deadline - house.now).total_seconds() / 3600
    press = "calm" if left is None or left >= _PRESSING_H else "soon" if left > 0 else "late"
    words = f"{one.shipment}: {claim_state(one, house.now)}; {one.claimable} animals, {money_words(one)}"
    return OpenClaim(
        one.shipment, one.supplier, one.state, deadline, left, press, one.claimable, money_words(one), words
    )


def _clock(claim: Claim, now: datetime) -> datetime | None:
    """The deadline that runs: of what was found at opening until something was sent, then of deaths not yet sent."""
    if claim.state == "drafted":
        return claim.deadline
    if not claim.sent and claim.in_time and claim.daa_deadline is not None and claim.state in ("sent", "answered"):
        return claim.daa_deadline if now <= claim.daa_deadline else None
    return None


def claim_state(claim: Claim, now: datetime) -> str:
    """Where the claim stands, in words with the time left."""
    if claim.received_at is None:
        return "not received yet"
    if claim.state == "drafted" and claim.deadline is not None:
        left = (claim.deadline - now).total_seconds() / 3600
        return f"draft, {left:.1f} h left to send" if left > 0 else f"draft, deadline passed {-left:.0f} h ago"
    since = _not_sent(claim, now)
    return f"{claim.state}{since}"


def _not_sent(claim: Claim, now: datetime) -> str:
    """What has come since the version that was sent, and how long it can still be sent."""
    at = claim.standing
    if not at.sent_version or claim.sent or claim.state in ("settled", "written off"):
        return ""
    more = claim.claimable - at.claimed_animals
    said = f" (version {at.sent_version}); {more:+d} animals since, not sent"
    ends = claim.daa_deadline or claim.deadline
    if ends is None or not claim.in_time:
        return f"{said}, after the terms ended"
    left = (ends - now).total_seconds() / 3600
    return f"{said}, {left:.1f} h left to send them" if left > 0 else f"{said}, deadline passed"


def steps_of(house: House, shipment: str) -> tuple[ClaimStep, ...]:
    """What was recorded of a claim: sent, answered, settled, written off, oldest first."""
    return tuple(step for step in claim_steps(house.standing("claim", shipment), shipment) if step.kind in RECORDABLE)


def kept_version(house: House, shipment: str, version: int) -> ClaimStep | None:
    """The step that kept the files of a version: as it was sent, else as it was made ready; ``None`` for a draft."""
    kept = [
        step
        for step in claim_steps(house.standing("claim", shipment), shipment)
        if step.version == version and step.payload.get("files") and step.kind in ("sent", "prepared")
    ]
    return next((step for step in reversed(kept) if step.kind == "sent"), kept[-1] if kept else None)


def kept_bytes(house: House, shipment: str, version: int, what: str) -> bytes | None:
    """Bytes of a kept file (``pdf``, ``csv``, ``evidence`` or ``json``) of a version; ``None`` when none was kept.

    Raises
    ------
    StoreTrouble
        The file is gone or is no longer what was sent.
    """
    step = kept_version(house, shipment, version)
    for one in step.payload["files"] if step else ():
        if one["what"] == what:
            return kept_file(house.folder, str(one["sha256"]), str(one["name"]))
    return None


def money_words(claim: Claim) -> str:
    """Value of a claim in words, each currency apart."""
    return " + ".join(f"{value:,.2f} {currency}" for currency, value in claim.totals) or "–"
