"""The first day: a farm described by a few answers and a table of vats, in either units."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from intake.cli.command_table import vatside
from intake.farm.reading import read_site

HEAD = "Vat,System,Role,Length,Width,Depth,Volume\n"
US = HEAD + "".join(f"Q{n},quarantine,quarantine,96,36,12,\n" for n in range(1, 21))
US += "".join(f"G{n},growout,grow-out,120,48,14,300\n" for n in range(1, 11))


def init(folder: Path, *words: str, typed: str | None = None) -> Result:
    """``vatside init`` of a folder."""
    return CliRunner().invoke(vatside, ["init", str(folder / "farm"), *words], input=typed)


def test_thirty_vats_in_inches_make_a_sound_farm(tmp_path: Path) -> None:
    """A table in inches and gallons, and a handful of words; `check` finds nothing to correct."""
    table = tmp_path / "vats.csv"
    table.write_text(US, encoding="utf-8")
    told = init(
        tmp_path, "--vats", str(table), "--units", "us", "--zone", "America/New_York", "--person", "Ann Example",
        "--person", "Bob Example", "--supplier", "Lagoon (invented)", "--currency", "USD", "--name", "Invented farm",
    )  # fmt: skip
    assert told.exit_code == 0, told.output
    site = read_site((tmp_path / "farm" / "farm.toml").read_bytes())
    assert len(site.vats) == 30
    assert site.vats["Q1"].length_m == pytest.approx(2.4384)
    # 96 × 36 × 12 cubic inches are 179.5 US gal of 231 cubic inches each
    assert site.vats["Q1"].volume_l == pytest.approx(179.5 * 3.785411784)
    assert site.vats["G1"].volume_l == pytest.approx(300 * 3.785411784)
    assert [person.role for person in site.people.values()] == ["owner", "keeper"]
    checked = CliRunner().invoke(vatside, ["--farm", str(tmp_path / "farm"), "check", "--json"])
    assert checked.exit_code == 0, checked.output
    assert json.loads(checked.stdout)


def test_the_questions_are_asked_in_the_terminal(tmp_path: Path) -> None:
    """Enter takes what stands in brackets."""
    table = tmp_path / "vats.csv"
    table.write_text(HEAD + "Q1,quarantine,quarantine,2,0.8,300,480\n", encoding="utf-8")
    told = init(tmp_path, "--ask", typed=f"\nInvented farm\n\n{table}\nAnn, Bob\nLagoon\n\n")
    assert told.exit_code == 0, told.output
    site = read_site((tmp_path / "farm" / "farm.toml").read_bytes())
    assert site.farm.name == "Invented farm"
    assert sorted(site.people) == ["ann", "bob"]
    assert site.vats["Q1"].area_m2 == pytest.approx(1.6)


def test_every_fault_of_the_table_is_told_and_nothing_written(tmp_path: Path) -> None:
    """By row, all at once."""
    table = tmp_path / "vats.csv"
    table.write_text(HEAD + "Q 1,quarantine,quarantine,2,0.8,300,\nQ2,q,spare,-2,wide,0,\n", encoding="utf-8")
    told = init(tmp_path, "--vats", str(table), "--no-ask")
    assert told.exit_code == 2
    assert told.output.count("row 3") == 4
    assert "row 2, vat" in told.output
    assert not (tmp_path / "farm").exists()


def test_without_a_table_the_commented_example_is_written(tmp_path: Path) -> None:
    """As before."""
    assert init(tmp_path, "--no-ask").exit_code == 0
    assert b"Your farm" in (tmp_path / "farm" / "farm.toml").read_bytes()
