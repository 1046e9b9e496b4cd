"""The claim: the books' own totals, evidence that can be checked, photographs without a place."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

from PIL import Image

import forms
from tests.forms.reading import lines_of, pages, reader, text_of
from tests.forms.samples import claim_content, picture

GOLDEN = Path(__file__).parent / "goldens" / "claim.txt"


def test_claim_says_what_was_agreed() -> None:
    """Golden text: what goes to a supplier is read by a person when it changes."""
    assert lines_of(forms.claim(claim_content())) == GOLDEN.read_text(encoding="utf-8").splitlines()


def test_totals_are_the_contents_not_added_up_here() -> None:
    """The books decide; paper that adds up by itself could differ from them."""
    content = claim_content()
    odd = replace(content, totals=replace(content.totals, announced=777, used=8123, value="9 876.50"))
    lines = [line for line in lines_of(forms.claim(odd)) if "777" in line or "9 876.50" in line]
    assert lines
    text = text_of(forms.claim(odd))
    for figure in ("8123", "9 876.50"):
        assert text.count(figure) == 1
    assert text.count("777") == 4  # the sentence, the sum, and the balance with its heading


def test_every_line_and_figure_is_there() -> None:
    """Each invoice line with its counts."""
    content = claim_content(40)
    text = text_of(forms.claim(content))
    for row in (content.rows[0], content.rows[-1]):
        counts = f"{row.announced} {row.doa} {row.daa} {row.missing} {row.wrong} 3 3 7 11.50 80.50"
        assert counts in text
    assert text.count("80.50") == 40


def test_total_is_never_alone_under_a_repeated_heading() -> None:
    """A bottom line without a line above it is disputed."""
    for lines in range(8, 36, 3):
        for text in pages(forms.claim(claim_content(lines))):
            if "Total" in text and "Allowance" in text:
                assert "80.50" in text or "nothing lost" in text


def test_signatures_do_not_stand_alone_on_a_page() -> None:
    """A page with three boxes to sign and nothing else is lost on its way back."""
    for lines in range(1, 14):
        for text in pages(forms.claim(claim_content(lines))):
            if "Statement and signatures" in text:
                assert "Where all" in text or "By kind of loss" in text, lines


def test_lines_without_loss_stand_together() -> None:
    """One row says what they announced and what the supplier need not credit of them."""
    assert "Line 6: nothing lost 40 0 0 0 0 1 0 0" in text_of(forms.claim(claim_content()))


def test_the_first_page_asks_in_one_sentence_and_shows_where_all_animals_are() -> None:
    """What a clerk reads before the table: money, animals, the day of the answer; then the balance."""
    first = " ".join(pages(forms.claim(claim_content()))[0].split())
    assert "We ask you to credit 402.50 EUR for 35 animals of 540 announced" in first
    assert "Tue 10 Mar 2026" in first
    for word in (
        "540",
        "placed",
        "505",
        "left",
        "490",
        "30 DOA + 15 DAA + 5 missing + 0 wrong − 15 used = 35 claimable",
    ):
        assert word in first


def test_nothing_claimed_asks_for_nothing() -> None:
    """A claim of nothing is a sentence, not an amount."""
    content = claim_content()
    empty = replace(content, totals=replace(content.totals, claimable=0), asked="", answer_by="")
    assert "Nothing is claimed of 540 animals announced." in text_of(forms.claim(empty))


def test_version_state_and_deadline_are_on_the_first_page() -> None:
    """Two versions of one claim must be distinguished at a glance."""
    first = pages(forms.claim(claim_content()))[0]
    assert "version 2, replaces 1" in first
    assert "Wed 4 Mar 2026 09:40" in first


def test_heads_versions_steps_and_specimens_are_told() -> None:
    """Missing and wrong apart from dead; what became of the claim; carcasses against the permit."""
    text = text_of(forms.claim(claim_content()))
    assert "Missing 5 5 57.50" in text
    assert "1 Wed 4 Mar 2026 09:40 30 70.00 EUR frozen" in text
    assert "sent Tue 3 Mar 2026 16:05 Mira Sandholm 1 by mail with photos" in text
    assert "Tridacna maxima INV-0001 1500 NAR 500 495 45 450 0" in text
    assert "no permit number on the packing list" in text


def test_hashes_are_printed_whole() -> None:
    """Whoever checks the photographs compares all 64 characters."""
    content = claim_content()
    text = text_of(forms.claim(content)).replace(" ", "")
    assert all(item.digest in text for item in content.evidence)


def test_photographs_lose_place_and_device() -> None:
    """A phone writes where it was; the supplier need not know."""
    exif = Image.Exif()
    exif[0x010F] = "InventedPhoneMaker"
    exif[0x0112] = 6
    buffer = io.BytesIO()
    Image.new("RGB", (400, 200), (9, 90, 160)).save(buffer, "JPEG", exif=exif)
    data = forms.claim(claim_content(photos=(forms.Photo("line 1", buffer.getvalue()),)))
    assert b"InventedPhoneMaker" in buffer.getvalue()
    (image,) = (image for page in reader(data).pages for image in page.images)
    assert b"InventedPhoneMaker" not in image.data
    assert image.image is not None
    assert image.image.size == (200, 400)


def test_an_unreadable_photograph_is_told_and_stops_nothing() -> None:
    """The window closes in hours: a broken file may not hold up the claim."""
    photos = (forms.Photo("dead of line 1", b"not a picture"), forms.Photo("dead of line 2", picture(90)))
    text = text_of(forms.claim(claim_content(photos=photos)))
    assert "This picture could not be read; see the file." in text
    assert "dead of line 2" in text


def test_fillable_claim_has_room_for_the_answer() -> None:
    """The supplier may answer on a screen."""
    fields = reader(forms.claim(claim_content(), fillable=True)).get_fields() or {}
    assert {"1/answer", "1/checked_by"} <= set(fields)
