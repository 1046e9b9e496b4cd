"""What the desk puts on paper: the draw to tick, the log in order of time, the history in words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands import count_animals
from intake.app.commands.count_animals import Count
from intake.app.documents.printing import print_forms
from intake.app.queries.planning.published_timetable import stored_tasks
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput
from tests.app.deliveries import received
from tests.forms.reading import text_of

Open = Callable[..., House]


def test_the_log_is_in_order_of_time(house_at: Open, tmp_path: Path) -> None:
    """The same work on many days under one title: day by day, not title by title; each row has its vat."""
    house = received(house_at)
    zone = house.site.farm.zone
    looks = [row for row in stored_tasks(house) if row["batch"] == "S1-01" and row["kind"] == "inspection"]
    assert len(looks) >= 3
    assert len({row["title"] for row in looks}) == 1
    days = [f"{datetime.fromisoformat(str(row['start'])).astimezone(zone):%a %d %b %H:%M} Q1 S1-01" for row in looks]
    (path,) = print_forms(house, "dips", tmp_path, shipment="S1")
    text = text_of(path.read_bytes())
    places = [text.index(day) for day in days]
    assert places == sorted(places)
    assert places[0] < text.index("S1-03", places[0]) < places[1]


def test_cautions_of_a_log_name_their_batches_and_those_of_all_stand_once(house_at: Open, tmp_path: Path) -> None:
    """A warning that does not say which animals is passed over."""
    house = received(house_at)
    (path,) = print_forms(house, "dips", tmp_path, shipment="S1")
    text = text_of(path.read_bytes())
    assert "S1-03: PALYTOXIN" in text
    assert text.count("Cover cuts. Wear long gloves.") == 1


def test_the_draw_is_printed_with_what_it_proves(
    house_at: Open, farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
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
    monkeypatch.setattr("intake.app.system_clock.now", lambda: house.now)
    words = ["print", "sample", "--batch", "S1-01", "--n", "7", "--seed", "x", "--out", str(tmp_path / "seven")]
    told = CliRunner().invoke(vatside, ["--farm", str(farm_folder), *words])
    assert told.exit_code == 0, told.output
    (by_command,) = (tmp_path / "seven").iterdir()
    (seven,) = print_forms(house, "sample", tmp_path / "called", batch="S1-01", animals=7, words="x")
    assert by_command.read_bytes() == seven.read_bytes() != path.read_bytes()


def test_the_history_tells_acts_in_words_with_their_box(house_at: Open, tmp_path: Path) -> None:
    """A supplier reads it: no ledger words, the box beside the dead, and what was taken back."""
    house = received(house_at)
    count_animals.count(house, "S1-01", "Q1", Count(doa=4, box="7"))
    told = count_animals.count(house, "S1-01", "Q1", Count(dead=2))
    count_animals.undo(house, told.keys[0], whole=True)
    (path,) = print_forms(house, "history", tmp_path, batch="S1-01")
    text = text_of(path.read_bytes())
    for words in ("came in", "dead on arrival", "box 7", "undone"):
        assert words in text
