"""The recorded terminal session: commands of the tutorial as they were carried out, as a cast and as a picture of text."""

# ruff: noqa: TID251  # the book's own tools may open files

from __future__ import annotations

import json
from html import escape
from pathlib import Path

__all__ = ["cast", "picture"]

TUTORIAL = Path(__file__).resolve().parents[1] / "tutorial" / "first-farm.md"
SHOWN = (
    ("vatside expect list.csv --supplier lagoon --lands 2027-03-08T09:00", 9),
    ("vatside plan --accept", 17),
    ("vatside receive S1", 6),
    ("vatside reading Q1 temperature_c 26.1", 3),
    ("vatside claim S1", 9),
)
"""Command → most lines of what it said that are shown."""

_NAMESPACE = "http:" + "//www.w3.org/2000/svg"  # no address the book points to
_WIDE, _HIGH, _TOP, _LEFT = 740, 17, 44, 16
_STYLE = (
    "text{font:12.5px ui-monospace,'DejaVu Sans Mono',Menlo,Consolas,monospace;white-space:pre;fill:#222}"
    ".c{font-weight:700;fill:#000}"
)
_COLUMNS = 92
_TYPED_S, _SAID_S = 0.04, 0.6


def _session() -> list[tuple[str, list[str]]]:
    """The commands shown with what they printed, from the tutorial's console blocks, which are carried out and compared."""
    told: dict[str, list[str]] = {}
    into: list[str] | None = None
    for line in TUTORIAL.read_text(encoding="utf-8").splitlines():
        if line.startswith("$ "):
            into = []
            told[line[2:].partition("  # exit")[0]] = into
        elif line.startswith("```"):
            into = None
        elif into is not None:
            into.append(line)
    return [(command, _shortened(told[command], most)) for command, most in SHOWN]


def _shortened(lines: list[str], most: int) -> list[str]:
    shown = [line if len(line) <= _COLUMNS else f"{line[: _COLUMNS - 1]}…" for line in lines]
    while shown and not shown[-1]:
        shown.pop()
    return shown if len(shown) <= most else [*shown[: most - 1], f"… {len(shown) - most + 1} more lines"]


def cast() -> str:
    """The session in the asciicast v2 format (JSON lines); its times are made, so that the same session is the same file."""
    head = {
        "version": 2,
        "width": _COLUMNS,
        "height": 30,
        "title": "A shipment, from its list to its claim (invented farm)",
    }
    lines, at = [json.dumps(head)], 0.0
    for command, said in _session():
        for sign in f"$ {command}":
            at += _TYPED_S
            lines.append(json.dumps([round(at, 2), "o", sign], ensure_ascii=False))
        at += _SAID_S
        lines.append(
            json.dumps([round(at, 2), "o", "\r\n" + "".join(f"{line}\r\n" for line in said)], ensure_ascii=False)
        )
        at += _SAID_S
    return "\n".join(lines) + "\n"


def picture() -> str:
    """The same session as an SVG of text, readable in grey and by a screen reader."""
    rows: list[tuple[str, str]] = []
    for command, said in _session():
        rows += [("c", f"$ {command}"), *(("o", line) for line in said), ("o", "")]
    rows.pop()
    tall = _TOP + _HIGH * len(rows) + 8
    words = "A terminal session on the invented farm: " + "; ".join(command for command, _ in _session()) + "."
    parts = [
        f'<svg xmlns="{_NAMESPACE}" viewBox="0 0 {_WIDE} {tall}" width="{_WIDE}" height="{tall}" role="img">',
        f"<title>Vatside in a terminal</title><desc>{escape(words)}</desc>",
        f"<style>{_STYLE}</style>",
        f'<rect width="{_WIDE}" height="{tall}" rx="6" fill="#f6f6f6" stroke="#bbb"/>',
        *(f'<circle cx="{20 + 18 * n}" cy="18" r="5" fill="#ccc"/>' for n in range(3)),
    ]
    for number, (kind, line) in enumerate(rows):
        if line:
            y = _TOP + _HIGH * number
            parts.append(f'<text x="{_LEFT}" y="{y}" class="{kind}" xml:space="preserve">{escape(line)}</text>')
    return "\n".join([*parts, "</svg>"]) + "\n"
