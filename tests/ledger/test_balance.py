"""Balances at any moment, corrections, and the present folded out of the entries."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.farm.floor import Batch
from intake.ledger import (
    Entry,
    Movement,
    balances,
    batch_from,
    batch_payload,
    check,
    counter,
    fold,
    netted,
    shortages,
    standing,
)
from intake.ledger.balance import readings
from tests.ledger.books import START, Scribe, hour

BATCH = Batch(
    id="S1-07",
    name="Tridacna squamosa",
    group="clam_small",
    size_mm=45.0,
    announced=60,
    shipment="S1",
    line=7,
    supplier="northern reef",
    boxes=("3", "4"),
    unit_price=Decimal("4.50"),
    currency="EUR",
    packed_at=datetime.fromisoformat("2026-01-04T06:30:00+11:00"),
    written_as="T. squamosa 4-5cm",
)


def test_what_stood_where_last_monday_is_a_query() -> None:
    """A balance asked for a moment ignores what happened after it."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-07", "supplier > dock", 60),
        scribe.move("S1-07", "dock > vat:Q1", 57, 1),
        scribe.move("S1-07", "dock > doa", 3, 1),
        scribe.move("S1-07", "vat:Q1 > vat:G2", 20, 200),
    ]
    assert balances(entries, hour(0.5)) == {("S1-07", "supplier"): -60, ("S1-07", "dock"): 60}
    assert balances(entries, hour(1))[("S1-07", "vat:Q1")] == 57
    assert balances(entries)[("S1-07", "vat:Q1")] == 37


def test_a_correction_counts_from_the_moment_of_what_it_corrects() -> None:
    """Three were counted dead on Monday; on Friday it is known that two were: Monday's balance then says two."""
    scribe = Scribe()
    wrong = scribe.move("S1-07", "vat:Q1 > dead", 3, 10)
    entries: list[Entry] = [
        scribe.move("S1-07", "supplier > vat:Q1", 60),
        wrong,
        counter(wrong, at=hour(100), who="Ada", key="c"),
        scribe.move("S1-07", "vat:Q1 > dead", 2, 10, recorded=100),
    ]
    assert balances(entries, hour(20))[("S1-07", "dead")] == 2
    assert [loss.count for loss in fold(entries, hour(20)).losses] == [2]
    as_said_then = [entry for entry in entries if entry.recorded_at <= hour(50)]
    assert balances(as_said_then, hour(20))[("S1-07", "dead")] == 3


def test_a_correction_of_a_correction_brings_the_first_entry_back() -> None:
    """Taking back the taking back leaves what stood first; a partial one leaves the difference."""
    scribe = Scribe()
    first = scribe.move("S1-07", "supplier > vat:Q1", 10)
    undo = counter(first, 4, at=hour(1), who="Ada", key="undo")
    again = counter(undo, 1, at=hour(2), who="Ada", key="again")
    assert balances([first, undo, again])[("S1-07", "vat:Q1")] == 7
    assert [movement.count for movement in netted([first, undo, again])] == [7]
    assert check([first, undo, again]) == []


PLACES = ("dock", "vat:A", "vat:B", "vat:C", "dead", "sold")


@st.composite
def histories(draw: st.DrawFn) -> list[Movement]:
    """Lawful histories of two batches: arrivals, moves of what is there, corrections of what can be corrected."""
    scribe = Scribe()
    entries: list[Movement] = []
    for step in range(draw(st.integers(1, 14))):
        batch = draw(st.sampled_from(("S1-01", "H1")))
        held = {place: n for (b, place), n in balances(entries).items() if b == batch and n > 0}
        act = draw(st.sampled_from(("arrive", "move", "correct")))
        if act == "arrive" or not held:
            way = draw(st.sampled_from(("supplier > dock", "opening > vat:A", "cut-from > vat:B")))
            new = [scribe.move(batch, way, draw(st.integers(1, 40)), step)]
        elif act == "move":
            source = draw(st.sampled_from(sorted(held)))
            target = draw(st.sampled_from([place for place in PLACES if place != source]))
            new = [scribe.move(batch, f"{source} > {target}", draw(st.integers(1, held[source])), step)]
        else:
            wrong = draw(st.sampled_from([m for m in entries if m.corrects is None]))
            taken = draw(st.integers(1, wrong.count))
            new = [counter(wrong, taken, at=hour(step), who="Ada", key=f"c{step}")]
        trial = [*entries, *new]
        if not check(trial):
            entries = trial
    return entries


@given(histories())
@settings(max_examples=60, deadline=None)
def test_animals_are_conserved_at_every_moment_of_every_history(entries: list[Movement]) -> None:
    """Sums are zero for each batch, no place but a source is below zero, and netting changes no final balance."""
    assert check(entries) == []
    raw: dict[tuple[str, str], int] = {}
    for m in entries:
        raw[m.batch, m.source] = raw.get((m.batch, m.source), 0) - m.count
        raw[m.batch, m.target] = raw.get((m.batch, m.target), 0) + m.count
    assert balances(entries) == {spot: n for spot, n in raw.items() if n}
    for at in {m.happened_at for m in entries}:
        held = balances(entries, at)
        for batch in {b for b, _ in held}:
            assert sum(n for (b, _), n in held.items() if b == batch) == 0
        assert all(n > 0 for (_, place), n in held.items() if place not in ("supplier", "cut-from", "opening"))
        floor = fold(entries, at)
        in_vats = {(b, p): n for (b, p), n in held.items() if p.startswith("vat:")}
        assert {(s.batch, f"vat:{s.vat}"): s.count for s in floor.stays} == in_vats


@given(histories(), st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_the_order_of_recording_other_batches_does_not_matter(entries: list[Movement], chance: object) -> None:
    """Interleaving two batches in any way (each in its own order) leaves all balances as they were."""
    queues = {b: [m for m in entries if m.batch == b] for b in ("S1-01", "H1")}
    mixed: list[Movement] = []
    while any(queues.values()):
        mixed.append(queues[chance.choice([b for b, q in queues.items() if q])].pop(0))  # type: ignore[attr-defined]
    assert balances(mixed) == balances(entries)
    assert shortages(mixed) == ()


def test_a_batch_survives_the_books_unchanged() -> None:
    """Prices stay exact decimals and packing time keeps its moment."""
    import json

    assert batch_from(json.loads(json.dumps(batch_payload(BATCH)))) == BATCH


def test_a_damaged_batch_record_is_named() -> None:
    """A record that lost a field gives a finding with the batch id, never a traceback."""
    payload = batch_payload(BATCH)
    del payload["group"]
    with pytest.raises(BadInput, match="S1-07"):
        batch_from(payload)


def test_the_present_is_folded_from_all_kinds_of_records() -> None:
    """Receipt, work done, findings, readings, holds and cleaning all reach the floor that the next plan reads."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.note("batch", "S1-07", **batch_payload(BATCH)),  # type: ignore[arg-type]
        scribe.note("received", "S1", 1),
        scribe.move("S1-07", "supplier > vat:Q1", 60, 2),
        scribe.note("done", "task-9", 30, batch="S1-07", kind="dip:CO-FW"),
        scribe.note("finding", "S1-07", 31, vat="Q1", what="", note="all open"),
        scribe.note("finding", "vat:Q1", 32, what="flatworm eggs"),
        scribe.note("reading", "vat:Q1", 33, quantity="ph", value=8, scale="nbs"),
        scribe.note("hold", "S1-07", 40, reason="unexplained deaths"),
        scribe.note("hold", "S1-07", 41, reason="papers", key="papers"),
        scribe.note("lift", "S1-07", 50, hold="papers", reason="papers came"),
        scribe.note("cleaned", "Q9", 3),
        scribe.note("cleaned", "vat:Q9", 60),
    ]
    floor = fold(entries, hour(100))
    assert floor.batches == {"S1-07": BATCH}
    assert floor.received == {"S1": hour(1)}
    assert [(d.task, d.batch, d.kind, d.who) for d in floor.done] == [("task-9", "S1-07", "dip:CO-FW", "Ada")]
    assert [(f.batch, f.vat, f.what) for f in floor.found] == [("S1-07", "Q1", ""), ("", "Q1", "flatworm eggs")]
    assert [(r.place, r.quantity, r.value, r.scale) for r in floor.readings] == [("vat:Q1", "ph", 8.0, "nbs")]
    assert [(h.reason, h.lifted) for h in floor.holds] == [("unexplained deaths", ""), ("papers", "papers came")]
    assert floor.cleaned == {"Q9": hour(60)}
    early = fold(entries, hour(40))
    assert (len(early.holds), early.holds[0].lifted, early.cleaned) == (1, "", {"Q9": hour(3)})


def test_a_stage_travels_with_the_animals_and_starts_by_where_they_came_from() -> None:
    """Imports begin in quarantine, cuttings heal, the first stocktake grows out; a move takes the stage along."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-07", "supplier > dock", 60),
        scribe.move("S1-07", "dock > vat:Q1", 60, 1),
        scribe.move("C4", "cut-from > vat:F1", 12),
        scribe.move("H3", "opening > vat:G1", 30),
        scribe.note("stage", "S1-07", 700, vat="Q1", stage="grow-out"),
        scribe.move("S1-07", "vat:Q1 > vat:G2", 20, 710),
        scribe.note("stage", "S1-07", 720, vat="vat:G2", stage="released"),
        scribe.note("stage", "C4", 100, stage="grow-out"),
    ]
    before = {(s.batch, s.vat): s.stage for s in fold(entries, hour(2)).stays}
    assert before == {("S1-07", "Q1"): "quarantine", ("C4", "F1"): "healing", ("H3", "G1"): "grow-out"}
    moved = {(s.batch, s.vat): (s.stage, s.count) for s in fold(entries, hour(711)).stays}
    assert moved[("S1-07", "G2")] == ("grow-out", 20)
    after = {(s.batch, s.vat): s.stage for s in fold(entries, hour(800)).stays}
    assert after[("S1-07", "G2")] == "released"
    assert after[("S1-07", "Q1")] == "grow-out"
    assert after[("C4", "F1")] == "grow-out"


def test_a_stay_begins_anew_after_the_vat_was_empty_of_the_batch() -> None:
    """Days in a vat count from the last time the batch came in, not from a stay that ended."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-07", "supplier > vat:Q1", 5),
        scribe.move("S1-07", "vat:Q1 > vat:Q2", 5, 24),
        scribe.move("S1-07", "vat:Q2 > vat:Q1", 5, 48),
        scribe.move("S1-07", "supplier > vat:Q1", 5, 72),
    ]
    (stay,) = fold(entries, hour(100)).stays
    assert (stay.since, stay.count) == (hour(48), 10)


def test_a_record_may_be_replaced_and_withdrawn() -> None:
    """The last word stands; a withdrawn finding no longer restarts anyone's quarantine."""
    scribe = Scribe()
    first = scribe.note("finding", "S1-07", 1, what="flatworm eggs", key="f")
    second = scribe.note("finding", "S1-07", 1, what="", key="g", corrects="f")
    gone = scribe.note("finding", "S1-07", 1, key="h", corrects="g", withdrawn=True)
    assert standing([first, second]) == (second,)
    assert standing([first, second, gone]) == ()


def test_found_alive_after_all_shows_as_a_negative_loss() -> None:
    """A closed clam thrown among the dead that opens again goes back to its vat without any correction."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-07", "supplier > vat:Q1", 5),
        scribe.move("S1-07", "vat:Q1 > dead", 2, 1),
        scribe.move("S1-07", "dead > vat:Q1", 1, 2),
    ]
    assert [loss.count for loss in fold(entries, hour(3)).losses] == [2, -1]
    assert check(entries) == []


def test_fold_does_not_depend_on_the_time_zone_entries_were_written_in() -> None:
    """Two clocks in two zones that show the same moment are the same moment."""
    scribe = Scribe()
    entry = scribe.move("S1-07", "supplier > vat:Q1", 5, 3)
    from datetime import timezone

    elsewhere = replace(entry, happened_at=entry.happened_at.astimezone(timezone(timedelta(hours=11))))
    assert fold([entry], hour(3)).stays == fold([elsewhere], hour(3)).stays
    assert START.tzinfo is not None


def test_at_one_moment_animals_arrive_before_they_enter_their_stage() -> None:
    """Opened, placed and put to grow-out in one act of one minute, whichever was written first."""
    scribe = Scribe()
    stage = scribe.note("stage", "S1-07", 5, vat="G1", stage="grow-out")
    placed = scribe.move("S1-07", "supplier > vat:G1", 5, 5)
    orders: list[list[Entry]] = [[stage, placed], [placed, stage]]
    for entries in orders:
        assert [stay.stage for stay in fold(entries, hour(5)).stays] == ["grow-out"]


def test_a_day_of_a_logger_counts_as_its_marks() -> None:
    """Lowest, highest and last of the day are readings of their own moments; one value alone is one reading."""
    scribe = Scribe()
    marks = [[hour(3).isoformat(), 25.1], [hour(15).isoformat(), 27.9], [hour(23).isoformat(), 26.0]]
    day = scribe.note("reading", "system:qa", 23, quantity="temperature_c", marks=marks)
    single = scribe.note("reading", "system:qa", 10, quantity="temperature_c", value=26.5)
    found = readings([day, single])
    assert [(one.at, one.value) for one in found] == [
        (hour(3), 25.1),
        (hour(10), 26.5),
        (hour(15), 27.9),
        (hour(23), 26.0),
    ]
    assert {one.place for one in found} == {"system:qa"}
