"""The acts on a claim: versions made ready and sent, answers, settlements, and steps withdrawn with a reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from intake.app.queries.reports.claim_status import current, history
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.report.claiming.claim_lines import ClaimFacts
from intake.report.claiming.steps import RECORDABLE, ClaimStep, faults_of_step
from intake.report.claiming.steps import steps_of as claim_steps
from intake.report.claiming.terms import terms_payload
from intake.report.claiming.versions import Claim

__all__ = ["Answer", "record_kept", "set_papers", "set_state", "take_back"]


@dataclass(frozen=True, slots=True)
class Answer:
    """What comes with a step: money as typed, animals, the batch that replaces, the credit note's number, words.

    Attributes
    ----------
    amount
        Money accepted or credited, as typed; empty: everything claimed, or everything open.
    currency
        Of the amount; empty: the first of the claim.
    animals, replacement
        Animals of that batch of a later shipment that came free.
    reference
        Number of the credit note.
    """

    amount: str = ""
    currency: str = ""
    animals: int | None = None
    replacement: str = ""
    reference: str = ""
    note: str = ""


def set_state(
    house: House,
    shipment: str,
    state: str,
    told: Answer | None = None,
    *,
    note: str = "",
    amount: str = "",
    key: str = "",
) -> str:
    """Record that a claim was answered, settled or written off; sending is ``documents.claim_sending``.

    Parameters
    ----------
    told
        What comes with the step.
    note, amount
        Short for ``Answer(note=…, amount=…)``.

    Raises
    ------
    BadInput
        Not one of the states that can be recorded, an amount that is no number or not plausible against the claim.
    Refused
        The batch named as replacement did not come free from this supplier after this shipment.
    """
    if state not in RECORDABLE or state == "sent":
        raise BadInput(Finding("--state", state, ", ".join(RECORDABLE)))
    answer = told or Answer(amount=amount, note=note)
    if house.told_before(key):
        return f"Claim for {shipment}: {state}"
    claim = current(house, shipment)
    step = ClaimStep(
        key="",
        kind=state,
        at=house.now,
        who=house.who,
        version=claim.standing.sent_version,
        amount=_amount(answer.amount) if answer.amount else None,
        currency=answer.currency,
        animals=answer.animals,
        batch=answer.replacement,
        reference=answer.reference,
        note=answer.note,
    )
    faults = faults_of_step(claim.standing, step, claim.claimable)
    if faults:
        raise BadInput(faults)
    if answer.replacement:
        _check_replacement(house, claim.facts, answer)
    payload: dict[str, object] = {"state": state, "version": step.version, "note": answer.note}
    if step.amount is not None:
        payload["amount"] = str(step.amount)
    more = {"currency": answer.currency, "replacement": answer.replacement, "reference": answer.reference}
    payload |= {name: value for name, value in more.items() if value}
    if answer.animals is not None:
        payload["animals"] = answer.animals
    with house.act(key) as act:
        act.unchanged("claim", shipment, what=f"the claim for {shipment}")
        act.note("claim", shipment, payload)
    return f"Claim for {shipment}: {state}"


def _amount(typed: str) -> Decimal:
    try:
        number = Decimal(typed)
    except ArithmeticError as error:
        raise BadInput(Finding("--amount", typed, "a number with a decimal point, such as 120.50")) from error
    if not number.is_finite() or number < 0:
        raise BadInput(Finding("--amount", typed, "0 or more, such as 120.50"))
    return number


def _check_replacement(house: House, facts: ClaimFacts, answer: Answer) -> None:
    """A replacement is a batch of a later shipment of the same supplier, free of charge, matched once."""
    known = house.floor().batches
    if answer.replacement not in known:
        raise UnknownName("--replacement", answer.replacement, sorted(known), "batch")
    batch = known[answer.replacement]
    received = house.floor().received
    faults = []
    if batch.supplier != facts.supplier or batch.shipment == facts.shipment:
        faults.append(Finding("--replacement", batch.id, f"a batch of a later shipment of {facts.supplier}"))
    elif batch.shipment in received and facts.received_at and received[batch.shipment] < facts.received_at:
        faults.append(Finding("--replacement", batch.id, f"a batch received after {facts.shipment}"))
    if batch.unit_price:
        faults.append(Finding("--replacement", f"{batch.id} at {batch.unit_price}", "a batch that came free of charge"))
    matched = sum(
        animals
        for record in house.standing("claim")
        if record.payload.get("replacement") == batch.id and isinstance(animals := record.payload.get("animals"), int)
    )
    if (answer.animals or 0) > batch.announced - matched:
        left = batch.announced - matched
        faults.append(
            Finding("--animals", str(answer.animals), f"at most {left}: as many of {batch.id} replace no others")
        )
    if faults:
        raise Refused(faults)


def set_papers(house: House, shipment: str, numbers: Mapping[str, str], *, key: str = "") -> str:
    """Record numbers of the shipment's papers: ``waybill``, ``invoice``, and ``freight`` paid.

    Raises
    ------
    BadInput
        Freight that is no amount of money, or no number at all.
    """
    current(house, shipment)
    told = {name: value.strip() for name, value in numbers.items() if value.strip()}
    if not told:
        raise BadInput(Finding("claim", "", "--waybill, --invoice or --freight"))
    if "freight" in told:
        told["freight"] = str(_amount(told["freight"]))
    with house.act(key) as act:
        act.note("claim", shipment, {"state": "facts", **told})
    return f"{shipment}: " + ", ".join(f"{name} {value}" for name, value in told.items())


def record_kept(
    house: House,
    claim: Claim,
    state: str,
    files: Sequence[Mapping[str, object]],
    *,
    as_of: datetime,
    key: str = "",
    **more: object,
) -> str:
    """Record a version whose files are kept: ``prepared``, ``mailing`` or ``sent``; gives the entry's key.

    Raises
    ------
    BadInput
        The version cannot be sent: it was sent before, nothing is claimed, or the claim is closed.
    """
    if state != "prepared":
        step = ClaimStep("", "sent", house.now, house.who, version=claim.version)
        faults = faults_of_step(claim.standing, step, claim.claimable)
        if faults:
            raise BadInput(faults)
    payload: dict[str, object] = {
        "state": state,
        "version": claim.version,
        "as_of": as_of.isoformat(),
        "animals": claim.claimable,
        "claimed": [{"currency": currency, "value": str(value)} for currency, value in claim.totals],
        "terms": terms_payload(claim.terms),
        "files": [dict(one) for one in files],
        **more,
    }
    with house.act(key) as act:
        act.unchanged("claim", claim.shipment, what=f"the claim for {claim.shipment}")
        return act.note("claim", claim.shipment, payload)


def take_back(house: House, shipment: str, *, reason: str, key: str = "") -> str:
    """Withdraw the last step recorded of a claim; it stays readable in the entries.

    Raises
    ------
    BadInput
        No reason, or nothing to withdraw.
    """
    history(house, shipment)
    recorded = {one.key: (one.recorded_at, one.id or 0) for one in house.standing("claim", shipment)}
    steps = [
        step
        for step in claim_steps(house.standing("claim", shipment), shipment)
        if step.kind in (*RECORDABLE, "mailing")
    ]
    faults = [] if reason.strip() else [Finding("--note", "", "why the step is withdrawn")]
    if not steps:
        faults.append(Finding("--take-back", shipment, "a claim with a step on record"))
    if faults:
        raise BadInput(faults)
    last = max(steps, key=lambda step: recorded[step.key])
    with house.act(key) as act:
        payload = {"withdrawn": True, "state": last.kind, "reason": reason.strip()}
        act.note("claim", shipment, payload, corrects=last.key)
    return f"Claim for {shipment}: “{last.kind}” of {last.at.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M} withdrawn"
