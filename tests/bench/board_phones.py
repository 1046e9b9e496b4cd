"""Eight phones count at once for a minute against a real server process; print errors, lost, doubled, and how long each took.

Run: python -m tests.bench.board_phones [--seconds 60] [--phones 8] [--before ENTRIES] [--pause SECONDS] [--walls 1] [--plan].
Without a pause each phone sends its next count at the answer to the last; ``--plan`` keeps ``vatside plan`` running beside it.
"""

from __future__ import annotations

import argparse
import http.client
import json
import re
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

from intake.app.access import devices
from intake.app.calendars import feed_publication
from intake.app.farm_folder import check_house
from intake.app.session import open_house
from intake.farm.floor import Batch
from intake.ledger import Movement, balances, batch_payload
from intake.store import Books
from tests.bench.ages import Writer
from tests.board.conftest import write_farm

EACH = 20_000
BATCHES = ("S1-01", "S1-02")
PERSONS = ("ada", "ben", "cleo")
AHEAD = "S2"
"""A shipment that is on its way, for the plan that runs beside."""
AGAIN = 10
"""Every tenth count is sent a second time, as after a lost reply."""


def farm(folder: Path, before: int) -> None:
    """Write a farm with two batches large enough to be counted down all day, after so many entries of three years."""
    noon = datetime.now(UTC) - timedelta(hours=6)
    folder.mkdir(parents=True, exist_ok=True)
    if before:
        with Books.open(folder / "farm.db") as books, books.write() as unit:
            unit.copy(Writer(before, noon - timedelta(days=1), "A", alive=0).write())
    write_farm(folder, noon)
    house = open_house(folder, who="ada", now=noon + timedelta(hours=4))
    with house.act() as act:
        for name in BATCHES:
            act.move(name, "supplier", "vat:Q1", EACH)
        lands = (noon + timedelta(days=9)).isoformat()
        act.note("shipment", AHEAD, {"supplier": "one", "lands": lands})
        for line in range(1, 13):
            ahead = Batch(f"{AHEAD}-{line:02}", "Tridacna maxima", "clam_small", 40.0, 90, AHEAD, line, "one", ("1",))
            act.note("batch", ahead.id, batch_payload(ahead))
    feed_publication.publish(
        house.at(datetime.now(UTC))
    )  # the hours since are gone through before the clock of the bench runs
    house.books.close()


@dataclass
class Phone:
    """One phone: its connection, its cookie, and what became of every count it sent."""

    port: int
    cookie: str
    token: str
    person: str
    took: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    counted: int = 0
    doubled: int = 0

    def __post_init__(self) -> None:
        self.connect()

    def connect(self) -> None:
        """Open the connection anew; the server closes those that say nothing for some seconds."""
        self._line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)

    def ask(self, method: str, path: str, body: str = "", kind: str = "application/json") -> tuple[int, bytes]:
        """One request on the open connection."""
        headers = {"cookie": self.cookie, "origin": f"http://127.0.0.1:{self.port}", "content-type": kind}
        headers |= {"x-vatside-form": self.token} if self.token else {}
        self._line.request(method, path, body, headers)
        answer = self._line.getresponse()
        told = answer.read()
        if "set-cookie" in answer.headers:
            self.cookie = answer.headers["set-cookie"].partition(";")[0]
        return answer.status, told

    def count(self, batch: str) -> None:
        """Send one dead, at times twice; the verdicts must be 201 and then 200."""
        now = int(time.time() * 1000)
        told = {"key": secrets.token_urlsafe(18), "who": self.person, "batch": batch, "vat": "Q1", "dead": 1}
        body = json.dumps(told | {"tapped_ms": now, "sent_ms": now})
        start = time.perf_counter()
        status, said = self.ask("POST", "/api/count", body)
        self.took.append(time.perf_counter() - start)
        if status != 201:
            self.errors.append(f"{status} {said[:200]!r}")
            return
        self.counted += 1
        if self.counted % AGAIN == 0:
            status, said = self.ask("POST", "/api/count", body)
            self.doubled += 1
            if status != 200 or not json.loads(said)["duplicate"]:
                self.errors.append(f"sent twice: {status} {said[:200]!r}")


def signed_in(folder: Path, port: int, person: str) -> Phone:
    """Join a phone by an invitation."""
    house = open_house(folder)
    try:
        _, code = devices.invite(house, person)
    finally:
        house.books.close()
    phone = Phone(port, "", "", person)
    status, said = phone.ask(
        "POST", f"/join/{code}", urlencode({"label": "bench"}), "application/x-www-form-urlencoded"
    )
    assert status == 303, said
    phone.token = json.loads(phone.ask("GET", "/api/facts")[1])["form_token"]
    return phone


def serve(folder: Path) -> tuple[subprocess.Popen[bytes], int]:
    """Start the board as its own process on a free port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    command = [sys.executable, "-m", "intake", "--farm", str(folder), "serve", "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(200):
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return process, port
        except OSError:
            time.sleep(0.05)
    process.kill()
    raise SystemExit("the server did not come up")


def planning(folder: Path, over: threading.Event) -> int:
    """Plan the shipment ahead again and again in a process of its own until it is over; how many plans were made."""
    made = 0
    command = [sys.executable, "-m", "intake", "--farm", str(folder), "plan", "--seconds", "20"]
    while not over.is_set():
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        while process.poll() is None and not over.wait(0.2):
            pass
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
        made += process.wait(60) in {0, 1}
    return made


def options() -> argparse.Namespace:
    """What the run is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--phones", type=int, default=8)
    parser.add_argument("--before", type=int, default=0, help="entries in the books before the run")
    parser.add_argument("--pause", type=float, default=0.0, help="seconds a phone waits between two counts")
    parser.add_argument("--walls", type=int, default=1, help="screens that ask for the floor each second")
    parser.add_argument("--plan", action="store_true", help="keep vatside plan running beside")
    return parser.parse_args()


def main() -> None:
    """Run, then read the books beside the server and after it."""
    asked = options()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "farm"
        farm(folder, asked.before)
        process, port = serve(folder)
        try:
            crowd = [signed_in(folder, port, PERSONS[one % len(PERSONS)]) for one in range(asked.phones)]
            screens = [signed_in(folder, port, "ada") for _ in range(asked.walls)]
            pages: list[float] = []
            over = threading.Event()
            until = time.perf_counter() + asked.seconds

            def keeper(phone: Phone) -> None:
                phone.connect()
                number = 0
                while time.perf_counter() < until:
                    phone.count(BATCHES[number % 2])
                    number += 1
                    time.sleep(asked.pause)

            def wall(phone: Phone) -> None:
                # A screen on the wall reads the floor while everybody counts.
                phone.connect()
                while not over.wait(1.0):
                    start = time.perf_counter()
                    status, said = phone.ask("GET", "/")
                    pages.append(time.perf_counter() - start)
                    if status != 200 or not re.search(rb"alive", said):
                        phone.errors.append(f"floor: {status}")

            with ThreadPoolExecutor(asked.phones + asked.walls + 1) as pool:
                beside = [pool.submit(wall, screen) for screen in screens]
                plans = pool.submit(planning, folder, over) if asked.plan else None
                for counting in [pool.submit(keeper, phone) for phone in crowd]:
                    counting.result()
                over.set()
                for one in beside:
                    one.result()
                if plans is not None:
                    print(f"plans made beside: {plans.result()}", flush=True)
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(20)
        report(folder, crowd, screens, pages, asked)


def report(
    folder: Path, crowd: list[Phone], screens: list[Phone], pages: list[float], asked: argparse.Namespace
) -> None:
    """Compare what the phones were told with what the books hold."""
    house = open_house(folder)
    entries, faults = house.entries(), check_house(house)
    house.books.close()
    dead = sum(number for (batch, place), number in balances(entries).items() if place == "dead" and batch in BATCHES)
    told, errors = sum(one.counted for one in crowd), [error for one in [*crowd, *screens] for error in one.errors]
    keys = [entry.key for entry in entries if isinstance(entry, Movement)]
    took = sorted(one for phone in crowd for one in phone.took)
    at = [f"p{share} {took[len(took) * share // 100] * 1000:.0f}" for share in (50, 95, 99)]
    print(
        f"{len(crowd)} phones, {asked.walls} walls, {asked.seconds} s, {asked.before} entries before: "
        f"{told} counts acknowledged, {sum(one.doubled for one in crowd)} sent twice, {dead} dead in the books, "
        f"{len(errors)} errors, {len(keys) - len(set(keys))} keys twice, {len(faults)} faults; "
        f"ms {', '.join(at)}, longest {took[-1] * 1000:.0f}; floor page median "
        f"{sorted(pages)[len(pages) // 2] * 1000:.0f} ms",
        flush=True,
    )
    for error in sorted(set(errors))[:3]:
        print("  ", error)
    if errors or faults or dead != told or len(keys) != len(set(keys)):
        raise SystemExit(1)


if __name__ == "__main__":
    main()
