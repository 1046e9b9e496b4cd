"""The draw is by lot over the whole, the same for the same words, and a clean sample proves what the tables say."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.quarantine.sampling import sample_size
from intake.report.draws import draw, most_carriers

PLACES = (("Q1", 30), ("Q2", 10), ("Q3", 60))


@given(st.lists(st.integers(0, 30), min_size=1, max_size=5).filter(any), st.data())
def test_a_draw_takes_n_different_animals_that_are_there(counts: list[int], data: st.DataObject) -> None:
    """Never an animal twice, never one beyond those standing."""
    places = [(f"V{index}", count) for index, count in enumerate(counts)]
    n = data.draw(st.integers(1, sum(counts)))
    drawn = draw(places, n, "words")
    assert sum(len(one.numbers) for one in drawn) == n
    for one in drawn:
        assert len(set(one.numbers)) == len(one.numbers)
        assert all(1 <= number <= one.standing for number in one.numbers)


def test_the_same_words_draw_the_same_and_others_do_not() -> None:
    """So that the list can be printed again, and nobody can choose the animals."""
    assert draw(PLACES, 20, "march") == draw(PLACES, 20, "march")
    assert draw(PLACES, 20, "march") != draw(PLACES, 20, "april")


def test_every_animal_is_as_likely_as_any_other() -> None:
    """Over 2000 draws of 10 of 100: chi-square over the animals near its 99 degrees of freedom; vats share by size."""
    taken: Counter[tuple[str, int]] = Counter()
    for seed in range(2000):
        for one in draw(PLACES, 10, str(seed)):
            taken.update((one.place, number) for number in one.numbers)
    expected = 2000 * 10 / 100
    spread = sum((taken[place, n] - expected) ** 2 / expected for place, count in PLACES for n in range(1, count + 1))
    assert 55 < spread < 150
    assert sum(count for (place, _), count in taken.items() if place == "Q2") / 20_000 == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize("n", [0, 101, -1])
def test_more_than_there_are_or_none_is_refused(n: int) -> None:
    """A sample of nothing proves nothing."""
    with pytest.raises(BadInput, match="1 to 100"):
        draw(PLACES, n, "x")


# Exact sample sizes at 95 % (recomputed; they agree with Cannon & Roe 1982): lot, prevalence in %, animals.
TABLE = [
    (100, 1, 95),
    (100, 2, 78),
    (100, 5, 45),
    (100, 10, 25),
    (250, 2, 112),
    (500, 1, 225),
    (1000, 5, 57),
    (1000, 10, 29),
]


@pytest.mark.parametrize(("lot", "percent", "n"), TABLE)
def test_a_clean_sample_of_the_tables_size_rules_that_prevalence_out_and_one_less_does_not(
    lot: int, percent: int, n: int
) -> None:
    """The two questions are each other's inverse: how many to take, and what so many prove."""
    carriers = lot * percent // 100
    assert sample_size(lot, percent / 100, 0.95).n == n
    assert most_carriers(lot, n, 0.95) < carriers <= most_carriers(lot, n - 1, 0.95)


def test_a_poor_test_proves_less_and_a_census_with_a_perfect_one_proves_freedom() -> None:
    """Every animal seen and the test never misses: no carrier; at 80 % sensitivity a census leaves room for one."""
    assert most_carriers(100, 100, 0.95) == 0
    assert most_carriers(100, 100, 0.95, 0.8) == 1
    assert most_carriers(100, 0, 0.95) == 100
    assert most_carriers(500, 56, 0.95, 0.8) > most_carriers(500, 56, 0.95)
