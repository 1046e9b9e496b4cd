"""What stands in a calendar made from a real timetable: a keeper can work from each event, each subscriber rings its own way."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from datetime import timedelta
from pathlib import Path

import click
import pytest
from ical.calendar_stream import IcsCalendarStream
from icalendar import vDuration

from intake.app.calendars import feed_addresses, feed_publication
from intake.app.commands import move_animals, schedule_work
from intake.app.queries.planning.published_timetable import shown_tasks
from intake.app.session import House, open_house
from intake.cli.command_table import vatside
from intake.errors import BadInput, UnknownName
from tests.app.deliveries import LANDED, Open, received
from tests.cli.conftest import Run, run
from tests.feed import lint, readers

__all__ = ["run"]

PAGE = "http://farm.invalid:8642"
FILLED = {"NUMBER": "1", "BATCH": "S1-01", "VAT": "Q1", "WHAT": "clean"}


@pytest.fixture
def house(farm_folder: Path, house_at: Open) -> House:
    """The farm with an address for its board, its shipment received, its work scheduled and published."""
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace("[farm]\n", f'[farm]\ncount_page = "{PAGE}/c"\n', 1)
    file.write_text(text, encoding="utf-8")
    received(house_at)
    opened = house_at(LANDED + timedelta(hours=2))
    schedule_work.reschedule(opened, seconds=0.5)
    feed_publication.publish(opened)
    return opened


def lines_of(body: bytes) -> dict[str, list[str]]:
    """Task → the lines of its description, as a strict reader gives them."""
    return {uid.split("@")[0]: event["description"].split("\n") for uid, event in readers.read_ical(body).items()}


def test_the_first_lines_say_what_to_do_and_the_reason_comes_last(house: House) -> None:
    """A phone shows a few lines: the work, the vat, the lot; how to record it comes before why."""
    told = lines_of(feed_publication.bytes_for(house))
    dip = [line for line in told["S1-02/coral-iodine-dip/Q1/1"] if not line.startswith("Moved from")]
    assert dip[0].startswith("Iodine dip for corals")
    heads = [line.split(":")[0] for line in dip]
    assert heads[1:7] == ["stony lps fleshy", "Agent", "Strength", "Contact", "Wear", "Bath water"]
    assert "Bath water: neutralise with thiosulfate; waste" in dip, "as the papers print it, from the same table"
    places = [next(number for number, line in enumerate(dip) if line.startswith(word)) for word in ("Record it", "Why")]
    assert places == sorted(places)
    assert all(len(lines) == len(set(lines)) for lines in told.values()), "nothing is said twice"
    brush = told["S1-01/clam-brushing/Q1/1"]
    assert brush[0] == "Brush and inspect clams (1 of 6)"
    assert any(line.startswith("How: ") for line in brush)
    assert "Bath water: rinse water is waste: never back to any vat; treat before the drain" in brush
    assert not any(line.startswith("Strength: none") for lines in told.values() for line in lines)
    rounds = next(lines for uid, lines in told.items() if uid.startswith("round/"))
    assert "Vats in order: Q1, Q2" in rounds
    titles = {
        uid.split("@")[0]: one["summary"] for uid, one in readers.read_ical(feed_publication.bytes_for(house)).items()
    }
    assert titles["S1-02/coral-iodine-dip/Q1/1"] == "Q1 Iodine S1-02 ×40"


def test_every_command_in_a_calendar_is_one_that_can_be_typed(house: House) -> None:
    """Whoever copies it from the phone must not be told that there is no such option."""
    commands = [
        line[line.index("vatside ") :]
        for lines in lines_of(feed_publication.bytes_for(house)).values()
        for line in lines
        if "vatside " in line
    ]
    assert {command.split()[1] for command in commands} >= {"done", "count", "finding", "release"}
    context = click.Context(vatside)
    for command in set(commands):
        _, name, *words = [FILLED.get(word, word) for word in shlex.split(command)]
        found = vatside.get_command(context, name)
        assert found is not None, command
        found.make_context(name, words, parent=context).close()


def test_an_event_leads_to_the_page_on_which_it_is_recorded(house: House, house_at: Open, farm_folder: Path) -> None:
    """As the address that readers open, and in words for those that hide it; nothing where the farm gives none."""
    body = feed_publication.bytes_for(house).decode()
    events = list(IcsCalendarStream.calendar_from_ics(body).events)
    assert events
    for event in events:
        page = "/deliveries/" if str(event.uid).startswith("lands-") else "/work?task="
        assert str(event.url).startswith(f"{PAGE}{page}")
        assert f"On the board: {event.url}" in str(event.description).split("\n")
    file = farm_folder / "farm.toml"
    file.write_text(file.read_text(encoding="utf-8").replace(f'count_page = "{PAGE}/c"\n', ""), encoding="utf-8")
    bare = house_at(LANDED + timedelta(hours=2))
    feed_publication.publish(bare)
    assert "URL" not in feed_publication.bytes_for(bare).decode()


def test_what_follows_begins_after_what_it_follows(house: House) -> None:
    """Each RELATED-TO names an event of the feed that begins once this one and the gap are over: so no ring can be."""
    found = readers.read_ical(feed_publication.bytes_for(house))
    body = feed_publication.bytes_for(house).replace(b"\r\n ", b"").decode()
    pairs = gaps = 0
    for part in body.split("BEGIN:VEVENT\r\n")[1:]:
        own = re.search(r"^UID:(.*)\r$", part, re.MULTILINE)
        assert own
        for parameters, uid in re.findall(r"^RELATED-TO;([^:]*):(.*)\r$", part, re.MULTILINE):
            kind, _, gap = parameters.partition(";GAP=")
            assert kind == "RELTYPE=FINISHTOSTART"
            least = vDuration.from_ical(gap).total_seconds() if gap else 0  # type: ignore[no-untyped-call]
            assert found[own[1]]["end"] + least <= found[uid]["start"]
            gaps += bool(gap)
            pairs += 1
    assert pairs >= 3
    assert gaps >= 1


@pytest.mark.parametrize(
    ("habits", "triggers"),
    [
        (feed_addresses.Habits(), {"-PT30M"}),
        (feed_addresses.Habits(()), set()),
        (feed_addresses.Habits((45,)), {"-PT45M"}),
        (feed_addresses.Habits((10, 120)), {"-PT2H", "-PT10M"}),
    ],
)
def test_alarms_are_those_of_the_address(house: House, habits: feed_addresses.Habits, triggers: set[str]) -> None:
    """Standard, none, or the subscriber's own; each alarm has all that readers ask of it."""
    identity, _ = feed_addresses.create(house, "farm", habits=habits)
    [address] = [one for one in feed_addresses.addresses(house) if one.id == identity]
    assert (address.who, address.habits.omit_cancelled) == ("farm", False)
    body = feed_publication.bytes_for(house, address.file)
    assert lint.findings(body) == []
    assert set(re.findall(r"TRIGGER:(\S+)", body.decode())) == triggers
    parts = body.replace(b"\r\n ", b"").decode().split("BEGIN:VEVENT")[1:]
    dips = [part for part in parts if re.search(r"^CATEGORIES:.*,dip\r$", part, re.MULTILINE)]
    silent = [part for part in parts if "TRANSP:TRANSPARENT" in part]
    assert all("BEGIN:VALARM" not in part for part in silent), "what is over does not ring"
    rung = len(dips) if habits.alarms_minutes is None else len(parts) - len(silent)
    assert dips
    assert body.count(b"BEGIN:VALARM") == rung * len(triggers)


def test_one_subscriber_may_leave_called_off_work_out(house: House, house_at: Open) -> None:
    """The others still see it, marked, and told not to do it."""
    later = house_at(LANDED + timedelta(hours=2, minutes=5))
    move_animals.move(later, "S1-02", "Q1", "discarded", 40)
    shown = readers.read_ical(feed_publication.bytes_for(later))
    gone = {uid for uid, one in shown.items() if one["status"] == "CANCELLED"}
    lots = {uid for uid in gone if uid.startswith("S1-")}
    assert {uid.split("/")[0] for uid in lots} == {"S1-02"}
    assert all(shown[uid]["description"].startswith("Canceled: do not do this.") for uid in gone)
    assert all("Dropped: no animals of S1-02 are left" in shown[uid]["description"] for uid in lots)
    quiet = readers.read_ical(
        feed_publication.bytes_for(later, feed_addresses.named("farm", feed_addresses.Habits(omit_cancelled=True)))
    )
    assert shown.keys() - quiet.keys() == gone


def test_the_command_makes_and_lists_an_address_with_its_habits(house: House, run: Run) -> None:
    """The address ends in a readable name; the list says how it rings; nonsense is refused before anything is made."""
    house.books.close()
    made = run("feeds", "--create", "ada", "--alarms", "45,10", "--omit-cancelled", "--json")
    assert re.search(r"/cal/[\w-]{43}/ada~alarms-45-10~no-cancelled\.ics$", json.loads(made.stdout)["address"])
    [listed] = json.loads(run("feeds", "--json").stdout)
    assert (listed["for"], listed["alarms_minutes"], listed["omit_cancelled"]) == ("ada", [45, 10], True)
    assert "45, 10 min, no canceled" in run("feeds").stdout
    for words in ("-5", "soon", "45;10", "99999", ""):
        refused = run("feeds", "--create", "ada", "--alarms", words)
        assert (refused.exit_code, "--alarms" in refused.output) == (2, True), words
    assert len(json.loads(run("feeds", "--json").stdout)) == 1


def test_habits_of_nobody_are_refused(house: House) -> None:
    """A word with habits is no way round the list of readers."""
    with pytest.raises(UnknownName):
        feed_publication.bytes_for(house, "nobody~silent")
    with pytest.raises(BadInput, match="alarms"):
        feed_addresses.create(house, "farm", habits=feed_addresses.Habits((-1,)))


def uids_of(house: House) -> set[str]:
    """Names of all events in the farm's calendar."""
    return set(readers.read_ical(feed_publication.bytes_for(house)))


def test_a_move_and_a_restart_keep_every_name(house: House, house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """The lot stands elsewhere, its work is the same work: the same events, moved; so too from a copy of the books."""
    before = uids_of(house)
    later = house_at(LANDED + timedelta(hours=2, minutes=10))
    move_animals.move(later, "S1-02", "Q1", "Q3", 40)
    schedule_work.reschedule(later, seconds=0.5)
    feed_publication.publish(later)
    moved = readers.read_ical(feed_publication.bytes_for(later))
    assert set(moved) == before
    assert {moved[uid]["summary"].split()[0] for uid in before if uid.startswith("S1-02/coral")} == {"Q3"}
    later.books.backup(tmp_path / "copy.db")
    copied = tmp_path / "again"
    copied.mkdir()
    shutil.copy(farm_folder / "farm.toml", copied / "farm.toml")
    shutil.copy(tmp_path / "copy.db", copied / "farm.db")
    again = open_house(copied, who="ada", now=LANDED + timedelta(hours=3))
    try:
        assert feed_publication.publish(again) == 0
        assert feed_publication.bytes_for(again) == feed_publication.bytes_for(later)
    finally:
        again.books.close()


def test_a_second_feed_holds_a_persons_tasks_as_to_dos(house: House, run: Run) -> None:
    """Each task of that person once, no landing, no list of the day; made by the command, as an address of its own."""
    from ical.calendar_stream import IcsCalendarStream

    word = feed_addresses.named("ben", feed_addresses.Habits(todos=True))
    assert feed_addresses.reader_of(word) == ("ben", feed_addresses.Habits(todos=True))
    body = feed_publication.bytes_for(house, word).decode()
    todos = list(IcsCalendarStream.calendar_from_ics(body).todos)
    mine = {uid for uid, row in shown_tasks(house).items() if "ben" in row["staff"]}
    assert mine
    assert {str(todo.uid).removeprefix("todo/").split("@")[0] for todo in todos} == mine
    house.books.close()
    made = run("feeds", "--create", "ben", "--todos", "--json")
    assert json.loads(made.stdout)["address"].endswith("/ben~todos.ics")
    assert json.loads(run("feeds", "--json").stdout)[0]["todos"] is True


def test_each_person_reads_in_their_own_language(farm_folder: Path, house: House, house_at: Open) -> None:
    """The same tasks at the same addresses, in Spanish for one who asked for it, unchanged for all others."""
    each = feed_addresses.named("ben", feed_addresses.Habits(digest=False))
    before = {who: feed_publication.bytes_for(house, who) for who in ("ada", each, "farm")}
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace("[person.ben]\n", '[person.ben]\nlanguage = "es"\n', 1)
    file.write_text(text, encoding="utf-8")
    opened = house_at(LANDED + timedelta(hours=2))
    feed_publication.publish(opened)
    for who in ("ada", "farm"):
        assert _words(feed_publication.bytes_for(opened, who)) == _words(before[who])
    spanish, english = (readers.read_ical(one) for one in (feed_publication.bytes_for(opened, each), before[each]))
    assert spanish.keys() == english.keys()
    assert spanish.keys()
    for uid, event in spanish.items():
        told, said = event["description"], english[uid]["description"]
        assert _figures(told) == _figures(said), uid
        assert not re.search(r"^(Agent|Strength|How|Wear|Bath water|Why|Who|With|Record it):", told, re.MULTILINE), told
    titles = {one["summary"] for one in spanish.values()}
    assert any(word in title for title in titles for word in ("Cepill.", "Yodo", "Liberar")), titles
    todos = feed_publication.bytes_for(opened, feed_addresses.named("ben", feed_addresses.Habits(todos=True)))
    assert "ben: tareas" in todos.decode("utf-8").replace("\r\n ", "").lower()


def _words(body: bytes) -> list[str]:
    """What a reader reads: revisions left out, which rise for all when one more language is written."""
    lines = body.decode("utf-8").replace("\r\n ", "").split("\r\n")
    return [line for line in lines if not line.startswith(("SEQUENCE", "DTSTAMP", "LAST-MODIFIED"))]


def _figures(text: str) -> list[str]:
    """Numbers in order of size, whatever their decimal mark."""
    return sorted(re.findall(r"\d+", text))
