"""A light look at finished calendar bytes before they replace the last good ones.

A broken answer with status 200 empties subscribers' calendars, so nothing that fails this may be served.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

__all__ = ["is_whole"]


@lru_cache(maxsize=8)  # asked by who writes the file and again by who serves the same bytes
def is_whole(body: bytes) -> bool:
    """Whether the bytes are one complete calendar with something in it.

    Parameters
    ----------
    body
        What is about to be served.

    Returns
    -------
    bool
        True if the bytes are UTF-8 in CRLF lines of at most 75 octets, open and close one VCALENDAR with balanced
        components in it, and name a VERSION and a PRODID.  It does not judge the events; tests do that with readers.
    """
    try:
        body.decode()
    except UnicodeDecodeError:
        return False
    if not body.startswith(b"BEGIN:VCALENDAR\r\n") or not body.endswith(b"\r\nEND:VCALENDAR\r\n"):
        return False
    lines = body.split(b"\r\n")
    words = b"".join(lines)
    if b"\r" in words or b"\n" in words or b"" in lines[:-1] or max(map(len, lines)) > 75:
        return False
    if b"\r\nVERSION:2.0\r\n" not in body or b"\r\nPRODID:" not in body:
        return False
    return _is_balanced(body)


_SIDE: Final = re.compile(rb"\r\n(BEGIN|END):([^\r]*)")


def _is_balanced(body: bytes) -> bool:
    open_names, components = [b"VCALENDAR"], 1
    for side, name in _SIDE.findall(body):
        if not open_names:  # something after the calendar's end
            return False
        if side == b"BEGIN":
            open_names.append(name)
            components += 1
        elif open_names.pop() != name:
            return False
    return not open_names and components > 1
