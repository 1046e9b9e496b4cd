"""Backups the server makes by itself: when they are due, that they can be restored, and that the board goes on without."""

from __future__ import annotations

import threading
from datetime import timedelta
from pathlib import Path

import pytest

from intake.app.backups.farm_archive import archives, unpack_farm
from intake.app.backups.scheduled import Due, make_due
from intake.app.commands import count_animals
from intake.app.commands.count_animals import Count
from intake.app.session import open_house
from intake.board.background_jobs import Regular
from intake.errors import Finding, StoreTrouble
from tests.app.deliveries import LANDED, Open, received

LATER = LANDED + timedelta(hours=5)


def counted(house_at: Open, hours: float) -> None:
    """Something is recorded."""
    house = house_at(LATER + timedelta(hours=hours))
    count_animals.count(house, "S1-01", "Q1", Count(dead=1))
    house.books.close()


def test_the_ledger_is_copied_each_hour_with_an_entry_and_the_farm_each_day(
    house_at: Open, farm_folder: Path, tmp_path: Path
) -> None:
    """The first is whole; an hour in which nothing was recorded makes none; the next day's goes on from the first."""
    received(house_at).books.close()
    due = Due()

    def at(hours: float) -> list[str]:
        return [
            words.rsplit("/", 1)[-1].split("-")[0]
            for words in make_due(farm_folder, LATER + timedelta(hours=hours), due)
        ]

    assert at(0) == ["farm"]
    assert at(0.1) == []
    assert at(2) == []
    counted(house_at, 2.1)
    assert at(2.2) == ["books"]
    counted(house_at, 2.3)
    assert at(2.4) == []
    assert at(3.3) == ["books"]
    assert at(23) == []
    assert at(24.1) == ["farm"]
    assert len(archives(farm_folder)) == 2
    new = tmp_path / "new"
    told = unpack_farm(max(archives(farm_folder).items())[1], new)
    with open_house(new, now=LATER + timedelta(hours=30)).books as books:
        assert len(books.entries()) == told["entries"]


def test_an_archive_under_another_passphrase_does_not_stop_the_next(house_at: Open, farm_folder: Path) -> None:
    """It cannot go on from what it cannot read: it holds everything itself, and says what it did not look at."""
    pytest.importorskip("cryptography")
    received(house_at).books.close()
    make_due(farm_folder, LATER, Due(), passphrase="the first words")
    said = make_due(farm_folder, LATER + timedelta(days=2), Due(), passphrase="other words now")
    assert "the whole farm" in said[0]
    assert any("No archive was deleted" in words for words in said)
    assert len(archives(farm_folder)) == 2


@pytest.mark.parametrize("trouble", [StoreTrouble, RuntimeError])
def test_a_backup_that_fails_is_tried_again(trouble: type[Exception], caplog: pytest.LogCaptureFixture) -> None:
    """It is written to the log, and the next look makes it."""
    turns: list[int] = []
    made = threading.Event()

    def act() -> tuple[str, ...]:
        turns.append(1)
        if len(turns) == 1:
            raise trouble("no room") if trouble is RuntimeError else failing()
        made.set()
        return ("copied",)

    regular = Regular("backup", act, 0.01)
    with caplog.at_level("INFO", logger="vatside.board"):
        regular.start()
        assert made.wait(10)
        regular.stop()
    assert "backup" in caplog.text
    assert "copied" in caplog.text


def test_the_same_trouble_is_told_once(caplog: pytest.LogCaptureFixture) -> None:
    """A disk that stays full for a night is one line of the log, and another one when it fills again."""
    turns: list[int] = []
    over = threading.Event()

    def act() -> tuple[str, ...]:
        turns.append(1)
        if len(turns) > 6:
            over.set()
        elif len(turns) != 4:  # free for a moment
            raise failing()
        return ()

    regular = Regular("backup", act, 0.01)
    with caplog.at_level("INFO", logger="vatside.board"):
        regular.start()
        assert over.wait(10)
        regular.stop()
    assert [record.levelname for record in caplog.records] == ["ERROR", "ERROR"]


def failing() -> Exception:
    """A disk without room, as the store reports it."""
    return StoreTrouble(Finding("backups", "no room", "free disk space"))
