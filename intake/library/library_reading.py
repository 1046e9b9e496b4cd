"""TOML bytes to models, with every fault named by file, table, key, value and what was expected."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from types import UnionType
from typing import Any, Final, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from intake.errors import BadInput, Finding, many_of, quoted

__all__ = ["ADD_THE_KEY", "as_written", "findings_of", "model_of", "toml_of"]

Model = TypeVar("Model", bound=BaseModel)

ADD_THE_KEY: Final = "Add the key."
"""What to do about a key that is missing."""
_CORRECT: Final = "Correct that line and try again."
_CORRECT_IT: Final = "Correct the value."
_LINES: Final = 'valid TOML: lines such as name = "value"'
_TWICE: Final = ("Cannot overwrite", "Cannot declare", "Cannot mutate", "Cannot redefine", "Duplicate")
_AT = re.compile(r"\(at line (\d+), column (\d+)\)$")
_GIVEN = frozenset({"id"})  # named by the table's own heading
_KINDS: Final[Mapping[str, str]] = {
    "float": "a number, such as 1.5",
    "int": "a whole number, such as 3",
    "string_type": "a text in quotes",
    "string_sub": "a text in quotes",
    "bool": "true or false, without quotes",
    "tuple": 'a list in brackets, such as ["one", "two"]',
    "list": 'a list in brackets, such as ["one", "two"]',
    "time": "a time of day, such as 08:30",
    "date": "a date, such as 2027-03-05",
    "finite_number": "a finite number",
    "model": "a table",
    "dict": "a table",
}
"""How a pydantic error type starts → what would have been accepted."""
_BOUNDS: Final[Mapping[str, tuple[str, str]]] = {
    "greater_than": ("a number above", "gt"),
    "greater_than_equal": ("a number of at least", "ge"),
    "less_than": ("a number below", "lt"),
    "less_than_equal": ("a number of at most", "le"),
}
_PATTERNS: Final[Mapping[str, str]] = {
    r"^([A-Z]{2})?$": "the two capital letters of a country, such as US",
    r"^[A-Z]{3}$": "the three capital letters of a currency, such as USD",
    r"^(postgresql://.+)?$": "an address that starts with postgresql://",
    r"^([^@\s<>,]+@[^@\s<>,]+)?$": "an e-mail address",
    r"^([A-Za-z0-9][A-Za-z0-9_.-]{0,39})?$": "up to 40 letters, digits, dots, hyphens or underscores",
}
"""Patterns of texts in a farm file, in words."""


def toml_of(data: bytes, file: str) -> dict[str, Any]:
    """Parse TOML bytes.

    Raises
    ------
    BadInput
        The bytes are not UTF-8 or not TOML; the finding names the line and shows it.
    """
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        met = f"bytes {data[error.start : error.start + 4].hex(' ')} that no UTF-8 text has"
        raise BadInput(Finding(f"{file}, line {line}", met, "UTF-8 text", "Save the file as UTF-8.")) from error
    except RecursionError as error:
        met = "brackets within brackets within brackets"
        raise BadInput(Finding(file, met, "tables and lists as in the commented farm file", _CORRECT)) from error
    except ValueError as error:  # not TOML; a number of 5,000 digits
        raise BadInput(_not_toml(str(error), data.decode("utf-8-sig"), file)) from error


def _not_toml(words: str, text: str, file: str) -> Finding:
    """What the reader of TOML says, beside the line it stopped at."""
    found = _AT.search(words)
    if found is None:
        at_the_end = words.endswith("(at end of document)")
        met = "the file ends within a value" if at_the_end else "a number or date that is none"
        return Finding(file, met, _LINES, _CORRECT)
    number, column = int(found[1]), int(found[2])
    lines = text.splitlines()
    line = lines[number - 1].strip() if number <= len(lines) else ""
    told = words[: found.start()].strip()
    if told.startswith(_TWICE):
        return Finding(
            f"{file}, line {number}", f"{quoted(line)} is written twice", "each key and table once", _CORRECT
        )
    met = f"{quoted(line)} cannot be read from column {column} on ({told[:1].lower()}{told[1:]})" if line else told
    return Finding(f"{file}, line {number}", met, _LINES, _CORRECT)


def model_of(model: type[Model], table: Mapping[str, Any], where: str) -> Model:
    """Validate one table; every fault of it becomes a finding.

    Raises
    ------
    BadInput
        With one finding for each fault.
    """
    try:
        return model.model_validate(table)
    except ValidationError as error:
        raise BadInput(findings_of(error, where, model)) from error


def findings_of(error: ValidationError, where: str, model: type[BaseModel] | None = None) -> list[Finding]:
    """Turn pydantic's faults into findings in the words of the file; ``model`` says which keys there are."""
    return [_finding(fault, where, model) for fault in error.errors(include_url=False)]


def _finding(fault: Any, where: str, model: type[BaseModel] | None) -> Finding:
    place = ", ".join([where, *_path(fault["loc"])])
    kind, key = fault["type"], str(fault["loc"][-1]) if fault["loc"] else ""
    if kind == "missing":
        if _is_table(model, fault["loc"]):
            return Finding(place, "", f"at least one table, written [{key}.NAME]", "Add the table.")
        return Finding(place, "", "a value", ADD_THE_KEY)
    if kind == "extra_forbidden":
        known = sorted(_keys_at(model, fault["loc"][:-1]))
        close = get_close_matches(key, known, n=3, cutoff=0.65)
        do = f"Did you mean {' or '.join(close)}? Otherwise remove it." if close else "Check the spelling or remove it."
        return Finding(place, "not a known key", "a key of this table" if close else _listed(known), do)
    if isinstance(fault["input"], Mapping) and kind == "value_error":
        return Finding(place, "incomplete or contradictory", _expected(fault), "Correct the table.")
    return Finding(place, as_written(fault["input"]), _expected(fault), _CORRECT_IT)


def _expected(fault: Any) -> str:
    """What would have been accepted, in words that need no programmer."""
    bounds: Mapping[str, Any] = fault.get("ctx", {})
    kind = fault["type"]
    if kind in _BOUNDS:
        words, name = _BOUNDS[kind]
        return f"{words} {bounds[name]:,g}" if isinstance(bounds[name], int | float) else f"{words} {bounds[name]}"
    for end, name in (("too_short", "min_length"), ("too_long", "max_length")):
        if kind.endswith(end):
            thing = "character" if kind.startswith("string") else "entry"
            few = "at least" if end == "too_short" else "at most"
            return f"{few} {many_of(bounds[name], thing)}".replace("entrys", "entries")
    for start, words in _KINDS.items():
        if kind.startswith(start):
            return words
    if kind == "string_pattern_mismatch":
        return _PATTERNS.get(str(bounds["pattern"]), "a text written in another way")
    told: str = fault["msg"]
    return told.removeprefix("Value error, ").removeprefix("Input should be ")


def as_written(value: Any) -> str:
    """A value as TOML has it; a table is told by its keys."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if value == "":
        return "an empty text"
    if isinstance(value, Mapping):
        return f"a table with {', '.join(map(str, value))}" if value else "an empty table"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(as_written, value))}]"
    return str(value)


def _keys_at(model: type[BaseModel] | None, parts: tuple[str | int, ...]) -> frozenset[str]:
    """The keys a table may have, as the file writes them; empty where no model says."""
    there: Any = model
    for part in parts:
        there = _under(there, part)
    if not _is_model(there):
        return frozenset()
    known = frozenset(field.alias or name for name, field in there.model_fields.items()) - _GIVEN
    return known | {name for name, metric in getattr(there, "OTHER_KEYS", {}).items() if metric in known}


def _is_table(model: type[BaseModel] | None, parts: tuple[str | int, ...]) -> bool:
    there: Any = model
    for part in parts:
        there = _under(there, part)
    return _is_model(there) or get_origin(there) is dict


def _under(there: Any, part: str | int) -> Any:
    """The type of what stands under a key, or at a place of a list."""
    if _is_model(there):
        named = {field.alias or name: field.annotation for name, field in there.model_fields.items()}
        there = named.get(str(part))
        inner = [one for one in get_args(there) if one is not type(None)]
        return inner[0] if get_origin(there) in (Union, UnionType) and len(inner) == 1 else there
    inside = get_args(there)
    return inside[-1 if get_origin(there) is dict else 0] if inside else None


def _is_model(there: Any) -> bool:
    return isinstance(there, type) and issubclass(there, BaseModel)


def _listed(known: list[str]) -> str:
    if not known:
        return "one of the known keys"
    return f"one of {', '.join(known)}"


def _path(parts: tuple[str | int, ...]) -> list[str]:
    words: list[str] = []
    for part in parts:
        if isinstance(part, int) and words:
            words[-1] = f"{words[-1]} #{part + 1}"
        else:
            words.append(str(part))
    return words
