"""What the desk puts on paper: the draw to tick, the log in order of time, the history in words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands import count_animals
from intake.app.commands.count_animals import Count
from intake.app.documents.printing import print_forms
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput
from tests.app.deliveries import LANDED, received
from tests.forms.reading import text_of

Open = Callable[..., House]


def timetabled(house: House, *days: int) -> House:
    """The same inspection of S1-01 on these days after the landing, and one of S1-02 between the first two."""
    tasks = [
        {
            "uid": f"{batch}/look/{day}", "kind": "inspection", "batch": batch, "vat": "Q1", "agent": "",
            "title": f"Inspect clams: {batch}", "start": (LANDED + timedelta(days=day, hours=hours)).isoformat(),
            "end": (LANDED + timedelta(days=day, hours=hours + 1)).isoformat(), "protection": ["gloves"],
        }
        for batch, hours, chosen in (("S1-01", 1, days), ("S1-02", 3, days[:1]))
        for day in chosen
    ]  # fmt: skip
    with house.act() as act:
        act.note("timetable", "timetable", {"tasks": tasks})
    return house


def test_the_log_is_in_order_of_time(house_at: Open, tmp_path: Path) -> None:
    """The same work on many days under one title: day by day, not title by title; each row has its vat."""
    house = timetabled(received(house_at), 2, 9, 30)
    (path,) = print_forms(house, "dips", tmp_path, shipment="S1")
    text = text_of(path.read_bytes())
    zone = house.site.farm.zone
    days = [f"{(LANDED + timedelta(days=day)).astimezone(zone):%d %b}" for day in (2, 9, 30)]
    places = [text.index(day) for day in days]
    assert places == sorted(places)
    assert text.index("S1-02", places[0]) < places[1]


def test_cautions_of_a_log_name_their_batches_and_those_of_all_stand_once(house_at: Open, tmp_path: Path) -> None:
    """A warning that does not say which animals is passed over."""
    house = timetabled(received(house_at), 2)
    (path,) = print_forms(house, "dips", tmp_path, shipment="S1")
    text = text_of(path.read_bytes())
    assert "S1-03: PALYTOXIN" in text
    assert text.count("Cover cuts. Wear long gloves.") == 1


def test_the_draw_is_printed_with_what_it_proves(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """Without a number it is drawn to find 5 % with 95 % confidence; the same words print the same animals."""
    house = received(house_at)
    (path,) = print_forms(house, "sample", tmp_path, batch="S1-01", words="x")
    text = text_of(path.read_bytes())
    assert "31" in text.split()  # 2 carriers of 40: 31 of them to be seen
    assert "Vat Q1" in text
    assert "at most" in text
    (again,) = print_forms(house, "sample", tmp_path / "again", batch="S1-01", words="x")
    assert again.read_bytes() == path.read_bytes()
    with pytest.raises(BadInput, match="--batch"):
        print_forms(house, "sample", tmp_path)
    told = CliRunner().invoke(
        vatside, ["--farm", str(farm_folder), "print", "sample", "--batch", "S1-01", "--n", "7", "--out", str(tmp_path)]
    )
    assert told.exit_code == 2  # the clock of this machine stands before the farm's last entry
    assert "clock" in told.output


def test_the_history_tells_acts_in_words_with_their_box(house_at: Open, tmp_path: Path) -> None:
    """A supplier reads it: no ledger words, the box beside the dead, and what was taken back."""
    house = received(house_at)
    count_animals.count(house, "S1-01", "Q1", Count(doa=4, box="7"))
    told = count_animals.count(house, "S1-01", "Q1", Count(dead=2))
    count_animals.undo(house, told.keys[0], whole=True)
    (path,) = print_forms(house, "history", tmp_path, batch="S1-01")
    text = text_of(path.read_bytes())
    for words in ("came in", "dead on arrival", "box 7", "taken back"):
        assert words in text
