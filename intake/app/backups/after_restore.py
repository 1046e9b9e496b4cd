"""What an older ledger put back would undo in silence: revoked addresses and devices come alive, calendars go back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from intake.app.queries.planning.published_timetable import published_events
from intake.app.session import House, open_house
from intake.errors import IntakeError

__all__ = ["Known", "go_on", "known_before", "made_ready"]

_AHEAD: Final = 1_000
"""By how much calendar revisions are raised where nobody knows how far subscribers' had come (design default)."""

_REACH: Final = timedelta(days=182)
"""How far calendars reach back: an event that is over may still be changed and seen (``feed.render`` shows 180 days)."""

_ALIVE: Final = frozenset({"open", "invited"})


@dataclass(frozen=True, slots=True)
class Known:
    """What the ledger that is replaced knew: revoked addresses, closed devices, and the last revision of each event."""

    feeds: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    devices: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    published: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


def known_before(folder: Path) -> Known | None:
    """Read it from the ledger that is in a folder; ``None`` when none does or it cannot be read."""
    if not (folder / "farm.toml").is_file():
        return None
    try:
        house = open_house(folder)
    except IntakeError:
        return None
    try:
        since = (house.today - _REACH).isoformat()
        return Known(
            {name: dict(one.payload) for name, one in house.latest("feed").items() if one.payload.get("revoked")},
            {
                n: dict(one.payload)
                for n, one in house.latest("device").items()
                if one.payload.get("state") not in _ALIVE
            },
            {uid: dict(one.payload) for uid, one in published_events(house, since).items()},
        )
    except IntakeError:  # a damaged ledger says nothing that could be relied on
        return None
    finally:
        house.books.close()


def made_ready(
    folder: Path, books: Path, before: Known | None, *, who: str = "", confirmed: str = "", leave_open: bool = False
) -> tuple[str, ...]:
    """Write into a copy, before it is put back, what must not be forgotten; as :func:`go_on`.

    Parameters
    ----------
    folder
        Where the farm file of the copy is.
    books
        The copy that is put back afterwards.
    who, confirmed
        As for any other command.

    Raises
    ------
    Refused
        This computer's clock stands before the last entry of the copy, or long after it: nothing may be recorded then.
    """
    house = open_house(folder, who=who, confirmed=confirmed, books=books)
    try:
        return go_on(house, before, leave_open=leave_open)
    finally:
        house.books.close()


def go_on(house: House, before: Known | None, *, leave_open: bool = False) -> tuple[str, ...]:
    """Write into the restored ledger what must not be forgotten, and say all that was, or may have been.

    Parameters
    ----------
    before
        What the replaced ledger knew; ``None`` when there was none, as on a new computer.
    leave_open
        Do not revoke again what the restored ledger does not know to be revoked; it is said anyway.
    """
    said: list[str] = []
    then = before or Known()
    feeds, devices = house.latest("feed"), house.latest("device")
    with house.act() as act:
        for kind, now, dead in (("feed", feeds, then.feeds), ("device", devices, then.devices)):
            for name in (name for name in dead if name in now and not _dead(kind, now[name].payload)):
                if not leave_open:
                    act.note(kind, name, dead[name])
                word = "calendar address" if kind == "feed" else "device or invitation"
                what = "still open" if leave_open else "revoked again"
                said.append(f"{word} {name} was revoked after this copy: {what}")
        _raise_revisions(house, act, before)
    if before is None:
        open_feeds = [name for name, one in feeds.items() if not _dead("feed", one.payload)]
        open_devices = [name for name, one in devices.items() if not _dead("device", one.payload)]
        if open_feeds or open_devices:
            said.append(
                f"open by this copy: calendar addresses {', '.join(open_feeds) or 'none'}; devices and invitations "
                f"{', '.join(open_devices) or 'none'}. Revoke again what you revoked after the copy was made: "
                "`vatside feeds --revoke ID`, and devices on the board under People."
            )
    return tuple(said)


def _dead(kind: str, payload: Mapping[str, Any]) -> bool:
    return bool(payload.get("revoked")) if kind == "feed" else payload.get("state") not in _ALIVE


def _raise_revisions(house: House, act: Any, before: Known | None) -> None:
    """Sequences go on above what subscribers may have seen: a reader ignores an event whose number went back."""
    since = (house.today - _REACH).isoformat()
    restored = published_events(house, since, before.published if before else ())
    for uid, last in restored.items():
        own, known = int(str(last.payload["sequence"])), before.published.get(uid, {}) if before else {}
        seen = own + _AHEAD if before is None else max(own, int(str(known.get("sequence", -1))))
        if seen == own:
            continue
        stamps = (str(one["stamp"]) for one in (last.payload, known) if "stamp" in one)
        stamp = max([house.now, *(datetime.fromisoformat(one) for one in stamps)])
        changed = {"sequence": seen + 1, "stamp": stamp.isoformat(), "fingerprint": ""}
        act.note("published", uid, {**last.payload, **changed})
    for uid, payload in (before.published if before else {}).items():
        if uid not in restored:  # published after the copy was made: known again, so that it can be canceled or go on
            act.note("published", uid, payload)
