"""The head of the ledger: how many entries there are and what the last of them seal, in a line that fits on paper.

Every seal stands for all entries before it, so who holds a printed head can find later whether the ledger was cut or written
again up to there.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from intake.errors import BadInput, Finding

__all__ = ["Head", "digest", "parse"]

_DIGITS: Final = 20
_FORM: Final = re.compile(r"^(\d{1,12})-(\d{1,12})-([0-9a-f]{20})$")


@dataclass(frozen=True, slots=True)
class Head:
    """How many movements and records there were, the hash over the seals of the last of each, and when it was taken.

    Attributes
    ----------
    at
        When the last entry was recorded; ``None`` for empty books, or when read from paper.
    """

    movements: int
    records: int
    hash: str
    at: datetime | None = None

    def __str__(self) -> str:
        return f"{self.movements}-{self.records}-{self.hash}"

    @property
    def entries(self) -> int:
        """Movements and records together."""
        return self.movements + self.records


def digest(movement_seal: str, record_seal: str) -> str:
    """Hash of a head: the first 80 bits of SHA-256 over both seals.

    No one can look for two books of one hash at leisure, since the first are printed before the second are made up; to
    meet a given one of 80 bits is out of reach (NIST SP 800-107r1, section 5.1, on truncated digests; from memory).
    """
    return hashlib.sha256(f"{movement_seal}\n{record_seal}".encode()).hexdigest()[:_DIGITS]


def parse(text: str) -> Head:
    """Head as it was printed; spaces and capital letters do not matter.

    Raises
    ------
    BadInput
        It is none.
    """
    found = _FORM.match("".join(text.split()).lower())
    if found is None:
        do = "Copy it from the foot of a sheet, or from `vatside check`."
        raise BadInput(Finding("--against", text, "a head such as 812-2310-0f3a9c27d1e84b5a6c90", do))
    return Head(int(found[1]), int(found[2]), found[3])
