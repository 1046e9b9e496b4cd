"""TOML bytes to models, with every fault named by file, table, key, value and what was expected."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ValidationError

from intake.errors import BadInput, Finding

__all__ = ["ADD_THE_KEY", "findings_of", "model_of", "toml_of"]

Model = TypeVar("Model", bound=BaseModel)

ADD_THE_KEY: Final = "Add the key."
"""What to do about a key that is missing."""


def toml_of(data: bytes, file: str) -> dict[str, Any]:
    """Parse TOML bytes.

    Raises
    ------
    BadInput
        The bytes are not UTF-8 or not TOML; the finding names line and column.
    """
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise BadInput(
            Finding(
                f"{file}, byte {error.start}",
                data[error.start : error.start + 4].hex(" "),
                "UTF-8 text",
                "Save the file as UTF-8.",
            )
        ) from error
    except (ValueError, RecursionError) as error:  # not TOML; a number of 5,000 digits; brackets within brackets
        raise BadInput(Finding(file, str(error), "valid TOML", "Correct that line and try again.")) from error


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
        raise BadInput(findings_of(error, where)) from error


def findings_of(error: ValidationError, where: str) -> list[Finding]:
    """Turn pydantic's faults into findings in the words of the file."""
    return [_finding(fault, where) for fault in error.errors(include_url=False)]


def _finding(fault: Any, where: str) -> Finding:
    place = ", ".join([where, *_path(fault["loc"])])
    kind = fault["type"]
    if kind == "missing":
        return Finding(place, "", "a value", ADD_THE_KEY)
    if kind == "extra_forbidden":
        return Finding(place, str(fault["loc"][-1]), "one of the known keys", "Check the spelling or remove the key.")
    expected = fault["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    value = "" if isinstance(fault["input"], dict) else str(fault["input"])
    return Finding(place, value or "(as it stands)", expected)


def _path(parts: tuple[str | int, ...]) -> list[str]:
    words: list[str] = []
    for part in parts:
        if isinstance(part, int) and words:
            words[-1] = f"{words[-1]} #{part + 1}"
        else:
            words.append(str(part))
    return words
