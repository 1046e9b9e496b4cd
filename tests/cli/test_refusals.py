"""Whatever is typed wrongly is answered in words with exit 2, no traceback, and nothing written."""

from __future__ import annotations

import os
import resource
import shlex
import shutil
import sqlite3
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from tests.cli.conftest import AT, Run, bare

WRONG: list[tuple[str, str]] = [
    ("count S1-01 --vat Q1 --dead -1", "--dead"),
    ("count S1-01 --vat Q1 --dead 2.5", "'2.5' is not a valid integer"),
    ("count S1-01 --vat Q1 --dead 1e999", "not a valid integer"),
    ("count S1-01 --vat Q1 --dead 99999999999999999999999999", "at most 1,000,000,000"),
    ("count S1-01 --vat Q1", "at least one of"),
    ("count S1-01 --vat Q1 --dead 41", "at most 40"),
    ("count S1-01 --vat Q1 --alive 39", "--missing 1"),
    ("count S1-01 --vat Q1 --found 1", "missing"),
    ("count S1-1 --vat Q1 --dead 1", "S1-01"),
    ("count S1-01 --vat Q7 --dead 1", "Q1"),
    ("count S1-01 --vat Q1 --dead 1 --at yesterday", "2027-03-04"),
    ("count S1-01 --vat Q1 --dead 1 --at 2027-03-09T08:00", "not after now"),
    ("count S1-01 --vat Q1 --dead 1 --at 2027-03-01T08:00", "at most 0"),
    ("count", "BATCH"),
    ("count --undo nothing", "nothing"),
    ("--who nobody count S1-01 --vat Q1 --dead 1", "ada"),
    ("receive S1", "one receipt"),
    ("receive S2", "S1"),
    ("done S1-01/no-such/Q1/1", "task"),
    ("finding S1-01 acropora-flatwrm --vat Q1", "acropora-flatworm"),
    ("finding S1-01 claen", "clean"),
    ("finding S1-99 clean", "S1-0"),
    ("reading Q1 ph 8.1", "nbs"),
    ("reading Q1 ph 8.1 --scale NBS2", "nbs"),
    ("reading Q1 ph nan --scale nbs", "4 to 11"),
    ("reading Q1 temperature_c 79", "looks like °F"),
    ("reading Q1 temprature_c 26", "temperature_c"),
    ("reading Q8 temperature_c 26", "Q1"),
    ("move S1-01 --from Q1 --to Q9 --count 1", "Q1"),
    ("move S1-01 --from Q1 --to G1 --count 0", "1 or more"),
    ("move S1-01 --from G1 --to Q1 --count 5", "at most 0"),
    ("move S1-01 --from Q1 --to sould --count 5", "vat"),
    ("cut S1-02 --pieces 1 --vat Q1", "2 or more"),
    ("cut S1-02 --pieces 4 --vat Q1 --size-mm nan", "--size-mm"),
    ("cut H5 --pieces 4 --vat Q1", "batch"),
    ("clean Q1", "Move them first"),
    ("clean Q0", "Q1"),
    ("hold S1-01 --reason ''", "reason"),
    ("hold S1-77 --reason lost", "S1-0"),
    ("season", "--example"),
    ("season --seconds 0 nothing.toml", "nothing.toml"),
    ("clear Q1 --by 2027-03-10", "never shortened"),
    ("clear Q3 --by 2027-03-10", "animals in it"),
    ("clear Q1 --by 10/03/2027", "2027-03-04"),
    ("clear Q1 --by ''", "--by"),
    ("amend S1 --line S1-01=30", "received"),
    ("amend S4 --lands 2027-03-09", "S1"),
    ("amend S1 --line S1-01", "BATCH=COUNT"),
    ("amend S1 --line S1-01=³", "BATCH=COUNT"),
    ("plan --accept", "vatside expect"),
    ("plan --seconds 0", "more than 0"),
    ("plan --seconds nan", "more than 0"),
    ("plan --accept --what-if mix.csv", "never accepted"),
    ("plan --what-if nowhere.csv", "no such file"),
    ("capacity --mix nowhere.csv", "no such file"),
    ("capacity --mix nowhere.csv --from 1.2.2027", "--from"),
    ("timetable --seconds 0", "more than 0"),
    ("timetable --days 0", "1<=x<=400"),
    ("timetable --for nobody", "ada"),
    ("feed --for nobody --out x.ics", "quarantine"),
    ("feeds --create nobody", "ada"),
    ("feeds --revoke F9", "address"),
    ("print shets", "sheets"),
    ("print sheets --shipment S9", "S1"),
    ("print sheets --batch S9-01", "S1-01"),
    ("claim S9", "S1"),
    ("trace", "exactly one of"),
    ("trace --batch S1-1", "S1-01"),
    ("stock nowhere.csv", "nowhere.csv"),
    ("expect nowhere.csv --supplier one --lands 2027-03-09", "no such file"),
    ("expect /dev/zero --supplier one --lands 2027-03-09", "no ordinary file"),
    ("expect list.csv --supplier uno --lands 2027-03-09", "one"),
    ("expect list.csv --supplier one --lands soon", "--lands"),
    ("expect list.csv --supplier one --lands 2027-03-09 --answer columns", "KEY=VALUE"),
]


def _words(line: str) -> list[str]:
    return ["" if word == "''" else word for word in line.split()]


@pytest.mark.parametrize(("line", "says"), WRONG, ids=[line for line, _ in WRONG])
def test_bad_input_is_told_and_nothing_is_written(run: Run, stocked: Path, line: str, says: str) -> None:
    """Exit 2, the word that helps, no traceback; books and files are as they were."""
    before = bare(stocked)
    told = run(*_words(line))
    assert told.exit_code == 2, told.output
    assert says in told.stderr, told.stderr
    assert told.exception is None or isinstance(told.exception, SystemExit)
    assert told.stdout == ""
    assert bare(stocked) == before


def test_a_farm_that_is_not_there(run: Run, tmp_path: Path) -> None:
    """The first mistake a stranger makes is to stand in the wrong folder."""
    told = run("check", farm=tmp_path / "nowhere")
    assert told.exit_code == 2
    assert "vatside init" in told.stderr
    assert not (tmp_path / "nowhere").exists()


FARM_FAULTS: list[tuple[str, str, str]] = [
    ("length_m = 2.0", "length_m = -2.0", "length_m"),
    ("volume_l = 600", "volume_l = nan", "volume_l"),
    ('system = "growout"', 'system = "growuot"', "growout"),
    ("min_portion = 5", "min_portion = 0", "min_portion"),
    ('time_zone = "Europe/Lisbon"', 'time_zone = "Europe/Lisboa"', "time_zone"),
    ("allowance_percent = 3", "allowance_percent = 300", "allowance_percent"),
    ("fallow_days = 3", "fallow_dyas = 3", "fallow_dyas"),
    ("[farm]", "[farm", "farm.toml"),
    ("salinity_psu = 34.5", 'salinity_psu = "salty"', "salinity_psu"),
]


@pytest.mark.parametrize(("old", "new", "says"), FARM_FAULTS, ids=[new for _, new, _ in FARM_FAULTS])
def test_a_faulty_farm_file_names_table_and_key(run: Run, farm_folder: Path, old: str, new: str, says: str) -> None:
    """Every command reads the farm file first; a typing slip in it must be found by name."""
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")
    told = run("check")
    assert told.exit_code == 2
    assert says in told.stderr, told.stderr
    assert "farm.toml" in told.stderr
    assert not (farm_folder / "farm.db").exists()


@pytest.mark.parametrize("data", [b"", b"\xff\xfe\x00", b"\x00" * 50], ids=["empty", "not text", "zeros"])
def test_a_farm_file_that_is_none(run: Run, farm_folder: Path, data: bytes) -> None:
    """An editor that crashed leaves such files behind."""
    (farm_folder / "farm.toml").write_bytes(data)
    told = run("check")
    assert (told.exit_code, "farm.toml" in told.stderr) == (2, True), told.output


@pytest.mark.parametrize("trace", ["claims", "photos", "backups", "inbox"])
def test_books_gone_beside_signs_of_history(run: Run, stocked: Path, trace: str) -> None:
    """An empty ledger in their place would say that no animal was ever here."""
    for file in stocked.glob("farm.db*"):
        file.unlink()
    for kind in ("claims", "photos", "backups", "inbox"):
        shutil.rmtree(stocked / kind, ignore_errors=True)
    (stocked / trace).mkdir()
    (stocked / trace / "kept").write_bytes(b"kept")
    told = run("check")
    assert told.exit_code == 2
    assert "restore --last --replace" in told.stderr
    assert not (stocked / "farm.db").exists()


@pytest.mark.parametrize("name", ["names.csv", "groups.toml"])
def test_a_device_in_the_library(run: Run, stocked: Path, name: str) -> None:
    """Reading one would never end."""
    (stocked / "library").mkdir(exist_ok=True)
    (stocked / "library" / name).unlink(missing_ok=True)
    (stocked / "library" / name).symlink_to("/dev/zero")
    (stocked / "list.csv").write_bytes(b"name,count\nTridacna crocea,10\n")
    told = run("expect", str(stocked / "list.csv"), "--supplier", "one", "--lands", "2027-03-09T09:00", "--dry")
    assert told.exit_code == 2
    assert "no ordinary file" in told.stderr


def test_a_vat_taken_out_of_the_farm_file_with_animals_in_it(run: Run, stocked: Path) -> None:
    """The books still hold the animals: check exits 1 and says what to do."""
    file = stocked / "farm.toml"
    head, _, tail = file.read_text(encoding="utf-8").partition("[vat.Q2]")
    file.write_text(head + tail[tail.index("[vat.Q3]") :], encoding="utf-8")
    told = run("check")
    assert told.exit_code == 1
    assert "40 of S1-03" in told.stdout
    assert "Put the vat back" in " ".join(told.stdout.split())


def test_a_clock_before_the_last_entry(run: Run, stocked: Path) -> None:
    """A dead battery sets the clock back by years: nothing is recorded then, and what is shown says whose time it is."""
    before = bare(stocked)
    for words in (("count", "S1-01", "--dead", "1"), ("plan", "--accept", "--seconds", "1")):
        told = run(*words, at=AT - timedelta(days=2))
        assert told.exit_code == 2, words
        assert "Correct this computer's clock" in told.stderr
    shown = run("report", "vats", at=AT - timedelta(days=2))
    assert (shown.exit_code, "clock" in shown.stderr) == (0, True)
    assert bare(stocked) == before


def test_books_locked_by_another_program(run: Run, stocked: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A backup tool holds the file: the count is refused in words and can be repeated."""
    monkeypatch.setattr("intake.store.engines.BUSY_MS", 50)
    other = sqlite3.connect(stocked / "farm.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    told = run("count", "S1-01", "--dead", "1")
    other.execute("ROLLBACK")
    other.close()
    assert told.exit_code == 2
    assert "ledger is in use" in told.stderr
    assert run("count", "S1-01", "--dead", "1").exit_code == 0


@pytest.mark.parametrize("data", [b"not books at all" * 300, b"SQLite format 3\x00" + b"\xff" * 4000])
def test_books_that_are_damaged(run: Run, farm_folder: Path, data: bytes) -> None:
    """They are not opened, not mended, not overwritten."""
    (farm_folder / "farm.db").write_bytes(data)
    told = run("check")
    assert told.exit_code == 2
    assert "intact database" in told.stderr or "restore" in told.stderr.lower(), told.stderr
    assert (farm_folder / "farm.db").read_bytes() == data


HELD = (
    "from datetime import datetime\nfrom intake.app import system_clock as clock\nfrom intake.main import main\n"
    f"clock.now = lambda: datetime.fromisoformat('{AT.isoformat()}')\nmain()"
)
"""The command with the clock of these tests, in a process of its own."""


def _limited(stocked: Path, *words: str, room: int) -> subprocess.CompletedProcess[str]:
    """A command whose files may not grow beyond ``room`` bytes, as on a disk that is full.

    It keeps no bytecode: Python would cut its own files short at the limit and fail on them ever after.
    """
    env = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, "-c", HELD, "--farm", str(stocked), *words],
        capture_output=True, text=True, check=False, env=env,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (room, room)),  # no threads here
    )  # fmt: skip


def test_a_full_disk(stocked: Path) -> None:
    """The count is refused in words; the books are as they were and sound."""
    before = bare(stocked)
    told = _limited(stocked, "count", "S1-01", "--vat", "Q1", "--dead", "1", room=0)
    assert told.returncode == 2
    assert "Traceback" not in told.stderr
    assert "disk" in told.stderr
    assert told.stderr.count("Nothing was saved.") == 1
    assert bare(stocked) == before


def test_a_disk_too_full_for_a_calendar(stocked: Path) -> None:
    """The file of before is kept whole, since the new one is written beside it first."""
    out = stocked / "out" / "farm.ics"
    whole = _limited(stocked, "feed", "--out", str(out), room=1 << 30)  # all is published: the next writes no entry
    assert whole.returncode == 0, whole.stderr
    assert out.stat().st_size > 2_000
    out.write_bytes(b"BEGIN:VCALENDAR the last good one")
    told = _limited(stocked, "feed", "--out", str(out), room=1_000)
    assert told.returncode == 2
    assert "farm.ics" in told.stderr, told.stderr
    assert "Traceback" not in told.stderr
    assert out.read_bytes() == b"BEGIN:VCALENDAR the last good one"
    assert [path.name for path in out.parent.iterdir()] == ["farm.ics"]


def test_a_folder_that_cannot_be_written(run: Run, stocked: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A read-only share: the path and the reason, no traceback, no half file."""

    def refuse(*_args: object, **_kinds: object) -> None:
        raise OSError(30, "Read-only file system", str(stocked / "out"))

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    told = run("claim", "S1", "--out", str(stocked / "out"))
    assert told.exit_code == 2
    assert "Read-only file system" in told.stderr


def test_a_file_where_a_folder_should_be(run: Run, stocked: Path) -> None:
    """``--out`` below an ordinary file."""
    told = run("print", "labels", "--out", str(stocked / "farm.toml" / "out"))
    assert told.exit_code == 2
    assert "farm.toml" in told.stderr


def test_output_into_a_pipe_that_closes(stocked: Path) -> None:
    """``vatside … | head -1`` is no error of ours."""
    env = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    line = f"{sys.executable} -c {shlex.quote(HELD)} --farm {stocked} release | head -1"
    told = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False, env=env)
    assert told.returncode == 0
    assert "Traceback" not in told.stderr
