"""The reference says what the code does, all of it, and nothing that is gone."""

from types import ModuleType

import pytest

from tests.docs.conftest import DOCS

RECORDING = {
    "backup",
    "restore",
    "transfer",
    "clock",
    "readings", "scan",
    "close", "open",
    "history",
    "calendar",
    "shipments cancel",
    "undo",
    "rebook",
    "replumb", "carried",
    "stock", "clear", "amend", "feed", "receive", "count", "done", "finding", "reading", "move", "cut", "clean", "hold", "order",
    "print",
}  # fmt: skip
"""Commands that write something; their answer says what was written."""

RENEW = "run `python docs/build.py` and read what changed"


def _page(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


def test_generated_pages_are_current(build: ModuleType) -> None:
    """Made twice the same, and the same as what is kept."""
    for name, make in build.FIXED.items():
        made = make()
        assert made == make(), f"{name} is made differently each time"
        assert _page(name) == made, f"{name}: {RENEW}"


def test_json_answers_are_current(build: ModuleType, tutorial, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Keys that scripts rely on do not change unseen."""
    assert _page(build.ANSWERS) == build.answers.answers_page(tutorial.copied("answers", tmp_path)), RENEW


def test_every_command_and_option_is_documented(build: ModuleType) -> None:
    """Also those inside groups, each with an example."""
    text = _page("reference/commands.md")
    for words, command in build.commands.every_command():
        start = text.index(f"\n## {words}\n")
        section = text[start : text.find("\n## ", start + 1)]
        assert words == "vatside" or "```sh\nvatside" in section, f"{words} has no example"
        for parameter in command.params:
            for name in getattr(parameter, "opts", ()):
                assert name in section or name.upper() in section, f"{words} {name}"


def test_every_command_that_reads_has_its_answer_documented(build: ModuleType) -> None:
    """A command with --json that only reads is asked for its answer; those that record are named here."""
    asked = {tuple(words.split()) for words, _ in build.answers.ASKED}
    for words, command in build.commands.every_command():
        if any("--json" in getattr(parameter, "opts", ()) for parameter in command.params):
            name = tuple(words.split()[1:])
            assert {name[0], " ".join(name)} & RECORDING or any(one[: len(name)] == name for one in asked), words


def test_every_key_of_the_farm_file_is_documented(build: ModuleType) -> None:
    """With a meaning; and the word list holds no meaning that nobody needs."""
    text = _page("reference/farm-file.md")
    for table, key, *_, meaning in build.settings.farm_keys():
        section = text[text.index(f"\n## [{table}]\n") :]
        assert f"| `{key}` |" in section, f"{table}.{key}"
        assert meaning, f"{table}.{key} has no meaning: give it one in its docstring"
    assert build.settings.stale_words() == []


def test_every_error_is_documented(build: ModuleType) -> None:
    """Every class that errors.py exports except the finding itself; its two functions put words together."""
    from intake import errors

    text = _page("reference/errors.md")
    named = {error.__name__ for error in build.intake_pages.every_error()}
    classes = {name for name in errors.__all__ if isinstance(getattr(errors, name), type)}
    assert classes == set(errors.__all__) - {"many_of", "quoted"}
    assert named == classes - {"Finding"}
    assert all(f"| `{name}` |" in text for name in named)


@pytest.mark.parametrize("page", ["groups", "dips", "pests"])
def test_every_library_entry_is_documented(page: str) -> None:
    """And each value without a published source is marked."""
    from intake.library import load

    text = _page(f"reference/{page}.md")
    for identity in getattr(load(), page):
        assert f"\n## {identity}\n" in text
    assert "†" in text


def test_unsourced_figures_are_marked_and_sourced_ones_are_not() -> None:
    """The mark must follow the evidence word in each row of the groups."""
    rows = [line.split(" | ") for line in _page("reference/groups.md").split("\n") if line.count(" | ") == 3]
    rows = [row for row in rows if row[2] in {"published", "derived", "recomputed", "practice", "memory", "default"}]
    assert len(rows) > 200
    for row in rows:
        assert row[1].endswith("†") == (row[2] in {"practice", "memory", "default"}), row


def test_prescription_baths_show_no_dose() -> None:
    """The page may never print a strength or minutes for them."""
    text = _page("reference/dips.md")
    sections = [section for section in text.split("\n## ")[1:] if "| `prescription` | yes |" in section]
    assert sections
    for section in sections:
        assert "| `strength` |" not in section
        assert "| `contact_m" not in section


def test_every_dependency_is_accounted_for() -> None:
    """Each direct dependency stands in the table, and nothing stands there that is not one."""
    import re
    import tomllib

    project = tomllib.loads((DOCS.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lists = [project["dependencies"], *project["optional-dependencies"].values()]
    direct = {re.match(r"[\w.-]+", one)[0].lower() for names in lists for one in names}  # type: ignore[index]
    rows = re.findall(r"^\| ([\w.-]+) \|", _page("dependencies.md"), re.MULTILINE)
    told = {name.lower() for name in rows} - {"package"}
    assert direct - told == set()
    assert told - direct - {"markdown-it-py"} == set()


def test_farm_folder_page_names_what_init_writes(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """A stranger who looks into the folder finds everything explained."""
    from intake.app.farm_folder import init

    text = _page("reference/farm-folder.md")
    init(tmp_path / "farm")
    for path in (tmp_path / "farm").rglob("*"):
        name = path.relative_to(tmp_path / "farm").as_posix()
        assert f"`{name}{'/' if path.is_dir() else ''}" in text, name
