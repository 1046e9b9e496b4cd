"""CSV bytes to models: one row, one model, with every fault named by file, row and column."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import TypeVar

from pydantic import BaseModel

from intake.errors import BadInput, Finding
from intake.library.library_reading import model_of

__all__ = ["rows_of"]

Model = TypeVar("Model", bound=BaseModel)


def rows_of(model: type[Model], data: bytes, file: str, lists: Mapping[str, str]) -> tuple[Model, ...]:
    """Every row of a table with a header row.

    Parameters
    ----------
    lists
        Columns that hold several values, each with the sign that parts them.

    Raises
    ------
    BadInput
        With a finding per fault: not UTF-8, a column that is missing or unknown, a value that cannot be used.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput(Finding(file, f"byte {error.start}", "UTF-8 text", "Save the file as UTF-8.")) from error
    found: list[Model] = []
    faults: list[Finding] = []
    for number, cells in _cells(text, file):
        filled: dict[str, object] = {key: value for key, value in cells.items() if value}
        for column, sign in lists.items():
            filled[column] = tuple(part for piece in cells.get(column, "").split(sign) if (part := piece.strip()))
        try:
            found.append(model_of(model, filled, f"{file}, row {number}"))
        except BadInput as error:
            faults.extend(error.findings)
    if faults:
        raise BadInput(faults)
    return tuple(found)


def _cells(text: str, file: str) -> Iterator[tuple[int, dict[str, str]]]:
    reader = csv.DictReader(io.StringIO(text, newline=""))
    try:
        for number, row in enumerate(reader, start=2):
            yield number, {str(key): str(value or "").strip() for key, value in row.items() if key is not None}
    except csv.Error as error:
        raise BadInput(Finding(f"{file}, row {reader.line_num}", str(error), "a row of cells")) from error
