"""Counts from phones: once each, however often they are sent; refused with words; undone by a counter entry."""

import hashlib
import io
import time
from pathlib import Path

import pytest
from PIL import Image
from starlette.applications import Starlette

from intake.app.commands import maintain_vats, record_observation
from intake.app.commands.phones import sync_phone
from intake.app.farm_folder import check_house
from intake.ledger import Entry, Movement, balances
from tests.board.conftest import Clock, Entering, entries_of, form_token, post, send

KEY = "0123456789abcdef0123456789abcdef"


def alive(app: Starlette, batch: str = "S1-01", vat: str = "Q1") -> int:
    """Animals alive by the books."""
    return balances(app.state.farm.house().entries()).get((batch, f"vat:{vat}"), 0)


def told_by_people(app: Starlette) -> list[Entry]:
    """Entries of the books without those that follow from others, such as the timetable's."""
    return [entry for entry in app.state.farm.house().entries() if "~" not in entry.key]


def test_a_count_is_taken_once(enter: Entering, app: Starlette) -> None:
    """Same key, same count: the second answer says so and nothing more is written."""
    ben = enter("ben")
    first = send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=3, weak=2)
    before = entries_of(app)
    again = send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=3, weak=2)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json()["duplicate"]
    assert alive(app) == 97
    assert entries_of(app) == before


def test_a_later_retry_is_still_the_same_count(enter: Entering, app: Starlette, clock: Clock) -> None:
    """The reply was lost, the phone slept for an hour, its clock went on: no second death."""
    ben = enter("ben")
    tapped = int(clock().timestamp() * 1000)
    send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=3, tapped_ms=tapped, sent_ms=tapped + 40)
    clock.turn(hours=1)
    again = send(
        ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=3, tapped_ms=tapped, sent_ms=tapped + 3_600_040
    )
    assert again.status_code == 200
    assert alive(app) == 97


@pytest.mark.parametrize(
    "other",
    [
        {"dead": 4},
        {"dead": 3, "doa": 1},
        {"dead": 3, "vat": "Q2"},
        {"dead": 3, "batch": "S1-02"},
        {"dead": 3, "weak": 0},
    ],
)
def test_a_key_used_for_another_count_is_refused(enter: Entering, app: Starlette, other: dict[str, object]) -> None:
    """409, kept visible on the phone, and nothing is written."""
    ben = enter("ben")
    send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=3)
    before = entries_of(app)
    assert send(ben, "/api/count", **({"key": KEY, "batch": "S1-01", "vat": "Q1"} | other)).status_code == 409
    assert entries_of(app) == before


def test_more_dead_than_alive_is_refused_with_the_numbers(enter: Entering, app: Starlette) -> None:
    """422 with what the books have, so that whoever stands there can count again."""
    answer = send(enter("ben"), "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=101)
    assert answer.status_code == 422
    assert "100" in " ".join(answer.json()["said"])
    assert alive(app) == 100


@pytest.mark.parametrize(
    "body",
    [
        {"dead": -1},
        {"dead": 1.5},
        {"dead": "2"},
        {"dead": 10**9},
        {},
        {"dead": 1, "vat": "Z9"},
        {"dead": 1, "batch": "S9-99"},
        {"dead": 1, "key": "short"},
        {"dead": 1, "key": "with.a.dot.and.more.length"},
        {"dead": 1, "surprise": 1},
        {"dead": 1, "tapped_ms": 0, "sent_ms": 10**13},
        {"dead": True},
        {"dead": 1, "vat": ""},
    ],
)
def test_a_faulty_count_is_refused_with_words(enter: Entering, app: Starlette, body: dict[str, object]) -> None:
    """Never a fault of the server, never half a count."""
    before = None
    ben = enter("ben")
    before = entries_of(app)
    answer = send(ben, "/api/count", **({"key": KEY, "batch": "S1-01", "vat": "Q1"} | body))
    assert answer.status_code == 422
    assert answer.json()["said"]
    assert entries_of(app) == before


@pytest.mark.parametrize(
    "body", [b"", b"{", b"[]", b"null", b'{"key": NaN}', b"\xff\xfe", b'{"dead":' + b"9" * 5000 + b"}"]
)
def test_a_body_that_is_no_count_is_refused(enter: Entering, body: bytes) -> None:
    """A proxy or a broken phone can send anything."""
    ben = enter("ben")
    headers = {"x-vatside-form": form_token(ben), "content-type": "application/json"}
    assert ben.post("/api/count", content=body, headers=headers).status_code == 422


def test_a_count_carried_for_hours_is_true_when_it_was_tapped(enter: Entering, app: Starlette, clock: Clock) -> None:
    """The time waited is taken from the phone's own clock; how far that clock is off does not matter, and is noted."""
    clock.turn(hours=6)
    hour, off = 3_600_000, 25 * 60_000
    sent = int(clock().timestamp() * 1000) + off
    answer = send(
        enter("ben"), "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=1, tapped_ms=sent - 5 * hour, sent_ms=sent
    )
    assert answer.status_code == 201
    assert answer.json()["clock_off_minutes"] == 25
    (entry,) = sync_phone.seen(app.state.farm.house(), KEY)
    assert isinstance(entry, Movement)
    assert (clock() - entry.happened_at).total_seconds() == pytest.approx(5 * 3600, abs=1)
    assert "25 min ahead" in entry.note


def test_a_count_from_before_the_animals_came_is_refused(enter: Entering, app: Starlette, clock: Clock) -> None:
    """Nothing died in a vat before it stood there."""
    sent = int(clock().timestamp() * 1000)
    body = {"key": KEY, "batch": "S1-01", "vat": "Q1", "dead": 1, "tapped_ms": sent - 2 * 3_600_000, "sent_ms": sent}
    assert send(enter("ben"), "/api/count", **body).status_code == 422
    assert alive(app) == 100


def test_undo_takes_the_whole_count_back_once(enter: Entering, app: Starlette) -> None:
    """Dead, missing and the weak reading go together; the entries stay in the books."""
    ben = enter("ben")
    send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=3, missing=2, weak=5)
    before = told_by_people(app)
    undo = {"key": "u" * 20, "undoes": KEY}
    assert send(ben, "/api/undo", **undo).status_code == 201
    assert alive(app) == 100
    added = [entry for entry in told_by_people(app) if entry not in before]
    assert len(told_by_people(app)) == len(before) + 3
    counted = {entry.key for entry in before if entry.key.split(".")[0] == KEY}
    assert (len(counted), {entry.corrects for entry in added}) == (3, counted)
    written = entries_of(app)
    assert send(ben, "/api/undo", **undo).status_code == 200
    assert send(ben, "/api/undo", key="v" * 20, undoes=KEY).status_code == 422
    assert send(ben, "/api/undo", key="u" * 20, undoes="w" * 20).status_code == 409
    assert entries_of(app) == written
    assert alive(app) == 100
    assert check_house(app.state.farm.house()) == []


def test_undo_of_what_never_arrived_is_refused(enter: Entering) -> None:
    """And so is taking back anything but a count."""
    ben = enter("ben")
    assert send(ben, "/api/undo", key="u" * 20, undoes="w" * 20).status_code == 422


def test_a_phone_undoes_no_receipt(enter: Entering, app: Starlette) -> None:
    """A helper may count and undo counts; a shipment received, or a move, is not undone by its key from a phone."""
    house = app.state.farm.house()
    receipt = next(one for one in house.entries() if isinstance(one, Movement) and one.source == "supplier")
    helper, before = enter("cleo"), entries_of(app)
    key = receipt.key.partition(".")[0]
    assert send(helper, "/api/undo", key="u" * 20, undoes=key).status_code == 422
    assert entries_of(app) == before


def test_a_phone_undoes_by_the_rules_of_the_farm(enter: Entering, app: Starlette) -> None:
    """What later entries stand on is not undone, nor animals put back into a vat that has been closed."""
    ben = enter("ben")
    send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", missing=3)
    send(ben, "/api/count", key="f" * 32, batch="S1-01", vat="Q1", found=2)
    before = entries_of(app)
    answer = send(ben, "/api/undo", key="u" * 20, undoes=KEY)
    assert (answer.status_code, [rule["id"] for rule in answer.json()["rules"]]) == (422, ["undo-depends"])
    assert entries_of(app) == before
    send(ben, "/api/count", key="d" * 32, batch="S1-01", vat="Q1", dead=1)
    with app.state.farm.writing() as house:
        maintain_vats.close_vat(house, "Q1", "glass is cracked here")
    before = entries_of(app)
    answer = send(ben, "/api/undo", key="u" * 20, undoes="d" * 32)
    assert (answer.status_code, [rule["id"] for rule in answer.json()["rules"]]) == (422, ["vat-closed"])
    assert entries_of(app) == before


def test_a_phone_undoes_with_a_reason_where_one_is_needed(enter: Entering, app: Starlette) -> None:
    """The rule asks, the second tap is the reason, and the reason stays with the entry; a plain slip is undone at once."""
    ben = enter("ben")
    with app.state.farm.writing() as house:
        record_observation.finding(house, "S1-01", "perkinsus", vat="Q1")
    send(ben, "/api/count", key="d" * 32, batch="S1-01", vat="Q1", dead=1)
    assert send(ben, "/api/undo", key="v" * 20, undoes="d" * 32).status_code == 201  # it never left its water
    send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=100, despite="all of them died")
    body = {"key": "u" * 20, "undoes": KEY}
    answer = send(ben, "/api/undo", **body)
    assert answer.status_code == 422
    assert {rule["id"] for rule in answer.json()["rules"]} == {"water-finding", "carries-finding"}
    assert {rule["severity"] for rule in answer.json()["rules"]} == {"reason"}
    assert send(ben, "/api/undo", **body, despite="it was another batch").status_code == 201
    assert alive(app) == 100


def test_missing_ones_are_found_again_once(enter: Entering, app: Starlette) -> None:
    """Found again is the one head that puts animals back; its retry is the same count too."""
    ben = enter("ben")
    send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", missing=3)
    for _ in range(2):
        send(ben, "/api/count", key="f" * 20, batch="S1-01", vat="Q1", found=2)
    assert alive(app) == 99


def test_signing_in_again_asks_for_a_fresh_page_token(enter: Entering) -> None:
    """A count under an old page token is not lost: the answer says that the token is stale, and the page fetches another."""
    ben = enter("ben")
    answer = ben.post("/api/count", json={"key": KEY}, headers={"x-vatside-form": "old"})
    assert (answer.status_code, answer.json()["stale"]) == (403, True)
    assert ben.get("/api/facts").json()["form_token"] == form_token(ben)


def test_the_plain_form_counts_once(enter: Entering, app: Starlette) -> None:
    """Without script: one hidden key, and the same form pressed twice is one count; changed, it is refused."""
    ben = enter("ben")
    fields = {"where": "S1-01@Q1", "dead": "4", "weak": "", "key": "a-form-that-is-new"}
    for _ in range(2):
        assert post(ben, "/count", **fields).status_code == 200
    assert alive(app) == 96
    assert post(ben, "/count", **(fields | {"dead": "5"})).status_code == 409
    assert post(ben, "/count", **(fields | {"dead": "-5"})).status_code == 422
    assert alive(app) == 96


def picture(size: tuple[int, int] = (400, 300), kind: str = "JPEG", **extra: object) -> bytes:
    """A picture such as a phone takes."""
    out = io.BytesIO()
    Image.new("RGB", size, (20, 90, 110)).save(out, kind, **extra)
    return out.getvalue()


def keep(client, data: bytes, **fields: str):  # type: ignore[no-untyped-def]
    """Send a photo as the count page does."""
    headers = {"x-vatside-form": form_token(client), "accept": "application/json"}
    told = {"key": KEY, "batch": "S1-01"} | fields
    return client.post(
        "/api/photo", data=told, files={"photo": ("../../etc/passwd", data, "image/jpeg")}, headers=headers
    )


def test_a_photo_is_kept_under_its_hash_and_shown(enter: Entering, app: Starlette, folder: Path) -> None:
    """Its name as sent is not used; what the camera wrote (the place, for one) stays in the original, never shown."""
    exif = Image.Exif()
    exif[0x010E] = "taken at a secret place"
    ben = enter("ben")
    sent = picture((3000, 2000), exif=exif)
    assert b"secret place" in sent
    assert keep(ben, sent).status_code == 201
    (file,) = (path for path in (folder / "photos").iterdir() if path.is_file())
    assert file.name == f"{hashlib.sha256(file.read_bytes()).hexdigest()}.jpg"
    (original,) = (folder / "photos" / "originals").iterdir()
    assert (original.name, original.read_bytes()) == (f"{hashlib.sha256(sent).hexdigest()}.jpg", sent)
    for where in (original.name, f"originals/{original.name}", f"originals%2F{original.name}"):
        assert ben.get(f"/photos/{where}").status_code == 404
    assert b"secret place" not in file.read_bytes()
    with Image.open(file) as kept:
        assert max(kept.size) == 2048
    assert f"/photos/{file.name}" in ben.get("/batches/S1-01").text
    shown = ben.get(f"/photos/{file.name}")
    assert (shown.headers["content-type"], shown.content) == ("image/jpeg", file.read_bytes())
    assert keep(ben, picture((3000, 2000), exif=exif)).status_code == 200
    assert keep(ben, picture((30, 20))).status_code == 409


def test_evidence_for_a_claim_is_counted(enter: Entering) -> None:
    """A photo that says which piece of the supplier's list it is stands in the claim."""
    ben = enter("ben")
    named = "photo of the sealed bag with its label"
    assert keep(ben, picture(), evidence=named).status_code == 201
    assert "✓ 1" in ben.get("/claims/S1").text
    assert keep(ben, picture(), evidence="something else", key="e" * 20).status_code == 422


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"MZ not a picture",
        b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        picture()[:300],
        picture(kind="GIF"),
    ],
)
def test_what_is_no_photo_is_refused(enter: Entering, folder: Path, data: bytes) -> None:
    """Only JPEG, PNG and WebP, whole."""
    assert keep(enter("ben"), data).status_code == 422
    assert not (folder / "photos").exists()


def test_a_picture_that_unpacks_into_gigabytes_is_refused(enter: Entering) -> None:
    """64 megapixels of one colour are a few hundred kilobytes as PNG."""
    out = io.BytesIO()
    Image.new("1", (8000, 8000)).save(out, "PNG")
    assert keep(enter("ben"), out.getvalue()).status_code == 422


def test_an_oversized_photo_is_stopped_before_it_is_read(enter: Entering) -> None:
    """By its announced length, and by counting when none is announced."""
    ben = enter("ben")
    assert keep(ben, b"x" * 13_000_000).status_code == 413
    chunks = (b"y" * 1_000_000 for _ in range(20))
    headers = {"content-type": "multipart/form-data; boundary=b", "x-vatside-form": form_token(ben)}
    assert ben.post("/api/photo", content=chunks, headers=headers).status_code == 413


@pytest.mark.parametrize("name", ["../farm.db", "..%2f..%2ffarm", "%2e%2e/farm", "a" * 64, "farm.db%00", "....//farm"])
def test_a_photo_is_not_a_way_into_the_folder(enter: Entering, name: str) -> None:
    """Only names the books know are looked for."""
    answer = enter("ben").get(f"/photos/{name}.jpg")
    assert answer.status_code == 404


def test_the_shell_is_the_same_for_everyone_and_kept_for_a_week(enter: Entering, app: Starlette) -> None:
    """One address without data: after one visit it opens offline for every batch."""
    one, other = enter("ben").get("/c"), enter("cleo").get("/c")
    assert one.content == other.content
    assert one.headers["cache-control"] == "private, max-age=604800"
    script = one.text.split('src="')[1].split('"')[0]
    assert enter("ben").get(script).headers["cache-control"] == "public, max-age=31536000, immutable"
    assert enter("ben").get("/api/facts").json()["build"] in script


def test_many_phones_at_once_lose_nothing(enter: Entering, app: Starlette) -> None:
    """Eight threads, five counts each, one of them sent twice: every death is in the books once."""
    from concurrent.futures import ThreadPoolExecutor

    phones = [enter("ben") for _ in range(8)]

    def count(phone: int) -> list[int]:
        keys = [f"phone-{phone}-count-number-{number}" for number in (0, 1, 2, 3, 3)]
        return [send(phones[phone], "/api/count", key=key, batch="S1-01", vat="Q1", dead=1).status_code for key in keys]

    began = time.monotonic()
    with ThreadPoolExecutor(8) as pool:
        codes = list(pool.map(count, range(8)))
    assert all(row == [201, 201, 201, 201, 200] for row in codes), codes
    assert alive(app) == 100 - 32
    print(f"40 counts from 8 phones in {time.monotonic() - began:.2f} s")


def test_a_count_by_box_with_all_alive_is_told_once(enter: Entering, app: Starlette) -> None:
    """The box, how many lay in it, and how many are alive after it; sent twice it is the same count, undone it is gone."""
    ben = enter("ben")
    told = {"batch": "S1-01", "vat": "Q1", "doa": 3, "box": "1", "in_box": 50, "alive": 97}
    assert send(ben, "/api/count", key=KEY, **told).status_code == 201
    assert send(ben, "/api/count", key=KEY, **told).status_code == 200
    assert send(ben, "/api/count", key=KEY, **(told | {"box": "2"})).status_code == 409
    boxes = [one.payload for one in app.state.farm.house().standing("box")]
    assert {str(one.get("box")) for one in boxes} == {"1"}
    assert [one["held"] for one in boxes if "held" in one] == [50]
    assert send(ben, "/api/count", key="b" * 20, batch="S1-01", vat="Q1", alive=90).status_code == 422
    assert send(ben, "/api/undo", key="u" * 20, undoes=KEY).status_code == 201
    assert alive(app) == 100
