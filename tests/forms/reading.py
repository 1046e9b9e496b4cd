"""Reads back what a PDF says."""

from __future__ import annotations

import io
import unicodedata

from pypdf import PdfReader


def reader(data: bytes) -> PdfReader:
    """The PDF opened."""
    return PdfReader(io.BytesIO(data))


def pages(data: bytes) -> list[str]:
    """Text of each page, spaces of any kind made plain and runs of them one."""
    texts = (page.extract_text() for page in reader(data).pages)
    return [" ".join(unicodedata.normalize("NFC", text).replace("\xa0", " ").split()) for text in texts]


def text_of(data: bytes) -> str:
    """All text on one line."""
    return " ".join(pages(data))


def lines_of(data: bytes) -> list[str]:
    """Lines of all pages in the order they were drawn, for goldens."""
    return [
        " ".join(line.replace("\xa0", " ").split())
        for page in reader(data).pages
        for line in page.extract_text().splitlines()
        if line.strip()
    ]


def says(data: bytes, words: str) -> bool:
    """True if every word of `words` stands whole somewhere in the PDF."""
    there = set(text_of(data).split())
    return all(word in there for word in words.split())
