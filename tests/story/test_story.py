"""The invented farm from packing list to claim: the story has its turns, and every command works on what it leaves."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from collections import Counter
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest

from intake.app.calendars.feed_choice import shown_to
from intake.app.calendars.feed_publication import revisions
from intake.app.documents import intake_sheets, landing_papers
from intake.app.documents.printing import print_forms
from intake.app.farm_folder import check_house
from intake.app.landing.kept_day import landing_batches
from intake.app.queries.biosecurity.release_status import release_rows
from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.queries.reports.claim_status import open_claims, steps_of
from intake.app.session import House, open_house
from intake.farm.floor import Batch
from intake.ledger import Movement, balances
from intake.receiving.acclimation import Acclimation
from tests.app.landing_days import no_bag_closed_past_its_hours_in_silence, same_everywhere, same_on_the_board
from tests.checker import judge
from tests.feed.lint import findings as lint
from tests.plan.facts import facts_of_problem
from tests.receiving.tub_judge import judge as judge_of_tubs
from tests.story.board_tables import tables_on_the_board
from tests.story.conftest import NOW, Command, Story

if TYPE_CHECKING:
    from forms import Acclimation as AcclimationContent


def test_the_story_is_told_to_its_end(story: Story) -> None:
    """A stranger's first command: exit 0, 80 columns, and where to go on."""
    assert story.exit_code == 0
    assert "Every animal is accounted for." in story.told
    assert "Go on there:" in story.told
    paths = [line for line in story.told.splitlines() if str(story.folder) in line]
    assert max(len(line) for line in story.told.splitlines() if line not in paths) <= 80


def test_the_large_lot_does_not_fit_at_first_and_fits_after_a_vat_is_cleared(story: Story) -> None:
    """The answer "no" comes with what would help, the owner does it, and then the answer is yes."""
    first = re.search(r"Plan: (\d+) of (\d+) animals fit; (\d+) do not", story.plain)
    assert first is not None
    assert int(first[1]) + int(first[3]) == int(first[2])
    assert int(first[3]) > 0
    assert re.search(r"would help: clear vat \w+ by 2027-0\d-\d\d \(\d+ of H\d\) \(\+\d+ animals", story.plain)
    assert re.search(r"Decided: \w+ to be empty by [\d-]+: \d+ of H\d must leave", story.plain)
    assert f"Plan: {first[2]} of {first[2]} animals fit" in story.plain
    assert story.plain.index("would help: clear vat") < story.plain.index("Plan P1 accepted")


def test_every_plan_of_the_story_passes_the_judge(story: Story) -> None:
    """Short plans and whole ones: no rule is broken, whatever the planner thinks of them."""
    assert len(story.proposals) >= 3
    for proposal in story.proposals:
        plan = proposal.solution.as_dict(proposal.day_zero)
        assert judge(facts_of_problem(proposal.problem), plan) == []
        assert proposal.solution.placed <= proposal.solution.placed_bound


def test_a_promised_relief_comes_true(story: Story) -> None:
    """The relief said how many more would find a place once its vat is cleared; doing it placed at least so many."""
    first, second = story.proposals[0].solution, story.proposals[1].solution
    cleared = next(one.vat for r in first.relief for one in (r.steps or (r,)) if one.kind == "clear")
    promised = next(one.places for one in first.relief if (one.kind, one.vat) == ("clear", cleared))
    assert second.placed - first.placed >= promised > 0


def test_one_piece_of_work_is_recorded_late_and_few_events_change(story: Story) -> None:
    """Few pieces of work move, most of the calendar stays untouched, and the story says what moved and why."""
    assert "not done; it stays due" in story.plain
    late = story.plain[story.plain.index("recorded as done, two days late") :]
    found = re.search(r"Calendar: (\d+) events? new or changed, (\d+) of (\d+) untouched", late)
    assert found is not None
    changed, same, before = map(int, found.groups())
    moved = re.search(r"(\d+) tasks? moved\. Calendar", late)
    assert moved is not None
    assert int(moved[1]) <= before / 20  # often none: what was overdue by then had moved before
    assert 0 < changed <= before / 10
    assert same >= before - changed


def test_a_slipped_landing_moves_plan_timetable_and_calendar(story: Story) -> None:
    """The truck comes a day later: nothing is lost of the plan, and what a subscriber sees is told in numbers."""
    slip = story.plain.index("the flight slips a day: S1 lands 2027-03-27")
    assert story.plain.index("Plan P1 accepted") < slip < story.plain.index("Plan P2 accepted; it supersedes P1")
    before = story.plain[: story.plain.index("Plan P2 accepted")]
    first, second = re.findall(r"Plan(?: again)?: (\d+) of (\d+) animals fit", before)[-2:]
    assert first == second
    moved = re.search(r"Calendar: (\d+) events? new or changed", story.plain[slip:])
    assert moved is not None
    assert int(moved[1]) > 100


def test_a_pest_in_week_two_holds_its_water_and_no_other(story: Story) -> None:
    """White spot in the fish vat: fish stand alone in their water, so neither clams nor shrimps wait for them."""
    assert re.search(r"Cryptocaryon irritans found on S1-12 in F\d; no other lot shared its water\.", story.plain)
    found = re.search(r"The quarantine of S1-12 itself runs until (\S+), was (\S+)\.", story.plain)
    assert found is not None
    assert date.fromisoformat(found[1]) == date.fromisoformat(found[2]) + timedelta(days=10)
    after = story.plain[story.plain.index("found on S1-12") :]
    freed = " ".join(re.findall(r"free, and moved to grow out: (.*?)\. ", after))  # each group on its own day
    assert "S1-11" in freed
    assert "S1-12" not in freed
    house = open_house(story.folder, now=datetime.fromisoformat(NOW))
    inside = {stay.batch: stay.stage for stay in house.floor().stays}
    others = [row for row in release_rows(house) if row["batch"] != "S1-12"]
    waiting = [row["batch"] for row in others if "S1-12 " in " ".join(row["stands_in_the_way"])]
    house.books.close()
    assert inside["S1-12"] == "quarantine"
    assert waiting == []
    # which clams are out by now hangs on the plan: a brushing too late for its series holds all in its water
    assert "grow-out" in {inside[f"S1-0{line}"] for line in range(1, 6)}


def test_the_claim_is_answered_and_settled(story: Story) -> None:
    """Sent the same evening, again with the later deaths, answered, settled; later counts do not open it again."""
    turns = ["claim version 1 for", "claim version 3 for", "answered,", "settled,"]
    places = [story.plain.index(turn) for turn in turns]
    assert places == sorted(places)
    house = open_house(story.folder, now=datetime.fromisoformat(NOW))
    steps = [str(record.payload["state"]) for record in steps_of(house, "S1")]
    still = [one.shipment for one in open_claims(house)]
    house.books.close()
    assert steps == ["sent", "sent", "answered", "settled"]
    assert still == []


def test_a_subscriber_of_the_whole_story_sees_the_timetable_of_today(story: Story) -> None:
    """Slip, late work, finding, release: what an independent reader shows is the published timetable, once each."""
    from ical.calendar_stream import IcsCalendarStream

    calendar = IcsCalendarStream.calendar_from_ics((story.folder / "out" / "farm.ics").read_text("utf-8"))
    house = open_house(story.folder, now=datetime.fromisoformat(NOW))
    ahead = [datetime.fromisoformat(str(task["start"])) for task in published_tasks(house)]
    ahead += [datetime.fromisoformat(str(facts["lands"])) for facts in shipment_facts(house).values()]
    ahead = sorted(start for start in ahead if start > house.now)
    house.books.close()
    shown = [event for event in calendar.events if event.status != "CANCELLED"]
    assert len({event.uid for event in shown}) == len(shown)
    starts = [event.dtstart for event in shown if isinstance(event.dtstart, datetime)]
    assert sorted(start for start in starts if start > datetime.fromisoformat(NOW)) == ahead
    assert len(ahead) > 50


def test_the_books_are_sound_and_conserve_every_animal(story: Story) -> None:
    """Announced = alive + dead + missing + wrong + still to come, batch by batch, from the raw movements."""
    house = open_house(story.folder, now=datetime.fromisoformat(NOW))
    assert check_house(house) == []
    moved = [entry for entry in house.entries() if isinstance(entry, Movement)]
    came: dict[str, int] = {}
    for movement in moved:
        came[movement.batch] = came.get(movement.batch, 0) + (movement.count if movement.source == "supplier" else 0)
    held = balances(house.entries())
    for batch in house.floor().batches.values():
        if batch.shipment == "S1":
            inside = sum(n for (name, place), n in held.items() if name == batch.id and place != "supplier")
            assert came[batch.id] == inside == batch.announced
    house.books.close()


def _claim_csv(story: Story) -> list[dict[str, str]]:
    # the version the story sent: other tests here may draw later ones
    sent = story.folder / "out" / "claim-S1-v1.csv"
    return list(csv.DictReader(io.StringIO(sent.read_bytes().decode("utf-8-sig"))))


def test_the_claim_adds_up_to_what_the_books_hold(story: Story) -> None:
    """Dead and missing by line as in the books at that time; amount = claimable × price; PDF and CSV side by side."""
    rows = [row for row in _claim_csv(story) if row["batch"].startswith("S1-")]
    assert len(rows) == 12
    house = open_house(story.folder, now=datetime.fromisoformat(NOW))
    held = balances(house.entries())
    for row in rows:
        assert int(row["doa"]) == held.get((row["batch"], "doa"), 0)
        assert int(row["missing"]) == held.get((row["batch"], "missing"), 0)
        assert int(row["announced"]) == house.floor().batches[row["batch"]].announced
        if row["amount"]:
            assert Decimal(row["amount"]) == int(row["claimable"]) * Decimal(row["unit_price"])
    told = re.search(r"claim version 1 for (\d+) animals, ([\d,.]+) USD", story.plain)
    assert told is not None
    assert int(told[1]) == sum(int(row["claimable"]) for row in rows)
    assert Decimal(told[2].replace(",", "")) == sum(Decimal(row["amount"] or 0) for row in rows)
    pdfs = sorted((story.folder / "out").glob("claim-S1-*.pdf"))
    assert pdfs
    assert pdfs[-1].read_bytes().startswith(b"%PDF")
    house.books.close()


def test_paper_and_calendars_were_written(story: Story) -> None:
    """A sheet for every line of both deliveries, a calendar for everybody, all of it whole."""
    out = story.folder / "out"
    sheets = {path.stem for path in out.glob("sheet-*.pdf")}
    assert {f"sheet-S1-{line:02d}" for line in range(1, 13)} <= sheets
    house = open_house(story.folder, now=datetime.fromisoformat(NOW))
    for who in ("farm", *house.site.people):
        assert lint((out / f"{who}.ics").read_bytes()) == []
    house.books.close()
    for what in ("runsheet", "labels", "checklist"):
        assert any(path.name.startswith(what) for path in out.glob("*.pdf")), what


def test_plan_as_json(command: Command) -> None:
    """The plan is proved best or states its bound; nothing but JSON on stdout."""
    told = command("plan", "--json")
    assert told.returncode in {0, 1}, told.stderr
    plan = json.loads(told.stdout)
    assert told.returncode == (plan["status"] == "short")
    assert plan["placed"] <= plan["placed_bound"] <= plan["announced"]
    assert told.stderr == ""


def test_timetable_as_json(command: Command) -> None:
    """Tasks with people; work recorded as done is no longer in it."""
    told = command("timetable", "--json")
    assert told.returncode in {0, 1}, told.stderr
    table = json.loads(told.stdout)
    assert told.returncode == bool(table["unplaced"])
    assert len(table["tasks"]) > 50
    assert all(task["staff"] for task in table["tasks"])
    again = command("timetable", "--json")
    times = [
        [(task["uid"], task["start"], task["staff"]) for task in json.loads(one.stdout)["tasks"]]
        for one in (told, again)
    ]
    assert times[0] == times[1]


def test_feed_into_a_file(command: Command, story: Story) -> None:
    """A calendar that passes the lint; fetched again it has not changed."""
    told = command("feed", "--out", "x.ics")
    assert told.returncode == 0, told.stderr
    first = (story.folder / "x.ics").read_bytes()
    assert lint(first) == []
    again = command("feed", "--out", "x.ics")
    assert "0 events are new or changed" in again.stdout
    assert (story.folder / "x.ics").read_bytes() == first


def test_print_sheets(command: Command, story: Story) -> None:
    """One PDF for each batch."""
    told = command("print", "sheets", "--out", "paper", "--json")
    assert told.returncode == 0, told.stderr
    files = json.loads(told.stdout)["files"]
    assert len(files) >= 12
    assert all((story.folder / name).read_bytes().startswith(b"%PDF") for name in files)


def test_count_claim_and_check(command: Command) -> None:
    """One death counted: one animal fewer alive in the books, which still add up, and the claim is drawn anew."""
    before = json.loads(command("check", "--json").stdout)
    stay = next(line.split() for line in command("report", "vats").stdout.splitlines() if " S1-01 " in line)
    counted = command("count", "S1-01", "--vat", stay[1], "--dead", "1")
    assert counted.returncode == 0, counted.stderr
    after = json.loads(command("check", "--json").stdout)
    assert (after["sound"], after["alive"]) == (True, before["alive"] - 1)
    claim = command("claim", "S1", "--json")
    assert claim.returncode == 0, claim.stderr
    facts = json.loads(claim.stdout)
    assert facts["frozen"] is True
    assert date.fromisoformat(facts["deadline"][:10]) == date(2027, 3, 28)
    assert all(name in {"pdf", "csv"} for name in (path.rsplit(".", 1)[1] for path in facts["files"]))


def test_the_demo_does_not_write_over_a_farm(command: Command, story: Story) -> None:
    """A second demo into the same folder would bury somebody's farm."""
    told = command("demo", str(story.folder))
    assert told.returncode == 2
    assert "not empty" in told.stderr


def _calendar_of(story: Story, who: str, *, digest: bool) -> list[Mapping[str, Any]]:
    """What one person's calendar shows of what was not canceled, at the end of the story."""
    house = open_house(story.folder, now=datetime.fromisoformat(NOW))
    rows = [row.fields for row in shown_to(revisions(house).values(), who, digest=digest)]
    house.books.close()
    return [fields for fields in rows if fields["status"] != "CANCELLED"]


def _people(story: Story) -> tuple[list[str], ZoneInfo]:
    house = open_house(story.folder, now=datetime.fromisoformat(NOW))
    people, zone = list(house.site.people), house.site.farm.zone
    house.books.close()
    return people, zone


def test_no_calendar_rings_more_than_six_times_a_day(story: Story) -> None:
    """A phone that rings all day is switched off; counted with the alarms an event has or would have had when it was due."""
    people, zone = _people(story)
    for who in people:
        rings: Counter[date] = Counter()
        for fields in _calendar_of(story, who, digest=True):
            kinds = set(fields["categories"])
            usual = 1 if "dip" in kinds else 2 if "claim" in kinds else 1 if "landing" in kinds else 0
            day = datetime.fromisoformat(fields["start"]).astimezone(zone).date()
            rings[day] += max(usual, len(fields["alarms_minutes"]))
        assert max(rings.values(), default=0) <= 6, (who, rings.most_common(3))


def test_a_phones_month_view_tells_the_events_of_a_day_apart(story: Story) -> None:
    """It shows 18 characters: in 95 of 100 cases no other event of that person's day begins alike."""
    people, zone = _people(story)
    alone = everything = 0
    for who in people:
        days: dict[date, list[str]] = {}
        for fields in _calendar_of(story, who, digest=False):
            day = datetime.fromisoformat(fields["start"]).astimezone(zone).date()
            days.setdefault(day, []).append(str(fields["summary"])[:18])
        everything += sum(map(len, days.values()))
        alone += sum(list_.count(title) == 1 for list_ in days.values() for title in list_)
    assert everything > 300
    assert alone >= 0.95 * everything, f"{alone} of {everything}"


def test_every_table_the_story_shows_keeps_its_animals(
    story: Story, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sheets, checklists and board, both shipments, before and after bags were read, judged by the ODE solver of the tests.

    In every row oxygen at or above the alarm and ammonia at or under the limit, or the table is refused with its reason.
    """
    folder = Path(shutil.copytree(story.folder, tmp_path / "farm"))
    shown, refused, content_of = list[Acclimation](), 0, intake_sheets.acclimation_content

    def watched(house: House, batch: Batch, found: Acclimation) -> AcclimationContent:
        nonlocal refused
        content = content_of(house, batch, found)
        assert content.steps or content.limit
        refused += not content.steps
        shown.extend([found] if content.steps else [])
        return content

    monkeypatch.setattr(intake_sheets, "acclimation_content", watched)
    monkeypatch.setattr(landing_papers, "acclimation_content", watched)
    for moment, shipments in (("2027-03-25T09:00:00+00:00", ["S1"]), (NOW, ["S1", "S2"])):
        house = open_house(folder, now=datetime.fromisoformat(moment))
        for shipment in shipments:
            for what in ("sheets", "checklists"):
                print_forms(house, what, tmp_path / "out", shipment=shipment)
        house.books.close()
    printed = len(shown)
    shown += tables_on_the_board(folder)
    assert (printed > 40, len(shown) - printed > 10) == (True, True), (printed, len(shown), refused)
    distinct = list(dict.fromkeys(shown))
    for table, rows in zip(distinct, judge_of_tubs(distinct), strict=True):
        assert table.load is not None
        assert bool(rows) == any(step.water == "tub" for step in table.steps)
        for row in rows:
            assert row.o2 >= table.load.alarm_mg_per_l - 0.01, (table.mode, row)
            assert row.nh3 <= table.limits.nh3_n_mg_per_l * 1.01, (table.mode, row)


def test_a_shipments_minutes_are_the_same_on_sheet_timetable_calendar_and_board(story: Story, tmp_path: Path) -> None:
    """The first shipment on the morning it lands, the second four days ahead: one kept day, read by every place."""
    folder = Path(shutil.copytree(story.folder, tmp_path / "farm"))
    for moment, shipment in (("2027-03-27T06:00:00+00:00", "S1"), (NOW, "S2")):
        house = open_house(folder, now=datetime.fromisoformat(moment))
        sheet = same_everywhere(house, landing_batches(house, shipment), shipment)
        no_bag_closed_past_its_hours_in_silence(house, shipment)
        house.books.close()
        today = open_house(folder, now=datetime.fromisoformat(NOW))  # a board writes, so its clock is the last
        same_on_the_board(today, sheet, shipment)
        today.books.close()
        assert len(sheet) >= 6, shipment
