"""A request as a page sees it: who asks, from which device, with which right; and refusals turned into pages."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from intake.app import act_recording
from intake.app.access import devices, roles
from intake.app.access.devices import Device
from intake.app.access.farm_certificates import certificate_warnings
from intake.app.backups.farm_archive import last_copy
from intake.app.commands.phones.sync_phone import KeyClash
from intake.app.queries.planning.published_timetable import told_of_timetable
from intake.app.queries.planning.timetable_warnings import timetable_warnings
from intake.app.session import House, on_time
from intake.board.api.plain_json import plain
from intake.board.open_farm import OpenFarm
from intake.board.rendering import render
from intake.errors import Finding, IntakeError, Refused, StoreTrouble, UnknownName

__all__ = ["COOKIE", "Asked", "Handler", "Upload", "page"]

COOKIE: Final = "vatside"
_FORM_HEADER: Final = "x-vatside-form"


@dataclass(frozen=True, slots=True)
class Upload:
    """A file sent with a form."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Asked:
    """One request.

    Attributes
    ----------
    house
        The farm at the moment of the request; while a form is handled no one else writes.
    device, person, role
        Whence and by whom; empty before sign-in.
    form, files
        Fields and files of a posted form, the last of each name.
    body
        The raw body of a post that is no form.
    clock_trouble
        What is wrong with the clock of the board's computer; empty when nothing is.
    as_json
        Whether a program asks: pages are answered with their facts.
    """

    request: Request
    farm: OpenFarm
    house: House
    device: Device | None
    token: str
    person: str
    role: str
    form: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, Upload] = field(default_factory=dict)
    body: bytes = b""
    clock_trouble: str = ""
    as_json: bool = False

    def may(self, act: str) -> bool:
        """Whether who asks may do this."""
        return roles.may(self.role, act)

    def path(self, name: str) -> str:
        """A part of the address."""
        return str(self.request.path_params[name])

    def query(self, name: str) -> str:
        """A field of the address's query."""
        return self.request.query_params.get(name, "")

    def field(self, name: str, default: str = "") -> str:
        """A field of the form, without outer blanks."""
        return self.form.get(name, default).strip()

    def show(self, template: str, status: int = 200, **facts: Any) -> Response:
        """A page with the facts every page shows; for a program those of this page alone."""
        if self.as_json:
            return JSONResponse(plain(facts), status)
        house = self.house
        common = {
            "asked": self,
            "farm_name": house.site.farm.name,
            "zone": house.site.farm.zone,
            "measures": house.site.farm.measures,
            "today": house.today,
            "now": house.now,
            "person": house.site.people[self.person].name if self.person in house.site.people else self.person,
            "form_token": devices.form_token(self.token) if self.token else "",
            "fresh_key": secrets.token_urlsafe(18),
            "told": self.farm.told(self.device.id) if self.device else [],
            "trouble": self.farm.trouble,
            "clock_trouble": self.clock_trouble if self.role else "",
            "timetable_trouble": self._timetable_trouble() if self.role else (),
            "certificate_trouble": certificate_warnings(house.folder, house.now) if self.may("farm") else (),
            "here": self.request.url.path,
            "here_whole": self.request.url.path + (f"?{self.request.url.query}" if self.request.url.query else ""),
            "system_names": {one.id: one.name for one in house.site.systems.values()},
            "people_names": {one.id: one.name for one in house.site.people.values()},
            "last_copy": last_copy(house.folder),
        }
        return render(template, common | facts, status)

    def _timetable_trouble(self) -> list[str]:
        """What every page says of a timetable that could not follow a record; nothing where it did."""
        words = timetable_warnings(self.house)
        return words if told_of_timetable(self.house).get("trouble") else []

    def go(self, where: str, said: str = "") -> Response:
        """Send the browser on after a form, with a sentence for the next page; answer a program with that sentence."""
        if self.as_json:
            return JSONResponse({"said": [said] if said else [], "next": where})
        if said and self.device:
            self.farm.tell(self.device.id, said)
        return RedirectResponse(where, 303)


Handler = Callable[[Asked], Response]


def page(handler: Handler, right: str, *, machine: bool = False, as_json: bool = False, grouped: bool = False) -> Any:
    """Make a route's endpoint of a handler.

    Parameters
    ----------
    right
        Right that is needed; ``open`` when nobody needs to be signed in.
    machine
        Answers the count page's script: refusals are JSON.
    as_json
        Answers a program with the facts of the page.
    grouped
        The handler asks for its turn to write itself.
    """

    async def endpoint(request: Request) -> Response:
        posted = await _posted(request) if request.method == "POST" else ({}, {}, b"")
        inline = _INLINE_HEADER in request.headers
        kind = _Kind(right, machine or as_json or inline, as_json, inline, grouped)
        return await run_in_threadpool(_answer, handler, request, posted, kind)

    return endpoint


@dataclass(frozen=True, slots=True)
class _Kind:
    right: str
    machine: bool
    as_json: bool = False
    inline: bool = False
    grouped: bool = False

    @property
    def public(self) -> bool:
        return self.right == "open"


Posted = tuple[dict[str, str], dict[str, Upload], bytes]


async def _posted(request: Request) -> Posted:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in {"application/x-www-form-urlencoded", "multipart/form-data"}:
        return {}, {}, await request.body()
    fields: dict[str, str] = {}
    files: dict[str, Upload] = {}
    async with request.form(max_files=4, max_fields=200, max_part_size=64_000) as form:
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                files[name] = Upload(value.filename or "", await value.read())
            else:
                fields[name] = value
    return fields, files, b""


def _answer(handler: Handler, request: Request, posted: Posted, kind: _Kind) -> Response:
    farm: OpenFarm = request.app.state.farm
    if request.method != "POST" or kind.grouped:
        return _for_program(_told(handler, _asked(farm, request, posted, kind), kind), kind)
    with farm.writing():
        return _for_program(_told(handler, _asked(farm, request, posted, kind), kind), kind)


_INLINE_HEADER: Final = "x-vatside-inline"


def _for_program(answer: Response, kind: _Kind) -> Response:
    """A program, or a page's own script, is given the next address, not sent there."""
    if (kind.as_json or kind.inline) and answer.status_code == 303:
        return JSONResponse({"said": [], "next": answer.headers["location"]})
    return answer


def _asked(farm: OpenFarm, request: Request, posted: Posted, kind: _Kind) -> Asked:
    script = _bearer(request) if kind.machine and not kind.inline else ""
    token = script or request.cookies.get(COOKIE, "")
    device = farm.device(hashlib.sha256(token.encode(errors="replace")).hexdigest()) if token else None
    if device is not None and (device.kind == "script") != bool(script):
        device = None  # a script's token opens no page, and a browser's cookie is no script's token
    person = device.person if device else ""
    house = farm.house(person)
    role = device.role if device else ""
    role = role or (roles.role_of(house, person) if person else "")
    trouble = _clock_trouble(house)
    if trouble and request.method != "POST":
        # Pages show the farm as the ledger left it, not as it was when the clock stands.
        house = farm.house(person, house.view.last_recorded())
    known = token if device else ""
    if kind.as_json and posted[2]:
        posted = (_told_as_json(posted[2]), *posted[1:])
    return Asked(
        request, farm, house, device, known, person if role else "", role, *posted,
        clock_trouble=trouble, as_json=kind.as_json,
    )  # fmt: skip


def _bearer(request: Request) -> str:
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else ""


def _told_as_json(body: bytes) -> dict[str, str]:
    """Fields of an act a program posts; without a key of its own each post is another act."""
    try:
        told = json.loads(body)
    except ValueError:
        told = None
    rows = told.items() if isinstance(told, dict) else ()
    fields = {str(name): "yes" if value is True else str(value) for name, value in rows if value not in (None, False)}
    return {"key": secrets.token_urlsafe(18)} | fields


def _told(handler: Handler, asked: Asked, kind: _Kind) -> Response:
    try:
        stopped = _stopped(asked, kind)
        if stopped is None and asked.request.method == "POST" and asked.clock_trouble:
            return _say(asked, kind, 503, asked.clock_trouble)
        if stopped is None and _only_asks(asked):
            return _asked_only(asked, handler)
        return stopped or handler(asked)
    except IntakeError as error:
        return _refused(asked, error, kind)


_ASK_HEADER: Final = "x-vatside-ask"
_ASKED_ABOUT: Final = ("move", "finding", "cut", "clean", "reading", "receive", "done", "count")
"""Last words of the addresses of forms that may be asked about before they are saved; each goes before the rules."""


def _only_asks(asked: Asked) -> bool:
    return asked.request.method == "POST" and _ASK_HEADER in asked.request.headers


def _asked_only(asked: Asked, handler: Handler) -> Response:
    """What the rules say of a form as it is filled in; nothing is saved, and a form not yet whole has no answer."""
    told: list[dict[str, object]] = []
    if asked.request.url.path.rsplit("/", 1)[-1] in _ASKED_ABOUT:
        try:
            with act_recording.only_asked():
                handler(replace(asked, as_json=True))  # an answer to a script: nothing is kept for the next page
        except act_recording.OnlyAsked as answer:
            told = [one.as_dict() for one in answer.told]
        except IntakeError:
            told = []
    return JSONResponse({"rules": told})


def _clock_trouble(house: House) -> str:
    """What is wrong with the server's clock, which stands before the last entry; empty when nothing is.

    What was sent gets no verdict then: a phone keeps its counts until the clock is right.
    """
    try:
        on_time(house)
    except Refused as error:
        return _in_words(error.findings[0])
    return ""


def _stopped(asked: Asked, kind: _Kind) -> Response | None:
    """Why the request goes no further: foreign form, no one signed in, no right."""
    posting = asked.request.method == "POST"
    scripted = asked.device is not None and asked.device.kind == "script"
    if posting and not scripted and not _own_origin(asked.request):
        return _say(asked, kind, 403, "This form is not valid here. Reload the page and try again.")
    if kind.public:
        return None
    if not asked.role:
        if kind.machine or posting:
            return _say(asked, kind, 401, "Sign in first; nothing was recorded.")
        return RedirectResponse("/sign-in", 303)
    if posting and not scripted and not _own_form(asked):
        return _say(asked, kind, 403, "You signed in after opening this form. Reload the page.", stale=True)
    if not asked.may(kind.right):
        return _forbidden(asked, kind)
    return None


def _forbidden(asked: Asked, kind: _Kind) -> Response:
    """A role without the right; a wall screen, which has one page only, is sent there."""
    if asked.role == "wall" and asked.request.method != "POST" and not kind.machine:
        return RedirectResponse("/wall", 303)
    return _say(asked, kind, 403, f"Your role ({asked.role}) cannot do this. Ask an owner.")


def _own_origin(request: Request) -> bool:
    # Sec-Fetch headers are not sent over plain http, so Origin (or, failing it, Referer) decides.
    claimed = request.headers.get("origin") or request.headers.get("referer") or ""
    try:
        return bool(claimed) and urlsplit(claimed).netloc == request.headers.get("host", "")
    except ValueError:
        return False


def _own_form(asked: Asked) -> bool:
    brought = asked.request.headers.get(_FORM_HEADER) or asked.form.get("form_token", "")
    return hmac.compare_digest(brought.encode(errors="replace"), devices.form_token(asked.token).encode())


def _say(asked: Asked, kind: _Kind, status: int, words: str, *, stale: bool = False) -> Response:
    if kind.machine:
        return JSONResponse({"said": [words], "stale": stale}, status)
    return asked.show("refused.html", status, lines=[words], code=status)


def _refused(asked: Asked, error: IntakeError, kind: _Kind) -> Response:
    posting = asked.request.method == "POST"
    status = 422
    if isinstance(error, KeyClash):
        status = 409
    elif isinstance(error, StoreTrouble):
        status = 503
    elif isinstance(error, UnknownName) and not posting:
        status = 404
    findings = error.findings or (Finding("board", "", str(error)),)
    lines = [_in_words(finding) for finding in findings[:20]]
    if isinstance(error, act_recording.RulesBroken):  # the page asks for the reason itself
        lines = [f"{one.what} Needed: {one.need}. There: {one.have}. ({one.id})" for one in error.broken]
    if kind.machine:
        return JSONResponse({"said": lines, "rules": list(error.rules)}, status)
    again = _again(asked, error) if posting else []
    path = asked.request.url.path
    typed = [(name, value) for name, value in asked.form.items() if name not in _SEALS]
    return asked.show(
        "refused.html", status, lines=lines, code=status, again=again, path=path, typed=typed, back=_came_from(asked)
    )


_SEALS: Final = frozenset({"form_token", "key", "pin", "again", "back"})


def _came_from(asked: Asked) -> str:
    """The page of this board a form was sent from; empty for any other."""
    told = urlsplit(asked.request.headers.get("referer", ""))
    return told.path if told.netloc == asked.request.headers.get("host", "") and told.path.startswith("/") else ""


def _again(asked: Asked, error: IntakeError) -> list[tuple[str, str]]:
    """Fields of a form that may be sent again with a reason; empty where no reason lifts the rule."""
    lifted = error.rules and all(rule["severity"] == "reason" for rule in error.rules)
    return (
        [(name, value) for name, value in asked.form.items() if name not in ("despite", "form_token")] if lifted else []
    )


def _in_words(finding: Finding) -> str:
    """A finding for a page, where options of the command line have no dashes."""
    return str(finding).replace("--", "")
