"""What a rule is and what breaking one looks like."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Literal

from intake.errors import Finding
from intake.rules.acts import Act
from intake.rules.scene import Scene

__all__ = ["SEVERITIES", "Breach", "BreachFinding", "Broken", "Rule", "Severity", "rule"]

Severity = Literal["refuse", "reason", "warn"]
SEVERITIES: dict[Severity, str] = {
    "refuse": "refused",
    "reason": "needs a reason",
    "warn": "warning",
}
"""Severity → what a person reads: refused without override; recorded with a reason of three words or more; recorded and shown."""


@dataclass(frozen=True, slots=True)
class Broken:
    """What one rule found: the facts of a breach, before it bears the rule's name.

    Attributes
    ----------
    what
        One sentence: which animals, in which vat or water, do what they may not.
    where
        Vat, system or batch, as printed on labels.
    need, have
        The figure or the state needed, and the one there, with units.
    do
        The next step, as an imperative sentence.
    animals
        Batch ids concerned.
    source
        Where the limit comes from, when it differs from the rule's own.
    """

    what: str
    where: str
    need: str
    have: str
    do: str
    animals: tuple[str, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True)
class Breach:
    """One rule broken by one act, or by how things stand."""

    id: str
    severity: Severity
    what: str
    where: str
    need: str
    have: str
    source: str
    do: str
    animals: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """For ``--json``: the keys of the command contract, and what to do."""
        names = ("id", "severity", "what", "where", "need", "have", "source", "do")
        return {name: getattr(self, name) for name in names}

    @property
    def words(self) -> str:
        """The breach as a person reads it, in one line."""
        return f"{self.where}: {self.what} Needed: {self.need}. There: {self.have}. {self.do} ({self.id})"

    def as_finding(self) -> BreachFinding:
        """The breach among the findings of a refusal."""
        return BreachFinding(self.where, self.have, self.need, self.do, self.words)


@dataclass(frozen=True, slots=True)
class BreachFinding(Finding):
    """A finding that is reported in the words of a rule."""

    words: str = ""

    def __str__(self) -> str:
        return self.words


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of the farm.

    Attributes
    ----------
    id, words
        Its name, and what it says in one sentence.
    severity
        ``refuse``: no override; ``reason``: a reason of three words or more is saved with the entry; ``warn``: shown.
    source
        Where it is from; ``common practice, no source`` where it is from nowhere.
    acts
        Kinds of act it judges.
    judge
        Pure function from the scene and an act of these kinds to what is broken.
    """

    id: str
    words: str
    severity: Severity
    source: str
    acts: tuple[type[Act], ...]
    judge: Callable[[Scene, Any], Iterable[Broken]]

    def breaches(self, scene: Scene, act: Act) -> Iterator[Breach]:
        """Every breach of this rule by an act; none for an act of another kind."""
        if not isinstance(act, self.acts):
            return
        for one in self.judge(scene, act):
            source = one.source or self.source
            yield Breach(self.id, self.severity, one.what, one.where, one.need, one.have, source, one.do, one.animals)


Judge = Callable[[Scene, Any], Iterable[Broken]]


def rule(
    identity: str, words: str, severity: Severity, source: str, *acts: type[Act], book: list[Rule]
) -> Callable[[Judge], Judge]:
    """Put a judging function into a book of rules."""

    def enter(judge: Judge) -> Judge:
        book.append(Rule(identity, words, severity, source, acts, judge))
        return judge

    return enter
