"""Invented lists in layouts and languages the reader was not made for, and what is truly in them."""

from __future__ import annotations

from dataclasses import replace

from tests.packing.books import xlsx_of
from tests.packing.corpus.layouts import Case, Truth

MAXIMA, CROCEA, TENUIS = "Tridacna maxima", "Tridacna crocea", "Acropora tenuis"
PRICED = (
    Truth(MAXIMA, 40, 50, 120, "1", "4.50"), Truth(CROCEA, 30, 40, 60, "2", "3.85"),
    Truth(TENUIS, 60, 60, 10, "3", "12.00"),
)  # fmt: skip
PLAIN = (Truth(MAXIMA, 40, 50, 60), Truth(CROCEA, 30, 40, 20))
SPREAD = tuple(
    (box, kind) for box in range(1, 8) for kind in ((MAXIMA, CROCEA) if box % 2 else (CROCEA, "Zoanthus sp."))
)
THREE = (*PLAIN, Truth("Zoanthus sp.", 30, 30, 30))
BODY = f"1;{MAXIMA};4-5;120;4,50;540,00\n2;{CROCEA};3-4;60;3,85;231,00\n3;{TENUIS};6;10;12,00;120,00\n"


def _foreign(head: str, total: str = "", encoding: str = "utf-8") -> bytes:
    return f"{head}\n{BODY}{f'{total};;;190;;891,00' if total else ''}\n".encode(encoding)


CASES: dict[str, Case] = {
    "dutch": Case(_foreign("Doos;Soort;Maat (cm);Aantal;Stukprijs EUR;Bedrag", "Totaal"), PRICED),
    "russian": Case(_foreign("Коробка;Вид;Размер, см;Кол-во;Цена EUR;Сумма", "Итого"), PRICED),
    "korean": Case(_foreign("박스;학명;크기(cm);수량;단가(EUR);금액", "합계"), PRICED),
    "turkish": Case(_foreign("Kutu;Tür;Boy (cm);Adet;Birim fiyat EUR;Tutar", "Toplam"), PRICED),
    "polish of an old program": Case(
        _foreign("Nr skrzyni;Gatunek;Rozmiar (cm);Sztuk;Cena jedn. EUR;Wartość", "Razem", "cp1250"), PRICED
    ),
    "a language nobody taught it": Case(
        _foreign("Bedna;Druh;Velikost cm;Kusy;Cena EUR;Celkem"), PRICED, {"box-column": "Bedna"}
    ),
    "bags of so many": Case(
        f"Species,Size cm,Packing,Price EUR\n{MAXIMA},4-5,20 bags of 6,4.50\n{CROCEA},3-4,10 bags of 4,3.85\n"
        "Total,,160 pcs,\n".encode(),
        (Truth(MAXIMA, 40, 50, 120, "", "4.50"), Truth(CROCEA, 30, 40, 40, "", "3.85")),
    ),
    "size in two parts below its heading": Case(
        xlsx_of(
            [
                ["Box", "Species", "Size (inch)", "", "Qty", "Price USD"],
                ["", "", "from", "to", "", ""],
                [1, MAXIMA, 1.5, 2, 60, 4.5],
                [2, CROCEA, 1, 1.5, 20, 3.85],
            ],
            lambda sheet: sheet.merge_cells("C1:D1"),
        ),
        (Truth(MAXIMA, 38.1, 50.8, 60, "1", "4.5"), Truth(CROCEA, 25.4, 38.1, 20, "2", "3.85")),
        currency="USD",
    ),
    "thousands of rupiah": Case(
        f"Nama ilmiah;Ukuran (cm);Jumlah;Harga (Rp);Total (Rp)\n{MAXIMA};4-5;60;67.500;4.050.000\n"
        f"{CROCEA};3-4;20;57.750;1.155.000\n;;80;;5.205.000\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "", "67500"), Truth(CROCEA, 30, 40, 20, "", "57750")),
        currency="IDR",
    ),
    "a running total": Case(
        f"Species,Size cm,Qty,Cum.\n{MAXIMA},4-5,60,60\n{CROCEA},3-4,20,80\nZoanthus sp.,3,30,110\n".encode(), THREE
    ),
    "a total beside each box": Case(
        f"Box,Species,Size cm,Pcs,Box total\n1,{MAXIMA},4-5,60,80\n1,{CROCEA},3-4,20,\n2,Zoanthus sp.,3,30,30\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "1"), Truth(CROCEA, 30, 40, 20, "1"), Truth("Zoanthus sp.", 30, 30, 30, "2")),
    ),
    "a credit for the last shipment": Case(
        f"Species,Size cm,Qty,Price EUR,Amount\n{MAXIMA},4-5,60,4.50,270.00\n{CROCEA},3-4,20,3.85,77.00\n"
        "Credit DOA last shipment,,,,-120.00\nTotal,,80,,227.00\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "", "4.50"), Truth(CROCEA, 30, 40, 20, "", "3.85")),
    ),
    "ordered confirmed and shipped": Case(
        f"Species,Size cm,Ordered,Confirmed,Shipped,Backorder\n{MAXIMA},4-5,80,70,60,10\n{CROCEA},3-4,20,20,20,0\n".encode(),
        PLAIN,
    ),
    "a diameter by its sign": Case(f"Species,Ø mm,Qty\n{MAXIMA},40/50,60\n{CROCEA},30/40,20\n".encode(), PLAIN),
    "grade and size behind the name": Case(
        f"Item,Qty,Price EUR\n{MAXIMA} (4-5cm) Ultra blue A,60,4.50\n{CROCEA} (3-4cm) grade B,20,3.85\n"
        f"{TENUIS} 6-8cm mother colony,15,12.00\n".encode(),
        (
            Truth(MAXIMA, 40, 50, 60, "", "4.50"),
            Truth(CROCEA, 30, 40, 20, "", "3.85"),
            Truth(TENUIS, 60, 80, 15, "", "12.00"),
        ),
    ),
    "pairs in the heading": Case(f"Species,Size cm,Qty (pairs)\n{MAXIMA},4-5,30\n{CROCEA},3-4,10\n".encode(), PLAIN),
    "animals in a bag, bags and their product": Case(
        f"Box,Species,Size cm,Qty/bag,No. of bags,Total\n1,{MAXIMA},4-5,3,20,60\n1,{CROCEA},3-4,2,10,20\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "1"), Truth(CROCEA, 30, 40, 20, "1")),
    ),
    "boxes by number, each with so many": Case(
        f"Boxes,Species,Size cm,Qty per box\n1-2,{MAXIMA},4-5,30\n3,{CROCEA},3-4,20\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "1,2"), Truth(CROCEA, 30, 40, 20, "3")),
    ),
    "boxes shared, under a heading nobody knows": Case(
        f"Bedna;Druh;Velikost cm;Kusy;Cena EUR;Celkem\n1;{MAXIMA};4-5;120;4,50;540,00\n1;{CROCEA};3-4;60;3,85;231,00\n"
        f"2;{MAXIMA};4-5;120;4,50;540,00\n2;{TENUIS};6;10;12,00;120,00\n".encode(),
        (PRICED[0], replace(PRICED[1], box="1"), replace(PRICED[0], box="2"), replace(PRICED[2], box="2")),
        {"box-column": "Bedna"},
    ),
    "boxes proved by the boxes stated": Case(
        f"Boxes: 8\nKelpo;Otus;Pituus cm;Kpl\n1-2;{MAXIMA};4-5;60\n3;{CROCEA};3-4;20\n3;{TENUIS};6;10\n"
        f"4-8;Zoanthus sp.;3;50\nTotal boxes: 8\n".encode(),
        (
            Truth(MAXIMA, 40, 50, 60, "1,2"),
            Truth(CROCEA, 30, 40, 20, "3"),
            Truth(TENUIS, 60, 60, 10, "3"),
            Truth("Zoanthus sp.", 30, 30, 50, "4,5,6,7,8"),
        ),
    ),
    "many boxes known by what is in them": Case(
        ("Kelpo,Species,Size cm,Qty\n" + "".join(f"{box},{kind},4-5,{20 + box}\n" for box, kind in SPREAD)).encode(),
        tuple(Truth(kind, 40, 50, 20 + box, str(box)) for box, kind in SPREAD),
    ),
    "classes of quality are no boxes": Case(
        f"Species,Size cm,Kvalita,Qty\n{MAXIMA},4-5,1,60\n{CROCEA},3-4,1,20\n{MAXIMA},4-5,2,30\n".encode(),
        (*PLAIN, Truth(MAXIMA, 40, 50, 30)),
        {"box-column": "not-boxes"},
    ),
    "boxes out of order beside money": Case(
        f"Bedna;Druh;Velikost cm;Kusy;Cena EUR;Celkem\n3;{MAXIMA};4-5;120;4,50;540,00\n1;{CROCEA};3-4;60;3,85;231,00\n"
        f"2;{TENUIS};6;10;12,00;120,00\n".encode(),
        (replace(PRICED[0], box="3"), replace(PRICED[1], box="1"), replace(PRICED[2], box="2")),
        {"box-column": "Bedna"},
    ),
    "greek": Case(
        f"Κιβώτιο;Είδος;Μέγεθος (cm);Τεμάχια;Τιμή EUR;Σύνολο\n{BODY}".encode(), PRICED, {"box-column": "Κιβώτιο"}
    ),
    "thai, the count by its sum": Case(
        f"กล่อง,ชื่อวิทยาศาสตร์,ขนาด (cm),จำนวน\n1,{MAXIMA},4-5,60\n1,{CROCEA},3-4,20\n2,{TENUIS},6,10\nรวม,,,90\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "1"), Truth(CROCEA, 30, 40, 20, "1"), Truth(TENUIS, 60, 60, 10, "2")),
        {"box-column": "กล่อง"},
    ),
    "hebrew, the count by its sum": Case(
        f'ארגז,שם מדעי,גודל (cm),כמות\n1,{MAXIMA},4-5,60\n1,{CROCEA},3-4,20\n2,{TENUIS},6,10\nסה"כ,,,90\n'.encode(),
        (Truth(MAXIMA, 40, 50, 60, "1"), Truth(CROCEA, 30, 40, 20, "1"), Truth(TENUIS, 60, 60, 10, "2")),
        {"box-column": "ארגז"},
    ),
    "each animal a line of its own": Case(
        f"ID,Species,Size cm,Price USD\nWY-001,{MAXIMA},4-5,45\nWY-002,{MAXIMA},5-6,55\nWY-003,{CROCEA},3-4,40\n".encode(),
        (Truth(MAXIMA, 40, 50, 1, "", "45"), Truth(MAXIMA, 50, 60, 1, "", "55"), Truth(CROCEA, 30, 40, 1, "", "40")),
        {"count-missing": "one-each"},
        currency="USD",
    ),
    "a count under letters no one knows": Case(
        f"Krabice;Druh;cm;Kusy\nA;{MAXIMA};4-5;60\nA;{CROCEA};3-4;20\n".encode(), PLAIN, {"count-missing": "Kusy"}
    ),
    "free animals beside the count": Case(
        f"Species,Size cm,Qty,Free,Price EUR,Amount\n{MAXIMA},4-5,60,3,4.50,270.00\n{CROCEA},3-4,20,,3.85,77.00\n".encode(),
        (
            Truth(MAXIMA, 40, 50, 60, "", "4.50"),
            Truth(MAXIMA, 40, 50, 3, "", "0"),
            Truth(CROCEA, 30, 40, 20, "", "3.85"),
        ),
        {"free-animals": "beside-the-count"},
    ),
    "free animals in the count": Case(
        f"Species,Size cm,Qty,+2% extra\n{MAXIMA},4-5,60,2\n{CROCEA},3-4,20,1\n".encode(),
        PLAIN,
        {"free-animals": "in-the-count"},
    ),
    "a table drawn with signs": Case(
        f"| Box | Species | Size cm | Qty |\n|---|---|---|---|\n| 1 | {MAXIMA} | 4-5 | 60 |\n"
        f"| 2 | {CROCEA} | 3-4 | 20 |\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "1"), Truth(CROCEA, 30, 40, 20, "2")),
    ),
    "numbers in a box are no inches": Case(
        f"Species,Size cm,Number in box,No of boxes\n{MAXIMA},4-5,30,2\n{CROCEA},3-4,20,1\n".encode(), PLAIN
    ),
}


def cases() -> dict[str, Case]:
    """Every odd list by its name."""
    return {f"odd-{name.replace(' ', '-')}": case for name, case in CASES.items()}
