"""A restore does all of it or nothing, and rotation of whole archives takes none that someone may need."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.access.devices import devices
from intake.app.backups.after_restore import known_before, made_ready
from intake.app.backups.farm_archive import archives, pack, unpack_farm
from intake.app.backups.ledger_copies import put_back
from intake.app.calendars import feed_publication
from intake.app.session import open_house
from intake.cli.command_table import vatside
from intake.errors import Refused
from intake.store import Books, restore
from tests.app.deliveries import LANDED, Open, received
from tests.app.test_whole_copies import FILES, LATER, closed, farm, forge, revived


def test_the_command_carries_over_what_was_revoked_and_says_so(
    house_at: Open, farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Signed-out devices and calendar addresses stay so, revisions go on; all of it is in the ledger as it is put back."""
    stick = revived(house_at, farm_folder, tmp_path)
    seen = {uid: row.sequence for uid, row in feed_publication.revisions(house_at(LATER)).items()}
    closed(house_at)
    monkeypatch.setattr("intake.app.system_clock.now", lambda: LATER + timedelta(hours=1))
    told = CliRunner().invoke(vatside, ["--farm", str(farm_folder), "restore", str(stick), "--replace"])
    assert told.exit_code == 0, told.output
    assert "calendar address F1 was revoked after this copy: revoked again" in told.output
    house = open_house(farm_folder, now=LATER + timedelta(hours=1))
    assert house.latest("feed")["F1"].payload["revoked"] is True
    assert [one.state for one in devices(house)] == ["revoked"]
    now = feed_publication.revisions(house)
    assert seen
    assert all(now[uid].sequence > sequence for uid, sequence in seen.items())
    house.books.close()


def with_files(house_at: Open, folder: Path) -> None:
    """A farm with files of every kind."""
    house_at()  # its ledger comes first: files without one are signs of a lost one
    for name, data in FILES.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)


def everything(folder: Path) -> dict[str, object]:
    """Every file of a folder by its bytes; the ledger by its entries, since opening it alone turns its log on or off."""
    found: dict[str, object] = {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith("farm.db-") and path.name != "farm.db"
    }
    with Books.open(folder / "farm.db") as books:
        return found | {"entries": books.entries(), "head": str(books.head())}


@pytest.mark.parametrize("what", ["farm", "ledger"])
def test_a_restore_under_a_clock_behind_changes_nothing(
    house_at: Open, farm_folder: Path, tmp_path: Path, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was revoked could not be revoked again: then the copy is not put back either, and no file is changed."""
    with_files(house_at, farm_folder)
    stick = revived(house_at, farm_folder, tmp_path)
    closed(house_at)
    (farm_folder / "photos" / "aa.jpg").write_bytes(b"another")
    before, files = known_before(farm_folder), everything(farm_folder)
    monkeypatch.setattr("intake.app.system_clock.now", lambda: LANDED - timedelta(days=3))

    def ready(folder: Path, books: Path) -> tuple[str, ...]:
        return made_ready(folder, books, before)

    ledger = ledger_of(stick, tmp_path)
    acts: dict[str, Callable[[], object]] = {
        "farm": lambda: unpack_farm(stick, farm_folder, replace=True, ready=ready),
        "ledger": lambda: put_back(farm_folder, ledger, replace=True, ready=ready),
    }
    with pytest.raises(Refused, match="clock"):
        acts[what]()
    assert everything(farm_folder) == files


def ledger_of(stick: Path, tmp_path: Path) -> Path:
    """The ledger of an archive, as a file."""
    with zipfile.ZipFile(stick) as packed:
        return Path(packed.extract("books.db", tmp_path))


def test_a_restore_that_fails_at_the_ledger_puts_every_file_back(
    house_at: Open, farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The ledger is replaced last; when that cannot be done the farm's other files are as they were."""
    with_files(house_at, farm_folder)
    stick = revived(house_at, farm_folder, tmp_path)
    closed(house_at)
    (farm_folder / "photos" / "aa.jpg").write_bytes(b"another")
    (farm_folder / "inbox" / "list.csv").unlink()
    files = everything(farm_folder)

    def full(source: Path, target: Path, *, replace: bool = False) -> Path | None:
        if target.name == "farm.db":
            raise OSError(28, "No space left on device")
        return restore(source, target, replace=replace)

    monkeypatch.setattr("intake.app.backups.ledger_copies.restore", full)
    with pytest.raises(OSError, match="No space"):
        unpack_farm(stick, farm_folder, replace=True)
    assert everything(farm_folder) == files


@pytest.mark.parametrize("passphrase", ["", "wet hands, dry books"])
def test_whole_archives_are_rotated_and_none_that_is_needed_goes(
    house_at: Open, farm_folder: Path, passphrase: str
) -> None:
    """One a day of a fortnight and one a week of two months stay, with every archive they go on from."""
    farm(house_at, farm_folder)
    first = pack(farm_folder, LATER, passphrase=passphrase).file
    base = pack(farm_folder, LATER + timedelta(minutes=10), passphrase=passphrase).file
    made = [first, base]
    for night in range(1, 4):
        house_at(LATER + timedelta(days=night))
        when = LATER + timedelta(days=40 * night)
        one = pack(farm_folder, when, passphrase=passphrase, since=base, rotate=True)
        assert one.warnings == ()
        made.append(one.file)
    assert not first.exists()
    assert all(file.exists() for file in made[1:])
    assert sorted(archives(farm_folder).values()) == sorted(made[1:])


def test_no_archive_goes_when_the_ledger_was_told_anew(house_at: Open, farm_folder: Path) -> None:
    """Exit 1 and a look: the archive before is of another past; later ones leave it alone too."""
    received(house_at).books.close()
    minutes = [pack(farm_folder, LATER + timedelta(minutes=n)).file for n in range(3)]
    closed(house_at)
    forge(farm_folder / "farm.db")
    made = pack(farm_folder, LATER + timedelta(minutes=5), rotate=True)
    assert any("rewritten" in str(words) for words in made.warnings)
    assert made.deleted == ()
    later = pack(farm_folder, LATER + timedelta(minutes=6), rotate=True)
    assert later.warnings == ()
    assert later.deleted == (made.file,)
    assert all(file.exists() for file in minutes)
