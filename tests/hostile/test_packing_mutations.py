"""Spoiled files, three hundred of them: each is understood or refused in words, none brings the reader down."""

from __future__ import annotations

import random
import string

import pytest

from intake.errors import BadInput
from tests.hostile.plain_words import understanding_in_words
from tests.packing.books import CLEAN, ods_of, understood, xlsx_of

ROWS: list[list[object]] = [
    ["Box No", "Scientific name", "Size (cm)", "Qty", "Unit price (EUR)", "Amount", "Packed", "Source"],
    ["1-3", "Tridacna maxima", "4-5", "1.250", "4,50", "5.625,00", "03/04/2026 14:30", "F"],
    [4, "T. crocea", "3-4", 60, 3.85, 231, "2026-04-03", "W"],
    ["", "Assorted Acropora", 6, "10", "€ 12", "", "", "?"],
    ["", "Total", "", 1320, "", "", "", ""],
]
SEEDS = {
    "csv": CLEAN.encode(),
    "messy csv": "\n".join(";".join(map(str, row)) for row in ROWS).encode(),
    "utf-16": CLEAN.encode("utf-16"),
    "xlsx": xlsx_of(ROWS),
    "ods": ods_of(ROWS),
}
CELLS = [
    "",
    "-1",
    "1.250",
    "1,250",
    "1e400",
    "NaN",
    "=A1",
    "0",
    "99999999999999999999",
    "\u202e",
    "'",
    '"',
    "\x00",
    "Total",
    "13/13/2026",
    "03/04/05",
    "4-5",
    "½",
    "1/0",
    "$",
    "T.",
    "sp.",
    "cf.",
    "()",
    "鹿角",
    "-",
    "1-99999999",
    "x" * 3000,
    "TRUE",
    "1'000",
    "٣",
    "4 cm - 2 in",
    "(5)",
    "1 2 3",
    "½½",
    "5-",
    "- 5",
    ",",
    "..",
    "1.2.3,4",
]


def survives(data: bytes) -> None:
    """Only an understanding or BadInput may come of any bytes; an understanding can always be shown and written."""
    try:
        shipment = understood(data)
    except BadInput:
        return
    assert shipment.table()
    assert shipment.as_dict()
    understanding_in_words(shipment)
    if not shipment.ready:
        with pytest.raises(BadInput):
            shipment.batches()
        return
    batches = shipment.batches()
    assert sum(batch.announced for batch in batches) == shipment.totals.animals
    assert all(batch.announced >= 1 and batch.size_mm > 0 and batch.group for batch in batches)


@pytest.mark.parametrize("kind", SEEDS)
def test_bytes_spoiled_at_random(kind: str) -> None:
    """Bytes changed, cut out, doubled; forty of each kind of file, the same ones every time."""
    chance = random.Random(f"bytes of {kind}")  # a fixed seed
    for _ in range(40):
        data = bytearray(SEEDS[kind])
        for _ in range(chance.randint(1, 8)):
            at = chance.randrange(len(data))
            match chance.randrange(4):
                case 0:
                    data[at] = chance.randrange(256)
                case 1:
                    del data[at : at + chance.randint(1, 40)]
                case 2:
                    data[at:at] = data[at : at + chance.randint(1, 40)]
                case _:
                    data = data[: max(at, 20)]
        survives(bytes(data))


def spoiled_rows(chance: random.Random) -> list[list[object]]:
    """The messy list with cells replaced, rows doubled, moved and dropped."""
    rows = [list(row) for row in ROWS]
    for _ in range(chance.randint(1, 10)):
        row = chance.choice(rows)
        if row:
            row[chance.randrange(len(row))] = chance.choice([*CELLS, chance.choice(string.printable) * 3])
        if chance.random() < 0.2:
            rows.insert(chance.randrange(len(rows)), list(chance.choice(rows)))
        if chance.random() < 0.1 and len(rows) > 1:
            rows.pop(chance.randrange(len(rows)))
        if chance.random() < 0.1 and row:
            row.pop()
    return rows


@pytest.mark.parametrize("part", range(4))
def test_cells_spoiled_at_random(part: int) -> None:
    """Cells replaced by what people and programs have been seen to write; the header is spoiled too."""
    chance = random.Random(f"cells {part}")  # a fixed seed
    for _ in range(25):
        rows = spoiled_rows(chance)
        survives("\n".join(";".join(str(cell) for cell in row) for row in rows).encode())
    for _ in range(5):
        rows = [
            [cell if not isinstance(cell, str) else "".join(c for c in cell if c.isprintable()) for cell in row]
            for row in spoiled_rows(chance)
        ]
        survives(ods_of(rows))
