"""A language as a value: numbers and days as the Unicode locale data have them, sentences of the books translated whole."""

from __future__ import annotations

import threading
from datetime import date, timedelta

import pytest
from babel import Locale
from babel.dates import get_day_names, get_month_names
from babel.numbers import format_decimal

from intake.language import ENGLISH, language_of

SPANISH = language_of("es")


@pytest.mark.parametrize(("code", "locale"), [("en", "en_US"), ("es", "es"), ("es-419", "es_419")])
@pytest.mark.parametrize("value", [0.0, 0.5, 26.4, 999.9, -1.25])
def test_decimals_are_written_as_the_locale_data_have_them(code: str, locale: str, value: float) -> None:
    """Against Unicode CLDR through Babel; a true minus sign is ours."""
    told = language_of(code).number(value, 2)
    assert told == format_decimal(value, "0.00", locale=locale).replace("-", "−")


def test_thousands_cannot_be_mistaken_for_decimals() -> None:
    """A full stop is a decimal mark to half of those who read Spanish, so none parts thousands."""
    assert [SPANISH.count(n) for n in (7, 1400, 12_000)] == ["7", "1400", "12\u202f000"]
    assert language_of("es-419").count(12_000) == "12,000"
    assert ENGLISH.count(12_000) == "12,000"


def test_days_and_months_are_those_of_the_locale_data() -> None:
    """All of a year, by Babel's names."""
    spanish = Locale("es")
    days = get_day_names("abbreviated", locale=spanish)
    months = get_month_names("abbreviated", locale=spanish)
    for n in range(366):
        day = date(2027, 1, 1) + timedelta(days=n)
        expected = f"{days[day.weekday()]} {day.day:02d} {months[day.month]} {day.year}"
        assert SPANISH.day(day, "%a %d %b %Y") == expected
        assert ENGLISH.day(day, "%a %d %b %Y") == day.strftime("%a %d %b %Y")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("brush, tweezers, rinse bucket thrown away", "cepillo, pinzas, se tira el cubo de enjuague"),
        ("Handle by base.", "Sujete por la base."),
        ("one later than 204 h after the one before begins all 6 again",
         "si uno llega más de 204 h después del anterior, los 6 empiezan de nuevo"),
        ("not before Sun 29 Nov 07:45; Odo is off at that time", "no antes de dom 29 nov 07:45; Odo libra a esa hora"),
        ("0 PSU, same temperature and pH; three minutes at most", "0 PSU, misma temperatura y pH; tres minutos como máximo"),
        (("Once open, 1.57 mg N/L of ammonia would take un-ionised ammonia from 0.005 to 0.106 mg N/L, above 0.05: "
         "match temperature closed, then transfer without bag water."),
         ("Una vez abierta, 1.57 mg N/L de amoníaco llevarían el amoníaco no ionizado de 0.005 a 0.106 mg N/L, más de 0.05: "
         "iguale la temperatura con la bolsa cerrada, luego pase sin agua de bolsa.")),
        ("With 2.3 °C and 0.8 PSU to close (no pH was given), a filling tub would grow 5-fold, so let it overflow.",
         "Con 2.3 °C y 0.8 PSU por igualar (no se dio pH), una cubeta que se llena crecería 5 veces: deje que rebose."),
        ("a word of the farm's own, 1.5 mL", "a word of the farm's own, 1.5 mL"),
        ("0-7-14-21 d, 2026-11-30, 12:30, S1-02, 2.5.1, 1:9", "0-7-14-21 d, 2026-11-30, 12:30, S1-02, 2.5.1, 1:9"),
        ("", ""),
    ],
)  # fmt: skip
def test_sentences_of_the_books_are_retold_and_what_is_unknown_stays(text: str, told: str) -> None:
    """Clause by clause, with its values; identifiers and dates are no numbers."""
    assert SPANISH.retell(text) == told
    assert ENGLISH.retell(text) == text


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("26.4 °C, 1,400 animals, 12,000 L, −0.5", "26,4 °C, 1400 animals, 12\u202f000 L, −0,5"),
        ("2026-11-30 12:30 S1-02 2.5.1 1:9 192.168.1.10:8642", "2026-11-30 12:30 S1-02 2.5.1 1:9 192.168.1.10:8642"),
    ],
)
def test_numbers_of_a_text_are_written_last(text: str, told: str) -> None:
    """After units were put to them, so that a comma never stands where units look for a figure."""
    assert SPANISH.figures(text) == told
    assert ENGLISH.figures(text) == text


def test_two_readers_at_once_read_each_their_own() -> None:
    """The board serves several people at once: nothing is set for the process."""
    seen: dict[str, set[str]] = {"en": set(), "es": set()}

    def read(code: str) -> None:
        for _ in range(200):
            seen[code].add(language_of(code).say("No tasks") + language_of(code).retell("gloves"))

    threads = [threading.Thread(target=read, args=(code,)) for code in seen for _ in range(3)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert seen == {"en": {"No tasksgloves"}, "es": {"Sin tareasguantes"}}


def test_an_unknown_phrase_falls_back_to_english() -> None:
    """With its values in their places."""
    assert not SPANISH.knows("never said {n}")
    assert SPANISH.say("never said {n}", n=3) == "never said 3"
