"""Work with a price on its lateness: said beforehand, to the hour, where the crew looks; and what explains deaths."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from click.testing import CliRunner

from intake.app import system_clock
from intake.app.commands.count_animals import Count, count
from intake.app.commands.hold_batch import hold, hold_many
from intake.app.commands.record_observation import done
from intake.app.commands.schedule_work import reschedule
from intake.app.queries.biosecurity.release_status import release_rows
from intake.app.queries.overview.due_work import due_work
from intake.app.queries.planning.deadlines import deadlines
from intake.app.queries.planning.timetable_warnings import timetable_warnings
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput, Refused, UnknownName
from tests.app.deliveries import LANDED, Open, received
from tests.app.test_one_truth import LINES, brush

DAY = timedelta(days=1)
SIXTH = "S1-01/clam-brushing/Q1/6"


def five_done(at: Open) -> House:
    """Forty clams in Q1 with five of six brushings done on time, the sixth due in four days."""
    received(at, LINES)
    brush(at, until=5)
    house = at(LANDED + timedelta(days=31))
    reschedule(house, seconds=0.3)
    return house


def test_the_price_of_lateness_stands_where_the_crew_looks(house_at: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fifth done on 1 April 17:00 farm time: the sixth counts until 10 April 05:00, else 40 clams wait until 15 May."""
    house = five_done(house_at)
    words = deadlines(house)[SIXTH].words
    assert words == "By Sat 10 Apr 05:00, else 40 animals wait until Sat 15 May (30 d longer)"
    listed = {one.uid: one.if_late for day in due_work(house) for one in day.work}
    assert listed[SIXTH] == words
    assert [uid for uid, price in listed.items() if price] == [SIXTH]
    monkeypatch.setattr(system_clock, "now", lambda: house.now)
    told = json.loads(CliRunner().invoke(vatside, ["--farm", str(house.folder), "timetable", "--json"]).output)
    rows = {task["uid"]: (task["deadline"], task["if_late"]) for task in told["tasks"]}
    assert rows[SIXTH] == ("2027-04-10T05:00:00+01:00", words)


def test_a_repeat_that_cannot_be_in_time_is_told_by_the_act_that_made_it_so(
    house_at: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever brushes is away until the deadline has passed: every door says when, what it costs and what would help."""
    house = five_done(house_at)
    file = house.folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    heads = [line for line in text.splitlines() if line.startswith("[person.")]
    for head in heads:
        text = text.replace(head, f"{head}\nleave = [{{ first = 2027-04-05, last = 2027-04-10 }}]", 1)
    file.write_text(text, encoding="utf-8")
    monkeypatch.setattr(system_clock, "now", lambda: house.now + timedelta(minutes=1))
    away = house_at(house.now + timedelta(minutes=1))
    count(away, "S1-01", "Q1", Count(dead=1))
    (told,) = [words for words in timetable_warnings(away) if "Too late to count" in words]
    assert "By Sat 10 Apr 05:00, else 40 animals wait until Sat 15 May (30 d longer)" in told
    assert "To be in time: no one hour more is enough" in told
    check = json.loads(CliRunner().invoke(vatside, ["--farm", str(house.folder), "check", "--json"]).output)
    assert told in check["timetable"]
    shown = CliRunner().invoke(vatside, ["--farm", str(house.folder), "timetable", "--days", "14"]).output
    assert "Too late to count" in " ".join(shown.split())
    assert "Too late to count" in CliRunner().invoke(vatside, ["--farm", str(house.folder)]).output


@pytest.mark.parametrize(("hours", "earliest"), [(-1, "2027-04-15"), (1, "2027-05-15")])
def test_release_keeps_to_the_price_that_was_named(house_at: Open, hours: int, earliest: str) -> None:
    """An hour before the deadline the 42 days stand; an hour after it the date is the one named, with its arithmetic."""
    house = five_done(house_at)
    deadline = deadlines(house)[SIXTH].deadline
    late = house_at(deadline + timedelta(hours=hours))
    done(late, SIXTH)
    row = release_rows(house_at(late.now + timedelta(minutes=5)))[0]
    assert row["earliest"] == earliest
    assert any("so the series began again" in why for why in row["why"]) is (hours > 0)
    assert deadlines(house_at(late.now + timedelta(minutes=5))) == {} or hours > 0


def died(at: Open) -> House:
    """Two lots, each with a burst of deaths in its third week."""
    received(at, (("clam_small", "Q1", 40), ("clam_small", "Q2", 40)))
    house = at(LANDED + 18 * DAY)
    for lot, vat in (("S1-01", "Q1"), ("S1-02", "Q2")):
        count(house, lot, vat, Count(dead=6))
    return at(LANDED + 19 * DAY)


def without_a_day(house: House) -> set[str]:
    """Lots for which no day can be named."""
    return {str(row["batch"]) for row in release_rows(house) if row["earliest"] is None}


def test_many_lots_are_held_tested_and_lifted_in_one_act(house_at: Open) -> None:
    """Both died alike: one act explains both, and each lot keeps its hold, its test and its lifting."""
    house = died(house_at)
    assert without_a_day(house) == {"S1-01", "S1-02"}
    told = hold_many(house, ["S1-01", "S1-02"], "heater failed", lift=True, test="histology of 10: negative", key="k")
    assert told.said == ("S1-01: tested", "S1-02: tested")
    later = house_at(LANDED + 19 * DAY + timedelta(hours=1))
    assert without_a_day(later) == set()
    for lot in ("S1-01", "S1-02"):
        kept = [(one.kind, one.payload["test"]) for kind in ("hold", "lift") for one in later.standing(kind, lot)]
        assert kept == [("hold", "histology of 10: negative"), ("lift", "histology of 10: negative")]
    assert "before" in hold_many(later, ["S1-01", "S1-02"], "heater failed", lift=True, test="x", key="k").said[0]
    count(later, "S1-02", "Q2", Count(dead=6))
    assert without_a_day(house_at(LANDED + 20 * DAY)) == {"S1-01", "S1-02"}


def test_holding_many_is_all_or_nothing(house_at: Open) -> None:
    """An unknown lot, no reason, or a hold that is not there: nothing is saved."""
    house = died(house_at)
    entries = len(house.entries())
    with pytest.raises(UnknownName):
        hold_many(house, ["S1-01", "S9-99"], "snails")
    with pytest.raises(BadInput):
        hold_many(house, ["S1-01"], "  ")
    with pytest.raises(BadInput):
        hold_many(house, [], "snails")
    with pytest.raises(Refused, match="S1-02"):
        hold_many(house, ["S1-02"], "all clear", lift=True)
    assert len(house_at(LANDED + 19 * DAY).entries()) == entries


def test_the_command_holds_a_whole_vat(house_at: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    """``--vat`` names everybody who stands there; lifting needs no list either."""
    house = received(house_at)
    monkeypatch.setattr(system_clock, "now", lambda: LANDED + 5 * DAY)
    start = ["--farm", str(house.folder), "hold"]
    told = CliRunner().invoke(vatside, [*start, "--vat", "Q1", "--reason", "flatworms"])
    assert (told.exit_code, "S1-01: held" in told.output, "S1-02: held" in told.output) == (0, True, True)
    held = house_at(LANDED + 5 * DAY)
    assert without_a_day(held) == {"S1-01", "S1-02", "S1-03"}
    hold(held, "S1-03", "met S1-02")
    monkeypatch.setattr(system_clock, "now", lambda: LANDED + 6 * DAY)
    lift = [*start, "S1-03", "--vat", "Q1", "--lift", "--reason", "washed", "--test", "inspected: clean"]
    assert CliRunner().invoke(vatside, lift).exit_code == 0
    assert without_a_day(house_at(LANDED + 6 * DAY)) == set()
