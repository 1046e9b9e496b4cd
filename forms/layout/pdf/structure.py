"""What a PDF says of its own structure: a tree of headings, paragraphs, tables and figures over the marks on its pages.

References
----------
Structure elements, marked content and the parent tree: ISO 32000-1, 14.6 to 14.8; what a reader aloud relies on:
ISO 14289-1 (PDF/UA-1).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from reportlab.lib.rl_accel import fp_str

__all__ = [
    "ARTIFACT",
    "COLUMN",
    "FOOTER",
    "GROUPS",
    "HEADER",
    "ROW",
    "Element",
    "Tree",
    "box_of",
    "text_string",
    "words_of",
]

GROUPS = frozenset({"Document", "Sect", "Table", "TR", "L", "LI"})
"""Elements that hold other elements only: words drawn in one of them become a paragraph of their own."""


@dataclass(slots=True, eq=False)
class Element:
    """One element: its kind, what replaces it for those who cannot see it, and what it holds in reading order.

    Attributes
    ----------
    kids
        Elements, ``(page, number)`` of marked content, and ``(page, name)`` of form fields, pages counted from 0.
    begin
        For what is no element, an artifact: the operator that opens it on a page.
    """

    kind: str
    parent: Element | None = None
    alt: str = ""
    more: str = ""
    key: object = None
    begin: str = ""
    kids: list[Element | tuple[int, int] | tuple[int, str]] = field(default_factory=list)

    def add(self, kind: str, *, alt: str = "", more: str = "", key: object = None) -> Element:
        """A new element at the end of this one."""
        made = Element(kind, self, alt, more, key)
        self.kids.append(made)
        return made


ARTIFACT = Element("Artifact", begin="/Artifact BMC")
"""Rules, frames and grounds: nothing to read."""
COLUMN, ROW = "/A<</O/Table/Scope/Column>>", "/A<</O/Table/Scope/Row>>"
"""What the head of a column and of a row say of their cells."""
HEADER = Element("Artifact", begin="/Artifact <</Type/Pagination/Subtype/Header>> BDC")
FOOTER = Element("Artifact", begin="/Artifact <</Type/Pagination/Subtype/Footer>> BDC")


def text_string(text: str) -> bytes:
    """A text string as in a PDF: plain where it is ASCII, UTF-16 otherwise (ISO 32000-1, 7.9.2.2)."""
    if text.isascii():
        return b"(" + text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)").encode() + b")"
    return b"<FEFF" + text.encode("utf-16-be", "replace").hex().encode() + b">"


@dataclass(slots=True)
class Tree:
    """The structure of one document.

    Attributes
    ----------
    root
        The document.
    marks
        Page → the element of each of its marks, in their order.
    fields
        Key of a form field in the parent tree → its element.
    """

    root: Element = field(default_factory=lambda: Element("Document"))
    marks: list[list[Element]] = field(default_factory=list)
    fields: dict[int, Element] = field(default_factory=dict)
    keys: int = 0

    def key(self) -> int:
        """A key of the parent tree that nothing else has."""
        self.keys += 1
        return self.keys - 1

    def objects(
        self, number: int, first: int, pages: list[tuple[int, int]], names: Mapping[str, int]
    ) -> Iterator[tuple[int, bytes]]:
        """Number and content of every object of the structure.

        Parameters
        ----------
        number
            Number of the root of the structure tree.
        first
            First number that is free.
        pages
            Object number and key in the parent tree of each page.
        names
            Name of a form field → number of its object.
        """
        _prune(self.root)
        elements = list(_within(self.root))
        numbers = {id(one): n for n, one in enumerate(elements, start=first)}
        tree = first + len(elements)
        parents: list[tuple[int, bytes]] = []
        for (_, key), marks in zip(pages, self.marks, strict=True):
            parents.append((key, b" ".join(b"%d 0 R" % numbers[id(one)] for one in marks)))
        arrays = {key: tree + 1 + n for n, (key, _) in enumerate(parents)}
        for one in elements:
            above = numbers[id(one.parent)] if one.parent is not None else number
            yield numbers[id(one)], _dictionary(one, above, numbers, pages, names)
        for key, words in parents:
            yield arrays[key], b"[" + words + b"]"
        refs = {**arrays, **{key: numbers[id(one)] for key, one in self.fields.items()}}
        yield tree, b"<</Nums[" + b" ".join(b"%d %d 0 R" % (key, refs[key]) for key in sorted(refs)) + b"]>>"
        yield (
            number,
            b"<</Type/StructTreeRoot/K %d 0 R/ParentTree %d 0 R/ParentTreeNextKey %d>>" % (first, tree, self.keys),
        )


_HOLLOW = frozenset({"P", "L", "LI", "Lbl", "LBody"})
"""Elements that say nothing where they hold nothing; an empty cell still is one of its row."""


def _prune(element: Element) -> bool:
    """Take out what holds nothing; True where something is left."""
    element.kids = [kid for kid in element.kids if not isinstance(kid, Element) or _prune(kid)]
    return bool(element.kids) or element.kind not in _HOLLOW


def _within(element: Element) -> Iterator[Element]:
    """The element and all below it, in reading order."""
    yield element
    for kid in element.kids:
        if isinstance(kid, Element):
            yield from _within(kid)


def _dictionary(
    one: Element, above: int, numbers: dict[int, int], pages: list[tuple[int, int]], names: Mapping[str, int]
) -> bytes:
    page = next((kid[0] for kid in one.kids if not isinstance(kid, Element)), None)
    kids = []
    for kid in one.kids:
        if isinstance(kid, Element):
            kids.append(b"%d 0 R" % numbers[id(kid)])
        elif isinstance(kid[1], str):
            kids.append(b"<</Type/OBJR/Pg %d 0 R/Obj %d 0 R>>" % (pages[kid[0]][0], names[kid[1]]))
        elif kid[0] == page:
            kids.append(b"%d" % kid[1])
        else:
            kids.append(b"<</Type/MCR/Pg %d 0 R/MCID %d>>" % (pages[kid[0]][0], kid[1]))
    parts = [b"<</S/%s/P %d 0 R" % (one.kind.encode(), above)]
    if page is not None:
        parts.append(b"/Pg %d 0 R" % pages[page][0])
    if kids:
        parts.append(b"/K " + kids[0] if len(kids) == 1 else b"/K[" + b" ".join(kids) + b"]")
    if one.alt:
        parts.append(b"/Alt" + text_string(one.alt))
    return b"".join((*parts, one.more.encode(), b">>"))


def box_of(corner: tuple[float, float], size: tuple[float, float]) -> str:
    """Where a figure stands, its lower left corner and size in points, as an attribute of its element."""
    x, y = corner
    return f"/A<</O/Layout/BBox[{fp_str(x, y, x + size[0], y + size[1])}]>>"


def words_of(lines: Iterable[str]) -> str:
    """Lines as the words of an alternative text, those that are empty left out."""
    return "; ".join(" ".join(line.split()) for line in lines if line.strip())
