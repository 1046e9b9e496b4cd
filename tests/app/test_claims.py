"""The claim with its photos, heads, versions, clock and specimens; all names and animals are invented."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image
from pypdf import PdfReader

from intake.app.commands import advance_claim, attach_photo, count_animals
from intake.app.commands.count_animals import Count
from intake.app.commands.phones import sync_phone
from intake.app.commands.receive_shipment import came_extra, rebook_wrong
from intake.app.documents import claim_evidence, claim_paper, claim_sending
from intake.app.farm_folder import check_house
from intake.app.queries.reports import claim_status
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput, Refused, UnknownName
from intake.farm.floor import Batch
from intake.ledger import balances, batch_payload
from intake.report.claiming.claim_lines import heads
from tests.conftest import NOON

Open = Callable[..., House]
EVIDENCE = "photo of all dead of a line with a dated card"


def received(house_at: Open) -> House:
    """A shipment of 100 listed clams and 60 zoanthids, received at noon, counted an hour later."""
    house = house_at()
    lines = (
        Batch("S1-01", "Tridacna maxima", "clam_small", 40.0, 100, "S1", 1, "one", ("1",), "MH", "F", "X-1", "II",
              Decimal("4.50"), "EUR"),
        Batch("S1-02", "Zoanthus sp.", "zoanthid", 40.0, 60, "S1", 2, "one", ("2",), unit_price=Decimal("2.00"),
              currency="EUR"),
    )  # fmt: skip
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": NOON.isoformat(), "waybill": "000-1111 2222"})
        for line in lines:
            act.note("batch", line.id, batch_payload(line))
        act.note("received", "S1", {"shipment": "S1"})
        act.move("S1-01", "supplier", "vat:Q1", 100)
        act.move("S1-02", "supplier", "vat:Q2", 60)
    later = house_at(NOON + timedelta(hours=1))
    count_animals.count(later, "S1-01", "Q1", Count(doa=9, missing=2))
    count_animals.count(later, "S1-02", "Q2", Count(wrong=5))
    return later


def picture(shade: int) -> bytes:
    """A small JPEG of one grey."""
    out = io.BytesIO()
    Image.new("RGB", (400, 300), (shade, shade, shade)).save(out, "JPEG")
    return out.getvalue()


def text_of(data: bytes) -> str:
    """All words of a PDF on one line."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages).split())


def test_missing_and_wrong_are_heads_of_their_own_and_all_heads_add_up(house_at: Open) -> None:
    """3 % of 98 leaves 7 of 9 dead, 2 missing at 4.50; 5 wrong at 2.00; the sum is the claim's value."""
    claim = claim_status.current(received(house_at), "S1")
    told = {one.head: (one.counted, one.claimable, one.value) for one in heads(claim.lines)}
    assert told == {
        "dead": (9, 7, Decimal("31.50")),
        "missing": (2, 2, Decimal("9.00")),
        "wrong": (5, 5, Decimal("10.00")),
    }
    assert claim.totals == (("EUR", Decimal("50.50")),)


def test_the_csv_has_a_row_for_each_line_and_one_for_the_sums(house_at: Open) -> None:
    """What a supplier's bookkeeper adds up."""
    house = received(house_at)
    data = claim_paper.claim_csv(house, claim_status.current(house, "S1")).decode("utf-8-sig")
    first, second, total = csv.DictReader(io.StringIO(data))
    told = (
        "announced",
        "missing",
        "wrong",
        "doa",
        "placed",
        "allowance_agreed",
        "allowance_used",
        "claimable",
        "amount",
    )
    assert [first[name] for name in told] == ["100", "2", "0", "9", "89", "2", "2", "9", "40.50"]
    assert [second[name] for name in told] == ["60", "0", "5", "0", "55", "1", "0", "5", "10.00"]
    assert [total[name] for name in told] == ["160", "2", "5", "9", "144", "3", "2", "14", "50.50"]
    assert total["line"] == "total"


def test_photos_are_plates_with_their_hash_and_a_changed_file_is_told(house_at: Open, farm_folder: Path) -> None:
    """A picture that is not the one kept proves nothing, so it is not shown."""
    house = received(house_at)
    for number, shade in enumerate((40, 200)):
        sent = sync_phone.Sent(f"photo-key-{number:08d}")
        attach_photo.keep_photo(house, "S1-01", picture(shade), sent, evidence=EVIDENCE if number else "")
    kept = claim_evidence.photos_of(house, claim_status.current(house, "S1"))
    assert [one.trouble for one in kept] == ["", ""]
    data = claim_paper.claim_pdf(house, claim_status.current(house, "S1"))
    pictures = sum(len(page.images) for page in PdfReader(io.BytesIO(data)).pages)
    assert pictures == 2
    assert all(str(one.record.payload["upload"])[:32] in text_of(data) for one in kept)
    (farm_folder / "photos" / f"{kept[1].sha256}.jpg").write_bytes(picture(90))
    (farm_folder / "photos" / f"{kept[0].sha256}.jpg").unlink()
    told = claim_evidence.photos_of(house, claim_status.current(house, "S1"))
    assert [one.trouble for one in told] == ["the file is gone", "the file was changed since it was kept"]
    data = claim_paper.claim_pdf(house, claim_status.current(house, "S1"))
    assert sum(len(page.images) for page in PdfReader(io.BytesIO(data)).pages) == 0
    assert "the file was changed" in text_of(data)


def test_versions_states_and_specimens_stand_in_the_pdf(house_at: Open, farm_folder: Path) -> None:
    """Sent, then counted after the window: the frozen version stays, the steps and carcasses are reported."""
    (farm_folder / "permits.toml").write_text(
        '[permit.X-1]\nvalid_until = 2027-12-31\n[[permit.X-1.line]]\nname = "Tridacna maxima"\nquantity = 150\n'
    )
    house = received(house_at)
    claim_sending.mark_sent(house, "S1")
    later = house_at(NOON + timedelta(hours=30))
    count_animals.count(later, "S1-01", "Q1", Count(dead=3))
    advance_claim.set_state(later, "S1", "answered", amount="31.50", note="missing refused")
    versions = claim_status.history(later, "S1")
    assert [one.claimable for one in versions] == [14, 17]
    for paper in ("a4", "letter"):
        words = text_of(claim_paper.claim_pdf(later, versions[-1], paper))
        assert "Versions of this claim" in words
        assert "answered" in words
        assert "31.50 EUR" in words
        assert "150 NAR" in words
        # 98 came, 9 + 3 dead, 86 alive
        assert "X-1 150 NAR 100 98 12 86 0" in words
    first = text_of(claim_paper.claim_pdf(later, versions[0]))
    assert "S1 / 1" in first


def test_open_claims_show_their_clock_until_somebody_acts(house_at: Open) -> None:
    """Calm, pressing within a shift, late; sent claims wait without a clock; settled ones are gone."""
    house = received(house_at)
    (calm,) = claim_status.open_claims(house)
    assert (calm.press, calm.claimable) == ("calm", 14)
    assert calm.hours_left == pytest.approx(23.0)
    (soon,) = claim_status.open_claims(house_at(NOON + timedelta(hours=20)))
    assert soon.press == "soon"
    assert soon.hours_left == pytest.approx(4.0)
    assert "4.0 h left" in soon.words
    (late,) = claim_status.open_claims(house_at(NOON + timedelta(hours=30)))
    assert late.press == "late"
    sender = house_at(NOON + timedelta(hours=2))
    claim_sending.mark_sent(sender, "S1")
    (waiting,) = claim_status.open_claims(sender)
    assert (waiting.state, waiting.hours_left, waiting.deadline) == ("sent", None, None)
    advance_claim.set_state(sender, "S1", "settled", amount="50.50")
    assert claim_status.open_claims(sender) == []


@pytest.mark.parametrize("amount", ["NaN", "-3", "much", "Infinity"])
def test_an_amount_must_be_money(house_at: Open, amount: str) -> None:
    """Nothing is written of a claim answered with nonsense."""
    house = received(house_at)
    with pytest.raises(BadInput, match="amount"):
        advance_claim.set_state(house, "S1", "answered", amount=amount)
    assert claim_status.steps_of(house, "S1") == ()


def test_wrong_animals_are_booked_in_again_and_the_claim_still_counts_them_once(house_at: Open) -> None:
    """Five zoanthids were mushrooms: they live here as a batch without papers, and stay claimed as wrong."""
    house = received(house_at)
    told = rebook_wrong(house, "S1-02", "", 3, name="Discosoma sp.", group="corallimorph")
    assert "S1-02-W1: 3 Discosoma sp." in told.said[0]
    rebook_wrong(house, "S1-02", "Q2", 1, name="Xenia sp.")
    held = balances(house.entries())
    assert (held["S1-02-W1", "dock"], held["S1-02-W2", "vat:Q2"], held["S1-02", "wrong"]) == (3, 1, 6)
    claim = claim_status.current(house, "S1")
    assert [line.batch for line in claim.lines] == ["S1-01", "S1-02"]
    assert claim.lines[1].wrong == 6
    assert check_house(house) == []
    with pytest.raises(Refused, match="at most 2"):
        rebook_wrong(house, "S1-02", "", 3, name="Discosoma sp.")
    with pytest.raises(UnknownName):
        rebook_wrong(house, "S1-02", "", 1, name="Discosoma sp.", group="moss")


def test_more_than_announced_is_booked_in_and_seen_against_the_permit(house_at: Open) -> None:
    """Animals nobody announced are here all the same."""
    house = received(house_at)
    came_extra(house, "S1-01", "Q1", 4)
    assert balances(house.entries())["S1-01", "vat:Q1"] == 93
    assert check_house(house) == []
    with pytest.raises(BadInput):
        came_extra(house, "S1-01", "Q1", 0)


def test_the_command_keeps_a_photo_and_prints_an_earlier_version(
    house_at: Open, farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Photo, state and version from the command line; a version that never was is refused."""
    received(house_at)
    later = house_at(NOON + timedelta(hours=30))
    count_animals.count(later, "S1-01", "Q1", Count(dead=3))
    monkeypatch.setattr("intake.app.system_clock.now", lambda: NOON + timedelta(hours=31))
    (tmp_path / "dead.jpg").write_bytes(picture(80))

    def run(*words: str) -> tuple[int, str]:
        told = CliRunner().invoke(vatside, ["--farm", str(farm_folder), "claim", "S1", *words])
        return told.exit_code, told.output

    assert run("--photo", str(tmp_path / "dead.jpg"))[0] == 2  # two lines: which?
    code, output = run("--photo", str(tmp_path / "dead.jpg"), "--batch", "S1-01", "--evidence", EVIDENCE)
    assert code == 0, output
    assert f"☑ {EVIDENCE}" in output
    code, output = run("--version", "1", "--out", str(tmp_path / "o"))
    assert "version 1: 14 animals, 50.50 EUR, frozen" in output
    assert (tmp_path / "o" / "claim-S1-v1.pdf").exists()
    assert run("--version", "3")[0] == 2
    code, output = run("--json")
    told = json.loads(output)
    assert [one["claimable"] for one in told["versions"]] == [14, 17]
    assert sum(Decimal(one["value"]) for one in told["heads"]) == Decimal(told["value"][0]["value"])
