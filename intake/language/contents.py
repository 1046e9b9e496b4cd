"""Numbers of a whole content written as a language writes them: last of all, after the farm's units were put to them."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, Final, TypeVar, cast

from intake.language.speaking import Language

__all__ = ["in_figures"]

T = TypeVar("T")

_NAMES: Final = frozenset({"address", "count_address", "batch", "vat", "code", "boxes", "language", "key"})
"""Fields that name something: what looks like a number in them is none."""


def in_figures(content: T, language: Language) -> T:
    """The same content with every number in its texts as the language writes it; English contents are not touched."""
    return content if language.english else cast("T", _written(content, language))


def _written(content: Any, language: Language) -> Any:
    if isinstance(content, str):
        return language.figures(content)
    if dataclasses.is_dataclass(content) and not isinstance(content, type):
        names = [one.name for one in dataclasses.fields(content) if one.init and one.name not in _NAMES]
        return dataclasses.replace(content, **{name: _written(getattr(content, name), language) for name in names})
    if isinstance(content, tuple | list):
        return type(content)(_written(one, language) for one in content)
    if isinstance(content, Mapping):
        return {key: _written(value, language) for key, value in content.items()}
    return content
