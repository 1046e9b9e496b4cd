"""What was sent stays byte for byte, four readings of a claim say the same, and photos are kept as they came; all invented."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from intake.app.commands import advance_claim, attach_photo, count_animals
from intake.app.commands.advance_claim import Answer
from intake.app.commands.count_animals import Count
from intake.app.commands.phones import sync_phone
from intake.app.documents import claim_paper, claim_sending
from intake.app.farm_folder import check_house
from intake.app.queries.reports import claim_figures, claim_status
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput, Refused, StoreTrouble, UnknownName
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.app.test_claims import picture, received, text_of
from tests.conftest import NOON

Open = Callable[..., House]
YEAR = timedelta(days=366)


def test_a_sent_claim_is_the_same_bytes_a_year_later(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """Deaths, an answer, other terms and another moment change nothing of what was sent."""
    house = received(house_at)
    claim_sending.mark_sent(house, "S1")
    before = [path.read_bytes() for path in claim_paper.write(house, claim_status.current(house, "S1"), tmp_path / "a")]
    later = house_at(NOON + timedelta(hours=40))
    count_animals.count(later, "S1-01", "Q1", Count(dead=3))
    advance_claim.set_state(later, "S1", "answered", amount="20", note="missing refused")
    farm = farm_folder / "farm.toml"
    farm.write_text(farm.read_text().replace("allowance_percent = 3", "allowance_percent = 50"))
    year = house_at(NOON + YEAR)
    first = claim_status.history(year, "S1")[0]
    after = [path.read_bytes() for path in claim_paper.write(year, first, tmp_path / "b")]
    assert after == before
    assert (first.claimable, first.terms.allowance_percent) == (14, 3)
    kept = claim_status.kept_bytes(year, "S1", 1, "json")
    assert kept is not None
    assert json.loads(kept)["claimable"] == 14
    assert check_house(year) == []


@pytest.mark.parametrize("harm", ["change", "remove"])
def test_a_changed_byte_of_a_sent_claim_is_found_by_check(house_at: Open, farm_folder: Path, harm: str) -> None:
    """And the file is not handed out as if nothing had happened."""
    house = received(house_at)
    claim_sending.mark_sent(house, "S1")
    (file,) = (farm_folder / "claims").glob("*.pdf")
    if harm == "change":
        data = bytearray(file.read_bytes())
        data[len(data) // 2] ^= 1
        file.write_bytes(bytes(data))
    else:
        file.unlink()
    (fault,) = check_house(house_at(NOON + YEAR))
    assert "claim-S1-v1.pdf" in fault.where
    with pytest.raises(StoreTrouble):
        claim_paper.given_pdf(house, claim_status.current(house, "S1"))


def test_what_came_since_is_told_beside_what_was_sent(house_at: Open) -> None:
    """Three more dead within the days covered: sent as version 1, three animals to send, with the time left."""
    claim_sending.mark_sent(received(house_at), "S1")
    later = house_at(NOON + timedelta(hours=40))
    count_animals.count(later, "S1-01", "Q1", Count(dead=3))
    claim = claim_status.current(later, "S1")
    assert claim_status.claim_state(claim, later.now) == (
        "sent (version 1); +3 animals since, not sent, 32.0 h left to send them"
    )
    (open_claim,) = claim_status.open_claims(later)
    assert open_claim.press == "calm"
    assert open_claim.hours_left == pytest.approx(32.0)
    assert "deadline passed" in claim_status.claim_state(claim, NOON + timedelta(hours=80))
    for _ in range(2):  # the second tap on Record is the same act
        assert claim_sending.mark_sent(later, "S1", key="one-tap") == "Claim for S1: sent"
    assert [step.version for step in claim_status.steps_of(later, "S1")] == [1, 2]
    assert claim_status.claim_state(claim_status.current(later, "S1"), later.now) == "sent"
    with pytest.raises(BadInput, match="version 2 was"):
        claim_sending.mark_sent(house_at(NOON + timedelta(hours=41)), "S1")


def test_paper_csv_screen_and_json_say_the_same(
    house_at: Open, farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All four read back: every line's figures and the sums."""
    house = received(house_at)
    count_animals.count(house, "S1-02", "Q2", Count(dead=4))
    monkeypatch.setattr("intake.app.system_clock.now", lambda: NOON + timedelta(hours=1))

    def run(*words: str) -> str:
        told = CliRunner().invoke(vatside, ["--farm", str(farm_folder), "claim", "S1", *words])
        assert told.exit_code == 0, told.output
        return told.output

    facts = json.loads(run("--json", "--out", str(tmp_path)))
    # 3 % of 98 is 2: 9 + 2 − 2 = 9 at 4.50; 3 % of 60 is 1: 4 + 5 − 1 = 8 at 2.00
    lines = [[100, 9, 0, 2, 0, 2, 2, 9, "40.50"], [60, 0, 4, 0, 5, 1, 1, 8, "16.00"]]
    sums = [160, 9, 4, 2, 5, 3, 3, 17, "56.50"]
    names = ("announced", "doa", "daa", "missing", "wrong", "allowance", "used", "claimable", "value")
    assert [[line[name] for name in names] for line in facts["lines"]] == lines
    assert [facts["sums"][name] for name in names[:-1]] + [facts["value"][0]["value"]] == sums

    data = (tmp_path / "claim-S1-v1.csv").read_text(encoding="utf-8-sig")
    heads = ("announced", "doa", "daa", "missing", "wrong", "allowance_agreed", "allowance_used", "claimable", "amount")
    read = [[row[name] for name in heads] for row in csv.DictReader(io.StringIO(data))]
    assert read == [[str(value) for value in row] for row in (*lines, sums)]

    paper = text_of((tmp_path / "claim-S1-v1.pdf").read_bytes())
    assert "1 Tridacna maxima 1 100 9 0 2 0 2 2 9 4.50 40.50" in paper
    assert "2 Zoanthus sp. 2 60 0 4 0 5 1 1 8 2.00 16.00" in paper
    assert "Total 160 9 4 2 5 3 3 17 56.50" in paper
    for words in (facts["check"], "56.50 EUR", "17 animals"):
        assert words in paper

    screen = " ".join(run().split())
    assert "S1-01 Tridacna maxima 100 2 0 9 0 2 2 9 40.50" in screen
    assert "total all lines 160 2 5 9 4 3 3 17 56.50" in screen
    for words in (facts["balance"], facts["check"]):
        assert words in screen


def test_the_states_of_a_claim_are_those_of_its_steps(house_at: Open) -> None:
    """Answered in part with the reason, settled in part, the rest written off; a step back needs a reason."""
    house = received(house_at)
    with pytest.raises(BadInput, match="sent"):
        advance_claim.set_state(house, "S1", "answered")
    claim_sending.mark_sent(house, "S1")
    with pytest.raises(BadInput, match=r"50\.50"):
        advance_claim.set_state(house, "S1", "answered", amount="50.51")
    advance_claim.set_state(house, "S1", "answered", Answer(amount="40", note="wrong ones refused"))
    advance_claim.set_state(house, "S1", "settled", Answer(amount="30", reference="CN 7"))
    figures = claim_figures.claim_summary(house, claim_status.current(house, "S1"))
    assert (figures["state"], figures["open"], figures["credited"]) == (
        "settled in part",
        {"EUR": "10"},
        {"EUR": "30"},
    )
    with pytest.raises(BadInput, match="why"):
        advance_claim.set_state(house, "S1", "written off")
    advance_claim.set_state(house, "S1", "written off", note="supplier closed")
    with pytest.raises(BadInput, match="written off"):
        advance_claim.set_state(house, "S1", "settled")
    with pytest.raises(BadInput, match="why"):
        advance_claim.take_back(house, "S1", reason=" ")
    advance_claim.take_back(house, "S1", reason="they answered after all")
    assert claim_status.current(house, "S1").state == "settled in part"
    assert claim_status.open_claims(house) != []


def test_a_replacement_is_a_free_batch_of_a_later_shipment_matched_once(house_at: Open) -> None:
    """Fourteen clams claimed; ten come free with S2 and settle ten fourteenths of the claim."""
    claim_sending.mark_sent(received(house_at), "S1")
    house = house_at(NOON + timedelta(days=30))
    free = Batch(
        "S2-01", "Tridacna maxima", "clam_small", 40.0, 10, "S2", 1, "one", currency="EUR", unit_price=Decimal(0)
    )
    paid = replace(free, id="S2-02", line=2, unit_price=Decimal("4.50"))
    stranger = replace(free, id="S2-03", line=3, supplier="two")
    with house.act() as act:
        act.note("shipment", "S2", {"supplier": "one", "lands": house.now.isoformat()})
        for batch in (free, paid, stranger):
            act.note("batch", batch.id, batch_payload(batch))
        act.note("received", "S2", {"shipment": "S2"})
    for name in ("S2-02", "S2-03", "S1-02"):
        with pytest.raises(Refused):
            advance_claim.set_state(house, "S1", "settled", Answer(animals=10, replacement=name))
    with pytest.raises(Refused, match="at most 10"):
        advance_claim.set_state(house, "S1", "settled", Answer(animals=11, replacement="S2-01"))
    advance_claim.set_state(house, "S1", "settled", Answer(animals=10, replacement="S2-01"))
    figures = claim_figures.claim_summary(house, claim_status.current(house, "S1"))
    assert (figures["state"], figures["replaced"]) == ("settled in part", 10)
    assert figures["credited"] == {"EUR": "36.07"}  # 50.50 × 10 / 14
    with pytest.raises(Refused, match="at most 0"):
        advance_claim.set_state(house, "S1", "settled", Answer(animals=1, replacement="S2-01"))


def test_terms_are_those_of_the_day_of_receipt(house_at: Open, farm_folder: Path) -> None:
    """From 2027-03-01 on five percent of the whole shipment; a shipment received later is claimed by it, one before not."""
    farm = farm_folder / "farm.toml"
    dated = '[[supplier.one.terms]]\nsince = {}\nallowance_percent = 5\nallowance_by = "shipment"\n[supplier.two]'
    text = farm.read_text()
    for since, percent, by in (("2027-03-01", 5, "shipment"), ("2027-04-01", 3, "line")):
        farm.write_text(text.replace("[supplier.two]", dated.format(since), 1))
        house = house_at()
        if by == "shipment":
            house = received(house_at)
        terms = claim_status.current(house, "S1").terms
        assert (terms.allowance_percent, terms.allowance_by) == (percent, by)


def made(image: Image.Image, kind: str, **told: object) -> bytes:
    """Bytes of a picture."""
    out = io.BytesIO()
    image.save(out, kind, **told)
    return out.getvalue()


def copy_of(house: House, data: bytes) -> tuple[Image.Image, dict[str, object]]:
    """Keep a photo; its copy for paper, and what is on record of it."""
    attach_photo.keep_photo(house, "S1-01", data, sync_phone.Sent(f"key-{len(data)}-{hash(data)}"))
    record = [entry for entry in house.entries() if getattr(entry, "kind", "") == "photo"][-1]
    payload = dict(record.payload)  # type: ignore[union-attr]
    original = house.folder / "photos" / "originals" / str(payload["original"])
    assert original.read_bytes() == data
    copy = (house.folder / "photos" / f"{payload['sha256']}.jpg").read_bytes()
    return Image.open(io.BytesIO(copy)), payload


def test_a_transparent_photo_is_laid_on_white(house_at: Open) -> None:
    """It was a black square."""
    clear = Image.new("RGBA", (60, 40), (0, 0, 0, 0))
    picture, _ = copy_of(received(house_at), made(clear, "PNG"))
    assert picture.convert("RGB").getpixel((30, 20)) == (255, 255, 255)


def test_a_photo_of_sixteen_bits_keeps_its_shades(house_at: Open) -> None:
    """Half bright stays half bright instead of going white."""
    grey = Image.fromarray(np.full((40, 60), 128 * 256, dtype=np.uint16))
    picture, _ = copy_of(received(house_at), made(grey, "PNG"))
    assert abs(picture.convert("L").getpixel((30, 20)) - 128) <= 2  # type: ignore[operator]


def test_the_original_keeps_what_the_camera_wrote_and_the_copy_does_not(house_at: Open) -> None:
    """The time the photo was taken is on record; the copy for paper shows nothing of place or device."""
    exif = Image.Exif()
    exif[0x010F] = "InventedPhoneMaker"
    exif.get_ifd(0x8769)[0x9003] = "2027:03:04 12:40:05"
    data = made(Image.new("RGB", (60, 40), (9, 90, 160)), "JPEG", exif=exif)
    picture, payload = copy_of(received(house_at), data)
    assert payload["taken"] == "2027-03-04 12:40:05"
    assert not dict(picture.getexif())
    assert payload["original_bytes"] == len(data)


def test_a_photo_may_name_its_box(house_at: Open) -> None:
    """The packer of box 1 is looked for; a box the batch does not have is refused."""
    house = received(house_at)
    sent = sync_phone.Sent("photo-of-a-box-0001")
    attach_photo.keep_photo(house, "S1-01", picture(60), sent, box="S1/1")
    paper = text_of(claim_paper.claim_pdf(house, claim_status.current(house, "S1")))
    assert "S1-01, box 1: further photos" in paper
    with pytest.raises(UnknownName):
        attach_photo.keep_photo(house, "S1-01", picture(61), sync_phone.Sent("photo-of-a-box-0002"), box="9")


def test_a_heic_photo_is_refused_in_words(house_at: Open) -> None:
    """With what to do about it."""
    data = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + b"\x00" * 64
    with pytest.raises(BadInput, match=r"HEIC.*most compatible"):
        attach_photo.keep_photo(received(house_at), "S1-01", data, sync_phone.Sent("a-photo-key-of-heic"))


def test_plates_are_as_many_as_there_are_photos_and_counted_by_names_the_counter(house_at: Open) -> None:
    """Thirty photos; whoever prints it is not printed as who counted."""
    house = received(house_at)
    for shade in range(30):
        sent = sync_phone.Sent(f"photo-key-{shade:08d}")
        attach_photo.keep_photo(house, "S1-01", picture(5 + shade), sent)
    other = house_at(NOON + timedelta(hours=2), who="ben")
    claim = claim_status.current(other, "S1")
    paper = text_of(claim_paper.claim_pdf(other, claim))
    assert len(re.findall("SHA-256 of the original", paper)) >= 30
    assert claim_figures.counted_by(other, claim) == ("ada",)
    assert "ben" not in paper
