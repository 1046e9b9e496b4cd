"""Decimal marks, counts, sums, money: proved by arithmetic or asked, never guessed."""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests.packing.books import CLEAN, dollars, keys, understood, xlsx_of

HEAD = "Species;Size (cm);Qty;Price (EUR);Amount\n"


def test_a_lone_1_250_is_asked_and_both_answers_are_obeyed() -> None:
    """'1.250' is 1250 or 1.25: nothing in this list says, so the user does."""
    text = "Species;Size (cm);Qty\nTridacna maxima;4;1.250\n"
    assert keys(understood(text)) == ["numbers"]
    assert understood(text, {"numbers": "decimal-comma"}).lines[0].count == 1250
    point = understood(text, {"numbers": "decimal-point"})
    assert not point.ready
    assert "C2" in point.problems[0].where
    assert "1.250" in point.problems[0].value


@pytest.mark.parametrize(
    ("row", "count", "price"),
    [
        ("Tridacna maxima;4;1.250;4,50;5.625,00", 1250, "4.50"),
        ("Tridacna maxima;4;1.250;4,5;5.625", 1250, "4.5"),
        ("Tridacna maxima;4;1,250;4.50;5,625.00", 1250, "4.50"),
        ("Tridacna maxima;4;1'250;4.50;5'625.00", 1250, "4.50"),
    ],
)
def test_the_row_that_balances_decides_the_mark(row: str, count: int, price: str) -> None:
    """Count × price = amount, or a cell that can be read one way only, settles the whole file."""
    shipment = understood(HEAD + row + "\n")
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert (shipment.lines[0].count, shipment.lines[0].unit_price) == (count, Decimal(price))


@pytest.mark.parametrize(("cell", "animals"), [("doz 2", 24), ("2 doz", 24), ("pr. 3", 6), ("pcs 40", 40)])
def test_the_unit_of_a_count_may_stand_before_or_after_it(cell: str, animals: int) -> None:
    """Dozens and pairs are multiplied out without a question."""
    shipment = understood(f"Species,Size (cm),Qty\nTridacna maxima,4,{cell}\n")
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert shipment.lines[0].count == animals


def test_a_product_that_balances_both_ways_proves_nothing() -> None:
    """1.250 × 4 = 5.000 is as true of 1250 and 5000 as of 1.25 and 5."""
    assert keys(understood(HEAD + "Tridacna maxima;4;1.250;4;5.000\n")) == ["numbers"]


def test_a_total_row_decides_the_mark_when_no_amounts_are_given() -> None:
    """1250 + 60 = 1310 under one mark only."""
    text = "Species;Size (cm);Qty\nTridacna maxima;4;1.250\nTridacna gigas;5;60\nTotal;;1.310\n"
    shipment = understood(text)
    assert shipment.ready
    assert shipment.totals.animals == shipment.totals.stated == 1310
    assert any("decimal-comma" in sentence for sentence in shipment.evidence)


def test_typed_numbers_of_a_workbook_are_never_reread() -> None:
    """A number cell of 1.25 animals is a fraction, whatever mark the text cells use."""
    shipment = understood(xlsx_of([["Species", "Size (cm)", "Qty"], ["Tridacna maxima", 4, 1.25]]))
    assert [problem.value for problem in shipment.problems] == ["1.25"]


def test_a_remembered_mark_settles_what_the_list_cannot() -> None:
    """Asked once per supplier."""
    text = "Species;Size (cm);Qty\nTridacna maxima;4;1.250\n"
    learned = understood(text, {"numbers": "decimal-comma"}).map
    assert learned.numbers == ","
    assert understood(text, remembered=learned).lines[0].count == 1250


def test_a_default_is_never_learned_as_a_habit() -> None:
    """A list that proves no mark and no date order teaches none, so the next doubtful one is still asked."""
    plain = understood("Species;Size (cm);Qty;Packed\nTridacna maxima;4;10;04/04/2026\n")
    assert plain.ready
    assert (plain.map.numbers, plain.map.dates) == ("", "")
    doubtful = "Species;Size (cm);Qty;Packed\nTridacna maxima;4;1.250;03/04/2026\n"
    assert keys(understood(doubtful, remembered=plain.map)) == ["numbers", "dates"]
    told = understood(doubtful, {"numbers": "decimal-comma", "dates": "dmy"}, remembered=plain.map)
    assert (told.map.numbers, told.map.dates) == (",", "dmy")
    assert understood(doubtful, remembered=told.map).ready


@pytest.mark.parametrize("count", ["-4", "2.5", "1000001", "1e9", "many", "", "~100", "(5)", "TRUE"])
def test_an_impossible_count_is_named_by_row_and_cell(count: str) -> None:
    """Negative, fractional, absurd, missing or no number at all: refused where it stands, never mended."""
    shipment = understood(f"Species,Size (cm),Qty\nTridacna maxima,4,{count}\nTridacna gigas,4,7\n")
    assert len(shipment.problems) == 1
    assert shipment.problems[0].where == "row 2, C2, count"
    assert shipment.problems[0].value == count
    assert not shipment.ready


@pytest.mark.parametrize("count", ["120 pcs", "120pcs", "120 ea", "pcs 120", " 120 "])
def test_counting_words_beside_a_count_do_no_harm(count: str) -> None:
    """'120 pcs' is 120."""
    assert understood(f"Species,Size (cm),Qty\nTridacna maxima,4,{count}\n").lines[0].count == 120


def test_a_total_that_does_not_fit_is_asked_not_swallowed() -> None:
    """The word 'Total' alone makes no sum: the difference is shown and the user decides."""
    text = CLEAN.replace("190", "200")
    asked = understood(text)
    assert keys(asked) == ["totals"]
    assert "200" in asked.questions[0].what
    assert "190" in asked.questions[0].what
    assert not asked.ready
    trusted = understood(text, {"totals": "trust-the-lines"})
    assert trusted.ready
    assert (trusted.totals.animals, trusted.totals.stated) == (190, 200)


def test_sums_need_no_word_and_subtotals_start_afresh() -> None:
    """Unnamed rows that are the sum of what stands above; a grand total over two sections."""
    text = (
        "Species,Size (cm),Qty\nCLAMS,,\nTridacna maxima,4,10\nTridacna gigas,5,20\n,,30\nCORALS,,\n"
        "Acropora tenuis,5,5\nPorites lutea,5,6\nSub-total,,11\nGrand total,,41\n"
    )
    shipment = understood(text)
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert [line.count for line in shipment.lines] == [10, 20, 5, 6]
    assert shipment.totals.stated == 41
    assert any("'CLAMS'" in sentence for sentence in shipment.evidence)


def test_a_nameless_row_that_is_no_sum_is_a_fault() -> None:
    """Animals without a name are never dropped."""
    shipment = understood(
        "Species,Size (cm),Qty\nTridacna maxima,4,10\nTridacna gigas,5,20\n,5,31\n", {"empty-name": "mend-the-list"}
    )
    assert [problem.where for problem in shipment.problems] == ["row 4, A4, name"]


def test_a_name_alone_in_its_row_is_asked_about_if_it_is_an_animal() -> None:
    """A heading 'Acropora', or a line that lost its count: animals must not vanish."""
    text = "Species,Size (cm),Qty\nTridacna maxima,4,10\nTridacna gigas,,\n"
    assert keys(understood(text)) == ["name-alone"]
    assert understood(text, {"name-alone": "headings"}).ready
    line = understood(text, {"name-alone": "lines"})
    assert len(line.lines) == 2
    assert line.problems


def test_two_lines_alike_are_kept_apart_and_confirmed() -> None:
    """Same animal, size, box and count: never merged, never dropped, and one question for all of them."""
    rows = ["1,Tridacna maxima,4,10", "1,Tridacna maxima,4,15", "2,Tridacna maxima,4,10"]
    head = "Box,Species,Size (cm),Qty\n"
    assert understood(head + "\n".join(rows)).ready, "two counts of one animal in one box are two bags"
    text = head + "\n".join([*rows, rows[0], rows[2]])
    assert keys(understood(text)) == ["duplicates"]
    confirmed = understood(text, {"duplicates": "both"})
    assert confirmed.ready
    assert [batch.announced for batch in confirmed.batches()] == [10, 15, 10, 10, 10]


def test_a_count_of_none_is_not_shipped_once_said() -> None:
    """Zero under 'Qty' may be a slip; under 'Shipped' beside 'Ordered' it is plain."""
    text = "Species,Size (cm),Qty\nTridacna maxima,4,0\nTridacna gigas,4,7\n"
    assert keys(understood(text)) == ["zero-counts"]
    assert [line.count for line in understood(text, {"zero-counts": "not-shipped"}).lines] == [7]
    plain = "Species,Size (cm),Ordered,Shipped\nTridacna maxima,4,5,0\nTridacna gigas,4,9,7\n"
    assert understood(plain).ready
    assert [line.count for line in understood(plain).lines] == [7]


@pytest.mark.parametrize(
    ("count", "animals"), [("12 dozen", 144), ("2 doz", 24), ("1 pr", 2), ("10 x 5", 50), ("3 Paar", 6), ("٣٠", 30)]
)
def test_counts_in_the_ways_of_the_trade(count: str, animals: int) -> None:
    """Dozens, pairs, bags times animals, digits of another script."""
    assert understood(f"Species,Size (cm),Qty\nTridacna maxima,4,{count}\n").lines[0].count == animals


def test_an_amount_that_does_not_fit_is_asked() -> None:
    """A claim will be valued by it."""
    text = HEAD + "Tridacna maxima;4;10;4.50;54.00\n"
    assert keys(understood(text)) == ["amounts"]
    assert understood(text, {"amounts": "as-listed"}).ready


@pytest.mark.parametrize(
    ("price", "agreed", "code"),
    [
        ("€ 3.85", "USD", "EUR"),
        ("3.85 USD", "EUR", "USD"),
        ("US$3.85", "EUR", "USD"),
        ("£3.85", "EUR", "GBP"),
        ("3.85", "EUR", "EUR"),
        ("$3.85", "AUD", "AUD"),
    ],
)
def test_the_currency_comes_from_the_cell_or_the_terms(price: str, agreed: str, code: str) -> None:
    """A shared sign is settled only by terms that name one of its currencies."""
    line = understood(f"Species;Size (cm);Qty;Price\nTridacna maxima;4;10;{price}\n", supplier=dollars(agreed)).lines[0]
    assert (line.unit_price, line.currency) == (Decimal("3.85"), code)


def test_a_bare_dollar_is_asked_when_the_terms_are_in_no_dollar() -> None:
    """'$' stands for many currencies."""
    text = "Species;Size (cm);Qty;Price\nTridacna maxima;4;10;$3.85\n"
    assert keys(understood(text)) == ["currency"]
    assert understood(text, {"currency": "SGD"}).lines[0].currency == "SGD"


def test_a_code_in_the_heading_explains_the_sign_in_the_cells() -> None:
    """'Price USD/pc' above '$4.00'."""
    line = understood("Species;Size (cm);Qty;Price USD/pc\nTridacna maxima;4;10;$4.00\n").lines[0]
    assert (line.unit_price, line.currency) == (Decimal("4.00"), "USD")


def test_two_currencies_are_never_added() -> None:
    """The value is kept by currency."""
    text = "Species;Size (cm);Qty;Price\nTridacna maxima;4;10;€2\nTridacna gigas;4;10;3 USD\n"
    assert understood(text).totals.value == {"EUR": Decimal(20), "USD": Decimal(30)}
