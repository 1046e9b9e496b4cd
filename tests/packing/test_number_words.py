"""Totals in number words: read in ten languages, and reconciled or asked like figures."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.packing.number_words import in_figures
from tests.packing.books import understood

SMALL = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve", "thirteen",
         "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen")  # fmt: skip
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]


def said(number: int) -> str:
    """A whole number in English words, written here without looking at the reader's tables."""
    if number < 20:
        return SMALL[number]
    if number < 100:
        return TENS[number // 10 - 2] + (f"-{SMALL[number % 10]}" if number % 10 else "")
    if number < 1000:
        return f"{SMALL[number // 100]} hundred" + (f" and {said(number % 100)}" if number % 100 else "")
    return f"{said(number // 1000)} thousand" + (f" {said(number % 1000)}" if number % 1000 else "")


@given(st.integers(0, 999_999))
def test_every_english_number_is_read_back(number: int) -> None:
    """As a person writes it out."""
    assert in_figures(f"total: {said(number)} pieces") == f"total: {number} pieces"


@pytest.mark.parametrize(
    ("words", "figures"),
    [
        ("total seiscientas doce piezas", "total 612 piezas"),
        ("noventa y nueve cajas", "99 cajas"),
        ("mil doscientas", "1200"),
        ("total six cent douze pieces", "total 612 pieces"),
        ("quatre-vingt-dix-sept cartons", "97 cartons"),
        ("soixante et onze", "71"),
        ("seiscentas e doze pecas", "612 pecas"),
        ("seicentododici pezzi", "612 pezzi"),
        ("ventuno pezzi", "21 pezzi"),
        ("sechshundertzwolf stuck", "612 stuck"),
        ("einundzwanzig tiere", "21 tiere"),
        ("zeshonderdtwaalf", "612"),
        ("enam ratus dua belas ekor", "612 ekor"),
        ("sau tram muoi hai con", "612 con"),
        ("合計 六百十二匹", "合計 612匹"),
        ("合计一万二千三百四十五只", "合计12345只"),
        ("twelve boxes and six hundred pieces", "12 boxes and 600 pieces"),
        ("total of the animals on this list", "total of the animals on this list"),
    ],
)
def test_numbers_of_other_languages(words: str, figures: str) -> None:
    """One word or several, tens before ones or after."""
    assert in_figures(words) == figures


LIST = "Species,Size (cm),Qty,Price (USD)\nTridacna maxima,4-5,600,2.00\nAcropora tenuis,5,12,1.00\n"


@pytest.mark.parametrize(
    "words",
    [
        "Total: six hundred and twelve pieces",
        "SAY SIX HUNDRED TWELVE PIECES ONLY",
        "Total 612 (six hundred twelve) pieces",
        "Total: seiscientas doce piezas",
        "Gesamt: sechshundertzwölf Stück",
        "Total: six cent douze pièces",
    ],
)
def test_a_total_in_words_that_fits_is_reconciled(words: str) -> None:
    """Below the lines or above them; nothing is asked."""
    for text in (f"{LIST}{words},,,\n", f"{words},,,\n{LIST}"):
        told = understood(text)
        assert told.ready, (text, [one.what for one in told.questions], told.problems)
        assert told.totals.stated == 612


@pytest.mark.parametrize(
    "words",
    [
        "Total: six hundred and twenty pieces",
        "Total 612 (six hundred and twenty) pieces",
        "Gesamt: sechshundertzwanzig Stück",
        "SAY US DOLLARS ONE THOUSAND FOUR HUNDRED AND TEN ONLY",
    ],
)
def test_a_total_in_words_that_does_not_fit_is_asked(words: str) -> None:
    """Never swallowed, in animals or in money."""
    told = understood(f"{LIST}{words},,,\n")
    assert not told.ready
    assert any("620" in one.what or "1410" in one.what.replace(",", "") for one in told.questions), told.questions


def test_money_in_words_with_cents() -> None:
    """As invoices say it."""
    text = (
        LIST.replace("1.00", "1.05") + "SAY TOTAL US DOLLARS ONE THOUSAND TWO HUNDRED TWELVE AND CENTS 60/100 ONLY,,,\n"
    )
    told = understood(text)
    assert told.ready, [one.what for one in told.questions]
