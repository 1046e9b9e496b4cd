"""What the dead have in common: exact tests against scipy, Holm against statsmodels, and planted causes found."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import fisher_exact, hypergeom
from statsmodels.stats.multitest import multipletests

from intake.ledger import Entry, batch_payload, batches
from intake.report.causes import Group, _as_many, _hypergeometric, arrival_groups, common, holm, standing_groups
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import CLAMS, POLYPS, arrival


def group(vat: str, water: str, batch: str, animals: int, dead: int) -> Group:
    """Animals of one batch in one vat; the box goes with the batch."""
    return Group({"vat": vat, "water": water, "batch": batch, "box": f"box of {batch}"}, animals, dead)


GROUPS = (
    group("Q1", "north", "A", 60, 9),
    group("Q2", "north", "A", 60, 1),
    group("Q3", "south", "A", 60, 1),
    group("Q1", "north", "B", 40, 6),
    group("Q3", "south", "B", 40, 0),
)


def test_each_chance_is_fishers_and_the_correction_is_holms() -> None:
    """One-sided exact test of each set against the rest; corrected as statsmodels does."""
    found = common(GROUPS)
    for one in found:
        table = [
            [one.dead, one.animals - one.dead],
            [one.dead_elsewhere, one.animals_elsewhere - one.dead_elsewhere],
        ]
        assert one.chance == pytest.approx(fisher_exact(table, alternative="greater").pvalue)
    corrected = multipletests([one.chance for one in found], method="holm")[1]
    assert [one.corrected for one in found] == pytest.approx(list(corrected))
    assert holm([]) == []


def test_a_bad_vat_is_named_first_and_holds_within_its_batches() -> None:
    """Q1 kills animals of both batches, so it is the vat and not the batch."""
    first = common(GROUPS)[0]
    assert first.names == (("vat", "Q1"),)
    assert (first.dead, first.animals) == (15, 100)
    assert first.corrected < 0.001
    assert first.within_batches is not None
    assert first.within_batches < 0.001


@given(st.integers(1, 30_000), st.data())
def test_chances_are_those_of_the_hypergeometric_of_scipy(total: int, data: st.DataObject) -> None:
    """Each number of dead among the drawn, and as many or more: to eight digits, or both next to nothing."""
    dead, drawn = data.draw(st.integers(0, total)), data.draw(st.integers(0, total))
    low, chances = _hypergeometric(total, dead, drawn)
    asked = hypergeom.pmf(np.arange(low, low + len(chances)), total, dead, drawn)
    assert chances == pytest.approx(asked, rel=1e-8, abs=1e-200)
    assert low + len(chances) - 1 == min(dead, drawn)
    found = data.draw(st.integers(low, min(dead, drawn)))
    assert _as_many(found, total, dead, drawn) == pytest.approx(
        float(hypergeom.sf(found - 1, total, dead, drawn)), rel=1e-8, abs=1e-200
    )


def test_within_batches_is_the_sum_of_hypergeometric_counts() -> None:
    """Against shuffling the dead inside each batch 20 000 times."""
    rng = np.random.default_rng(3)
    first = common(GROUPS)[0]
    seen = 0
    for _ in range(20_000):
        drawn = rng.hypergeometric(11, 169, 60) + rng.hypergeometric(6, 74, 40)
        seen += drawn >= 14
    milder = common((group("Q1", "n", "A", 60, 8), group("Q2", "n", "A", 120, 3), group("Q1", "n", "B", 40, 6),
                     group("Q3", "n", "B", 40, 0)))  # fmt: skip
    vat = next(one for one in milder if one.names[0] == ("vat", "Q1"))
    assert vat.within_batches == pytest.approx(seen / 20_000, abs=4 * (1e-4 + seen / 20_000**1.5))
    assert first.within_batches is not None
    assert vat.within_batches is not None
    assert first.within_batches < vat.within_batches


def test_what_holds_the_same_animals_cannot_be_told_apart_and_counts_as_one_look() -> None:
    """A box that is a batch that stands alone in its vat has one chance, three names, and no comparison within."""
    found = common((group("Q1", "north", "A", 50, 8), group("Q2", "south", "B", 50, 0)))
    assert found[0].names == (("box", "box of A"), ("vat", "Q1"), ("water", "north"), ("batch", "A"))
    assert found[0].corrected == pytest.approx(2 * found[0].chance)
    assert found[0].within_batches is None
    assert found[0].within_vats is None


def test_nothing_dead_names_nothing_and_one_group_has_nothing_to_compare() -> None:
    """No deaths, or all animals alike."""
    assert common((group("Q1", "n", "A", 50, 0),)) == ()
    assert common((group("Q1", "n", "A", 50, 5),)) == ()


def test_blind_death_is_rarely_blamed_on_anything() -> None:
    """Over 300 histories without a cause, something is named at 5 % in at most 5 % of them (and a margin of chance)."""
    rng = np.random.default_rng(17)
    sizes = [60, 60, 60, 40, 40]
    blamed = 0
    for _ in range(300):
        dead = rng.multivariate_hypergeometric(sizes, 14)
        groups = [Group(one.shares, one.animals, int(n)) for one, n in zip(GROUPS, dead, strict=True)]
        blamed += common(groups)[0].corrected <= 0.05
    assert blamed <= 300 * 0.05 + 3 * (300 * 0.05 * 0.95) ** 0.5


def test_groups_count_the_dead_where_they_died_and_the_living_by_the_time_they_stood() -> None:
    """60 stood two days in Q1, 3 until sold, 30 until moved: (60·48 + 3·37 + 30·26) / 48 = 79; Q2: 28·22 / 48 + 2 = 15."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.note("batch", "S1-01", -48, **batch_payload(CLAMS)),  # type: ignore[arg-type]
        scribe.move("S1-01", "supplier > vat:Q1", 100),
        scribe.move("S1-01", "vat:Q1 > dead", 7, 10),
        scribe.move("S1-01", "vat:Q1 > vat:Q2", 30, 50),
        scribe.move("S1-01", "vat:Q2 > dead", 2, 60),
        scribe.move("S1-01", "vat:Q1 > sold", 3, 61),
    ]
    known = batches(entries)
    groups = standing_groups(entries, known, hour(24), hour(72), {"Q1": "north", "Q2": "south"})
    assert [(one.shares["vat"], one.animals, one.dead) for one in groups] == [("Q1", 79, 0), ("Q2", 15, 2)]


def test_a_vat_emptied_at_the_end_of_the_span_is_not_blamed_for_its_dead() -> None:
    """Everybody moved out yesterday: the four that died before did so among the hundred that stood there, not among four."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.note("batch", "S1-01", -48, **batch_payload(CLAMS)),  # type: ignore[arg-type]
        scribe.move("S1-01", "supplier > vat:Q1", 100),
        scribe.move("S1-01", "vat:Q1 > dead", 4, 100),
        scribe.move("S1-01", "vat:Q1 > vat:Q2", 96, 168),
    ]
    known = batches(entries)
    groups = standing_groups(entries, known, hour(0), hour(192), {"Q1": "north", "Q2": "south"})
    assert [(one.shares["vat"], one.animals, one.dead) for one in groups] == [("Q1", 88, 4), ("Q2", 12, 0)]
    assert all(one.corrected > 0.05 for one in common(groups))


def test_dead_on_arrival_are_compared_by_box_and_kind() -> None:
    """Seven of 98 clams against two of 40 polyps: no vat is blamed for a journey."""
    entries = arrival(Scribe())
    groups = arrival_groups(entries, batches(entries), hour(5), lambda batch: batch.shipment == "S1")
    assert [(one.shares["batch"], one.animals, one.dead) for one in groups] == [("S1-01", 98, 7), ("S1-02", 40, 2)]
    assert all("vat" not in one.shares for one in groups)
    assert POLYPS.group == CLAMS.group
