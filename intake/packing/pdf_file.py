"""Opening a PDF that someone sent: locked, damaged and endless ones are refused in words."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from intake.errors import BadInput, Finding

if TYPE_CHECKING:
    from pypdf import PdfReader

__all__ = ["opened_pdf"]


@contextmanager
def opened_pdf(data: bytes, damaged: Finding, most_pages: int) -> Iterator[PdfReader]:
    """Read a PDF; whatever the library finds wrong inside the block counts as damage.

    Parameters
    ----------
    damaged
        What to say of a file that does not open; its ``where`` names the file.
    most_pages
        Pages above which it is not read.

    Raises
    ------
    BadInput
        A password, a damaged file, or too many pages.
    """
    from pypdf import PdfReader
    from pypdf.errors import PyPdfError

    told = logging.getLogger("pypdf")
    if not told.handlers:  # without one its remarks on the file reach the terminal beside our refusal
        told.addHandler(logging.NullHandler())
    try:
        reader = PdfReader(io.BytesIO(data))
        if reader.is_encrypted and not reader.decrypt(""):
            raise BadInput(Finding(damaged.where, "protected by a password", "a PDF that opens without one"))
        if len(reader.pages) > most_pages:
            raise BadInput(Finding(damaged.where, f"{len(reader.pages)} pages", f"at most {most_pages} pages"))
        yield reader
    except BadInput:
        raise
    except (PyPdfError, ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError, OSError) as error:
        raise BadInput(damaged) from error
