"""What ``farm.toml`` says of a supplier's claim terms, dated changes of them, and the farm's mail."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Literal, TypeVar

from pydantic import Field

from intake.library.library_values import Strict

__all__ = ["Agreed", "ClaimAgreement", "Mail", "terms_on"]


class ClaimAgreement(Strict):
    """Claim terms of a supplier."""

    claim_window_h: float = Field(gt=0, le=8784)
    daa_days: int = Field(default=0, ge=0, le=365)
    daa_window_h: float = Field(default=0.0, ge=0.0, le=8760.0)
    allowance_percent: float = Field(default=0.0, ge=0.0, le=100.0)
    allowance_by: Literal["line", "shipment"] = "line"
    allowance_of: Literal["received", "announced"] = "received"
    allowance_covers_missing: bool = False
    credit: Literal["money", "replacement"] = "money"
    credit_percent: float = Field(default=100.0, ge=0.0, le=100.0)
    freight_share_percent: float = Field(default=0.0, ge=0.0, le=100.0)
    answer_days: float = Field(default=0.0, ge=0.0, le=365.0)
    evidence: tuple[str, ...] = (
        "photo of the sealed bag with its label",
        "photo of all dead of a line with a dated card",
    )


class Agreed(Strict):
    """Terms changed from a date on; a key left out stays as it was."""

    since: date
    claim_window_h: float | None = Field(default=None, gt=0)
    daa_days: int | None = Field(default=None, ge=0, le=365)
    daa_window_h: float | None = Field(default=None, ge=0.0, le=8760.0)
    allowance_percent: float | None = Field(default=None, ge=0.0, le=100.0)
    allowance_by: Literal["line", "shipment"] | None = None
    allowance_of: Literal["received", "announced"] | None = None
    allowance_covers_missing: bool | None = None
    credit: Literal["money", "replacement"] | None = None
    credit_percent: float | None = Field(default=None, ge=0.0, le=100.0)
    freight_share_percent: float | None = Field(default=None, ge=0.0, le=100.0)
    answer_days: float | None = Field(default=None, ge=0.0, le=365.0)
    evidence: tuple[str, ...] | None = None


_Terms = TypeVar("_Terms", bound=ClaimAgreement)


def terms_on(supplier: _Terms, changes: Sequence[Agreed], day: date) -> _Terms:
    """A supplier with the terms that hold for a shipment received on ``day``."""
    held = [change for change in changes if change.since <= day]
    update: dict[str, object] = {}
    for change in sorted(held, key=lambda one: one.since):
        told = change.model_dump(exclude_none=True)
        update |= {key: value for key, value in told.items() if key != "since"}
    return supplier.model_copy(update=update)


class Mail(Strict):
    """How the farm sends mail; the password is read from the environment, never from this file.

    Attributes
    ----------
    sender
        Address the farm writes from.
    copy_to
        Addresses that get a copy.
    host, port
        Mail server; without ``host`` messages are only written to files.
    security
        ``starttls`` (the usual port 587) or ``tls`` from the first byte (the usual port 465).
    user
        Name to sign in with; empty: no sign-in.
    password_variable
        Environment variable that holds the password.
    ca_file
        File of the authority that signed the server's certificate, if it is not a public one.
    """

    sender: str = Field(min_length=3, max_length=200, pattern=r"^[^@\s<>,]+@[^@\s<>,]+$")
    copy_to: tuple[str, ...] = ()
    host: str = Field(default="", max_length=200)
    port: int = Field(default=587, ge=1, le=65535)
    security: Literal["starttls", "tls"] = "starttls"
    user: str = Field(default="", max_length=200)
    password_variable: str = Field(default="VATSIDE_MAIL_PASSWORD", pattern=r"^[A-Z][A-Z0-9_]*$")
    ca_file: str = Field(default="", max_length=400)
