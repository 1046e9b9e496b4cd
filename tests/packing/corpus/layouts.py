"""Layouts of invented packing lists: each function gives the file and what is truly in it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

import openpyxl
from openpyxl.styles import Font
from openpyxl.worksheet.worksheet import Worksheet

from tests.packing.books import csv_of, ods_of, saved, xlsx_of
from tests.packing.corpus.words import LANGUAGES, Words

Rows = list[list[Any]]


@dataclass(frozen=True)
class Truth:
    """One line as it truly is: name, size in mm, animals, boxes, price of one animal."""

    name: str
    low: float
    high: float
    count: int
    box: str = ""
    price: str = ""


@dataclass(frozen=True)
class Case:
    """A file, what is in it, the honest answers to questions it leaves open, and words its refusal must hold."""

    data: bytes
    lines: tuple[Truth, ...]
    answers: Mapping[str, str] = field(default_factory=dict)
    refused: str = ""
    currency: str = "EUR"


BASE = (
    Truth("Tridacna maxima", 40, 50, 120, "1", "4.50"),
    Truth("Tridacna crocea", 30, 40, 60, "2", "3.85"),
    Truth("Acropora tenuis", 60, 80, 15, "3", "12.00"),
    Truth("Zoanthus sp.", 30, 30, 30, "3", "2.00"),
    Truth("Sarcophyton sp.", 80, 100, 12, "4", "9.50"),
)
WHOLE = sum(one.count for one in BASE)
MONEY = sum((one.count * Decimal(one.price) for one in BASE), Decimal(0))

LAYOUTS: dict[str, tuple[Callable[[Words], Case], tuple[str, ...]]] = {}


def layout(*languages: str) -> Callable[[Callable[[Words], Case]], Callable[[Words], Case]]:
    """Enter a layout in the corpus, in the languages named."""

    def enter(make: Callable[[Words], Case]) -> Callable[[Words], Case]:
        LAYOUTS[make.__name__] = (make, languages or ("en",))
        return make

    return enter


def cases() -> dict[str, Case]:
    """Every list of the corpus by its name."""
    return {
        f"{name}-{language}": make(LANGUAGES[language])
        for name, (make, languages) in LAYOUTS.items()
        for language in languages
    }


def cm(one: Truth) -> str:
    """A size as written in cm."""
    low, high = f"{one.low / 10:g}", f"{one.high / 10:g}"
    return low if low == high else f"{low}-{high}"


def money(value: Decimal | str, words: Words) -> str:
    """A sum of money in the marks of the language."""
    text = f"{Decimal(value):,.2f}"
    return text.replace(",", "x").replace(".", ",").replace("x", ".") if words.comma else text


def head(words: Words, *, unit: str = "cm") -> list[Any]:
    """The usual header."""
    return [words.box, words.name, f"{words.size} ({unit})", words.number, f"{words.price} (EUR)", words.amount]


def row(one: Truth, words: Words) -> list[Any]:
    """The usual row."""
    price = Decimal(one.price)
    return [one.box, one.name, cm(one), one.count, money(price, words), money(price * one.count, words)]


def title(words: Words) -> Rows:
    """Titles over the table; all invented."""
    return [
        ["LAGOON EXPORTS (invented)", "", "", "", "", ""],
        ["Packing list INV-2027-0141 / AWB 000-1234 5675", "", "", "", "", ""],
        [],
    ]


def total(words: Words) -> list[Any]:
    """The total row."""
    return ["", words.total, "", WHOLE, "", money(MONEY, words)]


def typed(rows: Rows) -> Rows:
    """Plain numbers as number cells, as a workbook has them."""

    def cell(value: Any) -> Any:
        if isinstance(value, str) and value.replace(".", "", 1).isdigit():
            return float(value) if "." in value else int(value)
        return value

    return [[cell(value) for value in each] for each in rows]


@layout(*LANGUAGES)
def plain(words: Words) -> Case:
    """Titles, header, lines, total; semicolons where the comma is a decimal mark."""
    rows = [*title(words), head(words), *(row(one, words) for one in BASE), total(words)]
    return Case(csv_of(rows, ";" if words.comma else ","), BASE)


@layout("en", "de", "ja", "zh", "ar")
def workbook(words: Words) -> Case:
    """The same with number cells."""
    rows = [*title(words), head(words), *(row(one, words) for one in BASE), total(words)]
    rows = typed(
        [
            [
                str(cell).replace(".", "").replace(",", ".") if words.comma and n > 3 else cell
                for n, cell in enumerate(each)
            ]
            for each in rows
        ]
    )
    return Case(xlsx_of(rows), BASE)


@layout("en", "es", "id", "vi", "ja")
def box_sections(words: Words) -> Case:
    """A row over the lines of each box, a subtotal below them; the box is in no column."""
    rows = [head(words)[1:]]
    for box in ("1", "2", "3", "4"):
        inside = [one for one in BASE if one.box == box]
        label = {"Box No.": "BOX NO. ", "箱番号": "箱 "}.get(words.box, f"{words.box.upper()} ")
        rows.append([f"{label}{box}", "", "", "", ""])
        rows += [row(one, words)[1:] for one in inside]
        rows.append([words.subtotal, "", sum(one.count for one in inside), "", ""])
    rows.append(total(words)[1:])
    return Case(csv_of(rows, ";" if words.comma else ","), BASE)


@layout("en", "fr", "pt")
def sizes_as_columns(words: Words) -> Case:
    """One column a size class, the row's sum beside them, column sums below."""
    lines = (
        Truth("Tridacna maxima", 20, 30, 10), Truth("Tridacna maxima", 30, 40, 20), Truth("Tridacna derasa", 20, 30, 5),
        Truth("Tridacna derasa", 40, 50, 7), Truth("Hippopus hippopus", 30, 40, 9),
    )  # fmt: skip
    rows: Rows = [
        [words.name, "2-3 cm", "3-4 cm", "4-5 cm", words.total],
        ["Tridacna maxima", 10, 20, "", 30],
        ["Tridacna derasa", 5, "", 7, 12],
        ["Hippopus hippopus", "", 9, "", 9],
        [words.total, 15, 29, 7, 51],
    ]
    return Case(xlsx_of(rows), lines)


@layout("en", "de")
def sizes_as_letters(words: Words) -> Case:
    """Columns S, M and L with their legend in a title."""
    lines = (
        Truth("Tridacna maxima", 20, 40, 10),
        Truth("Tridacna maxima", 40, 60, 20),
        Truth("Tridacna derasa", 60, 80, 7),
    )
    rows: Rows = [
        ["S = 2-4 cm, M = 4-6 cm, L = 6-8 cm"], [],
        [words.name, "S", "M", "L"],
        ["Tridacna maxima", 10, 20, ""],
        ["Tridacna derasa", "", "", 7],
    ]  # fmt: skip
    return Case(xlsx_of(rows), lines)


@layout("en", "it")
def boxes_as_columns(words: Words) -> Case:
    """One column a box."""
    lines = (
        Truth("Tridacna maxima", 40, 50, 60, "1"), Truth("Tridacna maxima", 40, 50, 60, "2"),
        Truth("Tridacna crocea", 30, 40, 25, "2"), Truth("Zoanthus sp.", 30, 30, 30, "3"),
    )  # fmt: skip
    label = "Box" if words.box == "Box No." else words.box
    rows: Rows = [
        [words.name, f"{words.size} (cm)", f"{label} 1", f"{label} 2", f"{label} 3"],
        ["Tridacna maxima", "4-5", 60, 60, ""],
        ["Tridacna crocea", "3-4", "", 25, ""],
        ["Zoanthus sp.", "3", "", "", 30],
    ]
    return Case(xlsx_of(rows), lines)


@layout("en", "de", "fr", "zh")
def genus_and_species(words: Words) -> Case:
    """Genus and species in two columns, under headings of which only one may be known."""
    first = {
        "Scientific Name": "Genus",
        "Wissenschaftlicher Name": "Gattung",
        "Nom scientifique": "Genre",
        "拉丁学名": "属",
    }[words.name]
    rows: Rows = [[words.box, first, "Species", f"{words.size} (cm)", words.number]]
    rows += [[one.box, *one.name.split(" ", 1), cm(one), one.count] for one in BASE]
    return Case(csv_of(rows, ";"), tuple(_unpriced(BASE)))


def _unpriced(lines: Sequence[Truth]) -> list[Truth]:
    return [Truth(one.name, one.low, one.high, one.count, one.box) for one in lines]


@layout("en", "pt", "ja")
def side_by_side(words: Words) -> Case:
    """Two tables beside each other."""
    labels = [words.name, f"{words.size} (cm)", words.number]
    rows: Rows = [[*labels, "", *labels]]
    for left, right in zip(BASE[:3], [*BASE[3:], None], strict=True):
        rows.append(
            [left.name, cm(left), left.count, "", *([right.name, cm(right), right.count] if right else ["", "", ""])]
        )
    return Case(xlsx_of(rows), tuple(Truth(one.name, one.low, one.high, one.count) for one in BASE))


@layout("en", "fr", "vi")
def two_sheets(words: Words) -> Case:
    """The list over two sheets under the same header."""
    return Case(
        _book(
            {
                "Page 1": [head(words), *(row(one, words) for one in BASE[:2])],
                "Page 2": [head(words), *(row(one, words) for one in BASE[2:])],
            }
        ),
        BASE,
    )


def _book(sheets: Mapping[str, Rows]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for each in rows:
            sheet.append(each)
    return saved(book)


@layout("en", "es")
def continuation_sheet(words: Words) -> Case:
    """The second sheet has no header and goes on."""
    return Case(
        _book({"A": [head(words), *(row(one, words) for one in BASE[:3])], "B": [row(one, words) for one in BASE[3:]]}),
        BASE,
    )


@layout("en", "de")
def unlike_sheets(words: Words) -> Case:
    """Clams and corals on two sheets whose columns stand in another order."""
    second: Rows = [[words.number, words.name, words.box, f"{words.size} (cm)", f"{words.price} (EUR)"]]
    second += [[one.count, one.name, one.box, cm(one), money(one.price, words)] for one in BASE[2:]]
    return Case(_book({"Clams": [head(words), *(row(one, words) for one in BASE[:2])], "Corals": second}), BASE)


@layout("en", "de", "ja")
def per_box_times_boxes(words: Words) -> Case:
    """Animals in a box, boxes, and amounts that only the product explains."""
    per = {"Scientific Name": "Qty/Box", "Wissenschaftlicher Name": "Stück pro Karton", "学名": "入数"}[words.name]
    boxes = {"Scientific Name": "No. of boxes", "Wissenschaftlicher Name": "Anzahl Kartons", "学名": "箱数"}[words.name]
    lines = (Truth("Tridacna maxima", 40, 50, 120, "", "4.50"), Truth("Zoanthus sp.", 30, 30, 60, "", "2.00"))
    rows: Rows = [[words.name, f"{words.size} (cm)", per, boxes, f"{words.price} (EUR)", words.amount]]
    rows += [["Tridacna maxima", "4-5", 40, 3, money("4.50", words), money("540", words)]]
    rows += [["Zoanthus sp.", "3", 30, 2, money("2", words), money("120", words)]]
    return Case(csv_of(rows, ";"), lines)


@layout("en", "fr", "zh")
def ordered_and_shipped(words: Words) -> Case:
    """What was ordered beside what was shipped; one line not shipped at all."""
    ordered, shipped = {
        "Scientific Name": ("Ordered", "Shipped"),
        "Nom scientifique": ("Commandé", "Expédié"),
        "拉丁学名": ("订购", "发货数"),
    }[words.name]
    rows: Rows = [[words.name, f"{words.size} (cm)", ordered.replace("é", "é"), shipped]]
    rows += [[one.name, cm(one), one.count + 10, one.count] for one in BASE]
    rows.append(["Tridacna gigas", "5-6", 10, 0])
    return Case(xlsx_of(rows), tuple(Truth(one.name, one.low, one.high, one.count) for one in BASE))


@layout("en", "it")
def heads_and_frags(words: Words) -> Case:
    """Heads beside pieces: the amounts say which are the animals sold."""
    lines = (Truth("Zoanthus sp.", 30, 30, 20, "", "2.00"), Truth("Sarcophyton sp.", 80, 100, 12, "", "9.50"))
    rows: Rows = [[words.name, f"{words.size} (cm)", "Heads", "Pcs", f"{words.price} (EUR)", words.amount]]
    rows += [
        ["Zoanthus sp.", "3", 60, 20, money("2", words), money("40", words)],
        ["Sarcophyton sp.", "8-10", 24, 12, money("9.5", words), money("114", words)],
    ]
    return Case(csv_of(rows, ";"), lines)


@layout("en")
def heads_and_frags_untold(words: Words) -> Case:
    """Heads beside frags without prices: nothing in the list says which are counted; the order does."""
    rows: Rows = [
        [words.name, f"{words.size} (cm)", "Heads", "Frags"],
        ["Zoanthus sp.", "3", 60, 20],
        ["Euphyllia glabrescens", "4", 12, 6],
    ]
    return Case(
        csv_of(rows),
        (Truth("Zoanthus sp.", 30, 30, 20), Truth("Euphyllia glabrescens", 40, 40, 6)),
        {"count-column": "Frags"},
    )


@layout("en", "de")
def price_per_hundred(words: Words) -> Case:
    """Snails and clams by the hundred."""
    lines = (Truth("Tridacna crocea", 30, 40, 250, "", "3.85"), Truth("Zoanthus sp.", 30, 30, 300, "", "2.00"))
    rows: Rows = [[words.name, f"{words.size} (cm)", words.number, "EUR/100", words.amount]]
    rows += [
        ["Tridacna crocea", "3-4", 250, money("385", words), money("962.50", words)],
        ["Zoanthus sp.", "3", 300, money("200", words), money("600", words)],
    ]
    return Case(csv_of(rows, ";"), lines)


@layout("en", "fr")
def price_of_the_line(words: Words) -> Case:
    """Only the amount of each line is given."""
    rows: Rows = [[words.box, words.name, f"{words.size} (cm)", words.number, f"{words.amount} (EUR)"]]
    rows += [[one.box, one.name, cm(one), one.count, money(Decimal(one.price) * one.count, words)] for one in BASE]
    rows.append(["", words.total, "", WHOLE, money(MONEY, words)])
    return Case(csv_of(rows, ";"), BASE)


@layout("en", "es", "ja")
def ditto(words: Words) -> Case:
    """Ditto marks for name, size and box."""
    mark = {"en": '"', "es": "ídem", "ja": "同上"}[next(key for key, each in LANGUAGES.items() if each is words)]
    lines = (
        Truth("Tridacna maxima", 40, 50, 60, "1"),
        Truth("Tridacna maxima", 40, 50, 55, "1"),
        Truth("Zoanthus sp.", 30, 30, 30, "2"),
    )
    rows: Rows = [
        [words.box, words.name, f"{words.size} (cm)", words.number],
        ["1", "Tridacna maxima", "4-5", 60],
        [mark, mark, mark, 55],
        ["2", "Zoanthus sp.", "3", 30],
    ]
    return Case(xlsx_of(rows), lines)


@layout("en")
def names_over_two_lines(words: Words) -> Case:
    """A long name wrapped onto the row below, and one onto the row above its figures."""
    lines = (
        Truth("Tridacna maxima", 40, 50, 60),
        Truth("Fimbriaphyllia ancora", 50, 60, 12),
        Truth("Zoanthus sp.", 30, 30, 30),
    )
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number],
        ["Tridacna maxima", "4-5", 60],
        ["Fimbriaphyllia", "5-6", 12],
        ["ancora", "", ""],
        ["Zoanthus sp.", "3", 30],
    ]
    return Case(csv_of(rows), lines)


@layout("en", "de", "zh")
def free_goods(words: Words) -> Case:
    """Free animals: no charge in the price."""
    word = {"Scientific Name": "FOC", "Wissenschaftlicher Name": "gratis", "拉丁学名": "免费"}[words.name]
    lines = (*BASE[:2], Truth("Zoanthus sp.", 30, 30, 5, "2", "0"))
    rows: Rows = [head(words), *(row(one, words) for one in BASE[:2]), ["2", "Zoanthus sp.", "3", 5, word, word]]
    return Case(csv_of(rows, ";"), lines)


@layout("en", "de", "fr", "id")
def goods_among_animals(words: Words) -> Case:
    """Ice, boxes and freight among the lines."""
    ice, freight = {
        "Scientific Name": ("Ice packs", "Air freight"),
        "Wissenschaftlicher Name": ("Styroporboxen", "Luftfracht"),
        "Nom scientifique": ("Glace", "Fret aérien"),
        "Nama ilmiah": ("Es batu", "Ongkos kirim"),
    }[words.name]
    rows: Rows = [
        head(words),
        *(row(one, words) for one in BASE),
        ["", ice, "", 8, money("1.00", words), money("8.00", words)],
        ["", freight, "", "", "", money("310.00", words)],
        ["", words.total, "", "", "", money(MONEY + 318, words)],
    ]
    return Case(csv_of(rows, ";"), BASE)


@layout("en", "it")
def hidden_rows(words: Words) -> Case:
    """Rows hidden by the sender: not shipped, as the sender confirms."""

    def hide(sheet: Worksheet) -> None:
        sheet.row_dimensions[4].hidden = True

    rows = [head(words), *(row(one, words) for one in BASE)]
    rows[3:3] = [["9", "Tridacna gigas", "5-6", 10, money("8", words), money("80", words)]]
    return Case(xlsx_of(rows, hide), BASE, {"hidden-rows": "not-shipped"})


@layout("en")
def struck_rows(words: Words) -> Case:
    """A row struck out: not shipped."""

    def strike(sheet: Worksheet) -> None:
        for cell in sheet[4]:
            cell.font = Font(strike=True)

    rows = [head(words), *(row(one, words) for one in BASE)]
    rows[3:3] = [["9", "Tridacna gigas", "5-6", 10, "8.00", "80.00"]]
    return Case(xlsx_of(rows, strike), BASE, {"struck-rows": "not-shipped"})


@layout("en", "de", "es", "vi")
def cancelled_lines(words: Words) -> Case:
    """Remarks that say a line was cancelled or is owed."""
    word = {
        "Scientific Name": "back order",
        "Wissenschaftlicher Name": "storniert",
        "Nombre científico": "cancelado",
        "Tên khoa học": "hết hàng",
    }[words.name]
    key = {"back order": "says:back-order", "hết hàng": "says:het-hang"}.get(word, f"says:{word}")
    rows: Rows = [
        [*head(words), "Remarks"],
        *([*row(one, words), ""] for one in BASE),
        ["4", "Tridacna gigas", "5-6", 10, money("8", words), money("80", words), word],
    ]
    return Case(csv_of(rows, ";"), BASE, {key: "not-shipped"})


@layout("en")
def another_waybill(words: Words) -> Case:
    """A second shipment in the same file under another waybill."""
    rows: Rows = [
        ["AWB 000-1234 5675"],
        head(words),
        *(row(one, words) for one in BASE),
        ["AWB 000-7654 3216"],
        ["1", "Tridacna gigas", "5-6", 10, "8.00", "80.00"],
    ]
    return Case(csv_of(rows), BASE, {"another-shipment": "another-shipment"})


@layout("en")
def formulas_unsaved(words: Words) -> Case:
    """Counts written as formulas whose results were never saved: refused by cell."""
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number],
        ["Tridacna maxima", "4-5", "=10*12"],
        ["Zoanthus sp.", "3", 30],
    ]
    return Case(xlsx_of(rows), (), refused="C2: a formula")


@layout("en", "de", "fr", "pt", "id")
def totals_in_a_sentence(words: Words) -> Case:
    """The totals stand in words over the table."""
    said = {
        "en": f"TOTAL: {WHOLE} PCS IN 4 BOXES", "de": f"Gesamt: {WHOLE} Stück in 4 Kartons",
        "fr": f"Total : {WHOLE} pièces en 4 colis",
        "pt": f"Total: {WHOLE} peças em 4 caixas", "id": f"Jumlah {WHOLE} ekor dalam 4 boks",
    }[next(key for key, each in LANGUAGES.items() if each is words)]  # fmt: skip
    rows: Rows = [[said], [], head(words), *(row(one, words) for one in BASE)]
    return Case(csv_of(rows, ";"), BASE)


@layout("en")
def a_total_that_is_wrong(words: Words) -> Case:
    """The sentence states one box less than the lines: asked, and the sender says that the lines are right."""
    rows: Rows = [[f"TOTAL: {WHOLE} PCS IN 3 BOXES"], [], head(words), *(row(one, words) for one in BASE)]
    return Case(csv_of(rows), BASE, {"stated-boxes": "trust-the-lines"})


@layout("en", "de")
def times_and_dozens(words: Words) -> Case:
    """Counts as bags times animals, dozens and pairs."""
    doz, pair = ("2 doz", "1 pr") if words.name == "Scientific Name" else ("2 Dutzend", "1 Paar")
    lines = (
        Truth("Tridacna maxima", 40, 50, 50),
        Truth("Zoanthus sp.", 30, 30, 24),
        Truth("Acropora tenuis", 60, 80, 2),
    )
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number],
        ["Tridacna maxima", "4-5", "10 x 5"],
        ["Zoanthus sp.", "3", doz],
        ["Acropora tenuis", "6-8", pair],
    ]
    return Case(csv_of(rows), lines)


@layout("en", "vi")
def unit_of_measure(words: Words) -> Case:
    """A column says dozen, pair or piece; amounts say what the price is for."""
    uom, units = ("UOM", ("DOZ", "PR", "PC")) if words.name == "Scientific Name" else ("ĐVT", ("Tá", "Cặp", "Con"))
    lines = (
        Truth("Tridacna maxima", 40, 50, 120, "", "4.50"),
        Truth("Zoanthus sp.", 30, 30, 12, "", "2.00"),
        Truth("Acropora tenuis", 60, 80, 15, "", "12.00"),
    )
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number, uom, f"{words.price} (EUR)", words.amount],
        ["Tridacna maxima", "4-5", 10, units[0], "54.00", "540.00"],
        ["Zoanthus sp.", "3", 6, units[1], "4.00", "24.00"],
        ["Acropora tenuis", "6-8", 15, units[2], "12.00", "180.00"],
    ]
    return Case(csv_of(rows), lines)


@layout("en")
def sizes_in_many_ways(words: Words) -> Case:
    """Fractions of an inch, a slash that is a range, a size beside its class."""
    lines = (
        Truth("Tridacna maxima", 38.1, 38.1, 10),
        Truth("Tridacna derasa", 35, 45, 20),
        Truth("Hippopus hippopus", 40, 60, 30),
        Truth("Tridacna gigas", 63.5, 63.5, 5),
    )
    rows: Rows = [
        [words.name, words.size, words.number],
        ["Tridacna maxima", '1 1/2"', 10],
        ["Tridacna derasa", "35/45mm", 20],
        ["Hippopus hippopus", "M (4-6 cm)", 30],
        ["Tridacna gigas", '2½"', 5],
    ]
    return Case(xlsx_of(rows), lines)


@layout("en", "it")
def legend_below(words: Words) -> Case:
    """Size classes by letter, explained at the foot."""
    lines = (
        Truth("Tridacna maxima", 20, 40, 10),
        Truth("Tridacna derasa", 40, 60, 20),
        Truth("Tridacna gigas", 60, 80, 5),
    )
    rows: Rows = [
        [words.name, words.size, words.number],
        ["Tridacna maxima", "S", 10],
        ["Tridacna derasa", "M", 20],
        ["Tridacna gigas", "L", 5],
        [],
        ["S = 2-4 cm; M = 4-6 cm; L = 6-8 cm"],
    ]
    return Case(csv_of(rows), lines)


@layout("en", "fr")
def millimetres_under_centimetres(words: Words) -> Case:
    """A heading in cm over cells in mm: asked, since a crocea of 30 cm is not sold."""
    lines = (Truth("Tridacna crocea", 30, 35, 10), Truth("Tridacna maxima", 45, 50, 20))
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number],
        ["Tridacna crocea", "30-35", 10],
        ["Tridacna maxima", "45-50", 20],
    ]
    return Case(csv_of(rows), lines, {"odd-sizes": "in-mm"})


@layout("pt")
def reais(words: Words) -> Case:
    """``R$`` is the real and no dollar."""
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number, words.price],
        ["Tridacna maxima", "4-5", 10, "R$ 20,50"],
        ["Zoanthus sp.", "3", 30, "R$ 8,00"],
    ]
    return Case(
        csv_of(rows, ";"),
        (Truth("Tridacna maxima", 40, 50, 10, "", "20.50"), Truth("Zoanthus sp.", 30, 30, 30, "", "8.00")),
        currency="BRL",
    )


@layout("en")
def currency_in_words(words: Words) -> Case:
    """A title names the currency; the terms agreed name another."""
    rows: Rows = [
        ["All prices in Australian Dollars"],
        [],
        [words.name, f"{words.size} (cm)", words.number, words.price],
        ["Tridacna maxima", "4-5", 10, "$20.50"],
    ]
    return Case(csv_of(rows), (Truth("Tridacna maxima", 40, 50, 10, "", "20.50"),), currency="AUD")


@layout("en")
def wild_or_farmed(words: Words) -> Case:
    """A column 'Wild/Farmed' is a source and no country."""
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number, "Wild/Farmed"],
        ["Tridacna maxima", "4-5", 10, "Wild"],
        ["Zoanthus sp.", "3", 30, "W"],
    ]
    return Case(csv_of(rows), (Truth("Tridacna maxima", 40, 50, 10), Truth("Zoanthus sp.", 30, 30, 30)))


@layout("en")
def box_and_bag(words: Words) -> Case:
    """``1 / 1-8`` is box 1, bags 1 to 8."""
    rows: Rows = [
        ["Box/Bag", words.name, f"{words.size} (cm)", words.number],
        ["1 / 1-8", "Tridacna maxima", "4-5", 80],
        ["2 / 1-3", "Zoanthus sp.", "3", 30],
    ]
    return Case(xlsx_of(rows), (Truth("Tridacna maxima", 40, 50, 80, "1"), Truth("Zoanthus sp.", 30, 30, 30, "2")))


@layout("en", "ar")
def native_digits(words: Words) -> Case:
    """Digits of the Arabic script."""
    arabic = str.maketrans("0123456789", "٠١٢٣٤٥٦٧٨٩")
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number],
        *([one.name, cm(one).translate(arabic), str(one.count).translate(arabic)] for one in BASE),
    ]
    return Case(csv_of(rows), tuple(Truth(one.name, one.low, one.high, one.count) for one in BASE))


@layout("en")
def unknown_headings(words: Words) -> Case:
    """Headings in a language nobody knows here: the cells say which is what, but for the numbers of lines, or boxes."""
    rows: Rows = [
        ["Foo", "Bar", "Baz", "Qux", "Quux", "Corge"],
        *(
            [n, one.name, f"{cm(one)} cm", one.count, one.price, str(Decimal(one.price) * one.count)]
            for n, one in enumerate(BASE, start=1)
        ),
    ]
    lines = tuple(Truth(one.name, one.low, one.high, one.count, "", one.price) for one in BASE)
    return Case(csv_of(rows), lines, {"box-column": "not-boxes"})


@layout("en", "de", "es")
def further_header(words: Words) -> Case:
    """A second table with other columns lower on the same sheet."""
    rows: Rows = [
        ["CLAMS"],
        head(words),
        *(row(one, words) for one in BASE[:2]),
        [],
        ["CORALS"],
        [words.name, words.number, f"{words.size} (cm)", words.box, f"{words.price} (EUR)"],
        *([one.name, one.count, cm(one), one.box, money(one.price, words)] for one in BASE[2:]),
    ]
    return Case(xlsx_of(rows), BASE)


@layout("en", "ja")
def sections_by_kind(words: Words) -> Case:
    """Headings by kind between the lines: a genus, a word, a group of the trade."""
    rows: Rows = [
        head(words),
        ["", "GIANT CLAMS"],
        *(row(one, words) for one in BASE[:2]),
        ["", "Acropora"],
        row(BASE[2], words),
        ["", "SOFT CORALS & POLYPS"],
        *(row(one, words) for one in BASE[3:]),
        total(words),
    ]
    return Case(csv_of(rows), BASE)


@layout("en", "fr", "it", "zh", "ja")
def opendocument(words: Words) -> Case:
    """ODS with a total of money below."""
    rows: Rows = [*title(words), head(words), *(row(one, words) for one in BASE), total(words)]
    return Case(ods_of([each or [""] for each in rows]), BASE)


@layout("en")
def codes_and_weights(words: Words) -> Case:
    """Columns of article codes, weights and bar codes beside ours."""
    rows: Rows = [
        ["Item Code", words.name, f"{words.size} (cm)", words.number, "Net weight kg", "Barcode"],
        *(
            [f"A{n:03d}", one.name, cm(one), one.count, n * 1.5, 4000000000000 + n]
            for n, one in enumerate(BASE, start=1)
        ),
    ]
    return Case(xlsx_of(rows), tuple(Truth(one.name, one.low, one.high, one.count) for one in BASE))


@layout("en")
def a_column_nobody_explains(words: Words) -> Case:
    """Figures under a heading that could be another count: asked, not dropped."""
    rows: Rows = [
        [words.name, f"{words.size} (cm)", words.number, "Zork"],
        *([one.name, cm(one), one.count, n * n + 3] for n, one in enumerate(BASE, start=1)),
    ]
    return Case(
        xlsx_of(rows),
        tuple(Truth(one.name, one.low, one.high, one.count) for one in BASE),
        {"unread-columns": "not-needed"},
    )
