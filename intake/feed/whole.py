"""A light look at finished calendar bytes before they replace the last good ones.

A broken answer with status 200 empties subscribers' calendars, so nothing that fails this may be served.
"""

from __future__ import annotations

__all__ = ["is_whole"]


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
    lines = body.split(b"\r\n")
    if lines[0] != b"BEGIN:VCALENDAR" or lines[-2:] != [b"END:VCALENDAR", b""]:
        return False
    if any(b"\r" in line or b"\n" in line or len(line) > 75 for line in lines) or b"" in lines[:-1]:
        return False
    if not {b"VERSION:2.0"} <= set(lines) or not any(line.startswith(b"PRODID:") for line in lines):
        return False
    return _is_balanced(lines)


def _is_balanced(lines: list[bytes]) -> bool:
    open_names: list[bytes] = []
    components = 0
    for number, line in enumerate(lines[:-1]):
        if line.startswith(b"BEGIN:"):
            if not open_names and number:
                return False
            open_names.append(line[6:])
            components += 1
        elif line.startswith(b"END:") and (not open_names or open_names.pop() != line[4:]):
            return False
    return not open_names and components > 1
