"""The whole farm in one archive: put back on an empty computer from nothing but it, and what must not come back with it."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import stat
import subprocess
import sys
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from intake.app.access.devices import devices, invite, revoke
from intake.app.access.pin_sign_in import set_pin
from intake.app.backups.after_restore import go_on, known_before
from intake.app.backups.farm_archive import last_copy, pack, unpack_farm
from intake.app.backups.ledger_copies import back_up
from intake.app.calendars import feed_addresses, feed_publication
from intake.app.commands import count_animals
from intake.app.commands.count_animals import Count
from intake.app.farm_folder import check_house
from intake.app.output_files import keep_file
from intake.app.queries.reports.audit_export import export
from intake.app.session import open_house
from intake.errors import BadInput, Refused, StoreTrouble
from intake.store import Books
from tests.app.deliveries import LANDED, Open, received
from tests.store.test_proving import past_the_program, resealed

ROOT = Path(__file__).parents[2]
LATER = LANDED + timedelta(hours=5)
FILES = {
    "photos/aa.jpg": b"\xff\xd8 an invented photo" * 50,
    "library/dips.toml": b"# nothing changed\n",
    "permits.toml": b"# invented\n",
    "inbox/list.csv": b"name,count\nInvented,3\n",
}


def closed(house_at: Open) -> None:
    """Close every session of the test: books are put back only where no program has them open."""
    (opened,) = (cell.cell_contents for cell in house_at.__closure__ or () if isinstance(cell.cell_contents, list))
    for house in opened:
        house.books.close()


def farm(house_at: Open, folder: Path) -> dict[str, bytes]:
    """A farm with animals and files of every kind; gives all files that must come back."""
    house = received(house_at)
    for name, data in FILES.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
    keep_file(folder, b"%PDF a claim as it was sent", "claim.pdf")
    (folder / "out").mkdir(exist_ok=True)
    (folder / "out" / "sheet.pdf").write_bytes(b"printed again any time")
    feed_publication.publish(house)
    kept = [path for path in folder.rglob("*") if path.is_file() and path.name != "sheet.pdf"]
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in kept if not path.name.startswith("farm.db")
    }


@pytest.mark.parametrize("passphrase", ["", "wet hands, dry books"])
def test_a_farm_comes_back_on_an_empty_computer_from_its_archive_alone(
    house_at: Open, farm_folder: Path, tmp_path: Path, passphrase: str
) -> None:
    """Every file byte for byte, every animal, and nothing readable in a sealed archive."""
    files = farm(house_at, farm_folder)
    stick = tmp_path / "stick" / "farm.zip"
    made = pack(farm_folder, LATER, out=stick, passphrase=passphrase)
    assert (b"photos/aa.jpg" in stick.read_bytes()) == (not passphrase)
    head = str(house_at(LATER).books.head())
    shutil.rmtree(farm_folder)
    new = tmp_path / "another computer" / "farm"
    told = unpack_farm(stick, new, passphrase=passphrase)
    back = {p.relative_to(new).as_posix(): p.read_bytes() for p in new.rglob("*") if p.is_file()}
    assert {name: data for name, data in back.items() if not name.startswith("farm.db")} == files
    house = open_house(new, now=LATER)
    assert (told["head"], str(house.books.head())) == (head, head) == (made.manifest.facts["head"], head)
    assert house.floor().headcount("S1-01") == 40
    assert check_house(house) == []
    house.books.close()


def test_a_sealed_archive_opens_with_its_passphrase_only(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """None, a wrong one, and one bit of the file turned over."""
    farm(house_at, farm_folder)
    stick = tmp_path / "farm.zip.sealed"
    pack(farm_folder, LATER, out=stick, passphrase="wet hands, dry books")
    with pytest.raises(BadInput, match="passphrase"):
        unpack_farm(stick, tmp_path / "new")
    with pytest.raises(StoreTrouble, match="does not open"):
        unpack_farm(stick, tmp_path / "new", passphrase="dry hands, wet books")
    data = bytearray(stick.read_bytes())
    data[len(data) // 2] ^= 1
    stick.write_bytes(bytes(data))
    with pytest.raises(StoreTrouble, match="does not open"):
        unpack_farm(stick, tmp_path / "new", passphrase="wet hands, dry books")
    assert not (tmp_path / "new" / "farm.toml").exists()
    with pytest.raises(BadInput, match="10 or more"):
        pack(farm_folder, LATER, out=tmp_path / "short", passphrase="short")


def test_photos_an_earlier_archive_holds_are_not_copied_again(
    house_at: Open, farm_folder: Path, tmp_path: Path
) -> None:
    """And come back from it; without it beside, the archive says which one it needs."""
    files = farm(house_at, farm_folder)
    first = pack(farm_folder, LATER)
    (farm_folder / "photos" / "bb.jpg").write_bytes(b"another")
    count_animals.count(house_at(LATER), "S1-01", "Q1", Count(dead=1))
    second = pack(farm_folder, LATER + timedelta(hours=1), since=first.file)
    with zipfile.ZipFile(second.file) as packed:
        assert "photos/bb.jpg" in packed.namelist()
        assert "photos/aa.jpg" not in packed.namelist()
    assert second.elsewhere == len(files)
    new = tmp_path / "new"
    unpack_farm(second.file, new)
    assert (new / "photos" / "aa.jpg").read_bytes() == FILES["photos/aa.jpg"]
    house = open_house(new, now=LATER + timedelta(hours=2))
    assert house.floor().headcount("S1-01") == 39
    house.books.close()
    assert last_copy(farm_folder) == LATER + timedelta(hours=1)
    first.file.unlink()
    with pytest.raises(StoreTrouble, match=f"Put {first.file.name} beside it"):
        unpack_farm(second.file, tmp_path / "other")


def altered(archive: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """The archive with some of its members changed, as a zip that is whole in itself."""
    with zipfile.ZipFile(archive) as packed:
        members = {name: packed.read(name) for name in packed.namelist()}
    change(members)
    target = archive.with_name("altered.zip")
    with zipfile.ZipFile(target, "w") as packed:
        for name, data in members.items():
            packed.writestr(name, data)
    return target


def _other_photo(members: dict[str, bytes]) -> None:
    members["photos/aa.jpg"] = b"another photo"


def _lacking(members: dict[str, bytes]) -> None:
    del members["farm.toml"]


def _outside(members: dict[str, bytes]) -> None:
    told = json.loads(members["manifest.json"])
    members["../../evil"] = b"x"
    row = {"name": "../../evil", "bytes": 1, "sha256": hashlib.sha256(b"x").hexdigest(), "archive": ""}
    members["manifest.json"] = json.dumps({**told, "files": [*told["files"], row]}).encode()


def _bomb(members: dict[str, bytes]) -> None:
    members["inbox/list.csv"] = b"0" * 50_000_000


def _no_manifest(members: dict[str, bytes]) -> None:
    del members["manifest.json"]


def _of_a_later_program(members: dict[str, bytes]) -> None:
    told = json.loads(members["manifest.json"])
    assert told["format"] == 1  # archives of farms are read for years: another number needs a way to read this one
    members["manifest.json"] = json.dumps({**told, "format": 2}).encode()


@pytest.mark.parametrize("change", [_other_photo, _lacking, _outside, _bomb, _no_manifest, _of_a_later_program])
def test_an_altered_archive_changes_nothing(
    house_at: Open, farm_folder: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], None]
) -> None:
    """Everything is verified before the first file is put down; no path leads out of the farm."""
    farm(house_at, farm_folder)
    pack(farm_folder, LATER, out=tmp_path / "farm.zip")
    new = tmp_path / "new"
    with pytest.raises(StoreTrouble):
        unpack_farm(altered(tmp_path / "farm.zip", change), new)
    assert not new.exists() or not any(new.iterdir())
    assert not (tmp_path / "evil").exists()


def test_a_farm_that_stands_there_is_kept_beside(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """Only when it is said; what differs goes to a folder of its own."""
    farm(house_at, farm_folder)
    stick = pack(farm_folder, LATER, out=tmp_path / "farm.zip").file
    house = house_at(LATER)
    count_animals.count(house, "S1-01", "Q1", Count(dead=5))
    house.books.close()
    (farm_folder / "permits.toml").write_bytes(b"# newer\n")
    with pytest.raises(Refused, match="--replace"):
        unpack_farm(stick, farm_folder)
    with pytest.raises(StoreTrouble, match="Stop the server"):
        unpack_farm(stick, farm_folder, replace=True)
    assert (farm_folder / "permits.toml").read_bytes() == b"# newer\n"
    closed(house_at)
    told = unpack_farm(stick, farm_folder, replace=True)
    aside = [Path(path) for path in told["kept"]]  # type: ignore[attr-defined]
    assert any(
        (path / "permits.toml").is_file() and (path / "permits.toml").read_bytes() == b"# newer\n" for path in aside
    )
    assert (farm_folder / "permits.toml").read_bytes() == FILES["permits.toml"]
    assert house_at(LATER).floor().headcount("S1-01") == 40


def revived(house_at: Open, farm_folder: Path, tmp_path: Path) -> Path:
    """An address and a device revoked, and a calendar gone on, after the copy was made."""
    house = received(house_at)
    with house.act() as act:  # one more is to come, so that calendars hold an event
        act.note("shipment", "S2", {"supplier": "one", "lands": (LATER + timedelta(days=9)).isoformat()})
    feed_publication.publish(house)
    feed_addresses.create(house, "ada")
    invite(house, "ben")
    stick = pack(farm_folder, LATER, out=tmp_path / "farm.zip").file
    house = house_at(LATER)
    feed_addresses.revoke(house, "F1")
    revoke(house, "D1")
    with house.act() as act:
        for uid, row in feed_publication.revisions(house).items():
            payload = {
                "sequence": row.sequence + 7,
                "stamp": row.stamp.isoformat(),
                "fingerprint": "x",
                "fields": dict(row.fields),
            }
            act.note("published", uid, payload)
    house.books.close()
    return stick


def test_what_was_revoked_after_the_copy_is_revoked_again(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """And said; calendars go on above what subscribers saw."""
    stick = revived(house_at, farm_folder, tmp_path)
    before = known_before(farm_folder)
    seen = {uid: row.sequence for uid, row in feed_publication.revisions(house_at(LATER)).items()}
    closed(house_at)
    unpack_farm(stick, farm_folder, replace=True)
    house = house_at(LATER)
    assert house.latest("feed")["F1"].payload["revoked"] is False
    said = go_on(house, before)
    assert [words.split(":")[0] for words in said] == [
        "calendar address F1 was revoked after this copy",
        "device or invitation D1 was revoked after this copy",
    ]
    assert house.latest("feed")["F1"].payload["revoked"] is True
    assert [one.state for one in devices(house)] == ["revoked"]
    feed_publication.publish(house)
    now = feed_publication.revisions(house)
    assert seen
    assert all(now[uid].sequence > sequence for uid, sequence in seen.items())


def test_on_an_empty_computer_what_is_open_is_named(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """Nobody can know there what was revoked: it is said, with the commands; calendars are raised far above."""
    stick = revived(house_at, farm_folder, tmp_path)
    new = tmp_path / "new"
    assert known_before(new) is None
    unpack_farm(stick, new)
    house = open_house(new, now=LATER)
    before = {uid: row.sequence for uid, row in feed_publication.revisions(house).items()}
    (said,) = go_on(house, None)
    assert "calendar addresses F1" in said
    assert "D1" in said
    now = feed_publication.revisions(house)
    assert all(now[uid].sequence >= sequence + 1_000 for uid, sequence in before.items())
    house.books.close()


def test_an_archive_is_private(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """Whatever the umask says."""
    farm(house_at, farm_folder)
    made = pack(farm_folder, LATER, out=tmp_path / "farm.zip")
    assert stat.S_IMODE(made.file.stat().st_mode) == 0o600


def test_no_secret_is_exported_for_the_auditor(house_at: Open, tmp_path: Path) -> None:
    """That a PIN was set is reported; its hash and salt are not, nor the hashes of addresses and devices."""
    house = received(house_at)
    feed_addresses.create(house, "ada")
    set_pin(house, "ben", "471108")
    secrets = [str(house.latest("person")["ben"].payload["pin"]), str(house.latest("feed")["F1"].payload["hash"])]
    export(house, tmp_path)
    text = (tmp_path / "records.csv").read_text(encoding="utf-8-sig")
    assert "(not exported)" in text
    for secret in (part for one in secrets for part in one.split(":")):
        assert secret not in text


def test_files_of_the_farm_are_private(tmp_path: Path) -> None:
    """Ledger and farm file of a new farm, whatever the umask of whoever starts the program."""
    before = os.umask(0o000)
    try:
        command = [sys.executable, "-m", "intake", "init", str(tmp_path / "farm")]
        subprocess.run(command, check=True, capture_output=True, cwd=ROOT)
    finally:
        os.umask(before)
    for name in ("farm.toml", "farm.db"):
        assert stat.S_IMODE((tmp_path / "farm" / name).stat().st_mode) == 0o600, name


def test_leftovers_of_a_copy_that_was_cut_off_go_at_the_next(house_at: Open, farm_folder: Path) -> None:
    """Those of yesterday; one that is being made now stays."""
    received(house_at)
    old, young = farm_folder / "backups" / "farm-x.zip.part", farm_folder / "backups" / "books-y.db.part"
    old.parent.mkdir(exist_ok=True)
    for file in (old, young):
        file.write_bytes(b"half")
    os.utime(old, (0, 0))
    pack(farm_folder, LATER)
    assert not old.exists()
    assert young.exists()


def test_a_copy_of_a_past_told_anew_takes_no_older_copy_away(house_at: Open, farm_folder: Path) -> None:
    """The last copy that agrees with what was printed stays, however often rotation runs."""
    house = received(house_at)
    first = back_up(farm_folder, LATER, rotate=True).copy.file
    head = house.books.head()
    house.books.close()
    closed(house_at)
    forge(farm_folder / "farm.db")
    for hours in range(1, 4):
        made = back_up(farm_folder, LATER + timedelta(hours=hours, days=hours), rotate=True)
        if hours == 1:
            assert any("rewritten" in str(words) for words in made.warnings)
            assert made.deleted == ()
    assert first.exists()
    with Books.open(first) as kept:
        assert kept.differs_from(head) == []


def forge(file: Path) -> None:
    """Change a count and seal everything again, as somebody with the file can."""
    past_the_program(
        file,
        "UPDATE movement SET count = 39 WHERE batch = 'S1-01'",
        "UPDATE holding SET count = 39 WHERE batch = 'S1-01' AND count > 0",
        "UPDATE holding SET count = -39 WHERE batch = 'S1-01' AND count < 0",
    )
    resealed(file)


@pytest.mark.parametrize(
    "sign", ["photos/aa.jpg", "claims/bb.pdf", "out/feeds/farm.ics", "backups/farm-20270304T140000Z.zip"]
)
def test_a_lost_ledger_is_not_begun_anew_beside_signs_of_it(farm_folder: Path, sign: str) -> None:
    """Empty books would say that no animal is there; the way to restore is named instead."""
    (farm_folder / sign).parent.mkdir(parents=True, exist_ok=True)
    (farm_folder / sign).write_bytes(b"x")
    with pytest.raises(StoreTrouble, match="restore"):
        open_house(farm_folder, now=LATER)
    assert not (farm_folder / "farm.db").exists()
