"""Questions and answers of one list as a commented file a person fills in, and read back."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping

from intake.errors import BadInput, Finding
from intake.packing.asking import STOP
from intake.packing.understanding import Understanding

__all__ = ["answer_text", "answers_in"]

_MOST_BYTES = 1_000_000


def answer_text(found: Understanding, told: Mapping[str, str]) -> str:
    """The answers given so far, and each open question as a comment above the line that would answer it (TOML)."""
    lines = [
        f"# Answers for {found.file}, supplier {found.supplier}.",
        "# Take the # off a line and write the answer between the quotes; then run the same command again.",
        f'# Any question also takes "{STOP}": nothing is entered, and the supplier is asked for a corrected list.',
        "",
    ]
    lines += [f"{json.dumps(key, ensure_ascii=False)} = {_quoted(value)}" for key, value in sorted(told.items())]
    for question in found.questions:
        lines += ["", f"# {_one_line(question.what)}"]
        if question.choices:
            lines.append(f"# one of: {', '.join(map(_one_line, question.choices))}")
            lines += [f"#   {choice}: {words}" for choice in question.choices if (words := question.meaning(choice))]
        if question.free:
            lines.append(f"# {'or' if question.choices else 'write'}: {_one_line(question.free)}")
        first = question.choices[0] if len(question.choices) else ""
        lines.append(f"#{json.dumps(question.key, ensure_ascii=False)} = {_quoted(first)}")
    if found.problems:
        lines += ["", "# To be corrected in the list itself:"]
        lines += [f"#   {_one_line(str(problem))}" for problem in found.problems]
    return "\n".join([*lines, ""])


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _quoted(text: str) -> str:
    # A JSON string is a TOML basic string as long as what TOML forbids is escaped, which JSON does too but for DEL.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def answers_in(data: bytes, file: str) -> dict[str, str]:
    """Question → answer from such a file.

    Raises
    ------
    BadInput
        No TOML, or something else than texts in it: every fault with its key.
    """
    if len(data) > _MOST_BYTES:
        raise BadInput(Finding(file, f"{len(data):,} bytes", f"at most {_MOST_BYTES:,} bytes"))
    try:
        told = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        words = 'lines such as "size-unit" = "cm"'
        raise BadInput(Finding(file, str(error)[:200], words, "Correct the line, or delete the file.")) from error
    faults = [Finding(f"{file}, {key}", str(value)[:60], 'a text in quotes, such as "cm"') for key, value in told.items()
              if not isinstance(value, str)]  # fmt: skip
    if faults:
        raise BadInput(faults)
    return {str(key): str(value) for key, value in told.items()}
