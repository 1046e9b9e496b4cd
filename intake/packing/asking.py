"""Questions the file leaves open, each asked once and answerable on the command line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from hashlib import sha256

from intake.errors import Finding

__all__ = ["MEANINGS", "STOP", "Inquiry", "Question", "is_lasting", "placed", "slug"]

STOP = "list-is-wrong"
"""The answer every question takes: the list does not say what was sent; it is to be corrected by its sender."""

MEANINGS: Mapping[str, str] = {
    "trust-the-lines": "the lines are right, the stated total is not",
    "line-of-animals": "this row is a line of animals, not a total",
    "both": "they are different animals: keep every line",
    "as-listed": "count and unit price are right, the amount is not",
    "by-amount": "count and amount are right, the unit price is not",
    "same-as-above": "as in the row above",
    "unknown": "the list does not say",
    "mend-the-list": "stop: the list must say it",
    "no-animals": "there are no animals in these rows",
    "not-needed": "nothing in them is to be entered",
    "not-shipped": "leave these lines out",
    "shipped": "they are in the boxes",
    "this-shipment": "they came under the same waybill",
    "another-shipment": "leave them out here",
    "headings": "each names the rows below it",
    "lines": "each is a line of animals",
    "as-read": "the sizes are right as they were read",
    "in-mm": "the figures are millimeters",
    "in-cm": "the figures are centimeters",
    "decimal-point": "1.5 is one and a half",
    "decimal-comma": "1,5 is one and a half",
    "dmy": "day, month, year",
    "mdy": "month, day, year",
    "ymd": "year, month, day",
    "as-shown": "the dates are right",
    "exchanged": "day and month must change places",
    "one-animal": "the price of each animal",
    "one-unit": "the price of the whole unit",
    "box-and-bag": "box before the slash, bags after it",
    "boxes": "box numbers only",
    "not-boxes": "none of them are box numbers, and nothing in them is to be entered",
    "beside-the-count": "enter them as lines of their own, at no price",
    "in-the-count": "the count holds them: nothing more is to be entered",
    "one-each": "every line is one animal",
    "supplier-time": "the supplier's own time zone",
    "proposed": "read the columns as proposed",
}
"""What an answer that is a key means, for a person who must choose."""

_CORRECT = "Correct the list, or ask the supplier for a corrected one."
_MOST = 200
_SHOWN = 6  # like cases shown in one question
_LASTING = frozenset(
    {"size-unit", "numbers", "dates", "currency", "price-unit", "zone", "box-slash", "count-missing", "free-animals"}
)
_CELL = re.compile(r"[A-Z]{1,3}(\d+)(?=,|$)")
_NOT_IN_A_KEY = re.compile(r"[\W_]+")


@dataclass(frozen=True, slots=True)
class Question:
    """Something to be answered before the shipment can be taken in.

    Attributes
    ----------
    key
        Under which the answer is given and remembered for the supplier.
    what
        The question, with the cells it is about.
    choices
        Answers that will do, closest first; empty or open-ended where ``free`` says what else is taken.
    free
        What may be answered beside the choices, in words; empty: nothing.
    where
        Cell or column the question came from first.
    """

    key: str
    what: str
    choices: tuple[str, ...] = ()
    free: str = ""
    where: str = ""

    @property
    def how(self) -> str:
        """How to answer on the command line."""
        example = self.choices[0] if self.choices else "VALUE"
        return f'--answer "{self.key}={example}"'

    def meaning(self, choice: str) -> str:
        """What a choice means, in words; empty for a name or a unit that says it itself."""
        return MEANINGS.get(choice, "") if choice in self.choices else ""

    def as_dict(self) -> dict[str, object]:
        """The question as plain data, for ``--json``."""
        return {
            "key": self.key,
            "what": self.what,
            "choices": list(self.choices),
            "free": self.free,
            "where": self.where,
            "how": self.how,
        }

    def finding(self) -> Finding:
        """The open question as something to correct."""
        told = [f"{choice} ({words})" if (words := self.meaning(choice)) else choice for choice in self.choices]
        expected = " or ".join(filter(None, [", ".join(told), self.free])) or "an answer"
        where = self.where or "the list"
        return Finding(placed(where), self.what.removeprefix(f"{where}: "), expected, f"Answer with {self.how}.")


@dataclass(slots=True)
class Inquiry:
    """Answers given, questions still open, faults found and evidence gathered while one list is understood."""

    answers: Mapping[str, str]
    open: dict[str, Question] = field(default_factory=dict)
    problems: list[Finding] = field(default_factory=list)
    evidence: list[str] = field(default_factory=list)
    learned: dict[str, str] = field(default_factory=dict)
    """What the list proved or a person said of the supplier's habits; defaults are never learned."""
    cases: dict[str, list[str]] = field(default_factory=dict)

    def ask(self, question: Question) -> str:
        """The answer given to a question, or empty, and then the question stands open."""
        answer = self.answers.get(question.key, "").strip()
        if answer == STOP:
            words = "Ask the supplier for a corrected list."
            self.fault(Finding(question.where or question.key, question.what, "a list that is right", words))
            return ""
        if answer and (question.free or answer in question.choices):
            return answer
        if answer:
            self.fault(Finding(f"--answer {question.key}", answer, ", ".join(question.choices)))
        if question.key not in self.open and len(self.open) < _MOST:
            self.open[question.key] = question
        return ""

    def ask_alike(self, question: Question, case: str) -> str:
        """One question for all like cases; ``case`` is added to what it shows."""
        cases = self.cases.setdefault(question.key, [])
        if case not in cases:
            cases.append(case)
        shown = "; ".join(cases[:_SHOWN]) + (f"; and {len(cases) - _SHOWN} more" if len(cases) > _SHOWN else "")
        whole = replace(question, what=f"{question.what} {shown}")
        answer = self.ask(whole)
        if question.key in self.open:
            self.open[question.key] = replace(self.open[question.key], what=whole.what)
        return answer

    @property
    def full(self) -> bool:
        """Whether so much is open that asking more would help no one."""
        return len(self.open) >= _MOST

    def fault(self, finding: Finding) -> None:
        """Note something that must be corrected; the first two hundred are kept."""
        told = replace(finding, where=placed(finding.where), do=finding.do or _CORRECT)
        if len(self.problems) < _MOST and told not in self.problems:
            self.problems.append(told)

    def note(self, sentence: str) -> None:
        """Note how something was understood, once."""
        if sentence not in self.evidence and len(self.evidence) < _MOST:
            self.evidence.append(sentence)


def placed(where: str) -> str:
    """A place that is a bare cell, with its row in words: ``C7, size`` is ``row 7, C7, size``."""
    found = _CELL.match(where)
    return f"row {found[1]}, {where}" if found else where


def is_lasting(key: str) -> bool:
    """Whether an answer holds for the supplier's later lists too, and not only for the file it was given for."""
    return key in _LASTING or key.startswith(("name:", "size:", "source:", "genus:", "measure:"))


def slug(text: str) -> str:
    """A written text as part of a key: small letters and digits of any script, joined by hyphens."""
    key = _NOT_IN_A_KEY.sub("-", text.casefold()).strip("-")
    if not key or len(key) > 60:
        return f"{key[:50]}-{sha256(text.encode('utf-8', 'replace')).hexdigest()[:8]}".lstrip("-")
    return key
