"""What was agreed with a supplier about losses: deadlines, allowance and the kind of credit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from intake.errors import BadInput, Finding

__all__ = ["ClaimTerms", "Deadlines", "deadlines", "terms_from", "terms_payload"]


@dataclass(frozen=True, slots=True)
class ClaimTerms:
    """Terms of one supplier, as they stood when the shipment was received.

    Attributes
    ----------
    window_h
        Hours from receipt within which dead on arrival, missing and wrong animals must be claimed.
    daa_days
        Days from receipt during which deaths after arrival are covered; 0 when they are not.
    daa_window_h
        Hours after those days within which deaths after arrival must be claimed.
    allowance_percent
        Share that the supplier does not credit, 0 to 100.
    allowance_by
        ``line`` or ``shipment``: what the share is taken of.
    allowance_of
        ``received`` (animals that came) or ``announced``.
    allowance_covers_missing
        Whether missing animals use the allowance up beside dead ones.
    credit
        ``money`` or ``replacement`` (animals that come free with a later shipment).
    credit_percent
        Share of the invoice price that is credited, 0 to 100.
    freight_share_percent
        Share of the freight credited for the animals claimed, 0 to 100.
    answer_days
        Days after sending within which the supplier should answer; 0 when nothing was agreed.
    evidence
        What the supplier wants to see, by name.
    """

    window_h: float
    daa_days: float = 0.0
    allowance_percent: float | Decimal = 0.0
    allowance_by: str = "line"
    evidence: tuple[str, ...] = ()
    daa_window_h: float = 0.0
    allowance_of: str = "received"
    allowance_covers_missing: bool = False
    credit: str = "money"
    credit_percent: float | Decimal = 100.0
    freight_share_percent: float | Decimal = 0.0
    answer_days: float = 0.0

    def __post_init__(self) -> None:
        found = []
        if not 0 < self.window_h <= 24 * 365:
            found.append(Finding("claim terms, window_h", str(self.window_h), "more than 0 hours, at most a year"))
        for name, most in (("daa_days", 365), ("daa_window_h", 24 * 365), ("answer_days", 365)):
            if not 0 <= getattr(self, name) <= most:
                found.append(Finding(f"claim terms, {name}", str(getattr(self, name)), f"0 to {most}"))
        for name in ("allowance_percent", "credit_percent", "freight_share_percent"):
            if not 0 <= getattr(self, name) <= 100:
                found.append(Finding(f"claim terms, {name}", str(getattr(self, name)), "0 to 100 percent"))
        for name, known in _WORDS.items():
            if getattr(self, name) not in known:
                found.append(Finding(f"claim terms, {name}", getattr(self, name), " or ".join(known)))
        if found:
            raise BadInput(found)

    def words(self) -> str:
        """The terms in sentences, as they stand on paper, board and command line."""
        said = ["No allowance."]
        if self.allowance_percent:
            of = "animals received" if self.allowance_of == "received" else "animals announced"
            by = "per line" if self.allowance_by == "line" else "over the whole shipment"
            covers = "dead and missing" if self.allowance_covers_missing else "dead"
            said = [f"{_number(self.allowance_percent)} % allowance {by} on {of}, whole animals, for {covers} animals."]
        said.append(f"Claim what was found at opening within {_number(self.window_h)} h of receipt.")
        if self.daa_days:
            then = f", to be claimed within {_number(self.daa_window_h)} h after that" if self.daa_window_h else ""
            said.append(f"Deaths after arrival are covered for {_number(self.daa_days)} days{then}.")
        else:
            said.append("Deaths after arrival are not covered.")
        if self.credit == "replacement":
            said.append("Credit in replacement animals.")
        elif self.credit_percent != 100:
            said.append(f"Credit at {_number(self.credit_percent)} % of the invoice price.")
        if self.freight_share_percent:
            said.append(
                f"{_number(self.freight_share_percent)} % of the freight is credited by the share of animals claimed."
            )
        return " ".join(said)


_WORDS: Mapping[str, tuple[str, ...]] = {
    "allowance_by": ("line", "shipment"),
    "allowance_of": ("received", "announced"),
    "credit": ("money", "replacement"),
}


def _number(value: float | Decimal) -> str:
    return f"{float(value):g}"


@dataclass(frozen=True, slots=True)
class Deadlines:
    """Moments by which a claim must be made; ``None`` before receipt, ``daa`` also where such deaths are not covered.

    Attributes
    ----------
    opening
        For dead on arrival, missing and wrong animals.
    covered_until
        Until when deaths after arrival are covered.
    daa
        For deaths after arrival.
    """

    opening: datetime | None
    covered_until: datetime | None
    daa: datetime | None


def deadlines(received_at: datetime | None, terms: ClaimTerms) -> Deadlines:
    """Deadlines from the moment of receipt, in absolute time: a change of the clocks lengthens no window."""
    if received_at is None:
        return Deadlines(None, None, None)
    opening = _after(received_at, timedelta(hours=terms.window_h))
    if not terms.daa_days:
        return Deadlines(opening, None, None)
    covered = _after(received_at, timedelta(days=terms.daa_days))
    return Deadlines(opening, covered, max(opening, _after(covered, timedelta(hours=terms.daa_window_h))))


def _after(at: datetime, span: timedelta) -> datetime:
    """So much time later on any clock; adding to a local time would follow the wall clock over a change."""
    from datetime import UTC

    return (at.astimezone(UTC) + span).astimezone(at.tzinfo)


def terms_payload(terms: ClaimTerms) -> dict[str, object]:
    """Terms as values JSON can hold; :func:`terms_from` is its inverse."""
    return {
        name: str(value) if isinstance(value, Decimal) else list(value) if isinstance(value, tuple) else value
        for name, value in asdict(terms).items()
    }


def terms_from(payload: Mapping[str, Any]) -> ClaimTerms:
    """Terms of a kept payload; keys of a later version are left aside.

    Raises
    ------
    BadInput
        When a value is missing or out of range.
    """
    known = {item.name for item in fields(ClaimTerms)}
    values = {name: value for name, value in payload.items() if name in known}
    values["evidence"] = tuple(str(name) for name in values.get("evidence") or ())
    for name in ("allowance_percent", "credit_percent", "freight_share_percent"):
        if isinstance(values.get(name), str):
            values[name] = Decimal(values[name])
    try:
        return ClaimTerms(**values)
    except TypeError as error:
        raise BadInput(Finding("claim terms kept", str(error), "the terms of a claim")) from error
