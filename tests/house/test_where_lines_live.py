"""A stranger's trial: the table of DEVELOPERS.md that says where a line lives is true of the tree."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ROWS = re.findall(
    r"^\| (.+?) \| `((?:intake|forms)/[^`]+\.py)` \|$", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.M
)

NEW_ROOMS = {"app", "cli", "plan", "demo", "board"}
"""Rooms whose names were made unique; the others follow as they are worked on."""


def test_the_table_names_twenty_lines() -> None:
    """Fewer would be no trial."""
    assert len(ROWS) >= 20


@pytest.mark.parametrize(("words", "module"), ROWS, ids=[module for _, module in ROWS])
def test_the_module_named_exists_and_says_so_first(words: str, module: str) -> None:
    """The word in bold stands in the first sentence of the module that the table names."""
    found = re.search(r"\*\*(.+?)\*\*", words)
    assert found, words
    said = ast.get_docstring(ast.parse((ROOT / module).read_text(encoding="utf-8"))) or ""
    assert found[1].lower() in said.split(".")[0].lower(), said


def test_no_file_name_stands_twice_unless_its_room_tells_them_apart() -> None:
    """Three files of one name were what strangers opened first and in vain; the same part of two rooms may share a name."""
    shared = {"problem.py", "framing.py", "solution.py", "solve.py", "relief.py", "capacity.py"}
    seen: dict[str, list[str]] = {}
    for top in ("intake", "forms"):
        for path in sorted((ROOT / top).rglob("*.py")):
            name = str(path.relative_to(ROOT))
            if top == "intake" and path.relative_to(ROOT).parts[1] not in NEW_ROOMS:
                continue
            if path.name not in {"__init__.py", "__main__.py"} | shared and "/pages/" not in name:
                seen.setdefault(path.name, []).append(name)
    assert not {name: places for name, places in seen.items() if len(places) > 1}


def test_no_folder_holds_more_than_fifteen_names() -> None:
    """A listing is read at a glance; packing and the pages of the board may keep their own."""
    full = {}
    for top in ("intake", "forms"):
        for folder in [ROOT / top, *(path for path in sorted((ROOT / top).rglob("*")) if path.is_dir())]:
            if folder.name in {"packing", "pages", "templates", "__pycache__", "intake"}:
                continue
            names = [one for one in folder.iterdir() if one.name not in {"__init__.py", "__pycache__"}]
            if len(names) > 15:
                full[str(folder.relative_to(ROOT))] = len(names)
    assert not full
