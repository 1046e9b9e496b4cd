"""Form fields of a PDF with the look of the paper: text, boxes to tick, rings of which one is chosen; the face embedded.

References
----------
Interactive forms and their appearances: ISO 32000-1, 12.7; faces by WinAnsiEncoding: annex D.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any, Final

from reportlab.lib.rl_accel import fp_str
from reportlab.pdfbase import pdfdoc
from reportlab.pdfbase.pdfmetrics import stringWidth

from forms.layout.lettering import NARROW
from forms.layout.pdf.canvas import TaggedCanvas
from forms.layout.pdf.structure import text_string

__all__ = ["choice_field", "text_field", "tick_field"]

Corner = tuple[float, float]
_FACE: Final = "DejaVuSansCondensed-Fields.ttf"
"""DejaVu Sans Condensed cut to the characters of WinAnsiEncoding, so that what is typed shows without any other face."""
_LONGEST: Final = 100
_RADIO: Final = 1 << 15
_SET: Final = frozenset(range(32, 256)) - {127, 129, 141, 143, 144, 157}
_CURVE: Final = 0.5523
"""Handle of the curve nearest to a quarter of a circle, as a share of the radius."""


def text_field(canvas: TaggedCanvas, name: str, told: str, corner: Corner, size: Corner) -> None:
    """A line to type in; `told` is what a reader of the form hears."""
    points = min(11.0, size[1] * 0.6)
    look = _look(canvas, size, "/Tx BMC EMC")
    more = {
        "FT": "/Tx", "V": "()", "DA": text_string(f"/Fields {fp_str(points)} Tf 0 g"), "MaxLen": _LONGEST,
        "AP": pdfdoc.PDFDictionary({"N": look}), "MK": pdfdoc.PDFDictionary({}),
    }  # fmt: skip
    _place(canvas, name, told, corner, size, more)


def tick_field(
    canvas: TaggedCanvas, name: str, told: str, corner: Corner, side: float, *, ticked: bool, edge: float
) -> None:
    """A box to tick; `edge` is the weight of the frame it draws, 0 where one is drawn already."""
    frame = f"{fp_str(edge)} w {fp_str(edge / 2, edge / 2, side - edge, side - edge)} re S " if edge else ""
    strokes = ((0.2, 0.5), (0.42, 0.22), (0.82, 0.82))
    hook = " ".join(f"{fp_str(x * side, y * side)} {'l' if n else 'm'}" for n, (x, y) in enumerate(strokes))
    state = "/Yes" if ticked else "/Off"
    looks = {"Yes": _look(canvas, (side, side), f"{frame}1.6 w {hook} S"), "Off": _look(canvas, (side, side), frame)}
    more = {
        "FT": "/Btn", "V": state, "AS": state, "MK": pdfdoc.PDFDictionary({"CA": "(4)"}),
        "AP": pdfdoc.PDFDictionary({"N": pdfdoc.PDFDictionary(looks)}),
    }  # fmt: skip
    _place(canvas, name, told, corner, (side, side), more)


def choice_field(canvas: TaggedCanvas, name: str, value: str, told: str, corner: Corner, side: float) -> None:
    """One ring of a field of which one is chosen: the first makes the field, the others join it."""
    form = _form(canvas)
    group = form.groups.get(name)
    if group is None:
        group = form.groups[name] = pdfdoc.PDFDictionary(
            {
                "FT": "/Btn", "Ff": _RADIO, "T": text_string(name), "TU": text_string(told), "V": "/Off",
                "Kids": pdfdoc.PDFArray([]),
            }
        )  # fmt: skip
        doc: Any = canvas.__dict__["_doc"]
        form.fields.sequence.append(doc.Reference(group, f"Field.{name}"))
    half = side / 2
    ring = f"1 w {_circle(half, half - 0.5)} s"
    spot = f"{ring} {_circle(half, 0.5 * half)} f"
    looks = {_name(value): _look(canvas, (side, side), spot), "Off": _look(canvas, (side, side), ring)}
    widget = _widget(corner, (side, side))
    widget.dict.update(
        {
            "Parent": pdfdoc.PDFObjectReference(f"Field.{name}"), "AS": "/Off", "TU": text_string(told),
            "MK": pdfdoc.PDFDictionary({"CA": "(l)"}), "AP": pdfdoc.PDFDictionary({"N": _Named(looks)}),
        }
    )  # fmt: skip
    kids = group["Kids"].sequence
    own = f"{name}~{len(kids) + 1}"
    kids.append(pdfdoc.PDFObjectReference(f"Annot.{own}"))
    canvas.annotate(own, widget)


def _name(value: str) -> str:
    """A value as the name of a state: UTF-8, each byte that no name holds written in two digits (ISO 32000-1, 7.3.5)."""
    plain = b"!\"$&'*+,-.0123456789:;=?@ABCDEFGHIJKLMNOPQRSTUVWXYZ\\^_`abcdefghijklmnopqrstuvwxyz|~"
    return "".join(chr(one) if one in plain else f"#{one:02x}" for one in value.encode())


class _Named(pdfdoc.PDFObject):  # type: ignore[misc,unused-ignore]
    """A dictionary whose keys are names as written, which the library would escape once more."""

    def __init__(self, entries: dict[str, Any]) -> None:
        self.entries = entries

    def format(self, document: Any) -> bytes:
        """Names and references in their order."""
        told = (b"/" + name.encode() + b" " + value.format(document) for name, value in self.entries.items())
        return b"<<" + b"".join(told) + b">>"


def _circle(middle: float, radius: float) -> str:
    """A circle around the middle of a square as four curves."""
    low, high, handle = middle - radius, middle + radius, _CURVE * radius
    near, far = middle - handle, middle + handle
    curves = (
        (high, far, far, high, middle, high), (near, high, low, far, low, middle),
        (low, near, near, low, middle, low), (far, low, high, near, high, middle),
    )  # fmt: skip
    return f"{fp_str(high, middle)} m " + " ".join(f"{fp_str(*curve)} c" for curve in curves)


def _widget(corner: Corner, size: Corner) -> pdfdoc.PDFDictionary:
    (x, y), (wide, tall) = corner, size
    rect = pdfdoc.PDFArray([x, y, x + wide, y + tall])
    return pdfdoc.PDFDictionary({"Type": "/Annot", "Subtype": "/Widget", "F": 4, "Rect": rect})


def _place(canvas: TaggedCanvas, name: str, told: str, corner: Corner, size: Corner, more: dict[str, Any]) -> None:
    widget = _widget(corner, size)
    widget.dict.update({"T": text_string(name), "TU": text_string(told), **more})
    _form(canvas).fields.sequence.append(pdfdoc.PDFObjectReference(f"Annot.{name}"))
    canvas.annotate(name, widget)


def _look(canvas: TaggedCanvas, size: Corner, strokes: str) -> pdfdoc.PDFObjectReference:
    """An appearance, the same one for all fields that look the same."""
    form = _form(canvas)
    key = (size, strokes)
    if key not in form.looks:
        names = {
            "Type": "/XObject", "Subtype": "/Form", "BBox": pdfdoc.PDFArray([0, 0, *size]),
            "Resources": pdfdoc.PDFDictionary({"Font": _faces()}),
        }  # fmt: skip
        stream = pdfdoc.PDFStream(pdfdoc.PDFDictionary(names), strokes.encode() + b"\n")
        doc: Any = canvas.__dict__["_doc"]
        form.looks[key] = doc.Reference(stream, f"Look.{len(form.looks)}")
    return form.looks[key]


def _faces() -> pdfdoc.PDFDictionary:
    return pdfdoc.PDFDictionary({"Fields": pdfdoc.PDFObjectReference("Face.Fields")})


class _Form:
    """The form of one document: its fields, and what is made once for all of them."""

    def __init__(self, canvas: TaggedCanvas) -> None:
        doc: Any = canvas.__dict__["_doc"]
        self.fields = pdfdoc.PDFArray([])
        self.groups: dict[str, pdfdoc.PDFDictionary] = {}
        self.looks: dict[object, pdfdoc.PDFObjectReference] = {}
        doc.Reference(_face(), "Face.Fields")
        doc.Catalog.AcroForm = pdfdoc.PDFDictionary(
            {
                "Fields": self.fields, "DA": text_string("/Fields 9 Tf 0 g"),
                "DR": pdfdoc.PDFDictionary({"Font": _faces()}),
            }
        )  # fmt: skip


def _form(canvas: TaggedCanvas) -> _Form:
    """The form of the document, made with its first field."""
    if canvas.form is None:
        canvas.form = _Form(canvas)
    form: _Form = canvas.form
    return form


@cache
def _program() -> bytes:
    return (resources.files("forms") / "fonts" / _FACE).read_bytes()


def _face() -> pdfdoc.PDFDictionary:
    """The face of the fields with its program, whole, for nobody knows what will be typed."""
    widths = [round(stringWidth(bytes([n]).decode("cp1252"), NARROW, 1000)) if n in _SET else 0 for n in range(32, 256)]
    program = pdfdoc.PDFStream(pdfdoc.PDFDictionary({"Length1": len(_program())}), _program())
    program.filters = [pdfdoc.PDFZCompress]
    about = {
        "Type": "/FontDescriptor", "FontName": "/DejaVuSansCondensed-Fields", "Flags": 32, "FontFile2": program,
        "FontBBox": pdfdoc.PDFArray([-918, -463, 1614, 1232]), "ItalicAngle": 0, "Ascent": 928, "Descent": -236,
        "CapHeight": 729, "StemV": 87,
    }  # fmt: skip
    return pdfdoc.PDFDictionary(
        {
            "Type": "/Font", "Subtype": "/TrueType", "BaseFont": "/DejaVuSansCondensed-Fields", "FirstChar": 32,
            "LastChar": 255, "Widths": pdfdoc.PDFArray(widths), "Encoding": "/WinAnsiEncoding",
            "FontDescriptor": pdfdoc.PDFDictionary(about),
        }
    )  # fmt: skip
