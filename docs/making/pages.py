"""The book as pages: links and pictures checked, and plain HTML made of it, with nothing fetched when it is read."""

# ruff: noqa: TID251  # the book's own tools may open files

from __future__ import annotations

import html
import re
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import unquote

from markdown_it import MarkdownIt
from markdown_it.token import Token

from making.markdown import heading_slug

__all__ = ["Book", "Page", "read_book", "write_html"]

_OUTSIDE = re.compile(r"^[a-z][a-z0-9+.-]*:", re.IGNORECASE)

_STYLE = """
body { margin: 0; font: 1rem/1.55 Georgia, serif; color: #111; background: #fff; }
div.page { display: flex; flex-wrap: wrap; max-width: 76rem; margin: 0 auto; }
nav { flex: 0 0 15rem; padding: 1.5rem 1rem; font-size: .9rem; }
nav ul { list-style: none; padding: 0; margin: 0 0 1rem; }
nav [aria-current] { font-weight: bold; }
main { flex: 1 1 34rem; min-width: 0; padding: 1.5rem 1rem 4rem; }
pre, code { font-family: "DejaVu Sans Mono", monospace; font-size: .85em; }
pre { overflow-x: auto; padding: .7rem; border: 1px solid #999; line-height: 1.35; }
table { border-collapse: collapse; display: block; overflow-x: auto; font-size: .9rem; }
th, td { border: 1px solid #bbb; padding: .25rem .5rem; text-align: left; vertical-align: top; }
img { max-width: 100%; height: auto; border: 1px solid #bbb; }
blockquote { margin: 0; padding-left: 1rem; border-left: 3px solid #777; }
@media print { nav { display: none; } }
"""

_FRAME = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
<div class="page">
<nav>{nav}</nav>
<main>
{body}
</main>
</div>
</body>
</html>
"""


@dataclass(slots=True)
class Page:
    """One page: its path below docs/, its words as tokens, its title, anchors and links (line, target)."""

    path: str
    tokens: list[Token]
    title: str = ""
    anchors: set[str] = field(default_factory=set)
    links: list[tuple[int, str]] = field(default_factory=list)


@dataclass(slots=True)
class Book:
    """All pages by path, the order in which they are read, and every fault found."""

    folder: Path
    pages: dict[str, Page]
    order: list[str]
    warnings: list[str]


def _markdown() -> MarkdownIt:
    return MarkdownIt("commonmark", {"html": False}).enable("table")


def read_book(folder: Path) -> Book:
    """Read every page below a folder and check it: one title each, links and pictures that resolve, no page lost."""
    pages = {}
    for path in sorted(folder.rglob("*.md")):
        name = path.relative_to(folder).as_posix()
        pages[name] = _page(name, path.read_text(encoding="utf-8"))
    book = Book(folder, pages, [], [])
    for page in pages.values():
        if not page.title:
            book.warnings.append(f"{page.path}: no title")
        for line, target in page.links:
            fault = _fault(book, page, target)
            if fault:
                book.warnings.append(f"{page.path}:{line}: {target}: {fault}")
    book.order = _reading_order(book)
    book.warnings += [f"{name}: no page leads to it" for name in sorted(set(pages) - set(book.order))]
    return book


def _page(name: str, text: str) -> Page:
    clean = re.sub(r"^<!--.*?-->\n", "", text, flags=re.MULTILINE | re.DOTALL)
    page = Page(name, _markdown().parse(clean))
    for number, token in enumerate(page.tokens):
        if token.type == "heading_open":
            words = "".join(child.content for child in page.tokens[number + 1].children or [] if child.content)
            anchor = heading_slug(words)
            while anchor in page.anchors:
                anchor += "-again"
            page.anchors.add(anchor)
            token.attrSet("id", anchor)
            if token.tag == "h1":
                page.title = page.title or words
        for child in token.children or []:
            target = child.attrGet("href") if child.type == "link_open" else None
            target = child.attrGet("src") if child.type == "image" else target
            if target is not None:
                page.links.append(((token.map or [0])[0] + 1, str(target)))
            if child.type == "image" and not child.content:
                page.links.append(((token.map or [0])[0] + 1, "picture without words"))
    return page


def _resolved(page: Page, target: str) -> tuple[str, str]:
    path, _, anchor = unquote(target).partition("#")
    if not path:
        return page.path, anchor
    parts: list[str] = []
    for part in [*page.path.split("/")[:-1], *path.split("/")]:
        if part == ".." and parts and parts[-1] != "..":
            parts.pop()
        elif part != ".":
            parts.append(part)
    return "/".join(parts), anchor


def _fault(book: Book, page: Page, target: str) -> str:
    if _OUTSIDE.match(target):
        return "the book links to nothing outside itself"
    path, anchor = _resolved(page, target)
    if path.startswith(".."):
        return "leads out of the book"
    if path in book.pages:
        return "" if not anchor or anchor in book.pages[path].anchors else "no such heading"
    return "" if (book.folder / path).is_file() else "no such page or file"


def _reading_order(book: Book) -> list[str]:
    """Pages in the order in which links lead to them from index.md."""
    order: list[str] = []
    waiting = ["index.md"] if "index.md" in book.pages else []
    while waiting:
        name = waiting.pop(0)
        if name not in order:
            order.append(name)
            page = book.pages[name]
            waiting += [path for _, link in page.links if (path := _resolved(page, link)[0]) in book.pages]
    return order


def write_html(book: Book, target: Path) -> list[Path]:
    """Write the book as HTML files into a folder, pictures beside them."""
    written = []
    for name in book.order:
        page = book.pages[name]
        for token in page.tokens:
            for child in token.children or []:
                href = str(child.attrGet("href") or "")
                if child.type == "link_open" and not _OUTSIDE.match(href):
                    child.attrSet("href", re.sub(r"\.md(?=#|$)", ".html", href))
        renderer = _markdown()
        body = renderer.renderer.render(page.tokens, renderer.options, {})
        text = _FRAME.format(title=html.escape(page.title), style=_STYLE, nav=_nav(book, name), body=body)
        path = target / Path(name).with_suffix(".html")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        written.append(path)
    for name in sorted({_resolved(page, link)[0] for page in book.pages.values() for _, link in page.links}):
        if name not in book.pages and (book.folder / name).is_file():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            written.append(Path(shutil.copyfile(book.folder / name, target / name)))
    return written


def _nav(book: Book, here: str) -> str:
    up = "../" * here.count("/")
    shelves: dict[str, list[str]] = {}
    for name in book.order:
        shelves.setdefault(name.split("/")[0] if "/" in name else "", []).append(name)
    parts = []
    for shelf, names in shelves.items():
        heading = f"<p>{html.escape(shelf.replace('-', ' '))}</p>" if shelf else ""
        items = "".join(
            f'<li><a href="{up}{Path(name).with_suffix(".html").as_posix()}"{" aria-current=page" if name == here else ""}>'
            f"{html.escape(book.pages[name].title)}</a></li>"
            for name in names
        )
        parts.append(f"{heading}<ul>{items}</ul>")
    return "".join(parts)
