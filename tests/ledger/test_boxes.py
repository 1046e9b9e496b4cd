"""Losses by box: they follow their movement through every correction and never exceed it."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from intake.farm.floor import Batch
from intake.ledger import Entry, balances, box_losses, check, counter, in_boxes
from tests.ledger.books import Scribe, hour

BATCH = Batch("S1-01", "Tridacna maxima", "clam_small", 40.0, 90, "S1", 1, "one", ("7", "8", "9"))


def test_a_box_keeps_what_is_left_of_its_movement() -> None:
    """Twelve dead reported of box 7, five of them taken back: seven; the rest taken back: nothing."""
    scribe = Scribe()
    lost = scribe.move("S1-01", "dock > doa", 12, 1, key="k")
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > dock", 90),
        lost,
        scribe.note("box", "S1-01", 1, box="7", movement="k", count=12),
    ]
    assert [(one.box, one.head, one.count) for one in box_losses(entries)] == [("7", "doa", 12)]
    entries.append(counter(lost, 5, at=hour(2), who="Ben", key="a"))
    assert [one.count for one in box_losses(entries)] == [7]
    entries.append(counter(lost, 7, at=hour(2), who="Ben", key="b"))
    assert box_losses(entries) == ()
    assert check(entries) == []


def test_a_box_told_wrongly_is_told_again() -> None:
    """The record is replaced and stays in the books; before the count nothing was lost."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > dock", 90),
        scribe.move("S1-01", "dock > doa", 4, 1, key="k"),
        scribe.note("box", "S1-01", 1, key="b", box="7", movement="k", count=4),
        scribe.note("box", "S1-01", 1, corrects="b", box="8", movement="k", count=4),
    ]
    assert [one.box for one in box_losses(entries)] == ["8"]
    assert box_losses(entries, hour(0)) == ()


def test_boxes_share_evenly_what_nobody_counted() -> None:
    """Box 7 was counted, 8 and 9 share the rest; a box never held fewer than it lost."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > dock", 90),
        scribe.note("box", "S1-01", 0, box="7", held=50),
    ]
    assert in_boxes(entries, BATCH, 90) == ({"7": 50, "8": 20, "9": 20}, frozenset({"7"}))
    entries += [
        scribe.move("S1-01", "dock > doa", 33, 1, key="k"),
        scribe.note("box", "S1-01", 1, box="9", movement="k", count=33),
    ]
    assert in_boxes(entries, BATCH, 90)[0] == {"7": 50, "8": 7, "9": 33}


def test_a_box_record_without_a_number_says_nothing_of_a_count() -> None:
    """Written by an older or a strange program: text, or yes and no, is no number of animals."""
    scribe = Scribe()
    lost = [scribe.move("S1-01", "supplier > dock", 90), scribe.move("S1-01", "dock > doa", 4, 1, key="k")]
    for count in ("4", True, None):
        assert box_losses([*lost, scribe.note("box", "S1-01", 1, box="7", movement="k", count=count)]) == ()


TOLD = st.lists(
    st.tuples(st.sampled_from("789"), st.integers(1, 15), st.integers(0, 20), st.booleans(), st.booleans()), max_size=12
)


@given(TOLD, st.integers(0, 90))
@settings(max_examples=60, deadline=None)
def test_boxes_never_lose_more_than_the_books(told: list[tuple[str, int, int, bool, bool]], came: int) -> None:
    """Whatever is recorded of boxes and taken back, boxes together lose at most what the batch lost, and records move nobody.

    Some losses have no box, some boxes claim more than their movement; both happen when people write at once.
    """
    scribe = Scribe()
    entries: list[Entry] = [scribe.move("S1-01", "supplier > dock", 500)]
    moved: list[Entry] = entries[:]
    for number, (box, count, more, named, undone) in enumerate(told):
        lost = scribe.move("S1-01", "dock > doa", count, number + 1, key=f"k{number}")
        entries.append(lost)
        moved.append(lost)
        if named:
            entries.append(scribe.note("box", "S1-01", number + 1, box=box, movement=lost.key, count=count + more))
        if undone:
            back = counter(lost, 1 + more % count, at=hour(30), who="Ben", key=f"u{number}")
            entries.append(back)
            moved.append(back)
    lost_in_books = balances(entries).get(("S1-01", "doa"), 0)
    assert sum(one.count for one in box_losses(entries)) <= lost_in_books
    assert balances(entries) == balances(moved)
    held, counted = in_boxes(entries, BATCH, came)
    assert set(held) == {"7", "8", "9"}
    assert counted == frozenset()
    assert sum(held.values()) == max(came, sum(held.values()))
    by_box = {box: sum(one.count for one in box_losses(entries) if one.box == box) for box in held}
    assert all(held[box] >= by_box[box] for box in held)
    if sum(by_box.values()) <= came:
        assert sum(held.values()) == came
