"""Programs that subscribe, as people run them: the feed served on this machine, synced, imported and listed."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from intake.feed import Event, render, revise
from tests.feed import readers, sample

Row = tuple[str, str, bool, str]
"""Start, end and whether it is called off, with the title: times in UTC, days with the last day that belongs to it."""

SYNC = """
[general]
status_path = "{folder}/status"
[pair feed]
a = "remote"
b = "local"
collections = null
[storage remote]
type = "http"
url = "http://127.0.0.1:{port}/hall-1.ics"
[storage local]
type = "filesystem"
path = "{folder}/items"
fileext = ".ics"
"""
LISTING = """
[calendars]
[[hall]]
path = {folder}/items
[locale]
local_timezone = UTC
default_timezone = UTC
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%dT%H:%M
longdatetimeformat = %Y-%m-%dT%H:%M
[sqlite]
path = {folder}/khal.db
"""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[dict[str, bytes], int]]:
    """A body that a test may exchange, and the port on which it is answered."""
    holds = {"body": b""}

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/calendar; charset=utf-8")
            self.send_header("Content-Length", str(len(holds["body"])))
            self.end_headers()
            self.wfile.write(holds["body"])

        def log_message(self, *words: object) -> None:
            """Say nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Answer) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield holds, server.server_address[1]
        server.shutdown()
        thread.join()


def program(name: str, how: str) -> str:
    """Where a program lies: beside this Python or on the path."""
    found = shutil.which(name, path=os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")]))
    if found is None:
        readers.missing(f"{name} ({how})")
    return str(found)


def run(*words: str, folder: Path, zone: str = "UTC") -> str:
    """What a program said; it must end well."""
    environment = os.environ | {"HOME": str(folder), "XDG_CONFIG_HOME": str(folder), "TZ": zone, "LC_ALL": "C.UTF-8"}
    environment |= {"XDG_CACHE_HOME": str(folder), "XDG_DATA_HOME": str(folder), "no_proxy": "127.0.0.1"}
    done = subprocess.run(words, env=environment, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def wanted(events: list[Event]) -> Counter[Row]:
    """The rows a right program lists, from the timetable and the standard library's clocks alone."""
    rows: Counter[Row] = Counter()
    told = sample.oracle(events)
    for event in events:
        if isinstance(event.start, datetime) and isinstance(event.end, datetime):
            ends = [f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M}" for moment in (event.start, event.end)]
        else:
            ends = [f"{day:%Y-%m-%d}T00:00" for day in (event.start, event.end - timedelta(days=1))]
        rows[ends[0], ends[1], event.status == "CANCELLED", " ".join(told[event.uid]["summary"].split())] += 1
    return rows


def synced(folder: Path, port: int) -> tuple[Counter[Row], int]:
    """Sync the feed and list it: the rows, and the number of items on disk."""
    (folder / "sync").write_text(SYNC.format(folder=folder, port=port))
    (folder / "listing").write_text(LISTING.format(folder=folder))
    (folder / "items").mkdir(exist_ok=True)
    vdirsyncer, khal = program("vdirsyncer", "pip install vdirsyncer"), program("khal", "pip install khal")
    if not (folder / "status").exists():
        run(vdirsyncer, "-c", str(folder / "sync"), "discover", folder=folder)
    run(vdirsyncer, "-c", str(folder / "sync"), "sync", folder=folder)
    form = "{start-long-full}|{end-long-full}|{cancelled}|{title}"
    command = [khal, "-c", str(folder / "listing"), "list", "--once", "--format", form, "--day-format", ""]
    rows: Counter[Row] = Counter()
    for line in run(*command, "2026-09-01", "2027-05-01", folder=folder).splitlines():
        start, end, cancelled, title = line.split("|", 3)
        bare = re.sub("[\u2066-\u2069\u202a-\u202e\u200e\u200f]", "", title)
        rows[start, end, bool(cancelled.strip()), " ".join(bare.split())] += 1
    return rows, len(list((folder / "items").glob("*.ics")))


def test_a_synced_calendar_lists_the_timetable(served: tuple[dict[str, bytes], int], tmp_path: Path) -> None:
    """Vdirsyncer makes one item of each event, khal shows each at its hour, called-off ones marked: with half-hour changes."""
    zone = "Australia/Lord_Howe"
    events = sample.events(zone)
    served[0]["body"] = render(revise({}, events, sample.NOW), sample.face(zone), sample.NOW)
    rows, items = synced(tmp_path, served[1])
    assert items == len(events)
    assert rows == wanted(events)


def test_the_next_sync_brings_what_changed_and_nothing_else(
    served: tuple[dict[str, bytes], int], tmp_path: Path
) -> None:
    """Moved, retitled, called off, new: after the next sync the list is the new timetable; after a page, still so."""
    events = sample.events()
    published = {row.uid: row for row in revise({}, events, sample.NOW)}
    served[0]["body"] = render(published.values(), sample.face(), sample.NOW)
    synced(tmp_path, served[1])
    later = [replace(event, summary="Dip, moved") if event.uid == "chain-1@farm" else event for event in events[:-1]]
    later.append(Event("new@farm", later[0].start, later[0].end, "Count"))
    published |= {row.uid: row for row in revise(published, later, sample.NOW + timedelta(hours=1))}
    served[0]["body"] = render(published.values(), sample.face(omit_cancelled=True), sample.NOW)
    assert synced(tmp_path, served[1]) == (wanted(later), len(later))


def test_calcurse_imports_every_event(zone_name: str, feed_file: Path, tmp_path: Path) -> None:
    """Nothing is skipped, and every timed event is listed at its own moments; it knows no status, only the title."""
    calcurse = program("calcurse", "apt-get install calcurse")
    events = sample.events(zone_name)
    timed = [event for event in events if isinstance(event.start, datetime) and isinstance(event.end, datetime)]
    told = run(calcurse, "-D", str(tmp_path), "-i", str(feed_file), folder=tmp_path)
    assert f"{len(timed)} apps / {len(events) - len(timed)} events / 0 todos / 0 skipped" in told
    form = ("--format-apt", "%(start:epoch)|%(end:epoch)|%m\\n", "--format-event", "")
    period = ("-Q", "--from", "2026-09-01", "--days", "300")
    listed = run(calcurse, "-D", str(tmp_path), "--input-datefmt", "4", *period, *form, folder=tmp_path)
    rows = {
        (start, end, words[:60].rstrip()) for start, end, words in re.findall(r"^(\d+)\|(\d+)\|(.*)$", listed, re.M)
    }
    right = sample.oracle(timed)
    assert rows == {(str(one["start"]), str(one["end"]), one["summary"][:60].rstrip()) for one in right.values()}
