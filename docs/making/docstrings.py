"""Reading numpy-style docstrings: the first sentence, and what each attribute means."""

from __future__ import annotations

import inspect
import re

__all__ = ["attributes_of", "summary_of"]

_SECTION = re.compile(r"^(Attributes|Parameters)\n-+\n", re.MULTILINE)
_NEXT = re.compile(r"^\w[\w ]*\n-+\n", re.MULTILINE)
_ROLE = re.compile(r":\w+:`~?(?:[\w.]+\.)?(\w+)`")


def _clean(text: str) -> str:
    return _ROLE.sub(r"`\1`", " ".join(text.split())).replace("``", "`")


def summary_of(thing: object) -> str:
    """Everything before the first section, as one paragraph."""
    text = inspect.getdoc(thing) or ""
    cut = _NEXT.search(text)
    return _clean(text[: cut.start()] if cut else text)


def attributes_of(cls: type) -> dict[str, str]:
    """Attribute → meaning, from the class's own docstring and those of its bases; several names may share a line."""
    found: dict[str, str] = {}
    for each in reversed(cls.__mro__):
        text = inspect.cleandoc(each.__dict__.get("__doc__") or "")
        start = _SECTION.search(text)
        if start is None:
            continue
        rest = text[start.end() :]
        end = _NEXT.search(rest)
        names: list[str] = []
        for line in (rest[: end.start()] if end else rest).split("\n"):
            if line and not line.startswith(" "):
                names = [name.strip() for name in line.split(",")]
            elif line.strip():
                for name in names:
                    found[name] = f"{found.get(name, '')} {line.strip()}".strip()
    return {name: _clean(text) for name, text in found.items()}
