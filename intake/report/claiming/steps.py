"""How far a claim has come: drafted, sent, answered, settled or written off, folded out of the steps recorded of it.

No step goes backwards; a step recorded by mistake is withdrawn with a reason and stays readable in the entries.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from intake.errors import BadInput, Finding
from intake.ledger.corrections import standing
from intake.ledger.entries import Entry, Record

__all__ = ["RECORDABLE", "STATES", "ClaimStep", "Standing", "faults_of_step", "fold_steps", "steps_of"]

STATES: Final = ("drafted", "sent", "answered", "settled in part", "settled", "written off", "expired")
"""States of a claim; ``expired`` is derived (never sent in time), the others follow from what was recorded."""

RECORDABLE: Final = ("sent", "answered", "settled", "written off")
"""Steps a person records."""

_SILENT: Final = frozenset({"prepared", "mailing", "facts"})
"""Records about a claim that change nothing of its state: files made ready, a mail on its way, numbers of papers."""

_CLOSED: Final = frozenset({"settled", "written off"})


@dataclass(frozen=True, slots=True)
class ClaimStep:
    """One step.

    Attributes
    ----------
    kind
        One of :data:`RECORDABLE`, or ``prepared``, ``mailing`` or ``facts``.
    version
        Version of the claim it is about, 0 when it is about none.
    amount, currency
        Money accepted or credited; ``None`` when not named.
    animals
        Animals accepted, or animals that replace.
    batch
        Batch of a later shipment that came free as replacement.
    reference
        Number of the credit note.
    note
        Reason or words.
    payload
        All that was recorded.
    """

    key: str
    kind: str
    at: datetime
    who: str
    version: int = 0
    amount: Decimal | None = None
    currency: str = ""
    animals: int | None = None
    batch: str = ""
    reference: str = ""
    note: str = ""
    payload: Mapping[str, Any] = field(default_factory=dict, hash=False)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a claim stands.

    Attributes
    ----------
    state, since
        One of :data:`STATES` and when it was reached; ``None`` while drafted.
    sent_version, sent_at, first_sent_at
        Latest version that was sent and when, 0 and ``None`` before; when the first was.
    claimed
        Currency → money claimed with the sent version.
    claimed_animals
        Animals claimed with it.
    accepted
        Currency → money the supplier accepted; what was claimed until an answer says less.
    credited
        Currency → money credited so far, replacements at their share of the claim.
    replaced
        Animals that came as replacement.
    """

    state: str
    since: datetime | None
    sent_version: int
    sent_at: datetime | None
    first_sent_at: datetime | None
    claimed: Mapping[str, Decimal]
    claimed_animals: int
    accepted: Mapping[str, Decimal]
    credited: Mapping[str, Decimal]
    replaced: int
    steps: tuple[ClaimStep, ...]

    @property
    def open(self) -> dict[str, Decimal]:
        """Currency → money accepted and not yet credited."""
        return {currency: of - self.credited.get(currency, Decimal(0)) for currency, of in self.accepted.items()}


def steps_of(entries: Iterable[Entry], shipment: str) -> tuple[ClaimStep, ...]:
    """Steps that stand, oldest first.

    Raises
    ------
    BadInput
        When a record names a step this version does not know.
    """
    return tuple(_step(record) for record in standing(entries, "claim") if record.subject == shipment)


def _step(record: Record) -> ClaimStep:
    told = record.payload
    kind = str(told.get("state"))
    if kind not in RECORDABLE and kind not in _SILENT:
        raise BadInput(Finding(f"claim record {record.key}, state", kind, "one of " + ", ".join(RECORDABLE)))
    amount = _decimal(record, told.get("amount"))
    animals = told.get("animals")
    version = told.get("version")
    return ClaimStep(
        key=record.key,
        kind=kind,
        at=record.happened_at,
        who=record.who,
        version=version if isinstance(version, int) else 0,
        amount=amount,
        currency=str(told.get("currency") or ""),
        animals=animals if isinstance(animals, int) else None,
        batch=str(told.get("replacement") or ""),
        reference=str(told.get("reference") or ""),
        note=str(told.get("note") or ""),
        payload=told,
    )


def _decimal(record: Record, value: object) -> Decimal | None:
    if value in (None, ""):
        return None
    try:
        return Decimal(str(value))
    except InvalidOperation as error:
        raise BadInput(Finding(f"claim record {record.key}, amount", str(value), "an amount of money")) from error


def fold_steps(steps: Sequence[ClaimStep]) -> Standing:
    """Where the claim stands after these steps."""
    fold = _Fold()
    for step in steps:
        if step.kind not in _SILENT:
            fold.take(step)
    return Standing(
        state=fold.state,
        since=fold.since,
        sent_version=fold.sent_version,
        sent_at=fold.sent_at,
        first_sent_at=fold.first_sent_at,
        claimed=dict(fold.claimed),
        claimed_animals=fold.animals,
        accepted=dict(fold.accepted),
        credited=dict(fold.credited),
        replaced=fold.replaced,
        steps=tuple(steps),
    )


class _Fold:
    """The state while steps are gone through in order."""

    def __init__(self) -> None:
        self.state, self.since = "drafted", None  # type: str, datetime | None
        self.sent_version = 0
        self.sent_at: datetime | None = None
        self.first_sent_at: datetime | None = None
        self.claimed: dict[str, Decimal] = {}
        self.animals = 0
        self.accepted: dict[str, Decimal] = {}
        self.credited: dict[str, Decimal] = {}
        self.replaced = 0

    def take(self, step: ClaimStep) -> None:
        getattr(self, "_" + step.kind.replace(" ", "_"))(step)
        self.since = step.at

    def _sent(self, step: ClaimStep) -> None:
        self.state = "sent"
        self.sent_version, self.sent_at = step.version, step.at
        self.first_sent_at = self.first_sent_at or step.at
        told = step.payload.get("claimed")
        if isinstance(told, list):
            self.claimed = {str(one["currency"]): Decimal(str(one["value"])) for one in told}
        animals = step.payload.get("animals")
        self.animals = animals if isinstance(animals, int) else 0
        self.accepted = dict(self.claimed)

    def _answered(self, step: ClaimStep) -> None:
        self.state = "answered"
        if step.amount is not None:
            self.accepted = {**self.accepted, self._currency(step): step.amount}

    def _settled(self, step: ClaimStep) -> None:
        currency = self._currency(step)
        self.credited[currency] = self.credited.get(currency, Decimal(0)) + self.worth(step)
        self.replaced += step.animals or 0
        left = {name: of - self.credited.get(name, Decimal(0)) for name, of in self.accepted.items()}
        self.state = "settled" if all(value <= 0 for value in left.values()) else "settled in part"

    def _written_off(self, step: ClaimStep) -> None:  # noqa: ARG002  # every step is taken alike
        self.state = "written off"

    def _currency(self, step: ClaimStep) -> str:
        return step.currency or next(iter(self.accepted), "")

    def worth(self, step: ClaimStep) -> Decimal:
        """Money of a settlement: as named, replacements at their share of the claim, else all that is open."""
        currency = self._currency(step)
        if step.amount is not None:
            return step.amount
        if step.animals is not None and self.animals:
            share = self.claimed.get(currency, Decimal(0)) * step.animals / self.animals
            return share.quantize(Decimal("0.01"))
        return self.accepted.get(currency, Decimal(0)) - self.credited.get(currency, Decimal(0))


def faults_of_step(at: Standing, step: ClaimStep, claimable: int) -> list[Finding]:
    """What is wrong with recording a step now; empty when it may be.

    Parameters
    ----------
    at
        Where the claim stands.
    step
        What is to be recorded.
    claimable
        Animals claimed with the present version.
    """
    if at.state in _CLOSED:
        words = f"--take-back with a reason first, if “{at.state}” was recorded by mistake"
        return [Finding("--state", step.kind, f"no further step: the claim is {at.state}", words)]
    checks = {"sent": _sending, "answered": _answer, "settled": _settlement, "written off": _write_off}
    return checks[step.kind](at, step, claimable)


def _sending(at: Standing, step: ClaimStep, claimable: int) -> list[Finding]:
    if step.version and step.version == at.sent_version:
        return [Finding("--state", "sent", f"a version that was not sent: version {step.version} was", "Count first.")]
    if claimable < 1 and not at.sent_version:
        return [Finding("--state", "sent", "a claim with animals in it: nothing was counted dead, missing or wrong")]
    return []


def _answer(at: Standing, step: ClaimStep, claimable: int) -> list[Finding]:  # noqa: ARG001  # one signature for all
    if not at.sent_version:
        return [Finding("--state", "answered", "a claim that was sent", "Record --state sent first.")]
    found = _amount(at.claimed, step, "accepted", "was claimed")
    claimed = at.claimed.get(_currency(at, step), Decimal(0))
    if step.amount is not None and step.amount < claimed and not step.note:
        found.append(Finding("--note", "", "the supplier's reason, since less was accepted than claimed"))
    return found


def _settlement(at: Standing, step: ClaimStep, claimable: int) -> list[Finding]:  # noqa: ARG001  # one signature for all
    if not at.sent_version:
        return [Finding("--state", "settled", "a claim that was sent", "Record --state sent first.")]
    found = _amount(at.open, step, "credited", "is open")
    if step.animals is not None and not 0 < step.animals <= at.claimed_animals - at.replaced:
        left = at.claimed_animals - at.replaced
        found.append(
            Finding("--animals", str(step.animals), f"1 to {left} animals, as many as are claimed and not replaced")
        )
    if (step.animals is None) != (not step.batch):
        found.append(Finding("--replacement", step.batch, "a batch of a later shipment together with --animals"))
    return found


def _write_off(at: Standing, step: ClaimStep, claimable: int) -> list[Finding]:  # noqa: ARG001  # one signature for all
    return [] if step.note else [Finding("--note", "", "why the claim is written off")]


def _currency(at: Standing, step: ClaimStep) -> str:
    return step.currency or next(iter(at.accepted), "")


def _amount(most: Mapping[str, Decimal], step: ClaimStep, word: str, of: str) -> list[Finding]:
    """An amount is 0 or more, and not more than there is."""
    if step.amount is None:
        return []
    if not step.amount.is_finite() or step.amount < 0:
        return [Finding("--amount", str(step.amount), "0 or more, such as 120.50")]
    currency = step.currency or next(iter(most), "")
    if step.currency and step.currency not in most:
        return [Finding("--currency", step.currency, "one of " + ", ".join(most))]
    limit = most.get(currency)
    if limit is not None and step.amount > limit:
        return [
            Finding(
                "--amount", f"{step.amount}", f"at most {limit} {currency}: no more {of}", f"Check what was {word}."
            )
        ]
    return []
