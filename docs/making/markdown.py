"""Small pieces of Markdown that the generated pages are put together from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

__all__ = ["bullets", "cell", "heading_slug", "page", "table"]

NOTE = "*Made from the code by `python docs/build.py`; do not edit.*"


def cell(text: object) -> str:
    """Text that may stand in a cell of a table."""
    return " ".join(str(text).split()).replace("|", "\\|")


def table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table with its head; empty cells stay empty."""
    lines = [f"| {' | '.join(heads)} |", f"|{'---|' * len(heads)}"]
    lines += [f"| {' | '.join(cell(one) for one in row)} |" for row in rows]
    return "\n".join(lines)


def bullets(lines: Iterable[str]) -> str:
    """A list."""
    return "\n".join(f"- {line}" for line in lines)


def page(title: str, *parts: str) -> str:
    """A whole generated page: title, note and parts, parted by empty lines."""
    return "\n\n".join([f"# {title}", NOTE, *(part.strip("\n") for part in parts if part.strip())]) + "\n"


def heading_slug(text: str) -> str:
    """The anchor of a heading: small letters, spaces to hyphens, punctuation left out (as forges do)."""
    kept = [sign for sign in text.strip().lower() if sign.isalnum() or sign in " -_"]
    return "".join(kept).replace(" ", "-")
