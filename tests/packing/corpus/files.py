"""The same invented list in every kind of file and encoding."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

from tests.packing.books import csv_of
from tests.packing.corpus.binary import xls_of, xlsb_of
from tests.packing.corpus.layouts import BASE, Case, head, row, title, total, typed
from tests.packing.corpus.words import LANGUAGES, Words

Rows = list[list[Any]]


def rows_of(words: Words) -> Rows:
    """The usual list."""
    return [*title(words), head(words), *(row(one, words) for one in BASE), total(words)]


def cases() -> dict[str, Case]:
    """Kinds of file by name."""
    english, german = LANGUAGES["en"], LANGUAGES["de"]
    made: dict[str, Callable[[], bytes]] = {
        "tab": lambda: csv_of(rows_of(english), "\t"),
        "bar": lambda: csv_of(rows_of(english), "|"),
        "caret": lambda: csv_of(rows_of(english), "^"),
        "utf-16": lambda: csv_of(rows_of(german), ";").decode().encode("utf-16"),
        "windows-1252": lambda: csv_of(rows_of(german), ";").decode().encode("cp1252"),
        "windows-1256": lambda: csv_of(rows_of(LANGUAGES["ar"])).decode().encode("cp1256"),
        "shift-jis": lambda: csv_of(rows_of(LANGUAGES["ja"])).decode().encode("cp932"),
        "gb18030": lambda: csv_of(rows_of(LANGUAGES["zh"])).decode().encode("gb18030"),
        "xls": lambda: xls_of(typed(rows_of(english))),
        "xlsb": lambda: xlsb_of(typed(rows_of(english))),
        "web page called xls": lambda: html_of(rows_of(english)),
        "text pasted from a page": lambda: text_of(rows_of(english)).encode(),
        "pdf": lambda: pdf_of(rows_of(english)),
    }
    return {f"file-{name}": Case(make(), BASE) for name, make in made.items()}


def html_of(rows: Rows) -> bytes:
    """Rows as the table of a web page."""
    body = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in each) + "</tr>" for each in rows)
    return f'<html><head><meta charset="utf-8"></head><body><table border=1>{body}</table></body></html>'.encode()


def text_of(rows: Rows) -> str:
    """Rows as text in columns parted by blanks, as it is pasted from a page."""
    widths = [
        max((len(str(each[n])) for each in rows if len(each) > 3 and str(each[3])), default=0) + 3 for n in range(6)
    ]
    lines = []
    for each in rows:
        lone = len([cell for cell in each if cell != ""]) == 1
        lines.append(
            str(each[0])
            if lone
            else "".join(str(cell).ljust(width) for cell, width in zip(each, widths, strict=False)).rstrip()
        )
    return "\n".join(lines)


def pdf_of(rows: Rows) -> bytes:
    """Rows printed on a page."""
    from reportlab.lib.pagesizes import A4
    from reportlab.pdfgen.canvas import Canvas

    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=A4, invariant=1)
    canvas.setFont("Helvetica", 9)
    for number, each in enumerate(rows):
        for place, cell in zip((40, 90, 220, 290, 350, 450), each, strict=False):
            canvas.drawString(place, 780 - 16 * number, str(cell))
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()
