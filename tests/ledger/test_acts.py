"""Every act of a farm is a balanced entry, and animals are conserved whatever the order in which acts come."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.ledger import Entry, Movement, balances, check, counter, shortages
from intake.ledger.entries import SOURCES
from tests.ledger.books import Scribe, hour

ACTS = {
    "receive": "supplier > dock",
    "place": "dock > vat:Q1",
    "dead on arrival": "vat:Q1 > doa",
    "dead after arrival": "vat:Q1 > dead",
    "not found": "vat:Q1 > missing",
    "found again": "missing > vat:Q1",
    "wrong species": "vat:Q1 > wrong",
    "split": "vat:Q1 > vat:Q2",
    "merge": "vat:Q2 > vat:Q1",
    "sell": "vat:Q1 > sold",
    "take back a sale": "sold > vat:Q1",
    "sacrifice for a test": "vat:Q1 > sample",
    "discard": "vat:Q1 > discarded",
    "alive after all": "doa > vat:Q1",
    "came beyond the list": "supplier > vat:Q1",
    "cut": "cut-from > vat:Q2",
    "first stocktake": "opening > vat:Q2",
    "escape": "vat:Q2 > missing",
}
"""What a farm does with animals, as ways between places."""


@pytest.mark.parametrize("act", ACTS)
def test_every_act_is_one_balanced_entry(act: str) -> None:
    """What leaves one place comes to the other, and the check of the books has nothing to say."""
    scribe = Scribe()
    places = ("vat:Q1", "vat:Q2", "dock", "missing", "sold", "doa")
    entries: list[Entry] = [scribe.move("S1-01", "supplier > dock", 100)]
    entries += [scribe.move("S1-01", f"dock > {place}", 10) for place in places if place != "dock"]
    entries.append(scribe.move("S1-01", ACTS[act], 3, 1))
    source, target = ACTS[act].split(" > ")
    before, after = balances(entries[:-1]), balances(entries)
    assert check(entries) == []
    assert after[("S1-01", target)] - before.get(("S1-01", target), 0) == 3
    assert after.get(("S1-01", source), 0) - before.get(("S1-01", source), 0) == -3
    assert sum(after.values()) == 0


def test_a_wrong_species_is_booked_out_and_in_again_as_what_it_is() -> None:
    """The line loses them to ``wrong``; a batch of their own brings them in: each batch sums to zero."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > vat:Q1", 20),
        scribe.move("S1-01", "vat:Q1 > wrong", 4, 2),
        scribe.move("S1-01-W1", "supplier > vat:Q1", 4, 2),
        scribe.move("S1-01-W1", "vat:Q1 > dead", 1, 30),
    ]
    held = balances(entries)
    assert (held["S1-01", "vat:Q1"], held["S1-01-W1", "vat:Q1"], held["S1-01", "wrong"]) == (16, 3, 4)
    assert check(entries) == []


TOLD = st.lists(
    st.tuples(st.sampled_from(sorted(ACTS)), st.integers(1, 12), st.integers(0, 30), st.integers(0, 3)), max_size=25
)


@given(TOLD, st.randoms(use_true_random=False))
def test_animals_are_conserved_whatever_is_told_in_whatever_order(
    told: list[tuple[str, int, int, int]], chance: object
) -> None:
    """Two people record acts at once, some late, some taken back: what the store would refuse is left out, the rest adds up.

    An act is taken when it leaves no place short at any moment, as the store decides.  Then the sum over places is zero
    at every moment, only sources are below zero, and recording the same acts in another order ends in the same balances.
    """
    scribe = Scribe()
    entries: list[Movement] = []
    for act, count, at, undo in told:
        new = scribe.move("S1-01", ACTS[act], count, at, recorded=40)
        if not shortages([*entries, new]):
            entries.append(new)
        if undo == 0 and entries:
            wrong = entries[count % len(entries)]
            back = counter(wrong, at=hour(40), who="Ben", key=f"undo{len(entries)}-{at}-{act}")
            if wrong.corrects is None and not any(one.corrects == wrong.key for one in entries):
                entries += [] if shortages([*entries, back]) else [back]
    assert check([replace(one, recorded_at=hour(40)) for one in entries]) == []
    for moment in range(0, 31, 5):
        held = balances(entries, hour(moment))
        assert sum(held.values()) == 0
        assert all(count >= 0 for (_, place), count in held.items() if place not in SOURCES)
    firsts = [one for one in entries if one.corrects is None]
    backs = [one for one in entries if one.corrects is not None]
    chance.shuffle(firsts)  # type: ignore[attr-defined]
    assert balances([*firsts, *backs]) == balances(entries)
    raw: Counter[str] = Counter()
    for one in entries:
        raw[one.source] -= one.count
        raw[one.target] += one.count
    assert {place: count for place, count in raw.items() if count} == {
        place: count for (_, place), count in balances(entries).items()
    }
