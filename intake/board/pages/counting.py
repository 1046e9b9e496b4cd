"""The count page and what its script talks to; the plain form for browsers without script; photos."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from intake.app.access import devices
from intake.app.commands import attach_photo
from intake.app.commands.count_animals import Count
from intake.app.commands.phones import sync_phone
from intake.app.commands.phones.sync_phone import Sent, Verdict
from intake.app.queries.overview import phone_snapshot
from intake.app.session import House
from intake.board.pages.keys import own_page
from intake.board.rendering import BUILD, render
from intake.board.request import Asked
from intake.errors import BadInput, Finding

__all__ = ["SHELL_DAYS", "count_form", "counted", "facts", "photo", "photo_kept", "sent_count", "sent_undo", "shell"]

SHELL_DAYS: Final = 7

_Number = Field(default=0, ge=0, le=1_000_000)


class _Timed(BaseModel):
    """An act of the phone: its key, who tapped it, and when by the phone's clock (tapped, and sent just now), in ms."""

    model_config = ConfigDict(extra="forbid", strict=True)

    key: str
    who: str = Field(default="", max_length=60)
    tapped_ms: int = Field(default=0, ge=0, le=10**14)
    sent_ms: int = Field(default=0, ge=0, le=10**14)

    def sent(self, house: House) -> Sent:
        """How it came: the time waited by the phone's own clock, and how far that clock is from ours."""
        ahead = timedelta(milliseconds=self.sent_ms - house.now.timestamp() * 1000) if self.sent_ms else timedelta(0)
        return Sent(self.key, timedelta(milliseconds=max(0, self.sent_ms - self.tapped_ms)), ahead)


class _Counted(_Timed):
    """A count."""

    batch: str = Field(min_length=1, max_length=80)
    vat: str = Field(min_length=1, max_length=80)
    doa: int = _Number
    dead: int = _Number
    missing: int = _Number
    wrong: int = _Number
    found: int = _Number
    weak: int | None = Field(default=None, ge=0, le=1_000_000)
    alive: int | None = Field(default=None, ge=0, le=1_000_000)
    box: str = Field(default="", max_length=40)
    in_box: int | None = Field(default=None, ge=0, le=1_000_000)
    note: str = Field(default="", max_length=400)
    despite: str = Field(default="", max_length=400)

    def tally(self) -> Count:
        """The numbers alone."""
        heads = (self.doa, self.dead, self.missing, self.wrong, self.found, self.weak, self.alive)
        return Count(*heads, self.box, self.in_box)


class _Undone(_Timed):
    """The undoing of a count."""

    undoes: str = Field(min_length=1, max_length=80)
    despite: str = Field(default="", max_length=400)


async def shell(request: Request) -> Response:
    """The count page without any data, so that a phone may keep it: it opens offline for every batch."""
    del request
    keep = f"private, max-age={SHELL_DAYS * 24 * 3600}"
    return render("count.html", {}, headers={"cache-control": keep})


def facts(asked: Asked) -> Response:
    """What the count page carries along: batches, headcounts, who is signed in, and the build of the page."""
    known = phone_snapshot.snapshot(asked.house)
    return JSONResponse(
        known
        | {
            "build": BUILD,
            "who": asked.person,
            "name": asked.house.site.people[asked.person].name
            if asked.person in asked.house.site.people
            else asked.person,
            "may": {act: asked.may(act) for act in ("count", "undo", "photo")},
            "form_token": devices.form_token(asked.token),
        }
    )


def sent_count(asked: Asked) -> Response:
    """A count from the count page."""
    told = _read(_Counted, asked)
    wrong = _somebody_else(asked, told)
    if wrong:
        return wrong
    sent = told.sent(asked.house)
    verdict = asked.farm.group.do(
        asked.person,
        lambda house: sync_phone.count_once(house, told.batch, told.vat, told.tally(), sent, told.note, told.despite),
    )
    return _told(asked, verdict, told)


def sent_undo(asked: Asked) -> Response:
    """The undoing of a count from the count page."""
    told = _read(_Undone, asked)
    wrong = _somebody_else(asked, told)
    if wrong:
        return wrong
    return _told(asked, sync_phone.undo_once(asked.house, told.undoes, told.sent(asked.house), told.despite), told)


def _read(model: Any, asked: Asked) -> Any:
    try:
        return model.model_validate_json(asked.body)
    except ValidationError as error:
        raise BadInput(
            [
                Finding(".".join(map(str, one["loc"])) or "count", str(one.get("input", ""))[:60], one["msg"])
                for one in error.errors(include_url=False, include_context=False)[:8]
            ]
        ) from error


def _somebody_else(asked: Asked, told: _Timed) -> Response | None:
    """What one person counted is not recorded under another's name who has signed in since."""
    if told.who in {"", asked.person}:
        return None
    return JSONResponse({"said": [f"Counted by {told.who}, who must sign in to send it."], "stale": False}, 403)


def _told(asked: Asked, verdict: Verdict, told: _Timed) -> Response:
    fresh = asked.farm.house(asked.person)
    minutes = round(told.sent(asked.house).clock_ahead.total_seconds() / 60)
    answer = {"duplicate": verdict.duplicate, "said": list(verdict.said), "clock_off_minutes": minutes}
    return JSONResponse(answer | {"facts": phone_snapshot.snapshot(fresh)}, 200 if verdict.duplicate else 201)


def photo_kept(asked: Asked) -> Response:
    """A photo, from the count page's script or from a form."""
    upload, batch = asked.files.get("photo"), asked.field("batch")
    if upload is None or not upload.data:
        raise BadInput(Finding("photo", "", "a picture"))
    sent = Sent(asked.field("key"), timedelta(milliseconds=_waited_ms(asked)))
    verdict = attach_photo.keep_photo(asked.house, batch, upload.data, sent, evidence=asked.field("evidence"))
    if asked.request.headers.get("accept") == "application/json":
        return JSONResponse(
            {"duplicate": verdict.duplicate, "said": list(verdict.said)}, 200 if verdict.duplicate else 201
        )
    return asked.go(own_page(asked.field("back"), f"/batches/{batch}"), " ".join(f"{line}." for line in verdict.said))


def _waited_ms(asked: Asked) -> int:
    tapped, sent = asked.field("tapped_ms", "0"), asked.field("sent_ms", "0")
    numbers = all(one.isascii() and one.isdigit() and len(one) < 15 for one in (tapped, sent))
    return max(0, int(sent) - int(tapped)) if numbers else 0


def photo(asked: Asked) -> Response:
    """One photo, by the name the ledger knows it by."""
    file = attach_photo.photo_file(asked.house, asked.path("name"))
    if file is None:
        return asked.show("refused.html", 404, lines=["No such photo."], code=404)
    return FileResponse(file, media_type="image/jpeg", headers={"cache-control": "private, max-age=86400"})


def count_form(asked: Asked) -> Response:
    """The count page without script: one form, one hidden key."""
    batch, vat = asked.query("batch"), asked.query("vat")
    known = phone_snapshot.snapshot(asked.house)
    return asked.show("count_form.html", facts=known, batch=batch, vat=vat)


def counted(asked: Asked) -> Response:
    """A count from the plain form."""
    weak = asked.field("weak")
    batch, _, vat = asked.field("where").partition("@")
    if not batch or not vat:
        raise BadInput(Finding("batch", asked.field("where")[:60], "a batch and its vat"))
    tally = Count(
        doa=_number(asked, "doa"),
        dead=_number(asked, "dead"),
        missing=_number(asked, "missing"),
        wrong=_number(asked, "wrong"),
        found=_number(asked, "found"),
        weak=_number(asked, "weak") if weak else None,
        alive=_number(asked, "alive") if asked.field("alive") else None,
        box=asked.field("box"),
        in_box=_number(asked, "in_box") if asked.field("in_box") else None,
    )
    sent, note = Sent(asked.field("key")), asked.field("note")[:400]
    verdict = sync_phone.count_once(asked.house, batch, vat, tally, sent, note, asked.field("despite"))
    return asked.go(own_page(asked.field("back"), f"/batches/{batch}"), " ".join(f"{line}." for line in verdict.said))


def _number(asked: Asked, head: str) -> int:
    typed = asked.field(head) or "0"
    if not (typed.isascii() and typed.isdigit() and len(typed) < 8):
        raise BadInput(Finding(head, typed[:20], "a whole number of animals, 0 or more"))
    return int(typed)
