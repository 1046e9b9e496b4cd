"""The bytes of a PDF file: objects packed in streams, a cross-reference stream, and an ID made of the content.

References
----------
Object streams and cross-reference streams: ISO 32000-1, 7.5.7 and 7.5.8; file identifiers: 14.4.
"""

from __future__ import annotations

import hashlib
import re
import zlib
from collections.abc import Iterable
from typing import Any, Final

from reportlab.pdfbase.pdfdoc import format as formatted

__all__ = ["file_of", "objects_of", "sound_map"]

_EACH: Final = 200
"""Objects packed together in one stream: few enough that a reader finds one soon."""


def objects_of(doc: Any) -> dict[int, bytes]:
    """Number → content of every object of a document of the library; more may be named while they are written."""
    found: dict[int, bytes] = {}
    while len(found) + 1 in doc.numberToId:
        number = len(found) + 1
        found[number] = bytes(formatted(doc.idToObject[doc.numberToId[number]], doc, toplevel=1))
    return found


_MAPPED = re.compile(r"<([0-9A-F]{2})> <([0-9A-F]{4,6})>")
_MOST_MAPPED: Final = 100
"""Entries one block of a character map may have (ISO 32000-1, 9.10.3, by the CMap specification)."""


def sound_map(words: str) -> str:
    """The character map of a face as a reader expects it: no code that stands for no character, blocks of a hundred."""
    head, _, rest = words.partition("endcodespacerange\n")
    tail = rest.partition("endbfchar\n")[2]
    told = [
        f"<{code}> <{chr(int(value, 16)).encode('utf-16-be').hex().upper()}>"
        for code, value in _MAPPED.findall(rest)
        if int(value, 16) and not 0xD800 <= int(value, 16) < 0xE000
    ]
    blocks = (told[n : n + _MOST_MAPPED] for n in range(0, len(told), _MOST_MAPPED))
    return (
        head
        + "endcodespacerange\n"
        + "".join(f"{len(block)} beginbfchar\n" + "\n".join(block) + "\nendbfchar\n" for block in blocks)
        + tail
    )


def file_of(objects: Iterable[tuple[int, bytes]], root: int, info: int) -> bytes:
    """A PDF 1.7 file.

    Parameters
    ----------
    objects
        Number and content of each, numbers from 1 on without a gap, in any order.
    root, info
        Numbers of the catalogue and of the document's information.
    """
    contents = sorted(objects)
    parts = [b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"]
    places: dict[int, tuple[int, int, int]] = {0: (0, 0, 65535)}
    offset, packed, number = len(parts[0]), [], len(contents)

    def put(n: int, content: bytes) -> None:
        nonlocal offset
        places[n] = (1, offset, 0)
        parts.append(b"%d 0 obj\n%s\nendobj\n" % (n, content.rstrip(b"\n")))
        offset += len(parts[-1])

    for n, content in contents:
        if content.endswith(b"endstream\n"):
            put(n, content)
        else:
            packed.append((n, content.strip()))
    for start in range(0, len(packed), _EACH):
        number += 1
        some = packed[start : start + _EACH]
        places.update({n: (2, number, index) for index, (n, _) in enumerate(some)})
        put(number, _packed(some))
    identity = hashlib.md5(b"".join(parts), usedforsecurity=False).hexdigest().encode()
    places[number + 1] = (1, offset, 0)
    table = b"".join(
        kind.to_bytes(1, "big") + at.to_bytes(4, "big") + rest.to_bytes(2, "big")
        for _, (kind, at, rest) in sorted(places.items())
    )
    head = b"/Type/XRef/Size %d/W[1 4 2]/Root %d 0 R/Info %d 0 R/ID[<%s><%s>]" % (
        number + 2, root, info, identity, identity,
    )  # fmt: skip
    start = offset
    put(number + 1, _stream(head, table))
    return b"".join((*parts, b"startxref\n%d\n%%%%EOF\n" % start))


def _packed(some: list[tuple[int, bytes]]) -> bytes:
    """Some objects as one stream: their numbers and places, then their contents."""
    places, at = [], 0
    for n, content in some:
        places.append(b"%d %d" % (n, at))
        at += len(content) + 1
    first = b" ".join(places) + b"\n"
    words = first + b"\n".join(content for _, content in some) + b"\n"
    return _stream(b"/Type/ObjStm/N %d/First %d" % (len(some), len(first)), words)


def _stream(head: bytes, content: bytes) -> bytes:
    data = zlib.compress(content)
    return b"<<%s/Filter/FlateDecode/Length %d>>\nstream\n%s\nendstream\n" % (head, len(data), data)
