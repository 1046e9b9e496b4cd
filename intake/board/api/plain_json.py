"""Facts of a page as JSON: dates in ISO 8601, no pictures, no secrets."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time
from typing import Any, Final

from markupsafe import Markup

__all__ = ["plain"]

_SECRET: Final = frozenset({"asked", "hash", "token", "form_token", "code", "problem", "request"})


def plain(value: Any) -> Any:
    """A value of a page in what JSON knows; pictures are left out, unknown things become their words."""
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Markup):
        return None
    if isinstance(value, str):
        return None if value.startswith("<svg") else value
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    return _made_of(value)


def _made_of(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(name): plain(one) for name, one in value.items() if str(name) not in _SECRET}
    if isinstance(value, list | tuple | set | frozenset) or hasattr(value, "__next__"):
        return [plain(one) for one in value]
    if hasattr(value, "as_dict"):
        return plain(value.as_dict())
    if hasattr(value, "model_dump"):
        return plain(value.model_dump(mode="json"))
    if is_dataclass(value):
        named = (one.name for one in fields(value) if one.name not in _SECRET and not one.name.startswith("_"))
        return {name: plain(getattr(value, name)) for name in named}
    return str(value)
