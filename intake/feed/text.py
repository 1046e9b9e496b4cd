"""Text made safe for a calendar: what no reader can show or some reader would misread is taken out before publishing.

The rules are the documented cleaning: line ends of every kind become one newline, control characters and
non-characters go, half a surrogate pair becomes U+FFFD, white space at both ends goes; one-line texts turn every run of
white space with a newline or tab in it into one space.
"""

from __future__ import annotations

import re
from functools import lru_cache

__all__ = ["clean", "clean_line", "clean_name", "clean_url"]

_LINE_END = re.compile("\r\n|[\r\v\f\x1c\x1d\x1e\x85\u2028\u2029]")
# C0 and C1 controls but tab and newline, the byte-order mark, and the non-characters of every plane.
_UNSHOWABLE = re.compile(
    "[\x00-\x08\x0e-\x1f\x7f-\x9f\ufeff\ufdd0-\ufdef"
    + "".join(chr(plane * 0x10000 + last) for plane in range(17) for last in (0xFFFE, 0xFFFF))
    + "]"
)
_HALF_PAIR = re.compile("[\ud800-\udfff]")
_BREAK = re.compile(r"[ ]*[\n\t][ \n\t]*")
_URL_KEEPS = re.compile(r"[^A-Za-z0-9\-._~:/?#\[\]@!$&'()*+,;=%]")


def clean(text: str) -> str:
    """Text of several lines without anything a reader would stumble over.

    Parameters
    ----------
    text
        Any string, hostile ones included.
    """
    if text.isascii() and text.isprintable():  # most titles and names: nothing to look for
        return text.strip()
    text = _LINE_END.sub("\n", text)
    text = _UNSHOWABLE.sub("", text)
    return _HALF_PAIR.sub("\ufffd", text).strip()


def clean_line(text: str) -> str:
    """Text of one line: `clean`, and every break turned into one space.

    Parameters
    ----------
    text
        Any string.
    """
    return _BREAK.sub(" ", clean(text))


@lru_cache(maxsize=4096)
def clean_name(text: str) -> str:
    r"""Clean a calendar's name or a category: `clean_line` without ``\ ; , "``.

    Some readers show them escaped in a name, and take a backslash before the comma between categories for an escape.

    Parameters
    ----------
    text
        Any string.
    """
    return " ".join(re.sub(r'[\\;,"]', " ", clean_line(text)).split())


def clean_url(text: str) -> str:
    """Write an address in the characters of RFC 3986, section 2; all others percent-encoded as UTF-8.

    Parameters
    ----------
    text
        Any string.
    """
    return _URL_KEEPS.sub(lambda met: "".join(f"%{octet:02X}" for octet in met[0].encode()), clean_line(text))
