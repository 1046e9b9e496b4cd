"""One row of the board's table of addresses: who answers, and which right is asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

__all__ = ["OPEN", "Way"]

OPEN: Final = "open"
"""In place of a right: nobody needs to be signed in."""


@dataclass(frozen=True, slots=True)
class Way:
    """One address by one method.

    Attributes
    ----------
    right
        A right of :data:`intake.app.access.roles.RIGHTS`, or :data:`OPEN`.
    fields
        Fields of its form or query, beside the form's seal.
    machine
        Answers a script: refusals are JSON, and there is no second address for programs.
    grouped
        Its act is written with those of others that wait: the handler asks for its turn itself.
    """

    method: str
    path: str
    handler: Callable[..., Any]
    right: str
    fields: tuple[str, ...] = ()
    machine: bool = False
    grouped: bool = False
