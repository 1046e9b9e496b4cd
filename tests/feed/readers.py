"""Runs the independent readers; one that is not installed is skipped in plain sight, or fails where it is required."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent


def missing(what: str) -> None:
    """Skip, or fail where the continuous checks demand every reader."""
    if os.environ.get("VATSIDE_REQUIRE_READERS") == "1":
        pytest.fail(f"reader required but not installed: {what}")
    pytest.skip(f"reader not installed: {what}")


def run_icaljs(*arguments: Path, host_zone: str = "UTC") -> Any:
    """What ical.js read, on a machine set to this zone."""
    modules = Path(os.environ.get("VATSIDE_NODE_MODULES") or Path.cwd() / "node_modules")
    node = shutil.which("node")
    if node is None or not (modules / "ical.js").is_dir():
        missing("ical.js (npm install ical.js@2.2.1, then VATSIDE_NODE_MODULES=.../node_modules)")
    environment = os.environ | {"TZ": host_zone, "VATSIDE_NODE_MODULES": str(modules)}
    command = [str(node), str(HERE / "read_icaljs.mjs"), *map(str, arguments)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@cache
def build_libical(folder: Path) -> Path | None:
    """The compiled libical reader, or None where there is no compiler or no libical."""
    target = folder / "lical"
    compiler = shutil.which("gcc")
    if compiler is None:
        return None
    command = [compiler, "-O1", str(HERE / "lical.c"), "-lical", "-o", str(target)]
    return target if subprocess.run(command, capture_output=True, check=False).returncode == 0 else None


def run_libical(program: Path | None, *arguments: Path) -> subprocess.CompletedProcess[str]:
    """What libical read, as the finished process."""
    if program is None:
        missing("libical (apt-get install gcc libical-dev)")
    return subprocess.run([str(program), *map(str, arguments)], capture_output=True, text=True, check=False)


def read_ical(body: bytes) -> dict[str, dict[str, Any]]:
    """What the strict reader `ical` found, by uid; uids that come twice fail."""
    from ical.calendar_stream import IcsCalendarStream

    calendar = IcsCalendarStream.calendar_from_ics(body.decode())
    found: dict[str, dict[str, Any]] = {}
    events: list[Any] = list(calendar.events)
    for event in events:
        timed = hasattr(event.dtstart, "hour")
        assert event.uid not in found
        found[event.uid] = {
            "start": int(event.dtstart.timestamp()) if timed else event.dtstart.isoformat(),
            "end": int(event.dtend.timestamp()) if timed else event.dtend.isoformat(),
            "summary": event.summary or "",
            "description": event.description or "",
            "location": event.location or "",
            "categories": list(event.categories),
            "status": event.status.value,
            "sequence": event.sequence,
            "stamp": int(event.dtstamp.timestamp()),
            "modified": int(event.last_modified.timestamp()),
            "alarms": sorted(int(alarm.trigger.total_seconds()) for alarm in event.alarm),
            "related": sorted(related.uid for related in event.related_to),
        }
    return found
