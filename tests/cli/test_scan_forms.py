"""A returned round, dip log, checklist or sampling list read back: through the usual commands, once, asked where it is old."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from pypdf import PdfReader, PdfWriter
from pypdf.generic import NameObject, TextStringObject

from intake.app.commands import count_animals, record_observation, schedule_work
from intake.app.queries.planning.published_timetable import shown_tasks
from intake.ledger import balances, records
from tests.app.deliveries import LANDED, Open, received
from tests.cli.conftest import Run, bare

DAY = LANDED.replace(hour=9) + timedelta(days=1)
"""The morning after the shipment landed: forms are printed."""
LATER = DAY + timedelta(hours=3)
"""The same day, when they come back."""

Print = Callable[..., Path]


def fill(blank: Path, values: Mapping[str, str]) -> Path:
    """The form with these values, as a viewer saves it: words typed, boxes ticked (``/Yes``), rings chosen."""
    writer = PdfWriter(clone_from=PdfReader(blank))
    named = dict(values)
    for one in writer.root_object["/AcroForm"]["/Fields"]:  # type: ignore[index]
        field = one.get_object()
        value = named.pop(str(field.get("/T")), None)
        if value is not None:
            text = str(field.get("/FT")) == "/Tx"
            field[NameObject("/V")] = TextStringObject(value) if text else NameObject(value)
    assert not named, f"fields the form does not have: {named}"
    target = blank.with_name(f"back-{blank.name}")
    writer.write(target)
    return target


def names(file: Path) -> list[str]:
    """Names of a form's fields."""
    return list(PdfReader(file).get_fields() or {})


def refused(told: Result, *words: str) -> None:
    """Exit 2 with each of these words, and no traceback."""
    assert told.exit_code == 2, told.output
    assert told.exception is None or isinstance(told.exception, SystemExit)
    for one in words:
        assert one in told.stderr


@pytest.fixture
def printed(run: Run, house_at: Open, tmp_path: Path) -> Print:
    """Print a form with fields on the day after the shipment landed, its work scheduled."""
    received(house_at)
    schedule_work.reschedule(house_at(LANDED + timedelta(hours=2)), seconds=0.5)

    def give(what: str, *more: str, at: datetime = DAY) -> Path:
        out = tmp_path / what
        told = run("print", what, "--fillable", "--out", str(out), *more, at=at)
        assert told.exit_code == 0, told.output
        return next(iter(sorted(out.glob("*.pdf"))))

    return give


def tasks(house_at: Open, *kinds: str) -> list[dict[str, Any]]:
    """Open work of these kinds, by start."""
    rows = [row for row in shown_tasks(house_at(LATER)).values() if row["kind"] in kinds and row["batch"]]
    return sorted((row for row in rows if row.get("state", "open") == "open"), key=lambda row: str(row["start"]))


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_round_records_what_count_reading_and_done_would(
    run: Run, printed: Print, house_at: Open, farm_folder: Path, language: str
) -> None:
    """Dead, weak and left of a lot, the water of its system; and the second scan finds nothing new."""
    blank = printed("round", "--language", language)
    row = next(name.removesuffix("/dead") for name in names(blank) if name.endswith("Q1/S1-01/dead"))
    sheet = row.split("/")[0]
    values = {f"{row}/dead": "2", f"{row}/weak": "1", f"{row}/left": "38", f"{sheet}/system/quarantine/°C": "26,1"}
    back = fill(blank, values)
    before = bare(farm_folder)
    told = run("scan", str(back), at=LATER)
    assert told.exit_code == 0, told.output
    assert "2 dead, 1 weak, 38 alive" in told.stdout
    assert bare(farm_folder) == before
    assert run("scan", str(back), "--yes", at=LATER).exit_code == 0
    house = house_at(LATER)
    stand = balances(house.entries())
    assert (stand["S1-01", "vat:Q1"], stand["S1-01", "dead"]) == (38, 2)
    assert {(one.quantity, one.value) for one in house.measured("quarantine")} == {("temperature_c", 26.1)}
    after = house.entries()
    again = run("scan", str(back), "--yes", at=LATER + timedelta(minutes=5))
    assert "Nothing new" in again.stdout
    assert house_at(LATER + timedelta(minutes=5)).entries() == after


def test_a_round_whose_counts_do_not_agree_records_nothing(run: Run, printed: Print, farm_folder: Path) -> None:
    """What is left must be what the ledger has less the dead, as at every other door; no half of a sheet is saved."""
    blank = printed("round")
    row = next(name.removesuffix("/dead") for name in names(blank) if name.endswith("Q1/S1-01/dead"))
    sheet = row.split("/")[0]
    before = bare(farm_folder)
    refused(run("scan", str(fill(blank, {f"{row}/dead": "2", f"{row}/left": "40"})), "--yes", at=LATER), "38")
    refused(run("scan", str(fill(blank, {f"{row}/dead": "two"})), "--yes", at=LATER), f"{row}/dead", "two")
    refused(run("scan", str(fill(blank, {f"{row}/dead": "41"})), "--yes", at=LATER), "S1-01")
    hot = {f"{row}/dead": "1", f"{sheet}/system/quarantine/°C": "79"}
    refused(run("scan", str(fill(blank, hot)), "--yes", at=LATER), "79")
    assert bare(farm_folder) == before


def test_what_others_recorded_since_is_asked_before_it_is_recorded_again(
    run: Run, printed: Print, house_at: Open, farm_folder: Path
) -> None:
    """Someone counted the same dead on the board: the sheet is older than the ledger, and says so by its field."""
    blank = printed("round")
    row = next(name.removesuffix("/dead") for name in names(blank) if name.endswith("Q1/S1-01/dead"))
    count_animals.count(house_at(DAY + timedelta(hours=1)), "S1-01", "Q1", count_animals.Count(dead=2))
    back = fill(blank, {f"{row}/dead": "2"})
    shown = json.loads(run("scan", str(back), "--json", at=LATER).stdout)
    assert "2 dead" in shown["proposed"][0]["recorded_since"]
    before = bare(farm_folder)
    refused(run("scan", str(back), "--yes", at=LATER), row, "since it was printed", "--despite")
    assert bare(farm_folder) == before
    told = run("scan", str(back), "--yes", "--despite", "two more than those", at=LATER)
    assert told.exit_code == 0, told.output
    assert balances(house_at(LATER).entries())["S1-01", "dead"] == 4
    undone = run("scan", str(back), "--yes", at=LATER + timedelta(minutes=1))
    assert "Nothing new" in undone.stdout


def test_work_ticked_on_a_round_is_done(run: Run, printed: Print, house_at: Open) -> None:
    """The task by its uid; its tick is printed from then on, and scanned again it is nothing new."""
    work = next(row for row in tasks(house_at, "inspection", "dip"))
    day = datetime.fromisoformat(work["start"]).replace(hour=9, minute=0)
    blank = printed("round", at=day)
    uid = str(work["uid"])
    name = next(one for one in names(blank) if one.endswith(uid.replace(".", "/")))
    back = fill(blank, {name: "/Yes"})
    at = datetime.fromisoformat(work["end"]) + timedelta(minutes=1)
    told = run("scan", str(back), "--yes", at=at)
    assert told.exit_code == 0, told.output
    assert uid in {one.subject for one in house_at(at).standing("done")}
    assert "Nothing new" in run("scan", str(back), "--yes", at=at + timedelta(minutes=1)).stdout


def test_a_dip_log_records_work_with_its_time_and_what_was_found(run: Run, printed: Print, house_at: Open) -> None:
    """An inspection with a pest restarts the quarantine as the command does; a later day needs the time it was done."""
    blank = printed("dips", "--shipment", "S1")
    work = next(row for row in tasks(house_at, "inspection") if f"1/{row['uid']}/by".replace(".", "/") in names(blank))
    row, start = f"1/{work['uid']}".replace(".", "/"), datetime.fromisoformat(work["start"])
    pest = next(iter(house_at(LATER).library.pests))
    after = start + timedelta(days=1)
    ticked = {f"{row}/done": "/Yes", f"{row}/found": f"{pest} 3"}
    refused(run("scan", str(fill(blank, ticked)), "--yes", at=after), f"{row}/by", "time it was done")
    back = fill(blank, {**ticked, f"{row}/by": f"{start:%H:%M} BK"})
    told = run("scan", str(back), "--yes", at=after)
    assert told.exit_code == 0, told.output
    house = house_at(after)
    done = next(one for one in house.standing("done") if one.subject == work["uid"])
    assert (done.happened_at, done.payload["note"]) == (start, f"by BK; {pest} 3")
    found = records(house.stream(work["batch"]), "finding")
    assert [(one.payload["what"], one.payload["vat"], one.happened_at) for one in found] == [(pest, work["vat"], start)]
    assert "Nothing new" in run("scan", str(back), "--yes", at=after + timedelta(minutes=1)).stdout


def test_a_sampling_list_is_clean_only_when_every_animal_is_ticked(run: Run, printed: Print, house_at: Open) -> None:
    """One tick lacking is no clean sample; a pest is one finding with the animals it was found on."""
    blank = printed("sample", "--batch", "S1-01", "--n", "5")
    clean = [name for name in names(blank) if name.endswith("/clean")]
    assert len(clean) == 5
    short = json.loads(run("scan", str(fill(blank, dict.fromkeys(clean[1:], "/Yes"))), "--json", at=LATER).stdout)
    assert not short["proposed"]
    house = house_at(LATER)
    pest = next(iter(house.library.pests))
    seen = clean[0].removesuffix("/clean") + "/found"
    refused(run("scan", str(fill(blank, {seen: "a worm"})), "--yes", at=LATER), seen, "pest of the library")
    refused(run("scan", str(fill(blank, {seen: pest, "1/found": "2"})), "--yes", at=LATER), "1/found")
    back = fill(blank, dict.fromkeys(clean, "/Yes") | {"1/method": "loupe", "1/by": "AB"})
    told = run("scan", str(back), "--yes", at=LATER)
    assert told.exit_code == 0, told.output
    found = list(records(house_at(LATER).stream("S1-01"), "finding"))
    assert [(one.payload["what"], one.payload["vat"]) for one in found] == [("", "Q1")]
    assert found[0].payload["note"] == "sample of 5; loupe; AB; none found"
    assert "Nothing new" in run("scan", str(back), "--yes", at=LATER).stdout
    other = fill(blank, {seen: f"{pest} 2"})
    record_observation.finding(house_at(LATER), "S1-01", "clean", vat="Q1")
    refused(run("scan", str(other), "--yes", at=LATER), "since it was printed")


def test_a_checklist_makes_the_table_again_from_what_was_read(run: Run, printed: Print, house_at: Open) -> None:
    """Readings at the tub by the minute of their step; a pH needs its scale, a reading its time."""
    blank = printed("checklists", "--batch", "S1-01")
    steps = sum(name.startswith("1/c/") for name in names(blank))
    assert steps > 2
    refused(run("scan", str(fill(blank, {"1/c/2": "25.9"})), "--yes", at=LATER), "1/started")
    started = f"{LANDED + timedelta(hours=1):%H:%M}"
    no_scale = {"1/c/2": "25.9", "1/ph/2": "7.9", "1/started": started}
    refused(run("scan", str(fill(blank, no_scale)), "--yes", at=LATER), "1/ph/2", "scale")
    back = fill(blank, {**no_scale, "1/ph-scale": "/nbs"})
    told = run("scan", str(back), "--yes", at=LATER)
    assert told.exit_code == 0, told.output
    read = [one for one in house_at(LATER).readings_of("S1-01") if "minute" in one.payload]
    assert {(one.payload["read"], one.payload["value"]) for one in read} == {("temperature_c", 25.9), ("ph", 7.9)}
    assert "Nothing new" in run("scan", str(back), "--yes", at=LATER).stdout
    changed = fill(blank, {**no_scale, "1/c/2": "25.8", "1/ph-scale": "/nbs"})
    refused(run("scan", str(changed), "--yes", at=LATER), "1/c/2", "vatside undo scan-")


def test_a_form_printed_after_now_is_refused(run: Run, printed: Print) -> None:
    """A clock that ran ahead: the form would be older than everything, and nothing could be told newer."""
    blank = printed("round")
    refused(run("scan", str(blank), at=DAY - timedelta(hours=2)), "printed")


def test_a_spanish_intake_sheet_is_read_back(run: Run, stocked: Path, house_at: Open, tmp_path: Path) -> None:
    """The revision in its subject is read in any language."""
    del stocked
    told = run("print", "sheets", "--shipment", "S1", "--fillable", "--language", "es", "--out", str(tmp_path / "es"))
    assert told.exit_code == 0, told.output
    back = fill(tmp_path / "es" / "sheet-S1-01.pdf", {"S1-01/open/7/doa": "3"})
    assert run("scan", str(back), "--yes").exit_code == 0
    assert balances(house_at(LATER).entries())["S1-01", "vat:Q1"] == 37
