"""The book holds together: pages, links, pictures, and nothing in it that points outside."""

import re
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType

import pytest

from tests.docs.conftest import DOCS


def test_book_builds_without_a_warning(build: ModuleType, tmp_path: Path) -> None:
    """Every link, heading and picture resolves, and every page can be reached from the first."""
    book = build.pages.read_book(DOCS)
    assert book.warnings == []
    written = {path.relative_to(tmp_path).as_posix() for path in build.pages.write_html(book, tmp_path)}
    assert {"index.html", "tutorial/first-farm.html", "reference/commands.html", "pictures/plan.png"} <= written


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("# A\n\n[x](gone.md)\n", "no such page or file"),
        ("# A\n\n[x](#gone)\n", "no such heading"),
        ("# A\n\n![](gone.png)\n", "no such page or file"),
        ("# A\n\n[x](https://example.org)\n", "outside itself"),
        ("# A\n\n[x](../../up.md)\n", "leads out"),
        ("no heading\n", "no title"),
    ],
)
def test_builder_sees_what_is_wrong(text: str, fault: str, build: ModuleType, tmp_path: Path) -> None:
    """The check must be able to fail."""
    (tmp_path / "index.md").write_text(text, encoding="utf-8")
    assert any(fault in warning for warning in build.pages.read_book(tmp_path).warnings)


def test_a_page_nobody_leads_to_is_a_warning(build: ModuleType, tmp_path: Path) -> None:
    """Pages get lost when a list is forgotten."""
    (tmp_path / "index.md").write_text("# A\n", encoding="utf-8")
    (tmp_path / "lost.md").write_text("# B\n", encoding="utf-8")
    assert build.pages.read_book(tmp_path).warnings == ["lost.md: no page leads to it"]


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.ids: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        self.ids.add(told.get("id") or "")
        for name in ("href", "src"):
            if told.get(name):
                self.found.append(str(told[name]))


def test_html_links_resolve_and_nothing_is_fetched(build: ModuleType, tmp_path: Path) -> None:
    """Looked at as a browser would, without trusting the builder's own check; no script, no address outside."""
    build.pages.write_html(build.pages.read_book(DOCS), tmp_path)
    seen = {path: _Links() for path in tmp_path.rglob("*.html")}
    for path, links in seen.items():
        text = path.read_text(encoding="utf-8")
        assert "<script" not in text
        links.feed(text)
    for path, links in seen.items():
        for link in links.found:
            name, _, anchor = link.partition("#")
            target = (path.parent / name).resolve() if name else path
            assert target.is_file(), f"{path.name}: {link}"
            if anchor:
                assert anchor in seen[target].ids, f"{path.name}: {link}"


def test_pictures_are_small_grey_and_described() -> None:
    """They are read on paper and over slow lines."""
    from PIL import Image

    for path in (DOCS / "pictures").glob("*.png"):
        assert path.stat().st_size <= 80_000, path.name
        with Image.open(path) as picture:
            red, green, blue = picture.convert("RGB").split()
            assert red.tobytes() == green.tobytes() == blue.tobytes(), path.name
    assert "<desc>" in (DOCS / "pictures" / "survival.svg").read_text(encoding="utf-8")


def test_pages_name_no_machine_and_no_host() -> None:
    """Only the addresses of the farm's own board may stand in an example."""
    allowed = re.compile(r"https?://(farm\.lan|127\.0\.0\.1|localhost)\b")
    for path in [*DOCS.rglob("*.md"), *DOCS.rglob("*.py")]:
        text = allowed.sub("", path.read_text(encoding="utf-8"))
        assert not re.search(r"https?://|/(?:home|tmp|root|work)/", text), path.relative_to(DOCS)


def test_commands_named_in_the_book_exist(build: ModuleType) -> None:
    """Every ``vatside …`` in a block or between backticks names a command, and options that it takes."""
    known = dict(build.commands.every_command())
    for path in sorted(DOCS.rglob("*.md")):
        text = path.read_text(encoding="utf-8")
        named = re.findall(r"`(vatside [^`\n]+)`", text)
        named += [line for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL) for line in block.split("\n")]
        for line in named:
            words = line.removeprefix(".venv/bin/").split()
            if words[:1] == ["vatside"] and "…" not in words[1] and words[1] not in ("COMMAND", "[OPTIONS]"):
                _known(words, known, f"{path.name}: {line}")


def _known(words: list[str], known: dict[str, object], where: str) -> None:
    while len(words) > 2 and words[1] in ("--farm", "--who", "FOLDER"):
        words = [words[0], *words[3:]]
    name = " ".join(words[:3]) if " ".join(words[:3]) in known else " ".join(words[:2])
    assert name in known or words[1].startswith("--"), where
    options = {opt for parameter in known.get(name, known["vatside"]).params for opt in parameter.opts}  # type: ignore[attr-defined]
    options |= {opt for parameter in known["vatside"].params for opt in parameter.opts}  # type: ignore[attr-defined]
    for word in words[1:]:
        option = word.split("=")[0]
        assert not option.startswith("--") or option in {*options, "--help"}, f"{where}: {option}"
