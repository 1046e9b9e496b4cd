"""Counts that wait for one another are written together: each as if it were alone, the timetable and calendars once."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from starlette.applications import Starlette

from intake.app import act_recording
from intake.app.calendars import follow_acts
from intake.app.commands.count_animals import Count
from intake.app.commands.phones.sync_phone import KeyClash, Sent, count_once
from intake.app.commands.records.undo_act import undo
from intake.app.farm_folder import check_house
from intake.app.queries.overview.journal import journal
from intake.board.open_farm import OpenFarm
from intake.errors import Finding, IntakeError, Refused, StoreTrouble, UnknownName
from intake.store import Books
from tests.board.conftest import Clock

PERSONS = ("ada", "ben", "cleo")


def house(app: Starlette) -> Any:
    """The farm as it is now."""
    return app.state.farm.house()


def key(name: str) -> str:
    """A key as a phone makes it."""
    return f"a-key-of-this-test-{name}"


def counting(dead: int, name: str, batch: str = "S1-01") -> Callable[[Any], Any]:
    """A count as a phone sends it."""
    return lambda inside: count_once(inside, batch, "Q1", Count(dead=dead), Sent(key(name)))


def crowd(farm: OpenFarm, acts: list[Callable[[Any], Any]]) -> list[Any]:
    """What each act came to, all of them waiting while someone else writes."""
    told: list[Any] = [None] * len(acts)

    def send(place: int) -> None:
        try:
            told[place] = farm.group.do(PERSONS[place % 3], acts[place])
        except (IntakeError, act_recording.OnlyAsked) as fault:
            told[place] = fault

    threads = [threading.Thread(target=send, args=(place,), daemon=True) for place in range(len(acts))]
    with farm.lock:
        for place, thread in enumerate(threads):
            thread.start()
            until = time.monotonic() + 20
            while len(farm.group._waiting) <= place and time.monotonic() < until:
                time.sleep(0.002)
    for thread in threads:
        thread.join(20)
    return told


@pytest.fixture
def transactions(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """A word for each transaction begun, and for each time the timetable and calendars followed."""
    seen: list[str] = []
    write, follow = Books.write, follow_acts.follow

    def counted(self: Books) -> Any:
        seen.append("transaction")
        return write(self)

    def followed(act: Any) -> None:
        seen.append("followed")
        follow(act)

    monkeypatch.setattr(Books, "write", counted)
    monkeypatch.setattr(follow_acts, "follow", followed)
    return seen


def test_a_crowd_of_counts_is_one_transaction(app: Starlette, clock: Clock, transactions: list[str]) -> None:
    """Six phones: six counts in the books under six people's names and keys, one transaction, followed once."""
    farm = app.state.farm
    before = house(app).floor().headcount("S1-01")
    told = crowd(farm, [counting(number + 1, f"of-{number}") for number in range(6)])
    assert [one.duplicate for one in told] == [False] * 6
    assert transactions == ["transaction", "followed"]
    after = house(app)
    assert after.floor().headcount("S1-01") == before - 21
    assert check_house(after) == []
    acts = {act.key: act for act in journal(after, clock() - timedelta(days=1))}
    assert [acts[key(f"of-{number}")].who for number in range(6)] == [PERSONS[number % 3] for number in range(6)]
    assert undo(after, key("of-3"), whole=True).said
    assert house(app).floor().headcount("S1-01") == before - 21 + 4


def test_the_same_count_twice_in_one_crowd_counts_once(app: Starlette) -> None:
    """A phone that sends again while its first is waiting is told so."""
    before = house(app).floor().headcount("S1-01")
    one = counting(2, "once")
    told = crowd(app.state.farm, [one, counting(1, "other"), counting(1, "third"), one])
    assert [each.duplicate for each in told] == [False, False, False, True]
    assert house(app).floor().headcount("S1-01") == before - 4


def test_a_refused_count_harms_no_other(app: Starlette, transactions: list[str]) -> None:
    """More dead than alive, a batch no one knows, a key used for another count: each is refused alone, the others count."""
    before = house(app).floor().headcount("S1-01")
    acts = [
        counting(1, "first"),
        counting(99_999, "too-many"),
        counting(1, "nobody", batch="S9-99"),
        counting(2, "second"),
        counting(3, "first"),
    ]
    told = crowd(app.state.farm, acts)
    kinds = [type(one) for one in told]
    assert kinds[1] is Refused
    assert kinds[2] is UnknownName
    assert KeyClash in (kinds[0], kinds[4])
    assert [told[0].duplicate, told[3].duplicate] == [False, False]
    after = house(app)
    assert after.floor().headcount("S1-01") == before - 3
    assert check_house(after) == []
    assert transactions.count("followed") == 2, "nothing of the group that was undone was followed"


def test_what_is_only_asked_about_is_not_saved_with_the_others(app: Starlette) -> None:
    """Each act is done as it was sent: a form that only asks the rules writes nothing, whoever does the work."""
    entries = house(app).view.count()
    asked = counting(5, "asked")

    def only(inside: Any) -> Any:
        with act_recording.only_asked():
            return asked(inside)

    told = crowd(app.state.farm, [only, counting(1, "real")])
    assert isinstance(told[0], act_recording.OnlyAsked)
    assert told[1].duplicate is False
    after = house(app)
    assert after.view.count() > entries
    assert not after.act_of(key("asked"))


def test_a_lone_count_goes_its_own_way(app: Starlette, transactions: list[str]) -> None:
    """No one else waits: one transaction, and a fault reaches who sent it."""
    assert not app.state.farm.group.do("ben", counting(1, "lone")).duplicate
    assert transactions == ["transaction", "followed"]
    with pytest.raises(Refused):
        app.state.farm.group.do("ben", counting(99_999, "many"))


def test_a_ledger_that_cannot_be_read_keeps_no_one_waiting(app: Starlette, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each of the crowd is told; the next count, when the disk is back, goes its way."""
    farm = app.state.farm

    def broken(_who: str) -> Any:
        raise StoreTrouble(Finding("books", "disk gone", "a ledger that can be read"))

    with monkeypatch.context() as disk:
        disk.setattr(farm.group, "_house", broken)
        told = crowd(farm, [counting(1, f"lost-{number}") for number in range(3)])
    assert [type(one) for one in told] == [StoreTrouble] * 3
    assert not farm.group.do("ben", counting(1, "later")).duplicate


def test_the_journal_lists_the_counts_of_a_crowd_and_nothing_else(app: Starlette, clock: Clock) -> None:
    """What follows them is no act of anybody's, and the last act to undo is a count."""
    before = {act.key for act in journal(house(app), clock() - timedelta(days=1))}
    crowd(app.state.farm, [counting(1, f"in-turn-{number}") for number in range(4)])
    came = [act for act in journal(house(app), clock() - timedelta(days=1)) if act.key not in before]
    assert {act.key for act in came} == {key(f"in-turn-{number}") for number in range(4)}
    assert all("1: Q1 → dead" in act.words[0] for act in came)
