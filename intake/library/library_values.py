"""What every library value carries besides the figure: how it is known and from where."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, ValidationInfo, field_validator, model_validator

__all__ = ["Evidence", "Sourced", "Strict"]

Evidence = Literal[
    "published", "derived", "recomputed", "secondary", "prescribed", "practice", "memory", "default", "none"
]


class Strict(BaseModel):
    """A frozen model that refuses keys it does not know, so that a misspelt key is never silently ignored."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)

    @field_validator("*", mode="before")
    @classmethod
    def _within_reason(cls, value: Any, info: ValidationInfo) -> Any:
        """Refuse what no table of a farm says: ``true`` for a number, 1e308, a character that cannot be printed."""
        field = cls.model_fields.get(str(info.field_name))
        truth = field is None or "bool" in str(field.annotation)
        for one in _scalars(value):
            if isinstance(one, bool):
                if not truth:
                    msg = "a number or a text, not true or false"
                    raise ValueError(msg)
            elif isinstance(one, (int, float)):
                if abs(one) > LARGEST_NUMBER and abs(one) != float("inf"):
                    msg = f"a number of at most {LARGEST_NUMBER:,.0f}"
                    raise ValueError(msg)
            elif any(sign < " " and sign not in "\t\n\r" for sign in one):
                msg = "text without control characters"
                raise ValueError(msg)
        return value


LARGEST_NUMBER: Final = 1e9
"""Largest number a table may hold: no vat, price or count of a farm comes near; above it sums lose single animals."""


def _scalars(value: Any) -> Iterator[bool | int | float | str]:
    """Numbers, truths and texts of a value, one list deep; tables inside it are models of their own."""
    for one in value if isinstance(value, (list, tuple)) else (value,):
        if isinstance(one, (bool, int, float, str)):
            yield one


class Sourced(Strict):
    """A value with its provenance.

    Attributes
    ----------
    source
        Citation tags of ``sources.csv`` and what was read there; ``common practice, no source`` where there is none.
    evidence
        ``published`` read in a source; ``derived`` our arithmetic on published figures; ``recomputed`` with a reference
        library; ``secondary`` read in a page that quotes papers; ``practice`` common practice, no source; ``memory``
        from memory, not confirmed; ``default`` a placeholder of ours that the farm should overwrite; ``none`` nothing
        was found; ``prescribed`` by the person and reference of an order, never by the library.
    checked
        Who checked the value and when, filled in by the farm.
    """

    source: str
    evidence: Evidence
    checked: str = ""

    @property
    def unsourced(self) -> bool:
        """Whether sheets and events must mark the value as having no published source."""
        return self.evidence in {"practice", "memory", "default", "none"}

    @model_validator(mode="after")
    def _source_is_named(self) -> Sourced:
        if not self.source.strip():
            msg = "a source, or the words 'common practice, no source'"
            raise ValueError(msg)
        return self
