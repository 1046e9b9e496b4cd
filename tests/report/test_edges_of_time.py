"""Losses and claims to the last second: the seventh day, the window's end, a claim sent twice, dead found late."""

from __future__ import annotations

import pytest

from intake.ledger import Entry
from intake.report import assess, by_day, facts_of, summary
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import TERMS, arrival

SECOND = 1 / 3600
WEEK = 24 * 7
BATCH = "S1-01"


def test_dead_on_arrival_found_late_are_losses_of_the_day_they_were_found() -> None:
    """Two counted dead at opening and two more of the same bag when the tub is emptied a day later: day 1 shows the second."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move(BATCH, "supplier > vat:Q1", 50),
        scribe.move(BATCH, "vat:Q1 > doa", 2, 1),
        scribe.move(BATCH, "vat:Q1 > doa", 2, 25),
        scribe.move(BATCH, "vat:Q1 > dead", 1, 26),
    ]
    days = by_day(entries, BATCH, hour(60))
    assert [(one.day, one.doa, one.dead) for one in days] == [(0, 2, 0), (1, 2, 1), (2, 0, 0)]
    # those that came dead were never at risk of dying here, on the day they came and on the day they were found
    assert [one.at_risk for one in days] == [48, 46, 45]
    assert sum(one.doa for one in days) == 4


@pytest.mark.parametrize(("at", "early", "later"), [(WEEK - SECOND, 1, 0), (WEEK, 1, 0), (WEEK + SECOND, 0, 1)])
def test_a_death_at_the_end_of_the_seventh_day_belongs_to_the_journey(at: float, early: int, later: int) -> None:
    """Seven times 24 h from arrival, that instant included."""
    scribe = Scribe()
    entries: list[Entry] = [scribe.move(BATCH, "supplier > vat:Q1", 50), scribe.move(BATCH, "vat:Q1 > dead", 1, at)]
    found = summary(entries, BATCH, hour(WEEK + 24))
    assert found is not None
    assert (found.dead_first_week, found.dead_later) == (early, later)


@pytest.mark.parametrize(("now", "complete"), [(WEEK - SECOND, False), (WEEK, True), (WEEK + SECOND, True)])
def test_the_first_week_is_complete_at_its_end_and_not_before(now: float, complete: bool) -> None:
    """A rate reported on the sixth day must say that it is not the week's."""
    found = summary([Scribe().move(BATCH, "supplier > vat:Q1", 50)], BATCH, hour(now))
    assert found is not None
    assert found.first_week_complete == complete


@pytest.mark.parametrize(("now", "frozen"), [(24 - SECOND, False), (24, False), (24 + SECOND, True)])
def test_a_claim_is_open_until_its_window_has_ended(now: float, frozen: bool) -> None:
    """The last instant of the window is still in it."""
    entries = arrival(Scribe())
    claim = assess(facts_of(entries, "S1"), TERMS, entries, hour(now))
    assert claim.frozen == frozen
    assert any(note.startswith("Not sent by") for note in claim.notes) == frozen


@pytest.mark.parametrize(("sent", "late"), [(24 - SECOND, False), (24, False), (24 + SECOND, True)])
def test_a_claim_sent_in_its_last_instant_was_sent_in_time(sent: float, late: bool) -> None:
    """At the end of the window it is in time; a second later the note says so."""
    scribe = Scribe()
    entries = [*arrival(scribe), scribe.note("claim", "S1", sent, state="sent")]
    claim = assess(facts_of(entries, "S1"), TERMS, entries, hour(30))
    assert any("First sent" in note for note in claim.notes) == late


def test_a_claim_sent_in_time_and_again_later_was_sent_in_time() -> None:
    """Sent on the first evening, and once more after the window because nobody answered: the first is what counts."""
    scribe = Scribe()
    twice = [scribe.note("claim", "S1", 10, state="sent"), scribe.note("claim", "S1", 40, state="sent")]
    entries = [*arrival(scribe), *twice]
    claim = assess(facts_of(entries, "S1"), TERMS, entries, hour(50))
    assert claim.state == "sent"
    assert claim.state_at == hour(40)
    assert not [note for note in claim.notes if "sent" in note.casefold()]


def test_deaths_after_arrival_count_to_the_end_of_their_days() -> None:
    """Three days for deaths after arrival: one in the last instant is claimed, one a second later is not."""
    for at, claimed in ((72.0, 1), (72 + SECOND, 0)):
        scribe = Scribe()
        before = arrival(scribe)
        entries = [*before, scribe.move(BATCH, "vat:Q1 > dead", 1, at)]
        first = assess(facts_of(before, "S1"), TERMS, before, hour(20)).lines[0].claimable
        then = assess(facts_of(entries, "S1"), TERMS, entries, hour(80)).lines[0].claimable
        assert then - first == claimed
