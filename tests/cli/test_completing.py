"""What a shell is offered: words of the ledger, and silence where there is no farm to ask."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.shell_completion import ShellComplete

from intake.cli.command_table import COMPLETION, vatside


@pytest.fixture(autouse=True)
def _asked_by_a_shell(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(COMPLETION, "bash_complete")


def offered(farm: Path, *words: str, incomplete: str = "") -> list[str]:
    """What follows these words."""
    shell = ShellComplete(vatside, {}, "vatside", COMPLETION)
    return [item.value for item in shell.get_completions(["--farm", str(farm), *words], incomplete)]


@pytest.mark.parametrize(
    ("words", "incomplete", "among"),
    [
        (("count",), "S1", "S1-01"),
        (("count",), "s1-0", "S1-03"),
        (("count", "S1-01", "--vat"), "Q", "Q1"),
        (("clean",), "", "Q2"),
        (("move", "S1-01", "--from", "Q1", "--to"), "s", "sold"),
        (("reading",), "", "quarantine"),
        (("receive",), "", "S1"),
        (("shipments", "lines"), "", "S1"),
        (("expect", "list.csv", "--supplier"), "", "one"),
        (("order", "S1-01"), "", "coral-iodine-dip"),
        (("hold", "S1-01", "S1-02"), "S1-", "S1-03"),
        (("--who",), "", "ben"),
        (("print", "dips", "--batch"), "", "S1-02"),
    ],
)
def test_words_of_the_ledger_are_offered(stocked: Path, words: tuple[str, ...], incomplete: str, among: str) -> None:
    """Batches, vats, places, shipments, suppliers and dips, whatever their case."""
    assert among in offered(stocked, *words, incomplete=incomplete)


def test_nothing_is_offered_nor_made_without_a_farm(tmp_path: Path, farm_folder: Path) -> None:
    """A key pressed in the wrong folder makes no ledger and raises nothing."""
    assert offered(tmp_path / "nowhere", "count") == []
    for file in farm_folder.glob("farm.db*"):
        file.unlink()
    assert offered(farm_folder, "count") == []
    assert not (farm_folder / "farm.db").exists()
    (farm_folder / "farm.toml").write_text("[farm", encoding="utf-8")
    assert offered(farm_folder, "clean") == []
    (farm_folder / "farm.toml").write_bytes(b"\xff\xfe")
    assert offered(farm_folder, "clean") == []
