"""What a calendar costs the server: written the first time, asked again, after one act, and 304; over a socket.

Run with ``python -m tests.bench.calendar_door [LOTS]``.  The farm is invented.
"""

from __future__ import annotations

import argparse
import http.client
import os
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

from intake.app.calendars import feed_addresses
from intake.app.calendars.feed_addresses import Habits
from intake.app.commands import record_observation
from intake.app.queries.planning.published_timetable import stored_tasks
from intake.app.session import open_house
from tests.bench.board_phones import serve
from tests.bench.timetable_acts import farm

TICK_S = 1 / os.sysconf("SC_CLK_TCK")
MANY = 200


def spent(process: int) -> float:
    """Seconds of processor a process has had, its own and the kernel's for it."""
    words = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(words[11]) + int(words[12])) * TICK_S


class Subscriber:
    """One program with an open connection."""

    def __init__(self, process: int, port: int, path: str) -> None:
        self.process, self.path, self.tag = process, path, ""
        self.line = http.client.HTTPConnection("127.0.0.1", port, timeout=120)

    def ask(self, *, conditional: bool) -> tuple[int, bytes, float, float]:
        """Status, body, seconds waited and seconds of the server's processor."""
        headers = {"If-None-Match": self.tag} if conditional else {}
        wall, cpu = time.perf_counter(), spent(self.process)
        self.line.request("GET", self.path, headers=headers)
        answer = self.line.getresponse()
        body = answer.read()
        took = time.perf_counter() - wall
        self.tag = answer.headers["ETag"]
        return answer.status, body, took, spent(self.process) - cpu


def main() -> None:
    """Print each figure on a line."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("lots", nargs="?", type=int, default=150, help="150 make about 2,000 events")
    lots = told.parse_args().lots
    with tempfile.TemporaryDirectory() as name:
        folder, now = Path(name), datetime.now(UTC).replace(microsecond=0)
        farm(folder, lots, now - timedelta(days=1)).books.close()
        house = open_house(folder, now=now)
        _, token = feed_addresses.create(house, "farm", habits=Habits(digest=False))
        house.books.close()
        process, port = serve(folder)
        try:
            figures(folder, Subscriber(process.pid, port, f"/cal/{token}/farm~all.ics"))
        finally:
            process.terminate()
            process.wait()


def figures(folder: Path, reader: Subscriber) -> None:
    """Cold, again, after each of five acts, and many times nothing new."""
    status, body, took, cpu = reader.ask(conditional=False)
    events = body.count(b"BEGIN:VEVENT")
    print(
        f"{events} events, {len(body) / 1e6:.1f} MB; first after the start: {status}, {took:.3f} s, {cpu:.2f} s of processor"
    )
    again = [reader.ask(conditional=False) for _ in range(10)]
    print(
        f"again, whole: {median(row[2] for row in again):.4f} s, {sum(row[3] for row in again) / 10:.4f} s of processor"
    )
    wall, cpu, same = time.perf_counter(), spent(reader.process), {reader.ask(conditional=True)[0] for _ in range(MANY)}
    each = (time.perf_counter() - wall) / MANY
    print(f"unchanged: {same}, {1000 * each:.2f} ms, {1000 * (spent(reader.process) - cpu) / MANY:.2f} ms of processor")
    for _ in range(8):
        house = open_house(folder, now=datetime.now(UTC))
        due = min((t for t in stored_tasks(house) if t["state"] == "open"), key=lambda task: str(task["start"]))
        record_observation.done(house, str(due["uid"]))
        house.books.close()
        before, (status, body, took, cpu) = set(body.split(b"BEGIN:VEVENT")), reader.ask(conditional=True)
        changed = len(set(body.split(b"BEGIN:VEVENT")) - before)
        print(f"after one act: {status}, {changed} events changed, {took:.3f} s, {cpu:.2f} s of processor")


if __name__ == "__main__":
    main()
