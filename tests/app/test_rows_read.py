"""What a count asks of the database does not grow with the books: steps of SQLite, as a ratio in one run."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.engine import Engine

from intake.app.commands import count_animals
from intake.app.commands.count_animals import Count
from intake.app.session import open_house
from tests.bench.ages import grown


class Steps:
    """Counts the steps of every SQLite connection made while it listens; a row read from a table takes several."""

    def __init__(self) -> None:
        self.taken = 0

    def _tick(self) -> int:
        self.taken += 10
        return 0

    def listen(self, connection: Any, _record: Any) -> None:
        """Begin with a new connection."""
        connection.set_progress_handler(self._tick, 10)


def steps_of_a_count(folder: Path, entries: int) -> int:
    """Steps from opening the farm to the count being saved, as a command does."""
    batch, vat = grown(folder, entries).split()
    steps = Steps()
    event.listen(Engine, "connect", steps.listen)
    try:
        house = open_house(folder)
        said = count_animals.count(house, batch, vat, Count(dead=1)).said
        house.books.close()
    finally:
        event.remove(Engine, "connect", steps.listen)
    assert any(batch in words for words in said)
    return steps.taken


@pytest.mark.slow
def test_a_count_reads_no_more_from_old_books(tmp_path: Path) -> None:
    """Of a hundred times the entries, at most twice the steps."""
    young = steps_of_a_count(tmp_path / "young", 1_000)
    old = steps_of_a_count(tmp_path / "old", 100_000)
    assert 0 < old <= 2 * young, (young, old)
