"""Questions of a packing list on the command line: asked in the terminal, kept in a file, a corrected list compared."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app import system_clock as clock
from intake.cli.command_table import vatside
from tests.cli.conftest import AT, Run, bare

HEAD = "Box,Scientific name,Size,Qty\n"
ROWS = "1,Tridacna maxima,4,60\n2,Zoanthus sp.,3,20\n"
LANDS = "2027-03-08T09:00"


def listed(folder: Path, text: str, name: str = "list.csv") -> str:
    """A list beside the farm."""
    path = folder.parent / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_open_questions_are_written_into_a_file_and_read_from_it(run: Run, farm_folder: Path) -> None:
    """The failed run writes the question commented; with the line filled in, the next run enters the list."""
    path, answers = listed(farm_folder, HEAD + ROWS), farm_folder.parent / "answers.toml"
    run("check")
    before = bare(farm_folder)
    told = run("expect", path, "--supplier", "one", "--lands", LANDS, "--answers", str(answers))
    assert told.exit_code == 2
    assert bare(farm_folder) == before, "nothing is written on the farm"
    text = answers.read_text(encoding="utf-8")
    assert '#"size-unit" = "cm"' in text
    assert "one of: cm, mm, in" in text
    answers.write_text(text.replace('#"size-unit"', '"size-unit"'), encoding="utf-8")
    entered = run("expect", path, "--supplier", "one", "--lands", LANDS, "--answers", str(answers))
    assert entered.exit_code == 0, entered.output
    assert "Entered as" in entered.stdout


def test_an_answers_file_is_no_other_file(run: Run, farm_folder: Path) -> None:
    """A file that is no answers is refused, and stays as it is."""
    path, other = listed(farm_folder, HEAD + ROWS), farm_folder.parent / "letter.txt"
    other.write_text("Dear keeper,\n", encoding="utf-8")
    told = run("expect", path, "--supplier", "one", "--lands", LANDS, "--answers", str(other))
    assert told.exit_code == 2
    assert other.read_text(encoding="utf-8") == "Dear keeper,\n"


def asked(farm: Path, words: list[str], typed: str) -> str:
    """A command with ``--ask`` and what is typed."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clock, "now", lambda: AT)
        told = CliRunner().invoke(vatside, ["--farm", str(farm), "expect", *words, "--ask"], input=typed)
    assert told.exception is None or isinstance(told.exception, SystemExit), told.exception
    return told.output


def test_questions_are_asked_by_number_in_the_terminal(farm_folder: Path) -> None:
    """The columns are accepted with Enter, the unit chosen as 1, and the list is entered."""
    path = listed(farm_folder, HEAD + ROWS)
    output = asked(farm_folder, [path, "--supplier", "one", "--lands", LANDS], "\n1\n")
    assert "1  cm" in output
    assert "s  the list is wrong" in output
    assert "Entered as" in output, output


def test_columns_are_changed_by_number(farm_folder: Path) -> None:
    """Line 4 of the proposal is read from their column 5 instead; no letter is typed."""
    path = listed(farm_folder, "Box,Scientific name,Size (cm),Qty,Really sent\n1,Tridacna maxima,4,60,55\n")
    output = asked(farm_folder, [path, "--supplier", "one", "--lands", LANDS, "--dry"], "3=5\n1\n")
    assert "Their columns: 1 Box, 2 Scientific name" in output
    assert "55 animals" in output, output


def test_a_list_that_is_wrong_stops(run: Run, farm_folder: Path) -> None:
    """Every question takes the honest way out."""
    path = listed(farm_folder, HEAD + ROWS)
    run("check")
    before = bare(farm_folder)
    told = run("expect", path, "--supplier", "one", "--lands", LANDS, "--answer", "size-unit=list-is-wrong")
    assert told.exit_code == 2
    assert "corrected list" in told.stderr
    assert bare(farm_folder) == before


def test_the_account_of_rows_is_shown(run: Run, farm_folder: Path) -> None:
    """What became of every row stands on the terminal."""
    path = listed(farm_folder, HEAD.replace("Size", "Size (cm)") + ROWS + ",Ice packs,,4\n,Total,,80\n")
    told = run("expect", path, "--supplier", "one", "--lands", LANDS, "--dry")
    assert told.exit_code == 0, told.output
    assert "5 of 5 rows: 2 animal lines" in told.stdout
    assert "goods that are no animals" in told.stdout


def test_a_corrected_list_shows_its_difference_before_it_counts(run: Run, farm_folder: Path) -> None:
    """Line by line; nothing counts until --yes, and the batches keep their names."""
    head = HEAD.replace("Size", "Size (cm)")
    path = listed(farm_folder, head + ROWS)
    entered = run("expect", path, "--supplier", "one", "--lands", LANDS, "--shipment", "K1", "--json")
    assert entered.exit_code == 0, entered.output
    better = listed(farm_folder, head + "1,Tridacna maxima,4,58\n3,Acropora tenuis,6,9\n", "better.csv")
    run("check")
    before = bare(farm_folder)
    told = run("expect", better, "--supplier", "one", "--replaces", "K1")
    assert told.exit_code == 2
    assert "K1-01 Tridacna maxima: 60 → 58 animals" in told.stdout
    assert "+ K1-03: 9 × Acropora tenuis, new" in told.stdout
    assert "- K1-02: 20 × Zoanthus sp., no longer listed" in told.stdout
    assert bare(farm_folder) == before
    assert run("expect", better, "--supplier", "one", "--replaces", "K1", "--yes").exit_code == 0
    lines = json.loads(run("shipments", "lines", "K1", "--json").stdout)
    assert [line["ordered"] for line in lines] == [60, 20, 0], "what the correction added was not ordered"
    rows = json.loads(run("shipments", "--json").stdout)
    assert next(row for row in rows if row["shipment"] == "K1")["announced"] == 67


def test_answers_given_in_the_terminal_are_kept_until_the_list_is_entered(farm_folder: Path) -> None:
    """A run left half answered is taken up where it was left; once the list is in, nothing of it stays."""
    path = listed(farm_folder, "Box,Scientific name,Size,Qty\n1,Tridacna maxima,4,60\n2,Zoanthus sp.,3,about 20\n")
    words = [path, "--supplier", "one", "--lands", LANDS]
    first = asked(farm_folder, words, "\n1\n\n\n\n\n")
    assert "Entered as" not in first, first
    (kept,) = (farm_folder / "inbox").glob("answers-one-*.toml")
    assert '"size-unit" = "cm"' in kept.read_text(encoding="utf-8")
    again = asked(farm_folder, words, "\n20\n")
    assert "Taken from an earlier run: 1 answers" in again
    assert "1  cm" not in again, "not asked twice"
    assert "Entered as" in again, again
    assert not kept.exists()


@pytest.mark.parametrize("lands", [[], ["--lands", LANDS]])
def test_a_corrected_list_of_no_shipment_names_the_shipment(run: Run, farm_folder: Path, lands: list[str]) -> None:
    """What is wrong is the shipment, not the landing that would have been read from it."""
    told = run("expect", listed(farm_folder, HEAD + ROWS), "--supplier", "one", "--replaces", "S77", *lands)
    assert told.exit_code == 2
    assert "S77" in told.stderr
    assert "--lands" not in told.stderr
