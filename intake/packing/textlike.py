"""Tables that are no spreadsheet: text in columns parted by blanks, pages of a PDF, tables of a web page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html.parser import HTMLParser

from intake.errors import BadInput, Finding
from intake.packing.fields import field_of
from intake.packing.grid import Merge, Sheet
from intake.packing.pdf_file import opened_pdf
from intake.packing.workbook import MAX_CELLS, MAX_COLUMNS, MAX_ROWS
from intake.packing.workbook_walk import READ_KINDS, SAVE

__all__ = ["columns_of_text", "html_sheets", "pdf_text"]

_TOKEN = re.compile(r"\S+(?: \S+)*")
_MOST_PAGES = 300
_LEFT, _RIGHT = 0, 1


def columns_of_text(lines: Sequence[str]) -> tuple[tuple[object, ...], ...] | None:
    """Rows of a text whose columns are parted by two blanks or more; ``None`` when no line heads such columns.

    Each word group goes to the heading it stands under: the one it overlaps, otherwise the nearest.
    """
    spread = [line.expandtabs(8) for line in lines]
    headed = [
        (len({field for token in _TOKEN.findall(line) if (field := field_of(token))}), n)
        for n, line in enumerate(spread)
    ]
    known, head = max(headed, key=lambda each: (each[0], -each[1]), default=(0, 0))
    if known < 2:
        return None
    spans = [found.span() for found in _TOKEN.finditer(spread[head])]
    rows: list[tuple[object, ...]] = []
    for line in spread:
        found = [(each[0], each.span()) for each in _TOKEN.finditer(line)]
        if len(found) < 2:
            rows.append((line.strip(),) if line.strip() else ())
            continue
        cells: list[str] = [""] * len(spans)
        for text, span in found:
            place = _column(span, spans)
            cells[place] = f"{cells[place]} {text}".strip()
        rows.append(tuple(cells))
    return tuple(rows)


def _column(span: tuple[int, int], spans: Sequence[tuple[int, int]]) -> int:
    def apart(place: int) -> tuple[int, int]:
        start, end = spans[place]
        overlap = min(end, span[_RIGHT]) - max(start, span[_LEFT])
        edge = min(abs(start - span[_LEFT]), abs(end - span[_RIGHT]))
        return (-overlap if overlap > 0 else 0, edge if overlap > 0 else max(start - span[_RIGHT], span[_LEFT] - end))

    return min(range(len(spans)), key=apart)


def pdf_text(data: bytes, file: str) -> list[str]:
    """Lines of a PDF, words where they stand on the page.

    Raises
    ------
    BadInput
        A password, a damaged file, a scan without text, or more than three hundred pages.
    """
    damaged = Finding(file, "a damaged PDF", "a PDF that opens", "Ask the supplier for the list as a spreadsheet.")
    with opened_pdf(data, damaged, _MOST_PAGES) as reader:
        pages = [page.extract_text(extraction_mode="layout") for page in reader.pages]
    lines = [line for page in pages for line in page.splitlines()]
    if not any(line.strip() for line in lines):
        words = "Ask the supplier for the list as a spreadsheet, or type it."
        raise BadInput(Finding(file, "a PDF of pictures, without text", "a PDF whose text can be marked", words))
    return lines


def html_sheets(text: str, file: str) -> tuple[Sheet, ...]:
    """Every table of a web page as a sheet, cells that span others as merges.

    Raises
    ------
    BadInput
        No table in it, or a larger one than any packing list.
    """
    parser = _Tables(file)
    parser.feed(text)
    parser.close()
    tables = [table for table in parser.tables if any(any(cell for cell in row) for row in table.rows)]
    if not tables:
        raise BadInput(Finding(file, "a web page without a table", READ_KINDS, SAVE))
    return tuple(
        Sheet(f"table {number}", tuple(tuple(row) for row in table.rows), tuple(table.merges))
        for number, table in enumerate(tables, start=1)
    )


class _Table:
    """One table while its cells come in."""

    def __init__(self) -> None:
        self.rows: list[list[str]] = []
        self.merges: list[Merge] = []
        self.taken: set[tuple[int, int]] = set()
        self.open = False

    def place(self, across: int, down: int) -> None:
        """Open a cell at the next free place of the last row."""
        row = len(self.rows) - 1
        column = len(self.rows[-1])
        while (row, column) in self.taken:
            self.rows[-1].append("")
            column += 1
        self.rows[-1].append("")
        if across * down > 1:
            self.merges.append(Merge(row + 1, column + 1, row + down, column + across))
            self.taken.update((row + y, column + x) for y in range(down) for x in range(across))
        self.open = True


class _Tables(HTMLParser):
    """Collects tables; the text of a cell goes to the innermost one."""

    def __init__(self, file: str) -> None:
        super().__init__(convert_charrefs=True)
        self.file, self.tables, self.stack, self.cells = file, list[_Table](), list[_Table](), 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take in the start of an element."""
        if tag == "table":
            self.stack.append(_Table())
            self.tables.append(self.stack[-1])
        elif tag == "tr" and self.stack:
            self.stack[-1].rows.append([])
            self.stack[-1].open = False
        elif tag in ("td", "th") and self.stack:
            self._cell({name: value or "" for name, value in attrs})
        elif tag == "br":
            self.handle_data(" ")

    def _cell(self, attributes: dict[str, str]) -> None:
        table = self.stack[-1]
        if not table.rows:
            table.rows.append([])
        across, down = (min(int(text), MAX_COLUMNS) if (text := attributes.get(name, "1")).isascii() and text.isdigit() else 1
                        for name in ("colspan", "rowspan"))  # fmt: skip
        table.place(max(across, 1), max(down, 1))
        self.cells += across * down
        if len(table.rows) > MAX_ROWS or len(table.rows[-1]) > MAX_COLUMNS or self.cells > MAX_CELLS:
            raise BadInput(Finding(self.file, "a table larger than any list", f"at most {MAX_CELLS:,} cells", SAVE))

    def handle_endtag(self, tag: str) -> None:
        """Take in the end of an element."""
        if tag == "table" and self.stack:
            self.stack.pop()
        elif tag in ("td", "th", "tr") and self.stack:
            self.stack[-1].open = False

    def handle_data(self, data: str) -> None:
        """Take in text."""
        if self.stack and self.stack[-1].open:
            self.stack[-1].rows[-1][-1] += data
