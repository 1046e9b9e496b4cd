"""Sales with price and reference, and each line of a shipment as ordered, listed and arrived."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from intake.cli.command_table import vatside
from tests.cli.conftest import Run, bare


def rows_of(run: Run) -> dict[str, dict[str, object]]:
    """``shipments lines S1 --json`` by batch."""
    told = run("shipments", "lines", "S1", "--json")
    assert told.exit_code == 0, told.output
    return {row["batch"]: row for row in json.loads(told.stdout)}


def test_a_line_as_ordered_listed_and_arrived(run: Run, stocked: Path) -> None:
    """What a count finds missing, wrong and dead on arrival stands beside what was entered first."""
    before = rows_of(run)["S1-01"]
    assert (before["missing"], before["doa"]) == (0, 0)
    assert run("count", "S1-01", "--vat", "Q1", "--missing", "3", "--doa", "2", "--wrong", "1").exit_code == 0
    after = rows_of(run)["S1-01"]
    assert after["ordered"] == after["listed"] == before["listed"]
    assert (after["missing"], after["wrong"], after["doa"]) == (3, 1, 2)
    assert after["arrived"] == int(str(before["listed"])) - 4
    assert after["alive"] == int(str(before["alive"])) - 6
    shown = run("shipments", "lines", "S1").stdout
    assert "ordered" in shown
    assert "1 of " in shown
    assert run("shipments", "lines", "S9").exit_code == 2


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--to", "sold", "--price", "much", "--currency", "EUR"), "--price"),
        (("--to", "sold", "--price", "-1", "--currency", "EUR"), "--price"),
        (("--to", "sold", "--price", "1e308", "--currency", "EUR"), "--price"),
        (("--to", "sold", "--price", "12"), "--currency"),
        (("--to", "sold", "--currency", "EUR"), "--currency"),
        (("--to", "sold", "--reference", "x" * 61), "--reference"),
        (("--to", "Q2", "--reference", "PO-7"), "--to"),
    ],
)
def test_terms_that_cannot_be_are_refused(run: Run, stocked: Path, words: tuple[str, ...], says: str) -> None:
    """By the option, and nothing is written."""
    before = bare(stocked)
    told = run("move", "S1-01", "--from", "Q1", "--count", "1", *words)
    assert told.exit_code == 2
    assert says in told.stderr
    assert bare(stocked) == before


def test_a_sale_keeps_price_and_reference_and_is_undone_whole(run: Run, house_stock: Path) -> None:
    """Both are reported, stand in the journal, and go with the movement when it is undone."""
    told = run(
        "move", "H1", "--from", "G1", "--to", "sold", "--count", "4", "--price", "12.50", "--currency", "EUR",
        "--reference", "PO-7",
    )  # fmt: skip
    assert told.exit_code == 0, told.output
    assert "12.50 EUR each, 50.00 EUR; reference PO-7" in told.stdout
    assert "reference PO-7" in run("journal").stdout
    assert run("undo", "--yes").exit_code == 0
    assert "PO-7" not in json.dumps(
        [row for row in json.loads(run("journal", "--json").stdout) if not row.get("undone")]
    )


@pytest.fixture
def house_stock(run: Run, farm_folder: Path) -> Path:
    """A farm with twenty animals in a grow-out vat, free to be sold."""
    table = farm_folder / "stock.csv"
    table.write_text(
        "vat,name,group,size_mm,count,since,stage\nG1,Acropora,stony_branching_acropora,120,20,2026-01-01,grow-out\n",
        encoding="utf-8",
    )
    told = run("stock", str(table))
    assert told.exit_code == 0, told.output
    return farm_folder


def test_sales_are_reported_with_price_reference_and_sums(run: Run, house_stock: Path) -> None:
    """After corrections: what was undone is in no sum, and a day without a sale says so."""
    sold = ("move", "H1", "--from", "G1", "--to", "sold", "--count")
    priced = ("--price", "12.50", "--currency", "EUR", "--reference", "PO-7")
    assert run(*sold, "4", *priced).exit_code == 0
    assert run(*sold, "2").exit_code == 0
    assert run(*sold, "3", *priced).exit_code == 0
    assert run("undo", "--yes").exit_code == 0
    told = json.loads(run("report", "sales", "--json").stdout)
    assert [(row["count"], row["amount"], row["reference"]) for row in told["sales"]] == [
        (4, "50.00", "PO-7"),
        (2, "", ""),
    ]
    assert told["totals"] == [
        {"currency": "", "animals": 2, "amount": ""},
        {"currency": "EUR", "animals": 4, "amount": "50.00"},
    ]
    shown = run("report", "sales").stdout
    assert "4 animals sold, 50.00 EUR" in shown
    assert "No sale" in run("report", "sales", "--until", "2026-01-01").stdout
    assert run("report", "sales", "--since", "2027-05-01", "--until", "2027-04-01").exit_code == 2


def test_a_file_of_another_kind_is_replaced_on_a_word_only(run: Run, house_stock: Path, tmp_path: Path) -> None:
    """Notes, or a table with other columns, that stand at --out; the farm's own files never."""
    table = tmp_path / "prices.csv"
    table.write_text("name,price\nTridacna maxima,4\n", encoding="utf-8")
    refused = run("stocklist", "--out", str(table))
    assert refused.exit_code == 2
    assert "other columns" in refused.stderr
    assert "--force" in refused.stderr
    assert table.read_text(encoding="utf-8").startswith("name,price\n")
    assert run("stocklist", "--out", str(table), "--force").exit_code == 0
    assert table.read_text(encoding="utf-8-sig").startswith("batch,")
    assert run("stocklist", "--out", str(table)).exit_code == 0  # its own kind
    notes = tmp_path / "notes.ics"
    notes.write_text("mine", encoding="utf-8")
    assert run("feed", "--out", str(notes)).exit_code == 2
    assert run("feed", "--out", str(notes), "--force").exit_code == 0
    own = run("feed", "--out", str(house_stock / "farm.toml"), "--force")
    assert own.exit_code == 2
    assert "[farm]" in (house_stock / "farm.toml").read_text(encoding="utf-8")


def test_every_command_that_writes_to_out_takes_force() -> None:
    """So that no one has to remember which."""

    def walk(command: click.Command, name: str) -> Iterator[tuple[str, click.Command]]:
        if isinstance(command, click.Group):
            for inner in command.list_commands(click.Context(command)):
                found = command.get_command(click.Context(command), inner)
                assert found is not None
                yield from walk(found, f"{name} {inner}".strip())
        else:
            yield name, command

    writing = [(name, one) for name, one in walk(vatside, "") if any(param.name == "out" for param in one.params)]
    assert len(writing) > 12
    assert [name for name, one in writing if not any(param.name == "force" for param in one.params)] == []
