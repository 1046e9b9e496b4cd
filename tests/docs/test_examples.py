"""What the book shows on a terminal is what the commands print."""

from pathlib import Path
from types import ModuleType

import pytest

from tests.docs.conftest import DOCS

PAGES = sorted(
    path.relative_to(DOCS).as_posix()
    for path in DOCS.rglob("*.md")
    if "\n```console\n" in path.read_text(encoding="utf-8") and path.parent.name != "tutorial"
)


def test_the_tutorial_prints_what_it_shows(tutorial):  # type: ignore[no-untyped-def]
    """A stranger's first hour must work word for word: every command of the path is in it and none is skipped."""
    assert not tutorial.mismatches, "\n\n".join(map(str, tutorial.mismatches))
    told = {command.split()[1] for command in tutorial.ran}
    assert {"init", "check", "stock", "expect", "plan", "timetable", "feed", "receive", "count", "claim"} <= told


@pytest.mark.parametrize("page", PAGES)
def test_how_to_pages_print_what_they_show(page: str, build: ModuleType, tutorial, tmp_path: Path):  # type: ignore[no-untyped-def]
    """Each page is carried out in a folder of its own, from nothing or from the tutorial's farm."""
    session = build.examples.run_page(DOCS / page, tmp_path, tutorial)
    assert session.ran, "the page shows no command"
    assert not session.mismatches, "\n\n".join(map(str, session.mismatches))


@pytest.mark.parametrize(
    ("shown", "printed", "same"),
    [
        (("a  b", "──"), ("a b", "─────"), True),
        (("a",), ("a", "b"), False),
        (("a", "b"), ("a",), False),
        (("a", "[…]", "d"), ("a", "b", "c", "d"), True),
        (("a", "[…]", "d"), ("a", "b", "c"), False),
        (("12 animals",), ("13 animals",), False),
        (("id […] made",), ("id f3 made",), True),
        ((), ("said something",), False),
    ],
)
def test_comparison_forgives_spacing_and_nothing_else(
    shown: tuple[str, ...], printed: tuple[str, ...], same: bool, build: ModuleType
) -> None:
    """The comparison must be able to fail: a missing line, a further line, another number."""
    assert build.examples.matches(shown, printed) is same


def test_another_exit_code_is_a_mismatch(build: ModuleType, tmp_path: Path) -> None:
    """A page that shows a refusal as if it had worked is wrong even where the words agree."""
    page = tmp_path / "page.md"
    page.write_text("\n```console\n$ vatside --farm nowhere check\n[…]\n```\n", encoding="utf-8")
    session = build.examples.run_page(page, tmp_path)
    assert [one.code for one in session.mismatches] == [2]
