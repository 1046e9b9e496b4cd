"""What is printed by a command is dated by its clock, and is the same bytes each time where that is asked for."""

from __future__ import annotations

import io
from datetime import timedelta
from pathlib import Path

from pypdf import PdfReader

from tests.cli.conftest import AT, Run

LATER = AT + timedelta(minutes=40)


def _printed(folder: Path) -> bytes:
    (one,) = folder.glob("*.pdf")
    return one.read_bytes()


def _differs(run: Run, folder: Path, *words: str) -> tuple[bytes, bytes]:
    """The same command at two moments."""
    found = []
    for number, at in enumerate((AT, LATER)):
        place = folder / f"{words[0]}-{len(words)}-{number}"
        made = run(*words, "--out", str(place), at=at)
        assert made.exit_code == 0, made.output
        found.append(_printed(place))
    return found[0], found[1]


def test_print_dates_a_file_by_its_clock(run: Run, stocked: Path, tmp_path: Path) -> None:
    """Labels of boxes, which say nothing of today, and the draft of a claim; not where the same bytes are asked for."""
    assert stocked.is_dir()
    boxes = ("print", "boxlabels", "--shipment", "S1")
    for words in (boxes, ("claim", "S1")):
        first, second = _differs(run, tmp_path, *words)
        about = PdfReader(io.BytesIO(second)).metadata
        assert about is not None
        assert about.creation_date == LATER
        assert first != second
    first, second = _differs(run, tmp_path, *boxes, "--reproducible")
    assert first == second


def test_a_paper_of_a_moment_is_dated_by_it(run: Run, stocked: Path, tmp_path: Path) -> None:
    """The history as of one moment is the same bytes whenever it is printed."""
    assert stocked.is_dir()
    then = (AT - timedelta(minutes=5)).isoformat(timespec="minutes")
    first, second = _differs(run, tmp_path, "print", "history", "--batch", "S1-01", "--at", then)
    assert first == second
