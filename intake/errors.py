"""Errors as part of the interface: what a person is reported when an input or an act is refused.

::

    IntakeError                       never raised itself; carries findings and an exit code
    ├── BadInput(ValueError)          something in a file, an option or a form is wrong
    │   ├── OutOfRange                a formula was asked outside its published range
    │   └── UnknownName(LookupError)  no such thing; the closest names are offered
    ├── Refused                       lawful input, forbidden act (a prescription bath without its prescriber)
    └── StoreTrouble(OSError)         the ledger cannot be read or written; nothing was written

Every error holds findings: where, the value met, what was expected, what to do.  "It does not fit" is not an error but
an answer.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass

__all__ = [
    "BadInput",
    "Finding",
    "IntakeError",
    "OutOfRange",
    "Refused",
    "StoreTrouble",
    "UnknownName",
    "many_of",
    "quoted",
]

_LONGEST_QUOTE = 60
_LONGEST_VALUE = 1_000  # characters of a value met that a message shows
_LONGEST_WORD = re.compile(r"(\S{60})\S{20,}")


def quoted(text: str, longest: int = _LONGEST_QUOTE) -> str:
    """What a person or a program wrote, between quotation marks: cut where it is long, invisible characters by their number.

    Examples
    --------
    >>> quoted("Acropora" + chr(0xAD) + " sp.")
    "'Acropora[U+00AD] sp.'"
    """
    mark = '"' if "'" in text and '"' not in text else "'"
    return f"{mark}{_seen(text, longest)}{mark}"


def many_of(number: int, thing: str) -> str:
    """A number of things in words: ``1 row``, ``2 rows``."""
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


def _seen(text: str, longest: int) -> str:
    cut = text if len(text) <= longest else f"{text[: longest - 1]}…"
    cut = _LONGEST_WORD.sub(
        lambda word: word[0] if "/" in word[0] or "\\" in word[0] else f"{word[1]}…", cut
    )  # not a path
    return "".join(sign if sign.isprintable() else f"[U+{ord(sign):04X}]" for sign in cut)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to correct.

    Attributes
    ----------
    where
        File, row, column, table, key or option, as the person who must correct it would name it.
    value
        The offending value as it stood; empty when something is missing.
    expected
        What would have been accepted, with units and range.
    do
        The next step, as an imperative sentence.
    """

    where: str
    value: str
    expected: str
    do: str = ""

    def __str__(self) -> str:
        at_the_edge = self.value != self.value.strip()
        met = quoted(self.value, _LONGEST_VALUE) if at_the_edge else _seen(self.value, _LONGEST_VALUE) or "missing"
        stop = "" if met[-1:] in {"?", "!", ":"} else "."
        text = f"{self.where}: {met}{stop} Expected {self.expected}"
        return f"{text}. {self.do}" if self.do else f"{text}."

    def as_dict(self) -> dict[str, str]:
        """The finding as plain data, for ``--json``."""
        return asdict(self)


class IntakeError(Exception):
    """Base class of all Vatside errors; not raised directly."""

    exit_code = 2

    def __init__(self, findings: Finding | str | Iterable[Finding]) -> None:
        self.summary = findings if isinstance(findings, str) else ""
        if isinstance(findings, str):
            self.findings: tuple[Finding, ...] = ()
        elif isinstance(findings, Finding):
            self.findings = (findings,)
        else:
            self.findings = tuple(findings)
        super().__init__(str(self))

    @property
    def rules(self) -> tuple[dict[str, object], ...]:
        """Rules of the farm that were broken, for ``--json``; empty for any other refusal."""
        return ()

    def __str__(self) -> str:
        return self.summary or "\n".join(str(finding) for finding in self.findings)


class BadInput(IntakeError, ValueError):
    """A file, an option or a form holds something that cannot be used."""


class OutOfRange(BadInput):
    """A formula was asked outside the range it was published for.

    Parameters
    ----------
    quantity
        Name and unit of the argument.
    value
        The value asked for, in that unit.
    low, high
        Published range, both ends included, in the same unit.
    source
        Where the range is published.
    """

    def __init__(self, quantity: str, value: float, low: float, high: float, source: str) -> None:
        self.quantity, self.value, self.low, self.high, self.source = quantity, value, low, high, source
        super().__init__(
            Finding(quantity, f"{value:g}", f"{low:g} to {high:g} ({source})", "The formula is not valid elsewhere.")
        )


class UnknownName(BadInput, LookupError):
    """A name that is not known; ``closest`` holds the nearest known ones, best first."""

    def __init__(self, where: str, value: str, closest: Iterable[str], kind: str = "name") -> None:
        self.closest = tuple(closest)
        do = f"Did you mean {', '.join(self.closest)}?" if self.closest else ""
        super().__init__(Finding(where, value, f"a known {kind}", do))


class Refused(IntakeError):
    """The input is sound but the act is not allowed; the finding says who or what could allow it."""


class StoreTrouble(IntakeError, OSError):
    """The ledger could not be read or written; nothing was written."""
