"""Posted forms that arrive twice: the second finds the first and says so."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

from starlette.responses import Response

from intake.app.act_recording import Recorded
from intake.app.commands.phones import sync_phone
from intake.app.session import House
from intake.board.request import Asked

__all__ = ["act_key", "acted", "own_page"]


def act_key(asked: Asked) -> str:
    """The key of this act: the form's own, together with what was filled in.

    The same form sent twice is one act; the same form changed and sent again is another.
    """
    fields = sorted((name, value) for name, value in asked.form.items() if name != "form_token")
    told = repr((asked.request.url.path, asked.person, fields))
    return hashlib.sha256(told.encode(errors="replace")).hexdigest()[:32]


def acted(asked: Asked, where: str, act: Callable[[House, str], Recorded]) -> Response:
    """Do an act once and go on to a page that says what was recorded."""
    key = act_key(asked)
    if sync_phone.seen(asked.house, key):
        return asked.go(where, "Recorded before.")
    return asked.go(where, " ".join(f"{line}." for line in act(asked.house, key).said))


def own_page(back: str, otherwise: str) -> str:
    """A page of this board to go back to; anything else is not followed."""
    plain = back.startswith("/") and not back.startswith("//") and "\\" not in back and back.isprintable()
    return back if plain else otherwise
