"""Two desktop calendar programs subscribe to a farm's calendar, acts happen, and what they hold is compared with the feed.

Run with ``python -m tests.bench.desktop_calendars [thunderbird] [evolution]``; needs Debian's ``thunderbird`` and, for the other,
``evolution-data-server``, ``dbus``, ``python3-gi`` and ``gir1.2-ecal-2.0``.  Minutes of waiting: one asks again each minute at
most.  Exit 1 if anything differs.  The farm is invented.
"""

from __future__ import annotations

import argparse
import http.client
import http.server
import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from intake.app.calendars import feed_addresses
from intake.app.calendars.feed_addresses import Habits
from intake.app.commands import announce_shipment, record_observation
from intake.app.queries.planning.published_timetable import stored_tasks
from intake.app.session import House, open_house
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.bench.board_phones import serve
from tests.bench.timetable_acts import GROUPS, farm
from tests.feed.readers import read_ical

ZONES = ("Pacific/Auckland", "America/Los_Angeles")
"""Where the desktop stands: whole days must not slip on either side of the date line."""
LONGEST_S = 240.0
MICRO = 1_000_000
Held = dict[str, dict[str, Any]]


def books(folder: Path, noon: datetime) -> None:
    """Four lots that landed yesterday, and two deliveries ahead with a place in the plan."""
    house = farm(folder, 4, noon - timedelta(days=1))
    house = house.at(noon)
    with house.together(), house.act() as act:
        for number, days in ((2, 5), (3, 9)):
            lands = noon + timedelta(days=days)
            act.note("shipment", f"S{number}", {"supplier": "one", "lands": lands.isoformat()})
            rows = []
            for line in (1, 2):
                group = GROUPS[0]
                batch = Batch(f"S{number}-{line:03d}", group, group, 40.0, 30, f"S{number}", line, "one", (str(line),))
                act.note("batch", batch.id, batch_payload(batch))
                stay = {"batch": batch.id, "count": 30, "vat": f"V{line - 1}", "stage": "quarantine"}
                rows.append({
                    **stay,
                    "from": str(lands.date()),
                    "until": str((lands + timedelta(days=50)).date()),
                })  # fmt: skip
            plan = {"plan": f"P{number}", "placements": rows, "moves": []}
            act.note("plan", f"P{number}", {"state": "accepted", "plan": plan})
    house.books.close()


def happens(folder: Path, noon: datetime) -> None:
    """One landing later, one delivery called off, work done (its title changes), a finding that makes new work."""
    house = open_house(folder, now=noon)
    try:
        announce_shipment.amend(house, "S2", lands=noon + timedelta(days=6, hours=2))
        announce_shipment.cancel(house, "S3", "the supplier has none")
        due = next(task for task in open_tasks(house) if datetime.fromisoformat(task["start"]) <= noon)
        record_observation.done(house, str(due["uid"]))
        record_observation.finding(house, "S1-001", "pyramidellid-snail")
    finally:
        house.books.close()


def open_tasks(house: House) -> list[dict[str, Any]]:
    """Work not yet recorded."""
    return [task for task in stored_tasks(house) if task["state"] == "open"]


class Door:
    """A door of its own before the board for one program: passes everything on and keeps what was asked and answered."""

    def __init__(self, port: int) -> None:
        asked = self.asked = []  # type: list[tuple[str, int]]

        class Handler(http.server.BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def pass_on(self) -> None:
                line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
                sent = self.rfile.read(int(self.headers.get("content-length") or 0))
                line.request(self.command, self.path, sent or None, dict(self.headers))
                answer = line.getresponse()
                body = answer.read()
                asked.append((self.command, answer.status))
                self.send_response_only(answer.status)
                for name, value in answer.getheaders():
                    if name.lower() not in {"transfer-encoding", "connection"}:
                        self.send_header(name, value)
                self.end_headers()
                self.wfile.write(body)
                line.close()

            do_GET = do_HEAD = do_PUT = do_PROPFIND = do_OPTIONS = do_POST = pass_on  # noqa: N815  (names of http.server)

            def log_message(self, *_: object) -> None:
                """Say nothing."""

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


class Thunderbird:
    """Thunderbird without a screen on a profile of its own; read through its own cache of the calendar."""

    def __init__(self, home: Path, address: str, zone: str) -> None:
        self.profile, self.zone = home / "profile", zone
        self.profile.mkdir(parents=True)
        one = "calendar.registry.11111111-2222-4333-8444-555555555555"
        settings: dict[str, object] = {
            f"{one}.type": "ics",
            f"{one}.uri": address,
            f"{one}.name": "farm",
            f"{one}.readOnly": True,
            f"{one}.cache.enabled": True,
            f"{one}.refreshInterval": "1",
            "calendar.alarms.show": False,
            "calendar.alarms.showmissed": False,
            "app.update.enabled": False,
            "datareporting.policy.dataSubmissionEnabled": False,
            "mail.provider.suppress_dialog_on_startup": True,
            "mailnews.start_page.enabled": False,
            "network.captive-portal-service.enabled": False,
            "network.connectivity-service.enabled": False,
        }
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in settings.items()]
        (self.profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
        command = ["thunderbird", "--headless", "--no-remote", "--profile", str(self.profile)]
        environment = os.environ | {"TZ": zone, "HOME": str(home)}
        quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self.process = subprocess.Popen(command, env=environment, start_new_session=True, **quiet)

    def held(self) -> Held:
        """What its cache holds now; empty while there is none."""
        cache = self.profile / "calendar-data" / "cache.sqlite"
        if not cache.is_file():
            return {}
        with tempfile.TemporaryDirectory() as name:
            for file in cache.parent.glob("cache.sqlite*"):
                shutil.copy(file, name)
            with sqlite3.connect(Path(name) / cache.name) as copy:
                return self._rows(copy)

    def _rows(self, copy: sqlite3.Connection) -> Held:
        try:
            rows = copy.execute(
                "select id, title, event_start, event_start_tz, event_end, event_end_tz, ical_status from cal_events"
            ).fetchall()
            words = {
                (item, key): value.decode() if isinstance(value, bytes) else str(value)
                for item, key, value in copy.execute("select item_id, key, value from cal_properties")
            }
            alarms = dict(copy.execute("select item_id, count(*) from cal_alarms group by item_id"))
            relations = dict(copy.execute("select item_id, count(*) from cal_relations group by item_id"))
        except sqlite3.Error:  # it is writing
            return {}
        return {
            uid: {
                "start": _moment(start, start_zone),
                "end": _moment(end, end_zone),
                "summary": title or "",
                "description": words.get((uid, "DESCRIPTION"), ""),
                "canceled": status == "CANCELLED",
                "sequence": int(words.get((uid, "SEQUENCE"), "0")),
                "alarms": alarms.get(uid, 0),
                "related": relations.get(uid, 0),
            }
            for uid, title, start, start_zone, end, end_zone, status in rows
        }

    def look_again(self) -> None:
        """It asks by itself, each minute."""

    def close(self) -> None:
        """End it."""
        self.process.terminate()
        self.process.wait(60)


def _moment(microseconds: int, zone: str) -> int | str:
    """Thunderbird keeps a whole day as its midnight with no zone."""
    if zone == "floating":
        return datetime.fromtimestamp(microseconds / MICRO, UTC).date().isoformat()
    return microseconds // MICRO


class Evolution:
    """Evolution Data Server on a message bus of its own, asked by ``evolution_reader.py``."""

    def __init__(self, home: Path, address: str, zone: str) -> None:
        port, path = address.removeprefix("http://127.0.0.1:").split("/", 1)
        sources = home / ".config" / "evolution" / "sources"
        sources.mkdir(parents=True)
        lines = [
            "[Data Source]", "DisplayName=farm", "Enabled=true", "Parent=webcal-stub",
            "[Calendar]", "BackendName=webcal", "Selected=true",
            "[Authentication]", "Host=127.0.0.1", "Method=none", f"Port={port}",
            "[Security]", "Method=none",
            "[WebDAV Backend]", "DisplayName=farm", f"ResourcePath=/{path}",
            "[Offline]", "StaySynchronized=true",
            "[Refresh]", "Enabled=true", "IntervalMinutes=60",
        ]  # fmt: skip
        (sources / "farm.source").write_text("\n".join(lines) + "\n", encoding="utf-8")
        self.zone, self.seen = zone, {}  # type: tuple[str, Held]
        reader = Path(__file__).with_name("evolution_reader.py")
        environment = {name: os.environ[name] for name in ("PATH", "LANG") if name in os.environ}
        environment |= {"HOME": str(home), "TZ": zone, "XDG_RUNTIME_DIR": str(home), "GIO_USE_VFS": "local"}
        command = ["dbus-run-session", "--", "/usr/bin/python3", str(reader), "farm"]
        self.process = subprocess.Popen(
            command,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )

    def look_again(self) -> None:
        """Ask it to fetch, and keep what it holds then."""
        assert self.process.stdin
        assert self.process.stdout
        self.process.stdin.write("look\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        self.seen = json.loads(line) if line else {}

    def held(self) -> Held:
        """What it held when last asked."""
        return self.seen

    def close(self) -> None:
        """End it."""
        assert self.process.stdin
        self.process.stdin.close()
        self.process.wait(60)


PROGRAMS: dict[str, tuple[Callable[[Path, str, str], Thunderbird | Evolution], str]] = {
    "thunderbird": (Thunderbird, "thunderbird"),
    "evolution": (Evolution, "dbus-run-session"),
}


def feed(address: str) -> Held:
    """The same fields as the strict reader finds them in the feed."""
    with urllib.request.urlopen(address, timeout=60) as answer:
        body = answer.read()
    return {
        uid: {
            **{name: event[name] for name in ("start", "end", "summary", "description", "sequence")},
            "canceled": event["status"] == "CANCELLED",
            "alarms": len(event["alarms"]),
            "related": len(event["related"]),
        }
        for uid, event in read_ical(body).items()
    }


def differences(feed_says: Held, program: Held) -> list[str]:
    """What the program has otherwise than the feed, in the fields it keeps."""
    found = [f"{uid}: missing" for uid in feed_says.keys() - program.keys()]
    found += [f"{uid}: not in the feed" for uid in program.keys() - feed_says.keys()]
    for uid in feed_says.keys() & program.keys():
        one, other = feed_says[uid], program[uid]
        found += [f"{uid} {name}: {one[name]!r}, there {other[name]!r}" for name in other if one[name] != other[name]]
    return found


def agrees(program: Thunderbird | Evolution, address: str) -> list[str]:
    """Wait until the program holds what the feed says, at most some minutes; what differs at the end."""
    until = time.monotonic() + LONGEST_S
    wrong = ["nothing yet"]
    while wrong and time.monotonic() < until:
        program.look_again()
        wrong = differences(feed(address), program.held())
        time.sleep(2)
    return wrong


@contextmanager
def subscribed(name: str, home: Path, address: str, zone: str) -> Iterator[Thunderbird | Evolution]:
    """The program, ended afterwards."""
    program = PROGRAMS[name][0](home, address, zone)
    try:
        yield program
    finally:
        program.close()


def trial(name: str, habits: Habits, zone: str) -> int:
    """One program, one address: before the acts, after them, and asked once more with nothing changed."""
    with tempfile.TemporaryDirectory() as made, ExitStack() as kept:
        folder, noon = Path(made) / "farm", datetime.now(UTC).replace(microsecond=0)
        folder.mkdir()
        books(folder, noon)
        house = open_house(folder, now=noon)
        _, token = feed_addresses.create(house, "farm", habits=habits)
        house.books.close()
        file = feed_addresses.named("farm", habits)
        process, port = serve(folder)
        kept.callback(process.wait)
        kept.callback(process.terminate)
        door = Door(port)
        direct = f"http://127.0.0.1:{port}/cal/{token}/{file}.ics"
        before = feed(direct)
        program = kept.enter_context(
            subscribed(name, Path(made) / "home", direct.replace(str(port), str(door.port), 1), zone)
        )
        wrong = agrees(program, direct)
        print(f"{name}, {zone}, {file}: {len(before)} events, {len(wrong)} differences {wrong[:3]}", flush=True)
        happens(folder, noon + timedelta(minutes=2))
        after = feed(direct)
        kinds = {
            "new": len(after.keys() - before.keys()),
            "gone": len(before.keys() - after.keys()),
            "moved": sum(after[uid]["start"] != before[uid]["start"] for uid in after.keys() & before.keys()),
            "retitled": sum(after[uid]["summary"] != before[uid]["summary"] for uid in after.keys() & before.keys()),
            "canceled": sum(event["canceled"] for event in after.values()),
        }
        later = agrees(program, direct)
        print(f"  after the acts {kinds}: {len(later)} differences {later[:3]}", flush=True)
        told = len(door.asked)
        until = time.monotonic() + LONGEST_S
        while len(door.asked) == told and time.monotonic() < until:
            program.look_again()
            time.sleep(2)
        print(f"  asked {door.asked}", flush=True)
        unchanged = {status for method, status in door.asked[told:] if method == "GET"} == {304}
        return len(wrong) + len(later) + (not unchanged)


def main() -> None:
    """Each program named, in both zones, with and without canceled work."""
    here = [name for name, (_, program) in PROGRAMS.items() if shutil.which(program)]
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("programs", nargs="*", help=f"{' or '.join(PROGRAMS)}; those this machine has when none is named")
    names = told.parse_args().programs or here
    for name in names:
        if name not in here:
            told.error(f"{name} is not known or not installed; here: {', '.join(here) or 'none'}")
    habits = (Habits(digest=False), Habits(alarms_minutes=(45, 10), omit_cancelled=True))
    faults = [trial(name, habit, zone) for name in names for habit, zone in zip(habits, ZONES, strict=True)]
    raise SystemExit(1 if any(faults) or not faults else 0)


if __name__ == "__main__":
    main()
