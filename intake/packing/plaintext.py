"""CSV bytes to rows of text: which encoding, which delimiter, and the refusal of what is no text at all."""

from __future__ import annotations

import csv
import io
from collections import Counter
from itertools import islice

from intake.errors import BadInput, Finding, many_of
from intake.packing.encodings import EAST_ASIAN, legacy_decodings
from intake.packing.fields import field_of
from intake.packing.grid import unseen_in
from intake.packing.workbook import MAX_CELLS, MAX_COLUMNS, MAX_ROWS
from intake.packing.workbook_walk import NARROW, READ_KINDS, SAVE, SPLIT

__all__ = ["decoded", "delimiter_of", "width_of"]

_DELIMITERS = (",", ";", "\t", "|", "^", "~", "¦")
_NAMED = {
    ",": "comma",
    ";": "semicolon",
    "\t": "tab",
    "|": "bar",
    "^": "caret",
    "~": "tilde",
    "¦": "broken bar",
}
_SAMPLE_ROWS = 200
_NO_WORSE = 0.05  # likelihoods closer than this do not distinguish two encodings


def decoded(data: bytes, file: str, told: str = "") -> tuple[str, str, tuple[str, ...]]:
    """Text of a CSV file, the name of its encoding, and other encodings that fit as well.

    UTF-8 with or without a byte-order mark, UTF-16 with or without one, otherwise the older one under which its
    headings and signs make sense.  ``told`` names it for the reader.

    Raises
    ------
    BadInput
        The bytes are no text in any of them.
    """
    if told:
        return _decode(data, told, file), told, ()
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return _decode(data, encoding, file), encoding, ()
    zeros_even, zeros_odd = data[0:2000:2].count(0), data[1:2000:2].count(0)
    if zeros_odd > 4 * (zeros_even + 1) and len(data) % 2 == 0:
        return _decode(data, "utf-16-le", file), "utf-16-le", ()
    if zeros_even > 4 * (zeros_odd + 1) and len(data) % 2 == 0:
        return _decode(data, "utf-16-be", file), "utf-16-be", ()
    text, encoding, others = _unmarked(data, file)
    if unseen_in(text[:20_000]) > 4 + len(text[:20_000]) // 50:
        raise BadInput(Finding(file, "bytes that are no text", READ_KINDS, SAVE))
    return text, encoding, others


def _unmarked(data: bytes, file: str) -> tuple[str, str, tuple[str, ...]]:
    try:
        return data.decode("utf-8"), "utf-8", ()
    except UnicodeDecodeError:
        found = legacy_decodings(data)
    if not found:
        return _decode(data, "cp1252", file), "cp1252", ()
    best = found[0]
    alike = [each for each in found[1:] if each.headings == best.headings and each.likely > best.likely - _NO_WORSE]
    open_ones = tuple(each.encoding for each in alike if each.text != best.text and best.likely < 1)
    both_asian = best.encoding in EAST_ASIAN and any(name in EAST_ASIAN for name in open_ones)
    return best.text, best.encoding, open_ones if both_asian else ()


def _decode(data: bytes, encoding: str, file: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].decode(encoding, "ignore").count("\n") + 1
        met = f"bytes {data[error.start : error.start + 4].hex(' ')} that no {encoding.upper()} text has"
        raise BadInput(Finding(f"{file}, line {line}", met, "text", "Save the list again as UTF-8 or XLSX.")) from error


def delimiter_of(text: str) -> tuple[str, str]:
    """The delimiter of a CSV text, and why it was taken.

    The one that parts the most headings we know wins; then the one that parts the most rows alike.  A first line
    ``sep=;``, as spreadsheets write it, settles the matter.
    """
    first = text[:8].strip().lower()
    if first.startswith("sep=") and len(first) > 4:
        return first[4], "the file says so in its first line"
    best, best_score = ",", (0, 0)
    for delimiter in _DELIMITERS:
        rows = _rows(text, delimiter)
        if not rows:
            continue
        known = max(len({field for cell in row if (field := field_of(cell))}) for row in rows)
        widths = Counter(len(row) for row in rows if len(row) > 1)
        width, alike = widths.most_common(1)[0] if widths else (1, 0)
        score = (known, (width - 1) * alike)
        if score > best_score:
            best, best_score = delimiter, score
    return best, f"separated by {_NAMED[best]}: {many_of(best_score[0], 'heading')} recognized"


def _rows(text: str, delimiter: str) -> list[list[str]]:
    try:
        reader = csv.reader(io.StringIO(text[:400_000], newline=""), delimiter=delimiter)
        return [row for row in islice(reader, _SAMPLE_ROWS) if any(cell.strip() for cell in row)]
    except csv.Error:
        return []


def width_of(text: str, delimiter: str, file: str) -> int:
    """Fields of the widest row.

    Raises
    ------
    BadInput
        More rows, columns or cells than a packing list has, or quoting that cannot be followed.
    """
    width = cells = number = 0
    try:
        for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), start=1):
            width, cells = max(width, len(row)), cells + len(row)
            if number > MAX_ROWS:
                raise BadInput(Finding(file, f"more than {MAX_ROWS:,} rows", f"at most {MAX_ROWS:,} rows", SPLIT))
            if width > MAX_COLUMNS:
                raise BadInput(
                    Finding(f"{file}, row {number}", f"{width} columns", f"at most {MAX_COLUMNS} columns", NARROW)
                )
            if cells > MAX_CELLS:
                raise BadInput(Finding(file, f"more than {MAX_CELLS:,} cells", f"at most {MAX_CELLS:,} cells", SPLIT))
    except csv.Error as error:
        raise BadInput(
            Finding(
                f"{file}, row {number + 1}",
                "a quotation mark that is never closed, or a cell longer than any list has",
                "quotation marks in pairs",
                SAVE,
            )
        ) from error
    return width
