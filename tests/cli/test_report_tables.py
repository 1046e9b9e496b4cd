"""Every report as a table on disk: typed cells, a frozen header, and a refusal where the kind of file is not to be had."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from openpyxl import load_workbook

from intake.app import output_files
from intake.app.documents.report_tables import REPORTS
from intake.app.output_files import write_table
from intake.errors import BadInput
from tests.cli.conftest import AT, Run, bare

ASKED: Mapping[str, tuple[str, ...]] = {
    "losses": ("report", "losses"),
    "losses by": ("report", "losses", "--by", "vat"),
    "suppliers": ("report", "suppliers"),
    "vats": ("report", "vats"),
    "permits": ("report", "permits"),
    "money": ("report", "money"),
    "sales": ("report", "sales"),
    "alarms": ("report", "alarms"),
    "journeys": ("report", "journeys"),
    "expect-losses": ("report", "expect-losses", "--shipment", "S1"),
    "draw": ("report", "draw", "--batch", "S1-01", "--n", "5"),
    "trace": ("trace", "--batch", "S1-01"),
    "release": ("release",),
}
LISBON = ZoneInfo("Europe/Lisbon")


def test_every_report_that_makes_a_table_is_asked_here() -> None:
    """A new report must not be left out of the tests below."""
    assert set(ASKED) == set(REPORTS)


@pytest.mark.parametrize("report", ASKED)
def test_report_is_written_as_csv_and_workbook_with_its_rows(
    run: Run, stocked: Path, tmp_path: Path, report: str
) -> None:
    """Same rows in both kinds, columns as documented, and the JSON answer is what it was without --out."""
    words = ASKED[report]
    plain = run(*words, "--json", at=AT)
    told = json.loads(plain.stdout)
    table = REPORTS[report]
    rows = list(table.rows(told))
    for ending in (".csv", ".xlsx"):
        out = tmp_path / f"{report}{ending}"
        again = run(*words, "--json", "--out", str(out), at=AT)
        assert again.exit_code == plain.exit_code, again.output
        # files named in the answer are pictures, and those stay where they were
        assert json.loads(again.stdout) == told
        if ending == ".csv":
            with out.open(encoding="utf-8-sig", newline="") as file:
                read = list(csv.reader(file))
        else:
            sheet = load_workbook(out).active
            assert sheet is not None
            assert sheet.freeze_panes == "A2", "the header stays in sight"
            read = [[str(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
        assert [name.partition(" (")[0] for name in read[0]] == list(table.columns)
        assert len(read) == len(rows) + 1


def test_columns_of_a_report_are_keys_of_its_answer(run: Run, stocked: Path) -> None:
    """A renamed key must not leave an empty column behind: wherever the answer has rows, each column is one of its keys."""
    looked = 0
    for report, words in ASKED.items():
        rows = list(REPORTS[report].rows(json.loads(run(*words, "--json", at=AT).stdout)))
        if not rows or not any(rows):
            continue
        for column in REPORTS[report].columns:
            if report == "vats" and column in {"batch", "name", "count", "stage", "since", "not_cut_before"}:
                assert any(column in row for row in rows), column
                continue
            assert all(column.partition(".")[0] in row for row in rows), f"{report}: {column}"
            looked += 1
    assert looked > 40


def test_cells_of_a_workbook_are_numbers_days_and_words(run: Run, stocked: Path, tmp_path: Path) -> None:
    """A spreadsheet can add, sort and filter without anybody retyping: no figure and no day arrives as text."""
    out = tmp_path / "vats.xlsx"
    assert run("report", "vats", "--out", str(out), at=AT).exit_code == 0
    sheet = load_workbook(out).active
    assert sheet is not None
    rows = [
        dict(zip(REPORTS["vats"].columns, row, strict=True)) for row in sheet.iter_rows(min_row=2, values_only=True)
    ]
    standing = [row for row in rows if row["batch"]]
    assert standing
    assert all(type(row["count"]) is int for row in standing)
    assert all(isinstance(row["full_percent"], (int, float)) for row in rows)
    assert all(isinstance(row["since"], datetime) for row in standing)


TABLE: tuple[tuple[str, ...], list[tuple[Any, ...]]] = (
    ("name", "count", "share", "day", "at", "listed"),
    [
        ("=1+1", 3, 0.25, date(2027, 3, 1), datetime(2027, 7, 1, 8, 0, tzinfo=UTC), True),
        ("Ctenochaetus 'é'", None, None, None, None, None),
    ],
)


def test_a_name_that_looks_like_a_formula_stays_a_name(tmp_path: Path) -> None:
    """A supplier's text must not compute in the owner's spreadsheet, in either kind of file."""
    book = write_table(tmp_path / "t.xlsx", *TABLE, LISBON)
    sheet = load_workbook(book).active
    assert sheet is not None
    assert sheet["A2"].data_type == "s"
    assert sheet["A2"].value == "=1+1"
    text = write_table(tmp_path / "t.csv", *TABLE, LISBON).read_text(encoding="utf-8-sig")
    assert text.splitlines()[1].startswith("'=1+1,3,0.25,2027-03-01,2027-07-01T08:00:00+00:00")
    assert text.splitlines()[2] == "Ctenochaetus 'é',,,,,"


def test_times_of_a_workbook_are_the_farms_and_say_so(tmp_path: Path) -> None:
    """Workbooks know no zones: 08:00 UTC in July is 09:00 in Lisbon, under a header that names it."""
    sheet = load_workbook(write_table(tmp_path / "t.xlsx", *TABLE, LISBON)).active
    assert sheet is not None
    assert sheet["E1"].value == "at (Europe/Lisbon)"
    assert sheet["E2"].value == datetime(2027, 7, 1, 9, 0)  # noqa: DTZ001  # as the cell holds it
    assert sheet["D2"].number_format.lower() == "yyyy-mm-dd"
    assert sheet["D1"].value == "day"
    assert (sheet["B2"].value, sheet["C2"].value, sheet["F2"].value) == (3, 0.25, True)
    assert sheet["B3"].value is None


def test_parquet_keeps_types_and_absences(tmp_path: Path) -> None:
    """A column of counts with a gap is still a column of whole numbers, and a moment is one moment everywhere."""
    parquet = pytest.importorskip("pyarrow.parquet", reason="the extra 'parquet' is not installed")
    read = parquet.read_table(write_table(tmp_path / "t.parquet", *TABLE, LISBON))
    kinds = {field.name: str(field.type) for field in read.schema}
    assert kinds["count"] == "int64"
    assert kinds["share"] == "double"
    assert kinds["day"].startswith("date32")
    assert kinds["at"].startswith("timestamp")
    assert "UTC" in kinds["at"]
    assert kinds["listed"] == "bool"
    assert read.to_pylist()[0]["at"] == TABLE[1][0][4]
    assert read.to_pylist()[1]["count"] is None
    assert read.to_pylist()[0]["name"] == "=1+1", "no apostrophe where nothing computes"


def test_without_pyarrow_parquet_is_refused_and_nothing_written(
    run: Run, stocked: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The refusal names what is accepted and what to install."""
    monkeypatch.setattr(output_files, "has_parquet", lambda: False)
    before = bare(stocked)
    refused = run("report", "vats", "--out", str(tmp_path / "v.parquet"), at=AT)
    assert refused.exit_code == 2
    assert ".csv or .xlsx" in refused.stderr
    assert "vatside[parquet]" in refused.stderr
    assert not (tmp_path / "v.parquet").exists()
    assert bare(stocked) == before


def test_another_ending_is_refused(run: Run, stocked: Path, tmp_path: Path) -> None:
    """A file that no program would open is not written."""
    refused = run("report", "suppliers", "--out", str(tmp_path / "s.ods"), at=AT)
    assert refused.exit_code == 2
    assert ".csv, .xlsx, .parquet" in refused.stderr
    with pytest.raises(BadInput, match=r"\.csv"):
        write_table(tmp_path / "noending", *TABLE, LISBON)


def test_a_report_with_pictures_takes_a_folder_or_a_table(run: Run, stocked: Path, tmp_path: Path) -> None:
    """``--out`` with a table's ending is the table; anything else is the folder of the pictures, as before."""
    assert run("report", "losses", "--out", str(tmp_path / "pictures"), at=AT).exit_code == 0
    assert not list(tmp_path.rglob("*.csv"))
    assert list((tmp_path / "pictures").glob("*.svg"))
    told = run("report", "losses", "--out", str(tmp_path / "l.CSV"), at=AT)
    assert f"Saved {tmp_path / 'l.CSV'}" in " ".join(told.stdout.split())
    assert (tmp_path / "l.CSV").read_bytes().startswith(b"\xef\xbb\xbfbatch,name,came")
