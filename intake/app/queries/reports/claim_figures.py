"""A claim as plain figures: the one source of what JSON, board and the kept record of a sent version say."""

from __future__ import annotations

from typing import Any

from intake.app.queries.reports.claim_status import claim_state, history, kept_version, money_words, steps_of
from intake.app.session import House
from intake.report.claiming.claim_lines import ClaimLine, heads
from intake.report.claiming.steps import ClaimStep
from intake.report.claiming.versions import Claim

__all__ = ["claim_figures", "claim_summary", "counted_by"]


def claim_figures(claim: Claim) -> dict[str, Any]:
    """What a version claims: every line, the sums and how they come about."""
    sums = claim.sums
    return {
        "shipment": claim.shipment,
        "supplier": claim.supplier,
        "version": claim.version,
        "as_of": claim.as_of.isoformat(),
        "frozen": claim.frozen,
        "waybill": claim.waybill,
        "invoice": claim.facts.invoice,
        "order": claim.order,
        "received_at": claim.received_at.isoformat() if claim.received_at else None,
        "deadline": claim.deadline.isoformat() if claim.deadline else None,
        "daa_deadline": claim.daa_deadline.isoformat() if claim.daa_deadline else None,
        "terms": claim.terms.words(),
        "claimable": claim.claimable,
        "value": [{"currency": currency, "value": str(value)} for currency, value in claim.totals],
        "freight": None if claim.freight is None else str(claim.freight),
        "lines": [_line(line) for line in claim.lines],
        "sums": {name: getattr(sums, name) for name in sums.__slots__},
        "balance": sums.balance,
        "check": sums.check,
        "heads": [
            {
                "head": one.head,
                "counted": one.counted,
                "claimable": one.claimable,
                "value": None if one.value is None else str(one.value),
                "currency": one.currency,
            }
            for one in heads(claim.lines)
        ],
        "evidence": [{"name": item.name, "held": item.held} for item in claim.evidence],
    }


def _line(line: ClaimLine) -> dict[str, Any]:
    money = {name: None if (value := getattr(line, name)) is None else str(value) for name in ("unit_price", "value")}
    named = (
        "batch",
        "line",
        "name",
        "announced",
        "extra",
        "unbooked",
        "missing",
        "wrong",
        "doa",
        "placed",
        "daa",
        "left",
    )
    more = ("received", "alive", "percent", "percent_announced", "allowance", "used", "claimable", "currency")
    return {**{name: getattr(line, name) for name in (*named, *more)}, **money}


def claim_summary(house: House, claim: Claim) -> dict[str, Any]:
    """The figures with where the claim stands, its versions and its steps."""
    at = claim.standing
    return {
        **claim_figures(claim),
        "state": claim.state,
        "state_words": claim_state(claim, house.now),
        "sent_version": at.sent_version or None,
        "open": {currency: str(value) for currency, value in at.open.items()},
        "credited": {currency: str(value) for currency, value in at.credited.items()},
        "replaced": at.replaced,
        "versions": [_version(house, one) for one in history(house, claim.shipment)],
        "steps": [_step(step) for step in steps_of(house, claim.shipment)],
        "notes": list(claim.notes),
    }


def _version(house: House, one: Claim) -> dict[str, Any]:
    kept = kept_version(house, one.shipment, one.version)
    return {
        "version": one.version,
        "as_of": one.as_of.isoformat(),
        "frozen": one.frozen,
        "in_time": one.in_time,
        "sent": one.sent,
        "claimable": one.claimable,
        "value": money_words(one),
        "files": list(kept.payload["files"]) if kept else [],
    }


def _step(step: ClaimStep) -> dict[str, Any]:
    told = {name: value for name, value in step.payload.items() if name not in ("files", "terms")}
    return {"key": step.key, "at": step.at.isoformat(), "who": step.who, **told}


def counted_by(house: House, claim: Claim) -> tuple[str, ...]:
    """Names of those who recorded the counts, in the order of their first; no one else has counted."""
    from intake.ledger.entries import LOSSES, movements

    ours = {line.batch for line in claim.lines}
    counted = (
        m.who
        for m in movements(house.shipment_stream(claim.shipment))
        if m.batch in ours and m.target in LOSSES and m.recorded_at <= claim.as_of
    )
    people = house.site.people
    return tuple(dict.fromkeys(people[who].name or who if who in people else who for who in counted))
