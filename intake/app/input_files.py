"""The one place that reads a file a person names: an ordinary file of ordinary size, or a refusal in words."""

from __future__ import annotations

from pathlib import Path

from intake.errors import BadInput, Finding, StoreTrouble

__all__ = ["LARGEST_BYTES", "read_file"]

LARGEST_BYTES = 64_000_000
"""Largest file read; a photograph of a phone has a tenth of it."""


def read_file(path: Path, what: str, *, largest: int = LARGEST_BYTES) -> bytes:
    """The bytes of a file.

    Parameters
    ----------
    what
        What it should be, in words for a refusal: ``a packing list``.
    largest
        Most bytes taken; no more than that is ever read.

    Raises
    ------
    BadInput
        No such file, a folder, a device or pipe, or too large.
    StoreTrouble
        It cannot be read.
    """
    try:
        if path.exists() and not path.is_file():
            raise BadInput(Finding(str(path), "no ordinary file", what))
        with path.open("rb") as file:
            data = file.read(largest + 1)
    except BadInput:
        raise
    except FileNotFoundError as error:
        raise BadInput(Finding(str(path), "no such file", what)) from error
    except ValueError as error:  # a name with a NUL in it
        raise BadInput(Finding(repr(str(path)), "not a file name", what)) from error
    except OSError as error:
        raise StoreTrouble(Finding(str(path), error.strerror or str(error), "a readable file")) from error
    if len(data) > largest:
        raise BadInput(
            Finding(str(path), f"more than {largest / 1e6:.0f} MB", f"{what} of at most {largest / 1e6:.0f} MB")
        )
    return data
