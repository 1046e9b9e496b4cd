"""Backup, restore and transfer as the farm's owner asks for them; every farm here is invented."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from intake.app.backups.farm_archive import is_archive
from intake.app.backups.ledger_copies import back_up, copies, move_to, put_back
from intake.app.session import House, open_house
from intake.cli.command_table import vatside
from intake.cli.farm.backup_and_restore import backup, restore, transfer
from intake.errors import BadInput, IntakeError, Refused, StoreTrouble
from intake.farm.floor import Batch
from intake.ledger import batch_payload, check
from tests.conftest import NOON
from tests.store.conftest import postgres, postgres_only  # noqa: F401  # fixtures

At = Callable[..., House]
CLAMS = Batch("S1-01", "clam small", "clam_small", 40.0, 50, "S1", 1, "one", ("7",))


def counted(house: House, dead: int = 1) -> None:
    """One small act: animals came, some died; the timetable follows, so the books hold more entries than these."""
    with house.act() as act:
        act.note("batch", CLAMS.id, batch_payload(CLAMS))
        act.move("S1-01", "supplier", "vat:Q1", 50)
        act.move("S1-01", "vat:Q1", "dead", dead)


def told(command: click.Command, farm: Path, *arguments: str) -> dict[str, object]:
    """Run a command with ``--json`` and read its answer."""
    result = CliRunner().invoke(command, [*arguments, "--json"], obj={"farm": str(farm), "who": ""})
    assert result.exit_code == 0, result.output
    answer = json.loads(result.stdout)
    assert isinstance(answer, dict)
    return answer


@pytest.mark.parametrize("only", [(), ("--books-only",)])
def test_a_backup_is_read_again_and_counts_what_is_alive(
    house_at: At, farm_folder: Path, tmp_path: Path, only: tuple[str, ...]
) -> None:
    """The answer says what is in the copy, not that a file was written: of a whole farm, and of the books alone."""
    house = house_at()
    counted(house, dead=3)
    stick = tmp_path / "stick"
    answer = told(backup, farm_folder, "--out", str(stick), *only)
    assert (answer["entries"], answer["alive"], answer["warnings"]) == (len(house.entries()), 47, [])
    assert is_archive(stick) == (not only)
    written = stick.read_bytes()
    again = CliRunner().invoke(backup, ["--out", str(stick), *only], obj={"farm": str(farm_folder)})
    assert isinstance(again.exception, StoreTrouble)
    assert stick.read_bytes() == written


def test_rotation_deletes_only_copies_it_made_and_no_longer_needs(house_at: At, farm_folder: Path) -> None:
    """Thirty hours of hourly copies leave 24 and the day before's newest; other files are not touched."""
    counted(house_at())
    folder = farm_folder / "backups"
    folder.mkdir()
    (folder / "books-of-my-own.db").write_text("mine")
    for hour in range(30):
        made = back_up(farm_folder, NOON + timedelta(hours=hour), rotate=True)
    kept = [copy.file for copy in copies(farm_folder)]
    assert kept[0] == made.copy.file
    assert len(kept) == 24
    assert all(not file.exists() for file in made.deleted)
    assert (folder / "books-of-my-own.db").exists()


def test_nothing_is_thinned_out_when_the_books_have_shrunk(house_at: At, farm_folder: Path, tmp_path: Path) -> None:
    """A farm.db replaced by an older one: the copies with the missing entries are reported and stay."""
    house = house_at()
    early = back_up(farm_folder, NOON, out=tmp_path / "early.db").copy.file
    counted(house)
    lost = len(house.entries())
    for minute in range(30):
        back_up(farm_folder, NOON + timedelta(minutes=minute))
    house.books.close()
    put_back(farm_folder, early, replace=True)
    made = back_up(farm_folder, NOON + timedelta(hours=1), rotate=True)
    assert made.deleted == ()
    assert f"{lost} entries fewer" in str(made.warnings[0])
    assert len(copies(farm_folder)) == 31


def test_the_last_sound_copy_is_found_past_a_spoiled_one(
    house_at: At, farm_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The newest copy is damaged, the books too: the one before comes back and the farm works on."""
    house = house_at()
    counted(house)
    back_up(farm_folder, NOON)
    spoiled = back_up(farm_folder, NOON + timedelta(hours=1)).copy.file
    before = house.entries()
    house.books.close()
    spoiled.write_bytes(spoiled.read_bytes()[:5000])
    (farm_folder / "farm.db").write_bytes(b"\xff" * 9000)
    with pytest.raises(StoreTrouble, match="restore --last --replace"):
        open_house(farm_folder, who="ada")
    listed = told(restore, farm_folder)["copies"]
    assert isinstance(listed, list)
    assert [bool(copy["trouble"]) for copy in listed] == [True, False]
    with pytest.raises(StoreTrouble, match="no books there"):
        put_back(farm_folder, None)
    monkeypatch.setattr("intake.app.system_clock.now", lambda: NOON)
    answer = told(restore, farm_folder, "--last", "--replace")
    assert answer["entries"] == len(before)
    kept = Path(str(answer["kept"]))
    assert kept.read_bytes() == b"\xff" * 9000
    again = house_at()
    assert [entry for entry in again.entries() if entry in before] == list(before)
    assert {getattr(entry, "kind", "") for entry in again.entries() if entry not in before} <= {"published"}
    counted(again)
    assert check(again.entries()) == []


@pytest.mark.parametrize("how", ["deleted", "emptied"])
def test_books_that_vanished_are_not_quietly_begun_anew(house_at: At, farm_folder: Path, how: str) -> None:
    """farm.db deleted or cut to nothing while copies exist is no new farm."""
    house = house_at()
    counted(house)
    before = house.entries()
    back_up(farm_folder, NOON)
    house.books.close()
    for file in farm_folder.glob("farm.db*"):
        file.unlink()
    if how == "emptied":
        (farm_folder / "farm.db").touch()
    with pytest.raises(StoreTrouble, match="restore --last"):
        open_house(farm_folder, who="ada")
    put_back(farm_folder, None, replace=True)
    assert house_at().entries() == before


def test_a_copy_of_another_site_is_not_put_back(house_at: At, farm_folder: Path, tmp_path: Path) -> None:
    """Otherwise the farm would look empty."""
    house = house_at()
    counted(house)
    before = house.entries()
    move_to(farm_folder, str(tmp_path / "north.db"), site="north")
    house.books.close()
    with pytest.raises(StoreTrouble, match="'north'"):
        put_back(farm_folder, tmp_path / "north.db", replace=True)
    assert house_at().entries() == before


def test_a_site_named_later_is_told_not_shown_as_an_empty_farm(house_at: At, farm_folder: Path) -> None:
    """``site`` written into farm.toml of a farm whose entries have none."""
    house = house_at()
    counted(house)
    house.books.close()
    file = farm_folder / "farm.toml"
    file.write_text(file.read_text().replace("[farm]", '[farm]\nsite = "north"', 1))
    with pytest.raises(StoreTrouble, match=r"farm\.toml"):
        open_house(farm_folder, who="ada")


def copy_of(farm_folder: Path, tmp_path: Path) -> Path:
    """A copy made now."""
    return back_up(farm_folder, NOON, out=tmp_path / "now.db").copy.file


def test_a_farm_moves_to_a_server_works_there_and_comes_back(
    house_at: At,
    farm_folder: Path,
    tmp_path: Path,
    postgres_only: str,  # noqa: F811  # the fixture
) -> None:
    """File → PostgreSQL under a site's name → counts there → backup → restored as a file: nothing lost on the way."""
    house = house_at()
    counted(house)
    before = [entry.key for entry in house.entries()]
    house.books.close()
    address = postgres_only.replace("postgresql+psycopg", "postgresql")
    answer = told(transfer, farm_folder, "--to", address, "--site", "north")
    assert (answer["entries"], answer["alive"]) == (len(before), 49)
    assert answer["farm_toml"] == [f'store = "{address}"', 'site = "north"']
    file = farm_folder / "farm.toml"
    plain = file.read_text()
    lines = "\n".join(answer["farm_toml"])
    file.write_text(plain.replace("[farm]", f"[farm]\n{lines}", 1))
    away = house_at()
    assert [entry.key for entry in away.entries()] == before
    counted(away)
    worked = [entry.key for entry in away.entries()]
    assert len(worked) >= len(before) + 2
    with pytest.raises(Refused, match="without any"):
        move_to(farm_folder, address, source=str(copy_of(farm_folder, tmp_path)), site="north")
    copy = back_up(farm_folder, NOON).copy
    assert copy.entries == len(worked)
    away.books.close()
    with pytest.raises(Refused, match="without any"):
        put_back(farm_folder, copy.file, replace=True)
    (farm_folder / "farm.db").rename(tmp_path / "old.db")
    file.write_text(plain.replace("[farm]", '[farm]\nsite = "north"', 1))
    put_back(farm_folder, None)
    assert [entry.key for entry in house_at().entries()] == worked


def test_a_copy_is_put_back_into_an_empty_server(
    house_at: At,
    farm_folder: Path,
    tmp_path: Path,
    postgres_only: str,  # noqa: F811  # the fixture
) -> None:
    """The server's disk is gone, a new one stands there: the copy fills the site."""
    house = house_at()
    counted(house)
    before = [entry.key for entry in house.entries()]
    copy = back_up(farm_folder, NOON).copy
    house.books.close()
    file = farm_folder / "farm.toml"
    address = postgres_only.replace("postgresql+psycopg", "postgresql")
    file.write_text(file.read_text().replace("[farm]", f'[farm]\nstore = "{address}"', 1))
    put_back(farm_folder, copy.file)
    assert [entry.key for entry in house_at().entries()] == before


@pytest.mark.parametrize(
    "act",
    [
        lambda farm: back_up(farm, NOON, out=farm / "x.db", rotate=True),
        lambda farm: move_to(farm, "mysql://farm@host/farm"),
        lambda farm: move_to(farm, str(farm / "x.db"), site="no good name"),
        lambda farm: put_back(farm, None),
        lambda farm: put_back(farm, farm / "nowhere.db"),
        lambda farm: put_back(farm / "nowhere", None),
    ],
)
def test_what_cannot_be_done_is_refused_and_leaves_the_books(
    house_at: At, farm_folder: Path, act: Callable[[Path], object]
) -> None:
    """Wrong options, absent files and folders: a refusal with what to do, the books as they were."""
    house = house_at()
    counted(house)
    before = house.entries()
    with pytest.raises(IntakeError) as refused:
        act(farm_folder)
    assert refused.value.findings
    assert isinstance(refused.value, BadInput | StoreTrouble)
    assert house_at().entries() == before


def test_a_store_that_is_no_address_is_a_fault_of_the_farm_file(farm_folder: Path) -> None:
    """Reported with file and key."""
    file = farm_folder / "farm.toml"
    file.write_text(file.read_text().replace("[farm]", '[farm]\nstore = "mysql://host/farm"', 1))
    with pytest.raises(BadInput, match="store"):
        open_house(farm_folder)


def test_the_commands_show_an_example() -> None:
    """Every command's help ends with something to copy."""
    for command in (backup, restore, transfer):
        assert "vatside" in CliRunner().invoke(command, ["--help"], prog_name=f"vatside {command.name}").output
    assert vatside.name == "vatside"
