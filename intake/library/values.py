"""What every library value carries besides the figure: how it is known and from where."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, model_validator

__all__ = ["Evidence", "Sourced", "Strict"]

Evidence = Literal[
    "published", "derived", "recomputed", "secondary", "prescribed", "practice", "memory", "default", "none"
]


class Strict(BaseModel):
    """A frozen model that refuses keys it does not know, so that a misspelt key is never silently ignored."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)


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
