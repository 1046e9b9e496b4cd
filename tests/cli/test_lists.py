"""Packing lists as suppliers send them, read by ``expect``: understood, asked about, or refused; never guessed."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import pytest

from tests.cli.conftest import Run, bare
from tests.packing.books import ods_of, repacked, xlsx_of

HEAD: list[object] = ["Box", "Scientific name", "Size (cm)", "Qty", "Unit price EUR"]
ROWS: list[list[object]] = [HEAD, ["1", "Tridacna maxima", 4, 60, 4.2], ["2", "Zoanthus sp.", 3, 20, 9]]
GOOD = xlsx_of(ROWS)
SHEET = "xl/worksheets/sheet1.xml"
BOMB = repacked(GOOD, SHEET, b"<worksheet><sheetData>" + b" " * 20_000_000 + b"</sheetData></worksheet>")
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le")


def csv_of(*rows: str) -> bytes:
    """A CSV of the usual columns."""
    return "\n".join([",".join(map(str, HEAD)), *rows, ""]).encode()


def word_file() -> bytes:
    """A zip that is no spreadsheet."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("word/document.xml", "<a/>")
    return buffer.getvalue()


REFUSED: dict[str, tuple[str, bytes, str]] = {
    "empty file": ("list.csv", b"", "packing list"),
    "blanks only": ("list.csv", b" \r\n \r\n", "packing list"),
    "wrong type": ("list.xlsx", b"%PDF-1.7\n...", "a PDF"),
    "a text document": ("list.xlsx", word_file(), "without a spreadsheet"),
    "protected by a password": ("list.xlsx", OLE, "password"),
    "corrupt workbook": ("list.xlsx", GOOD[: len(GOOD) // 2], "damaged"),
    "zip bomb": ("list.xlsx", BOMB, "ordinary size"),
    "a million rows": ("list.csv", csv_of() + b"1,Tridacna maxima,4,5,1\n" * 1_000_000, "50,000 rows"),
    "negative count": ("list.csv", csv_of("1,Tridacna maxima,4,-60,4.2"), "-60"),
    "fractional count": ("list.csv", csv_of("1,Tridacna maxima,4,60.5,4.2"), "60.5"),
    "a name not known": ("list.csv", csv_of("1,Tridacna maximus,4,60,4.2"), "Tridacna maxima"),
    "no name at all": ("list.csv", csv_of("1,,4,60,4.2"), "row 2"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_list_that_cannot_be_used(run: Run, farm_folder: Path, case: str) -> None:
    """Exit 2 with the reason, and nothing kept of it: no shipment, no file in the inbox."""
    name, data, says = REFUSED[case]
    path = farm_folder.parent / name
    path.write_bytes(data)
    run("check")
    before = bare(farm_folder)
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00")
    assert told.exit_code == 2, told.output
    assert says in told.stderr, told.stderr
    assert "Traceback" not in told.output
    assert "Nothing was saved" in told.stderr
    assert bare(farm_folder) == before


def enter(run: Run, folder: Path, data: bytes, *words: str, name: str = "list.csv") -> dict[str, int]:
    """Read and enter a list; gives count by name."""
    path = folder.parent / name
    path.write_bytes(data)
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00", "--json", *words)
    assert told.exit_code == 0, told.output
    lines: dict[str, int] = {}
    for line in json.loads(told.stdout)["lines"]:
        lines[line["name"]] = lines.get(line["name"], 0) + line["count"]
    return lines


def test_the_three_kinds_of_file(run: Run, farm_folder: Path) -> None:
    """CSV, XLSX and ODS say the same."""
    data = {"list.csv": csv_of("1,Tridacna maxima,4,60,4.2", "2,Zoanthus sp.,3,20,9"), "list.xlsx": GOOD}
    data["list.ods"] = ods_of(ROWS)
    for number, (name, content) in enumerate(data.items(), start=1):
        told = enter(run, farm_folder, content, "--shipment", f"K{number}", name=name)
        assert told == {"Tridacna maxima": 60, "Zoanthus sp.": 20}


def test_two_header_rows_and_subtotals(run: Run, farm_folder: Path) -> None:
    """A heading over the headings and sums between the lines are no animals."""
    data = (
        b",Animals,,Amounts,\nBox,Scientific name,Size (cm),Qty,Unit price EUR\n1,Tridacna maxima,4,60,4.2\n"
        b"1,Tridacna maxima,6,20,6.2\n,Subtotal,,80,\n2,Zoanthus sp.,3,20,9\n,TOTAL,,100,\n"
    )
    assert enter(run, farm_folder, data) == {"Tridacna maxima": 80, "Zoanthus sp.": 20}


def test_decimal_commas(run: Run, farm_folder: Path) -> None:
    """4,20 is four euro twenty where every figure is written so."""
    data = (
        "Box;Scientific name;Size (cm);Qty;Unit price EUR\n1;Tridacna maxima;4,5;60;4,20\n2;Zoanthus sp.;3,0;20;9,50\n"
    )
    path = farm_folder.parent / "list.csv"
    path.write_text(data, encoding="utf-8")
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00", "--json", "--dry")
    assert told.exit_code == 0, told.output
    first = json.loads(told.stdout)["lines"][0]
    assert (first["size_max_mm"], float(first["unit_price"])) == (45.0, 4.2)


DATED = b"Box,Scientific name,Size (cm),Qty,Packed\n1,Tridacna maxima,4,60,04/03/2027 08:00\n"


def test_a_date_that_can_be_read_two_ways_is_asked(run: Run, farm_folder: Path) -> None:
    """4 March or 3 April decides hours in the bag: exit 2 with the question and how to answer; then it is entered."""
    path = farm_folder.parent / "list.csv"
    path.write_bytes(DATED)
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-04-05T09:00")
    assert told.exit_code == 2
    assert "? " in told.stderr
    assert "04/03/2027" in told.stderr
    assert '--answer "dates=' in told.stderr
    assert run("shipments").stdout.startswith("No packing list")
    words = ("expect", str(path), "--supplier", "one", "--lands", "2027-04-05T09:00")
    answered = run(*words, "--answer", "dates=mdy", "--json")
    assert answered.exit_code == 0, answered.output
    assert "2027-04-03" in answered.stdout


def test_sizes_in_mixed_units(run: Run, farm_folder: Path) -> None:
    """An inch beside centimetres and millimetres, each in its own cell."""
    data = b"Box,Scientific name,Size,Qty\n1,Tridacna maxima,4 cm,60\n2,Tridacna maxima,45 mm,10\n3,Zoanthus sp.,1 inch,20\n"
    path = farm_folder.parent / "list.csv"
    path.write_bytes(data)
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00", "--json", "--dry")
    sizes = [line["size_max_mm"] for line in json.loads(told.stdout)["lines"]]
    assert told.exit_code == 0, told.output
    assert sizes == [40.0, 45.0, 25.4]


def test_duplicate_lines_are_asked_or_told(run: Run, farm_folder: Path) -> None:
    """The same line twice may be two boxes or a slip; it is never silently one."""
    data = csv_of("1,Tridacna maxima,4,60,4.2", "1,Tridacna maxima,4,60,4.2")
    path = farm_folder.parent / "list.csv"
    path.write_bytes(data)
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00")
    assert "twice" in told.output.lower() or "same" in told.output.lower() or "duplicate" in told.output.lower()
    assert "row 3" in told.output or "rows 2" in told.output


def test_control_characters_do_not_reach_the_terminal(run: Run, farm_folder: Path) -> None:
    """An escape sequence in a name could rewrite the screen."""
    data = csv_of("1,Tridacna\x1b[2J\x07 maxima,4,60,4.2")
    path = farm_folder.parent / "list.csv"
    path.write_bytes(data)
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00")
    assert "\x1b" not in told.output
    assert "\x07" not in told.output


def test_a_list_seen_before(run: Run, farm_folder: Path) -> None:
    """Sent twice by mail, entered once; under another name too."""
    enter(run, farm_folder, GOOD, name="list.xlsx")
    before = bare(farm_folder)
    path = farm_folder.parent / "again.xlsx"
    path.write_bytes(GOOD)
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00")
    assert told.exit_code == 2
    assert "entered before as S1" in told.stderr
    assert "vatside amend S1" in told.stderr
    assert bare(farm_folder) == before


def test_the_same_key_enters_a_list_once(run: Run, farm_folder: Path) -> None:
    """A script that never heard the answer runs again and is told so, with exit 0."""
    enter(run, farm_folder, GOOD, "--key", "mail-7", name="list.xlsx")
    before = bare(farm_folder)
    path = farm_folder.parent / "list.xlsx"
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00", "--key", "mail-7")
    assert (told.exit_code, "Entered before as S1" in told.stdout) == (0, True), told.output
    assert bare(farm_folder) == before


def test_a_dry_reading_writes_nothing(run: Run, farm_folder: Path) -> None:
    """``--dry`` shows how a list would be understood."""
    run("check")
    before = bare(farm_folder)
    path = farm_folder.parent / "list.xlsx"
    path.write_bytes(GOOD)
    told = run("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00", "--dry")
    assert told.exit_code == 0
    assert "Tridacna maxima" in told.stdout
    assert max(map(len, told.stdout.splitlines())) <= 80
    assert bare(farm_folder) == before


STOCK = "vat,name,group,size_mm,count,since,stage\nG1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\n"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"\xff\xfeG\x001\x00", "UTF-8"),
        (b"vat,name\nG1,x\n", "count"),
        (STOCK.splitlines()[0].encode(), "no rows"),
        ((STOCK + "G1," + "x" * 200_000 + ",zoanthid,30,5,2026-01-01,grow-out\n").encode(), "row"),
    ],
    ids=["not text", "no count column", "no rows", "a cell without end"],
)
def test_a_stocktake_that_cannot_be_used(run: Run, farm_folder: Path, data: bytes, says: str) -> None:
    """The first file an owner writes by hand."""
    path = farm_folder.parent / "stock.csv"
    path.write_bytes(data)
    told = run("stock", str(path))
    assert told.exit_code == 2, told.output
    assert says in told.stderr
    assert "Traceback" not in told.output
    path.write_text(STOCK, encoding="utf-8")
    assert run("stock", str(path), "--key", "first").exit_code == 0
    assert run("stock", str(path), "--key", "first").exit_code == 0
    assert run("stock", str(path)).exit_code == 2
    assert json.loads(run("check", "--json").stdout)["alive"] == 8


def test_a_list_without_headings_teaches_nothing_of_the_next(run: Run, farm_folder: Path) -> None:
    """The columns of the supplier's usual list stay known, and a second list without headings is asked about again."""
    lists = {
        "usual.xlsx": GOOD,
        "bare.csv": b"Tridacna maxima,5-6 cm,60,1\nZoanthus sp.,3 cm,20,2\n",
        "usual2.xlsx": xlsx_of([HEAD, ["1", "Tridacna maxima", 4, 61, 4.2], ["2", "Zoanthus sp.", 3, 20, 9]]),
        "bare2.csv": b"60,Tridacna maxima,5-6 cm,1\n21,Zoanthus sp.,3 cm,2\n",
    }
    told = {}
    for name, data in lists.items():
        path = farm_folder.parent / name
        path.write_bytes(data)
        columns = ("--columns", "name=A,size=B,count=C,boxes=D") if name == "bare.csv" else ()
        words = ("expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00", "--no-ask", *columns)
        told[name] = run(*words)
    assert [answer.exit_code for answer in told.values()] == [0, 0, 0, 2], [one.output for one in told.values()]
    assert "columns remembered for this supplier" in told["usual2.xlsx"].output
    assert "the list has no headings" in told["bare2.csv"].output
