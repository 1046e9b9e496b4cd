"""Files that are no packing list, or pretend to be one: each is refused in words, and costs little."""

from __future__ import annotations

import io
import re
import zipfile

import openpyxl
import pytest

from intake.errors import BadInput
from intake.farm.site import Supplier
from intake.library import load
from intake.library.names import load_names
from intake.packing import read, understand
from intake.packing.grid import column_letters, column_number
from tests.packing.books import CLEAN, LANDS, keys, ods_of, repacked, saved, understood, xlsx_of

ROWS: list[list[object]] = [["Species", "Size (cm)", "Qty"], ["Tridacna maxima", 4, 10]]
GOOD = xlsx_of(ROWS)
SHEET = "xl/worksheets/sheet1.xml"


def refusal(data: bytes, file: str = "list.xlsx") -> str:
    """The words with which a file is refused."""
    with pytest.raises(BadInput) as refused:
        read(data, file)
    assert refused.value.findings
    assert file in refused.value.findings[0].where
    return str(refused.value)


@pytest.mark.parametrize(
    "data", [b"", b"   \r\n\r\n", b"\xef\xbb\xbf", b"\x00" * 100, b",,,\n,,,\n", xlsx_of([]), ods_of([])]
)
def test_an_empty_file(data: bytes) -> None:
    """No bytes, blanks only, a byte-order mark only, empty cells only, an empty workbook."""
    assert "packing list" in refusal(data)


@pytest.mark.parametrize(
    "data",
    [
        b"%PDF-1.7\n...",
        b"\x89PNG\r\n\x1a\n" + b"0" * 50,
        b"\xff\xd8\xff\xe0JFIF",
        b"<html><table></table></html>",
        b"<?xml version='1.0'?><a/>",
        b"\x1f\x8b\x08" + b"0" * 50,
        b"SQLite format 3\x00",
        bytes(range(256)) * 20,
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"0" * 600,
    ],
)
def test_a_file_of_the_wrong_kind_whatever_its_name(data: bytes) -> None:
    """A PDF, a picture, a web page, a database or an old binary workbook renamed to .xlsx."""
    assert refusal(data)


def test_another_kind_of_archive() -> None:
    """A zip that holds no spreadsheet."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("word/document.xml", "<a/>")
    assert "without a spreadsheet" in refusal(buffer.getvalue())


def test_a_workbook_protected_by_a_password() -> None:
    """XLSX encrypts into an OLE container, ODS says so in its manifest, a zip may encrypt its members."""
    ole = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le")
    manifest = b'<manifest xmlns="m"><file-entry><encryption-data/></file-entry></manifest>'
    locked = bytearray(GOOD)
    start = locked.find(b"PK\x01\x02")
    while start >= 0:
        locked[start + 8] |= 1
        start = locked.find(b"PK\x01\x02", start + 4)
    for data in (ole, repacked(ods_of(ROWS), "META-INF/manifest.xml", manifest), bytes(locked)):
        assert "password" in refusal(data)


@pytest.mark.parametrize(
    "keep", [30, 200, len(GOOD) // 2, len(GOOD) - 10], ids=["30 bytes", "200 bytes", "half", "all but ten bytes"]
)  # named: the workbook carries the moment it was made, so its length is not the same in two workers
def test_a_workbook_cut_short(keep: int) -> None:
    """A download that broke off."""
    assert "damaged" in refusal(GOOD[:keep])


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"<worksheet><sheetData><row", "damaged"),
        (b"not xml", "damaged"),
        (b"", "damaged"),
        (b'<!DOCTYPE a [<!ENTITY b "c">]><worksheet/>', "document type"),
        (b'<worksheet><sheetData><row r="1"><c r="XFD1"/></row></sheetData></worksheet>', "column"),
        (b'<worksheet><sheetData><row r="1048576"><c r="A1048576"/></row></sheetData></worksheet>', "rows"),
        (b'<worksheet><sheetData><row r="1"><c r="A900000"/></row></sheetData></worksheet>', "rows"),
    ],
)
def test_a_workbook_whose_inside_is_wrong(content: bytes, word: str) -> None:
    """Broken XML, entities, and cells so far out that a dense table of them would fill the memory."""
    assert word in refusal(repacked(GOOD, SHEET, content))


def test_a_sheet_hidden_from_the_walk() -> None:
    """A workbook may name any part as its sheet; one that is not walked is not opened."""
    rels = zipfile.ZipFile(io.BytesIO(GOOD)).read("xl/_rels/workbook.xml.rels").replace(b"sheet1.xml", b"sheet1.bin")
    assert "xml" in refusal(repacked(GOOD, "xl/_rels/workbook.xml.rels", rels))


def test_a_zip_bomb_by_ratio_and_by_number_of_parts() -> None:
    """Inflating stops far below what the file would become."""
    bomb = repacked(GOOD, SHEET, b"<worksheet><sheetData>" + b" " * 20_000_000 + b"</sheetData></worksheet>")
    assert len(bomb) < 100_000
    assert "ordinary size" in refusal(bomb)
    buffer = io.BytesIO(GOOD)
    with zipfile.ZipFile(buffer, "a") as archive:
        for number in range(2_100):
            archive.writestr(f"xl/media/{number}.txt", "")
    assert "parts" in refusal(buffer.getvalue())


def test_a_zip_bomb_that_lies_about_its_size() -> None:
    """The directory says 10 bytes; the compressed bytes are counted themselves."""
    bomb = bytearray(repacked(GOOD, SHEET, b"<worksheet><sheetData>" + b" " * 20_000_000 + b"</sheetData></worksheet>"))
    for signature, offset in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        start = bomb.find(signature)
        while start >= 0:
            bomb[start + offset : start + offset + 4] = (10).to_bytes(4, "little")
            start = bomb.find(signature, start + 4)
    assert "ordinary size" in refusal(bytes(bomb))


def test_an_ods_that_repeats_one_cell_a_million_times() -> None:
    """A few bytes of ODS may stand for 10⁹ cells."""
    data = ods_of(ROWS)
    content = zipfile.ZipFile(io.BytesIO(data)).read("content.xml")
    many = content.replace(b"<table:table-row>", b'<table:table-row table:number-rows-repeated="1000000">', 1)
    assert "rows" in refusal(repacked(data, "content.xml", many))
    wide = content.replace(b"<table:table-cell ", b'<table:table-cell table:number-columns-repeated="16000" ', 1)
    assert "columns" in refusal(repacked(data, "content.xml", wide))


def test_a_million_rows() -> None:
    """A CSV of 10⁶ rows is refused by its count of rows, before any of it is kept."""
    assert "50,000 rows" in refusal(b"Species,Size (cm),Qty\n" + b"Tridacna maxima,4,5\n" * 1_000_000)


def test_more_columns_than_any_list() -> None:
    """401 columns."""
    assert "400 columns" in refusal(b"," * 400 + b"\nx\n")


def test_quotes_that_never_close() -> None:
    """The whole rest of the file in one cell is refused or leaves no line; it is never half a list taken for whole."""
    try:
        shipment = understood(
            b'Species,Size (cm),Qty\nTridacna maxima,4,10\n"Tridacna gigas,5,20\nHippopus hippopus,5,9\n'
        )
    except BadInput:
        return
    assert not shipment.ready


def test_a_list_without_any_heading_we_know() -> None:
    """A letter saved as CSV."""
    with pytest.raises(BadInput, match="header row"):
        understood("Dear keeper,\nthe animals will leave on Friday, as agreed.\nKind regards\n")


def test_a_heading_without_lines() -> None:
    """A form nobody filled in is no shipment of nothing."""
    shipment = understood("Species,Size (cm),Qty\n")
    assert not shipment.ready
    assert shipment.problems


def test_the_header_printed_again_on_every_page() -> None:
    """The second header row is no line."""
    shipment = understood("Species,Size (cm),Qty\nTridacna maxima,4,10\nSpecies,Size (cm),Qty\nTridacna gigas,5,5\n")
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert [line.count for line in shipment.lines] == [10, 5]


def test_control_characters_are_taken_out_and_told() -> None:
    """Zero-width spaces, direction marks and a bell in a name."""
    shipment = understood("Species,Size (cm),Qty\nTri\u200bdacna\u202e maxima\x07,4,10\n")
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert shipment.lines[0].name == "Tridacna maxima"
    assert any("3 control or invisible" in sentence for sentence in shipment.evidence)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be"])
def test_encodings(encoding: str) -> None:
    """An accent survives whatever the supplier's program wrote."""
    text = "Espèce;Size (cm);Qty;Remarks\nTridacna maxima;4;10;Île déserte à 5 €\n".replace("Espèce", "Species")
    assert understood(text.encode(encoding)).lines[0].note == "Île déserte à 5 €"


def test_formulas_are_text_and_never_run_and_unsaved_results_are_told() -> None:
    """'=1+1' typed into a CSV is no count; a formula without its result reads as empty, and that is said."""
    assert understood("Species,Size (cm),Qty\nTridacna maxima,4,=1+1\n").problems[0].value == "=1+1"
    shipment = understood(xlsx_of([*ROWS, ["Total", "", "=C2"]]))
    assert any("no saved result" in sentence for sentence in shipment.evidence)


def test_two_sheets_with_tables_are_asked_and_hidden_ones_left_out() -> None:
    """Which sheet is the list is the user's to say; what is hidden is named."""
    book = openpyxl.Workbook()
    for name in ("Boxes 1-10", "Boxes 11-20", "old prices"):
        sheet = book.create_sheet(name)
        for row in ROWS:
            sheet.append(row)
    book["old prices"].sheet_state = "hidden"
    shipment = understood(saved(book))
    assert keys(shipment) == ["sheet"]
    assert shipment.questions[0].choices == ("Boxes 1-10", "Boxes 11-20", "all")
    assert any("old prices" in sentence for sentence in shipment.evidence)
    assert understood(saved(book), {"sheet": "Boxes 11-20"}).sheet == "Boxes 11-20"


def test_the_same_bytes_are_known_again() -> None:
    """By their digest a list seen before can be refused; one changed cell makes another list."""
    assert read(CLEAN.encode(), "a.csv").sha256 == read(CLEAN.encode(), "b.csv").sha256
    assert read(CLEAN.encode()).sha256 != read(CLEAN.replace("120", "121").encode()).sha256


def test_an_answer_that_is_no_choice_is_a_fault() -> None:
    """A misspelt answer is not taken for silence."""
    shipment = understood("Species;Size;Qty\nTridacna maxima;4;10\n", {"size-unit": "ells"})
    assert shipment.problems[0].value == "ells"
    assert keys(shipment) == ["size-unit"]


def test_a_landing_time_without_a_zone() -> None:
    """Hours in the bag are counted in absolute time."""
    with pytest.raises(BadInput, match="time zone"):
        understand(
            read(CLEAN.encode()),
            supplier=Supplier(id="s", currency="EUR", time_zone="UTC", claim_window_h=1),
            library=load(),
            names=load_names(),
            lands=LANDS.replace(tzinfo=None),
            shipment_id="S1",
        )


def test_a_hundred_thousand_merged_cells_cost_little() -> None:
    """A merge over the whole sheet is a lookup, not a copy."""
    data = repacked(
        GOOD,
        SHEET,
        zipfile.ZipFile(io.BytesIO(GOOD))
        .read(SHEET)
        .replace(b"</sheetData>", b'</sheetData><mergeCells count="1"><mergeCell ref="A2:XFD1048576"/></mergeCells>'),
    )
    assert len(understood(data).lines) == 1


def test_columns_are_lettered_as_spreadsheets_do() -> None:
    """Addresses in messages must be findable."""
    assert [column_letters(number) for number in (1, 26, 27, 702, 703)] == ["A", "Z", "AA", "ZZ", "AAA"]
    assert all(column_number(column_letters(number)) == number for number in range(1, 1500))
    assert column_number("7") == column_number("ABCD") == 0


def test_every_refusal_of_a_file_says_what_to_do() -> None:
    """Where, what was met, what is read, and the next step as a sentence."""
    page = b"<html><p>no table</p></html>"
    wide = (",".join(["x"] * 500) + "\n").encode()
    long = b"Species,Qty\n" + b"Tridacna maxima,1\n" * 50_001
    for data in (
        b"",
        b"\x89PNG\r\n\x1a\n" + b"0" * 50,
        b"<?xml version='1.0'?><a/>",
        page,
        wide,
        long,
        bytes(range(256)) * 20,
    ):
        with pytest.raises(BadInput) as refused:
            read(data, "list.csv")
        for fault in refused.value.findings:
            assert fault.where.startswith("list.csv")
            assert fault.value
            assert fault.expected
            assert re.match(r"[A-Z].*\.$", fault.do), fault


def test_what_is_wrong_in_a_cell_says_what_to_do() -> None:
    """A count that is none, a price that is none: the list is to be corrected; a question does not name its place twice."""
    told = understood(CLEAN.replace(",120,4.50", ",many,-4.50").replace("Tridacna crocea", "Unheard of"))
    assert told.problems
    assert all(fault.do for fault in told.problems)
    for question in told.questions:
        words = str(question.finding())
        assert "?." not in words
        assert ": row 3: row 3" not in f": {words}"
