"""A canvas on which nothing is drawn untagged: words stand in an element, all else in a figure or in an artifact."""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import Any

from reportlab import rl_config
from reportlab.pdfbase import pdfdoc
from reportlab.pdfbase.pdfmetrics import getFont, stringWidth
from reportlab.pdfgen.canvas import Canvas

from forms.layout.lettering import REGULAR, clean, load_faces, unprintable
from forms.layout.pdf.file import file_of, objects_of, sound_map
from forms.layout.pdf.metadata import About
from forms.layout.pdf.structure import ARTIFACT, COLUMN, GROUPS, ROW, Element, Tree, box_of, words_of
from forms.layout.speech import ENGLISH, Speech

__all__ = ["PaperError", "TaggedCanvas", "document"]


class PaperError(ValueError):
    """Content or a size that cannot be put on paper; the message says what and what would do."""


class _Within:
    """Draws into an element while it lasts."""

    __slots__ = ("before", "canvas", "element")

    def __init__(self, canvas: TaggedCanvas, element: Element) -> None:
        self.canvas, self.element = canvas, element

    def __enter__(self) -> Element:
        self.before, self.canvas.here = self.canvas.here, self.element
        return self.element

    def __exit__(self, *error: object) -> None:
        self.canvas.here = self.before


class TaggedCanvas(Canvas):
    """A canvas that knows the element it draws into, and refuses to be saved with an empty box on it.

    Attributes
    ----------
    tree
        The structure of the document so far.
    here
        The element that is drawn into.
    form
        What the fields of the document have in common, once there is one.
    """

    def __init__(self, file: io.BytesIO, size: tuple[float, float], language: str) -> None:
        self.tree = Tree()
        self.here = self.tree.root
        self._at: Element | None = None
        self._marks: list[Element] = []
        self._keys: list[int] = []
        self.missing: dict[str, str] = {}
        self.form: Any = None
        self._texts: dict[tuple[str, str, float], str] = {}
        self._pens: list[float | None] = [None, None, None]
        # An own first face: the stock one is not embedded.
        options: dict[str, Any] = {"invariant": 1, "pageCompression": 1, "lang": language, "initialFontName": REGULAR}
        super().__init__(file, pagesize=size, **options)
        self._code: list[str]
        self._doc: Any
        self.setViewerPreference("DisplayDocTitle", "true")

    # Elements

    def tag(self, kind: str, *, alt: str = "", more: str = "") -> _Within:
        """Draw into a new element of this kind; what stands in an artifact stays there."""
        here = self.here
        return _Within(self, here if here.begin else here.add(kind, alt=alt, more=more))

    def within(self, element: Element) -> _Within:
        """Draw into an element that is there already."""
        return _Within(self, element)

    def part(self, kind: str) -> _Within:
        """Draw into the label or the body of an item of a list; go on in whatever else is drawn."""
        here = self.here
        return _Within(self, here.add(kind) if here.kind == "LI" else here)

    def paragraph(self) -> _Within:
        """Draw into a new paragraph, or go on in the cell, heading or figure that is drawn already."""
        here = self.here
        return _Within(self, here.add("P") if here.kind in GROUPS else here)

    def figure(self, alt: str, corner: tuple[float, float], size: tuple[float, float]) -> _Within:
        """Draw a figure, `alt` what it says to those who cannot see it, into a rectangle in points."""
        return self.tag("Figure", alt=words_of((alt,)), more=box_of(corner, size))

    def artifact(self, kind: Element = ARTIFACT) -> _Within:
        """Draw what is not read: rules, frames, and what every page repeats."""
        return _Within(self, kind)

    def table(self, key: object) -> _Within:
        """Draw into a table: the one drawn last if it has the same key, so that it goes on over pages."""
        return self._again("Table", key)

    def list_of(self, key: object) -> _Within:
        """Draw into a list: the one drawn last if it has the same key."""
        return self._again("L", key)

    def _again(self, kind: str, key: object) -> _Within:
        here = self.here
        last = here.kids[-1] if here.kids else None
        if isinstance(last, Element) and last.kind == kind and last.key is key:
            return _Within(self, last)
        return _Within(self, here if here.begin else here.add(kind, key=key))

    def head_row(self) -> _Within:
        """Draw the heads of a table's columns: a row of it the first time, an artifact when they are repeated."""
        return self.artifact() if self.here.kids else self.tag("TR")

    def column_head(self) -> _Within:
        """Draw the head of a column."""
        return self.tag("TH", more=COLUMN)

    def row_head(self) -> _Within:
        """Draw the head of a row."""
        return self.tag("TH", more=ROW)

    def _mark(self, wanted: Element) -> None:
        """See that what is drawn next stands in the marks of an element."""
        if self._at is wanted:
            return
        code = self._code
        if self._at is not None:
            code.append("EMC")
        self._at = wanted
        if wanted.begin:
            code.append(wanted.begin)
            return
        number = len(self._marks)
        self._marks.append(wanted)
        wanted.kids.append((len(self.tree.marks), number))
        code.append(f"/{wanted.kind} <</MCID {number}>> BDC")

    def _ink(self) -> None:
        here = self.here
        self._mark(here if here.begin or here.kind == "Figure" else ARTIFACT)

    # What is drawn

    # Numbers are written here as fine as the library writes them: its own way of writing them took a third of the time.

    def drawString(self, x: float, y: float, text: str, *args: Any, **kwargs: Any) -> None:  # noqa: ARG002, N802  # the library's name
        """Draw one line into the element that is open, or into a paragraph; remember its characters without a form."""
        state = self.__dict__
        face = str(state["_fontname"])
        missing = unprintable(text, face)
        if missing:
            self.missing.update(dict.fromkeys(sorted(missing), text))
        here = self.here
        self._mark(here.add("P") if here.kind in GROUPS else here)
        self._code.append(f"BT 1 0 0 1 {_n(x)} {_n(y)} Tm {self._shown(text, face, float(state['_fontsize']))} T* ET")

    def _shown(self, text: str, face: str, size: float) -> str:
        """Operators that show a text in the subsets of a face that hold its characters."""
        key = (text, face, size)
        if key not in self._texts:
            font: Any = getFont(face)
            parts = []
            for subset, codes in font.splitString(f"{text} ", self._doc):  # the space parts it from what is read next
                name = font.getSubsetInternalName(subset, self._doc)
                parts.append(f"{name} {_n(size)} Tf {_n(1.2 * size)} TL ({_escaped(codes)}) Tj")
            self._texts[key] = " ".join(parts)
        return self._texts[key]

    def drawCentredString(self, x: float, y: float, text: str, *args: Any, **kwargs: Any) -> None:  # noqa: N802
        """Draw one line around its middle."""
        self.drawString(x - 0.5 * self._wide(text), y, text, *args, **kwargs)

    def drawRightString(self, x: float, y: float, text: str, *args: Any, **kwargs: Any) -> None:  # noqa: N802
        """Draw one line to its right end."""
        self.drawString(x - self._wide(text), y, text, *args, **kwargs)

    def _wide(self, text: str) -> float:
        return stringWidth(text, str(self.__dict__["_fontname"]), float(self.__dict__["_fontsize"]))

    def line(self, x1: float, y1: float, x2: float, y2: float) -> None:
        """Draw a line."""
        self._ink()
        self._code.append(f"n {_n(x1)} {_n(y1)} m {_n(x2)} {_n(y2)} l S")

    def rect(self, x: float, y: float, width: float, height: float, stroke: float = 1, fill: float = 0) -> None:
        """Draw a rectangle."""
        self._ink()
        paint = ("B*" if fill else "S") if stroke else ("f*" if fill else "n")
        self._code.append(f"n {_n(x)} {_n(y)} {_n(width)} {_n(height)} re {paint}")

    def black(self, rectangles: Iterable[tuple[float, float, float, float]]) -> None:
        """Fill rectangles, each by its lower left corner, width and height, in black."""
        self.setFillGray(0)
        self._ink()
        self._code.append("\n".join(f"{_n(x)} {_n(y)} {_n(wide)} {_n(tall)} re" for x, y, wide, tall in rectangles))
        self._code.append("f*")

    def setFillGray(self, gray: float, alpha: float | None = None) -> None:  # noqa: ARG002, N802
        """Fill in a grey from now on, 0 for black."""
        if gray != self._pens[0]:
            self._pens[0] = gray
            self._code.append(f"{_n(gray)} g")

    def setStrokeGray(self, gray: float, alpha: float | None = None) -> None:  # noqa: ARG002, N802
        """Draw lines in a grey from now on, 0 for black."""
        if gray != self._pens[1]:
            self._pens[1] = gray
            self._code.append(f"{_n(gray)} G")

    def setLineWidth(self, width: float) -> None:  # noqa: N802
        """Draw lines of a weight in points from now on."""
        if width != self._pens[2]:
            self._pens[2] = width
            self._code.append(f"{_n(width)} w")

    def restoreState(self) -> None:  # noqa: N802
        """Go back to the state saved last; greys and weights are then said anew."""
        super().restoreState()
        self._pens = [None, None, None]

    def ellipse(self, *args: Any, **kwargs: Any) -> None:
        """Draw an ellipse or a circle."""
        self._ink()
        super().ellipse(*args, **kwargs)

    def drawPath(self, *args: Any, **kwargs: Any) -> None:  # noqa: N802
        """Draw a path."""
        self._ink()
        super().drawPath(*args, **kwargs)

    def clipPath(self, *args: Any, **kwargs: Any) -> None:  # noqa: N802
        """Clip to a path."""
        self._ink()
        super().clipPath(*args, **kwargs)

    def drawImage(self, *args: Any, **kwargs: Any) -> Any:  # noqa: N802
        """Draw an image."""
        self._ink()
        return super().drawImage(*args, **kwargs)

    # Fields

    def annotate(self, name: str, widget: pdfdoc.PDFDictionary) -> None:
        """Place a form field: an element of its own in the one that is drawn, in the order of drawing."""
        key = self.tree.key()
        widget["StructParent"] = key
        above: Element = self.here
        if above.begin or above.kind == "Figure":
            above = above.parent or self.tree.root
        made = above.add("Form")
        made.kids.append((len(self.tree.marks), name))
        self.tree.fields[key] = made
        add: Any = getattr(self, "_addAnnotation")  # noqa: B009  # the library's own way in, unknown to its stubs
        add(widget, name)

    # Pages and the file

    def showPage(self) -> None:  # noqa: N802
        """End the page and its marks."""
        if self._at is not None:
            self._code.append("EMC")
            self._at = None
        super().showPage()
        self.tree.marks.append(self._marks)
        self._marks, self._pens = [], [None, None, None]

    def _setAnnotations(self, page: Any) -> None:  # noqa: N802
        """Say on the page how it stands in the structure, and that fields are walked in its order."""
        self._keys.append(self.tree.key())
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents, page.Tabs = self._keys[-1], "/S"
        page.Annots = self.__dict__["_annotationrefs"]

    def save(self) -> None:
        """Write the document.

        Raises
        ------
        PaperError
            Naming the characters that would have come out as empty boxes, and the first line they stand in.
        """
        if self.missing:
            raise PaperError(_refusal(self.missing))
        if self._code:
            self.showPage()
        doc = self._doc
        catalog: Any = doc.Catalog
        about: Any = About(doc.info)
        doc.info = about
        catalog.MarkInfo, catalog.StructTreeRoot = pdfdoc.PDFDictionary({"Marked": "true"}), pdfdoc.PDFDictionary()
        catalog.Metadata = about.packet()
        for face in doc.delayedFonts:
            face.addObjects(doc)
        for name, one in doc.idToObject.items():
            if name.startswith("toUnicodeCMap:"):
                one.content = sound_map(one.content)
        for one in (catalog, about):
            doc.Reference(one)
        doc.Outlines.prepare(doc, self)
        if doc.Outlines.ready < 0:
            catalog.Outlines = None
        objects = objects_of(doc)
        number = {name: n for name, (n, _) in doc.idToObjectNumberAndVersion.items()}
        pages = [(number[f"Page{n}"], key) for n, key in enumerate(self._keys, start=1)]
        fields = {name.removeprefix("Annot."): n for name, n in number.items() if name.startswith("Annot.")}
        root = number[catalog.StructTreeRoot.__InternalName__]
        objects.update(self.tree.objects(root, len(objects) + 1, pages, fields))
        out: io.BytesIO = self.__dict__["_filename"]
        out.write(file_of(objects.items(), *(number[one.__InternalName__] for one in (catalog, about))))


def _n(value: float) -> str:
    """A number as on a page: seven digits, as many as the library writes; never with an exponent."""
    told = f"{value:.7g}"
    return told if "e" not in told else f"{value:.6f}"


def _escaped(codes: bytes) -> str:
    """Codes as they stand in a string of a page."""
    told = codes.decode("latin-1").replace("\\", "\\\\").replace("(", r"\(").replace(")", r"\)")
    if codes.isascii() and told.isprintable():
        return told
    return "".join(one if " " <= one <= "~" else f"\\{ord(one):03o}" for one in told)


def _refusal(missing: dict[str, str]) -> str:
    names = ", ".join(f"{one} (U+{ord(one):04X})" for one in list(missing)[:12])
    more = f" and {len(missing) - 12} more" if len(missing) > 12 else ""
    line = next(iter(missing.values()))
    return f"{names}{more} cannot be printed: the embedded faces hold Latin, Greek and Cyrillic; in “{line[:60]}”"


def document(
    size: tuple[float, float], title: str, author: str = "", language: Speech = ENGLISH
) -> tuple[TaggedCanvas, io.BytesIO]:
    """An empty document whose bytes depend on its content and the moment of printing; no author but the farm."""
    load_faces()
    rl_config.useA85 = (
        0  # streams as bytes: text armour is written in Python, a tenth of the time and a fifth of the file
    )
    buffer = io.BytesIO()
    canvas = TaggedCanvas(buffer, size, language.code)
    canvas.setTitle(clean(title))
    canvas.setAuthor(clean(author))
    canvas.setCreator("Vatside")
    return canvas, buffer
