"""The one act on a claim: its state moves on."""

from __future__ import annotations

from decimal import Decimal

from intake.app.queries.reports.claim_status import current
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.report.claims import STATES

__all__ = ["set_state"]


def set_state(house: House, shipment: str, state: str, *, note: str = "", amount: str = "", key: str = "") -> str:
    """Record that the claim was sent, answered or settled.

    Parameters
    ----------
    amount
        Money credited, as typed, for ``answered`` and ``settled``; recorded in the claim's currency.

    Raises
    ------
    BadInput
        Not one of the states that can be recorded, or an amount that is no number.
    """
    if state not in STATES[1:4]:
        raise BadInput(Finding("--state", state, ", ".join(STATES[1:4])))
    claim = current(house, shipment)
    payload: dict[str, object] = {"state": state, "version": claim.version, "note": note}
    if amount:
        payload["amount"] = _amount(amount)
    with house.act(key) as act:
        act.note("claim", shipment, payload)
    return f"Claim for {shipment}: {state}"


def _amount(typed: str) -> str:
    try:
        number = Decimal(typed)
    except ArithmeticError as error:
        raise BadInput(Finding("--amount", typed, "a number with a decimal point, such as 120.50")) from error
    if not number.is_finite() or number < 0:
        raise BadInput(Finding("--amount", typed, "0 or more, such as 120.50"))
    return str(number)
