"""Invented lists without headings, on their side, or with counts beside the names, and what is truly in them."""

from __future__ import annotations

from typing import Any

from tests.packing.books import xlsx_of
from tests.packing.corpus.layouts import Case, Truth

MAXIMA, CROCEA, ZOANTHUS = "Tridacna maxima", "Tridacna crocea", "Zoanthus sp."
PLAIN = (Truth(MAXIMA, 50, 60, 120, "1"), Truth(CROCEA, 40, 50, 80, "2"), Truth(ZOANTHUS, 30, 30, 40, "3"))
NO_BOX = (Truth(MAXIMA, 50, 60, 60), Truth(CROCEA, 40, 50, 40), Truth(ZOANTHUS, 30, 30, 24))
PRICED = (
    Truth(MAXIMA, 50, 60, 60, "", "4.00"), Truth(CROCEA, 40, 50, 40, "", "5.00"), Truth(ZOANTHUS, 30, 30, 24, "", "2.00"),
)  # fmt: skip
FREE = (
    Truth(MAXIMA, 50, 60, 50, "", "4.00"), Truth(MAXIMA, 50, 60, 2, "", "0"),
    Truth(CROCEA, 40, 50, 40, "", "5.00"), Truth(CROCEA, 40, 50, 2, "", "0"),
    Truth(ZOANTHUS, 30, 30, 25, "", "2.00"),
)  # fmt: skip
PAID = tuple(one for one in FREE if one.price != "0")
BODY = f"{MAXIMA},5-6 cm,120,1\n{CROCEA},4-5 cm,80,2\n{ZOANTHUS},3 cm,40,3\n"
ON_ITS_SIDE: list[list[Any]] = [
    ["Species", MAXIMA, CROCEA, ZOANTHUS],
    ["Size (cm)", "5-6", "4-5", 3],
    ["Qty", 120, 80, 40],
]
BOXES: list[Any] = ["Box", 1, 2, 3]


def _plus(total: str, sign: str = "+") -> bytes:
    rows = f"{MAXIMA},5-6 cm,50{sign}2,4.00,200.00\n{CROCEA},4-5 cm,40 {sign} 2 free,5.00,200.00\n"
    return f"Species,Size,Qty,Price EUR,Amount\n{rows}{ZOANTHUS},3 cm,25,2.00,50.00\n{total}".encode()


BY_LETTER = {"columns": "name=A,size=B,count=C,boxes=D"}
BESIDE, WITHIN = {"free-animals": "beside-the-count"}, {"free-animals": "in-the-count"}

CASES: dict[str, Case] = {
    "no headings": Case(BODY.encode(), PLAIN, BY_LETTER),
    "no headings under titles": Case(f"Invented reef farm,,,\nPacking list 12,,,\n{BODY}".encode(), PLAIN, BY_LETTER),
    "no headings and a total that shows the count": Case(
        f"{BODY}Total,,240,\n".encode(), PLAIN, {"box-column": "column D"}
    ),
    "no headings in a workbook": Case(
        xlsx_of([[1, MAXIMA, "5-6 cm", 120], [2, CROCEA, "4-5 cm", 80], [3, ZOANTHUS, "3 cm", 40]]),
        PLAIN,
        {"columns": "name=B,size=C,count=D,boxes=A"},
    ),
    "no headings, the header row said to be none": Case(
        BODY.encode(), PLAIN, {"columns": "header=0,name=A,size=B,count=C,boxes=D"}
    ),
    "no headings, the first name unknown": Case(
        f"Tridacnus maxima,5-6 cm,120,1\n{CROCEA},4-5 cm,80,2\n{ZOANTHUS},3 cm,40,3\n".encode(),
        PLAIN,
        BY_LETTER | {"name:tridacnus-maxima": MAXIMA},
    ),
    "on its side": Case(xlsx_of([*ON_ITS_SIDE, BOXES]), PLAIN),
    "on its side with a title and a total": Case(
        "Packing list 12,,,,\nBox,1,2,3,Total\n"
        f"Species,{MAXIMA},{CROCEA},{ZOANTHUS},\nSize (cm),5-6,4-5,3,\nQty,120,80,40,240\n".encode(),
        PLAIN,
    ),
    "on its side in German": Case(
        f"Art;{MAXIMA};{CROCEA};{ZOANTHUS}\nGröße (cm);5-6;4-5;3\nAnzahl;120;80;40\nKarton;1;2;3\n".encode(), PLAIN
    ),
    "counts before the names": Case(
        f"Description,Size\n60 pcs {MAXIMA},5-6 cm\n40 pcs. {CROCEA},4-5 cm\n24 x {ZOANTHUS},3 cm\n".encode(), NO_BOX
    ),
    "counts behind the names": Case(
        f"Item,Size\n{MAXIMA} 60 pcs,5-6 cm\n{CROCEA} (40 pcs),4-5 cm\n{ZOANTHUS} - 2 doz,3 cm\n".encode(), NO_BOX
    ),
    "counts, names and sizes in one cell": Case(
        f"Description,Price EUR,Amount\n60 pcs {MAXIMA} 5-6 cm,4.00,240.00\n40 pcs {CROCEA} 4-5 cm,5.00,200.00\n"
        f"2 doz {ZOANTHUS} 3 cm,2.00,48.00\nTotal 124 pcs,,488.00\n".encode(),
        PRICED,
    ),
    "a name no one knows among counts beside names": Case(
        f"Description,Size\n60 pcs Tridacnus maxima,5-6 cm\n40 pcs {CROCEA},4-5 cm\n24 pcs {ZOANTHUS},3 cm\n".encode(),
        NO_BOX,
        {"name:tridacnus-maxima": MAXIMA},
    ),
    "free pairs behind a plus": Case(
        f"Species,Size,Qty,Unit\n{MAXIMA},5-6 cm,50+2,pairs\n{CROCEA},4-5 cm,40,pairs\nTotal,,92,pairs\n".encode(),
        (Truth(MAXIMA, 50, 60, 100), Truth(MAXIMA, 50, 60, 4), Truth(CROCEA, 40, 50, 80)),
        BESIDE,
    ),
    "counts in German before the names": Case(
        f"Artikel;Größe\n60 Stk. {MAXIMA};5-6 cm\n40 Stück {CROCEA};4-5 cm\n24 Stk {ZOANTHUS};3 cm\n".encode(), NO_BOX
    ),
    "free animals behind a plus, not in the total": Case(_plus("Total,,115,,450.00\n"), FREE, BESIDE),
    "free animals behind a plus, in the total": Case(_plus("Total,,119,,450.00\n"), FREE, BESIDE),
    "free animals behind a plus, without a total": Case(_plus(""), FREE, BESIDE),
    "a plus that is in the count": Case(_plus("Total,,115,,450.00\n"), PAID, WITHIN),
}


def cases() -> dict[str, Case]:
    """Name → list and its true reading."""
    return CASES
