"""What every record answers with, the names it is asked by, and the rules it is held against."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from datetime import datetime

from intake.app.session import Act, House
from intake.errors import BadInput, Finding, IntakeError, Refused, UnknownName
from intake.farm.floor import Batch, Floor
from intake.ledger import Record, shortages
from intake.rules import Breach, Placing, breaches, reason_enough
from intake.rules.acts import Act as Proposed

__all__ = [
    "Judged",
    "OnlyAsked",
    "Recorded",
    "RulesBroken",
    "asked",
    "batch_named",
    "floor_under",
    "judge",
    "only_asked",
    "refuse_shortage",
    "told_as",
]


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was written, in one sentence for each entry, the key that undoes it, and the rules that spoke."""

    said: tuple[str, ...]
    keys: tuple[str, ...]
    rules: tuple[Breach, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """For ``--json``; ``rules`` stand beside it where the act was warned of, or done in spite of one."""
        told: dict[str, object] = {"recorded": list(self.said), "keys": list(self.keys)}
        return told | ({"rules": [one.as_dict() for one in self.rules]} if self.rules else {})


def batch_named(floor: Floor, identity: str) -> Batch:
    """The batch of this id, or :class:`UnknownName` with the closest."""
    if identity not in floor.batches:
        import difflib

        close = difflib.get_close_matches(identity, floor.batches, n=3, cutoff=0.4)
        raise UnknownName("batch", identity, close, "batch")
    return floor.batches[identity]


def told_as(house: House, key: str, kind: str, subject: str = "") -> Record | None:
    """The record this key was used for before, if it was of this kind and subject: the same act sent again.

    A key used for anything else gives ``None``; the ledger refuses it when the act is written.
    """
    entry = house.told_before(key)
    if isinstance(entry, Record) and entry.kind == kind and subject in {"", entry.subject}:
        return entry
    return None


def refuse_shortage(house: House, act: Act, batch: str) -> None:
    """Refuse an act that takes more of a batch from a place than is there, with times on the farm's clock.

    Raises
    ------
    Refused
        Naming every such place; the ledger would refuse it too, but it knows no time zone.
    """
    found = shortages(act.entries("movement", batch))
    if found:
        raise Refused([shortage.as_finding(house.site.farm.zone) for shortage in found])


_ASKING: ContextVar[bool] = ContextVar("asking", default=False)


class OnlyAsked(IntakeError):
    """An act that was asked about and not done: what every rule says of it."""

    def __init__(self, told: Sequence[Breach]) -> None:
        self.told = tuple(told)
        super().__init__("asked, and nothing saved")


@contextmanager
def only_asked() -> Iterator[None]:
    """Within it, acts go before the rules and no further: :class:`OnlyAsked` shows what they said."""
    token = _ASKING.set(True)
    try:
        yield
    finally:
        _ASKING.reset(token)


class RulesBroken(Refused):
    """An act that a rule of the farm refuses, or lets pass only with a reason."""

    def __init__(self, broken: Sequence[Breach], hint: str = "") -> None:
        self.broken = tuple(broken)
        findings: list[Finding] = [one.as_finding() for one in self.broken]
        lifted = all(one.severity == "reason" for one in self.broken)
        if lifted:
            do = 'If it must be: --despite "why, in three words or more"; the reason is kept.'
            findings.append(
                Finding("reason", "", "one, in three words or more", " ".join(part for part in (hint, do) if part))
            )
        elif hint:
            findings.append(Finding("rules", "no reason lifts this", "an act that breaks none", hint))
        super().__init__(findings)

    @property
    def rules(self) -> tuple[dict[str, object], ...]:
        """The breaches, as the command contract has them."""
        return tuple(one.as_dict() for one in self.broken)


@dataclass(frozen=True, slots=True)
class Judged:
    """What the rules said of an act that goes ahead: warnings, and what is done in spite of a rule, with the reason."""

    told: tuple[Breach, ...] = ()
    despite: str = ""

    @property
    def said(self) -> tuple[str, ...]:
        """Warnings and what was done in spite of what, a line each."""
        head = {"warn": "Warning", "reason": "In spite of"}
        return tuple(f"{head[one.severity]}: {one.words}" for one in self.told)

    @property
    def note(self) -> str:
        """The reason as it is kept with a movement, the same when the act is reported again; empty when none was given."""
        return f"despite: {self.despite}" if self.despite else ""

    @property
    def lifted(self) -> tuple[str, ...]:
        """Rules lifted by the reason."""
        return tuple(dict.fromkeys(one.id for one in self.told if one.severity == "reason"))

    def keep(self, act: Act, *, at: datetime | None = None) -> None:
        """Write the reason down beside the act, for every batch it is about."""
        lifted = [one for one in self.told if one.severity == "reason"]
        for subject in sorted({name for one in lifted for name in one.animals or (one.where,)}):
            mine = [one for one in lifted if subject in one.animals or (not one.animals and subject == one.where)]
            rules = [one.as_dict() for one in mine]
            batch = subject if subject in {name for one in mine for name in one.animals} else ""
            act.note("despite", subject, {"batch": batch, "reason": self.despite, "rules": rules}, at=at)


def floor_under(house: House, act: Act, at: datetime) -> Floor:
    """The floor at a moment as the lock sees it: what someone else wrote since this farm was opened counts too."""
    ground = house if act.alone else house.at(house.now)
    return ground.floor(at)


def judge(
    house: House,
    act: Act,
    *proposed: Proposed,
    despite: str = "",
    key: str = "",
    hint: str = "",
    floor: Floor | None = None,
) -> Judged:
    """Hold an act against every rule, inside its transaction and before anything of it is written.

    An act sent again with its key was judged when it was first sent.  Animals placed in the past are judged as the
    farm stood then and as it stands now.

    Parameters
    ----------
    despite
        The reason given; needed where a rule says so.
    hint
        What else can be done, said with a refusal.
    floor
        The floor to judge on, where it is not that of the ledger.

    Raises
    ------
    BadInput
        A reason of fewer than three words.
    RulesBroken
        With every breach that refuses, or that needs a reason which was not given.
    """
    reason = despite.strip()
    if key and house.told_before(key) and not _ASKING.get():
        return Judged((), reason)
    if reason and not reason_enough(reason):
        raise BadInput(
            Finding("--despite", reason, "a reason of three words or more", "Say why, for whoever reads it later.")
        )
    found: dict[tuple[str, str, tuple[str, ...]], Breach] = {}
    for one in proposed:
        for at in _moments(house, one):
            ground = floor or floor_under(house, act, at)
            for breach in breaches(house.site, house.library, ground, [replace(one, at=at)]):
                found.setdefault((breach.id, breach.where, breach.animals), breach)
    if _ASKING.get():
        raise OnlyAsked(tuple(found.values()))
    return _verdict(list(found.values()), reason, hint)


def _moments(house: House, act: Proposed) -> tuple[datetime, ...]:
    """When an act is judged: at its moment; animals placed before now also now."""
    return (act.at, house.now) if isinstance(act, Placing) and act.at < house.now else (act.at,)


def _verdict(found: list[Breach], reason: str, hint: str) -> Judged:
    refused = [one for one in found if one.severity == "refuse"]
    lifted = [one for one in found if one.severity == "reason"]
    if refused or (lifted and not reason):
        raise RulesBroken([*refused, *lifted], hint)
    return Judged(tuple(found), reason)


def asked(house: House, *proposed: Proposed) -> tuple[Breach, ...]:
    """Breaches of acts that no one has done yet, for a form before it is saved and for the timetable."""
    return breaches(house.site, house.library, house.floor(), proposed)
