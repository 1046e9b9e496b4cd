"""Reads one subscribed calendar through Evolution Data Server and prints what it holds, once a line it is told on standard input.

Runs with the system's own Python, which has the bindings: ``dbus-run-session -- /usr/bin/python3 evolution_reader.py SOURCE``.
"""

from __future__ import annotations

import json
import sys
from typing import Any

import gi

gi.require_version("ECal", "2.0")
gi.require_version("EDataServer", "1.2")
from gi.repository import ECal, EDataServer, ICalGLib  # noqa: E402  (versions are chosen first)

WAIT_S = 60


def instant(client: Any, component: Any, which: str) -> int | str:
    """An epoch second where the time has a zone, the date where it is a whole day; zones are those the server kept."""
    kind = ICalGLib.PropertyKind.DTSTART_PROPERTY if which == "start" else ICalGLib.PropertyKind.DTEND_PROPERTY
    time = component.get_dtstart() if which == "start" else component.get_dtend()
    if time.is_date():
        return f"{time.get_year():04}-{time.get_month():02}-{time.get_day():02}"
    if time.is_utc():
        return int(time.as_timet_with_zone(ICalGLib.Timezone.get_utc_timezone()))
    name = component.get_first_property(kind).get_first_parameter(ICalGLib.ParameterKind.TZID_PARAMETER).get_tzid()
    _, zone = client.get_timezone_sync(name, None)
    return int(time.as_timet_with_zone(zone))


def counted(component: Any, kind: Any) -> int:
    """How many components of a kind are inside."""
    number, inner = 0, component.get_first_component(kind)
    while inner is not None:
        number, inner = number + 1, component.get_next_component(kind)
    return number


def held(client: Any) -> dict[str, dict[str, Any]]:
    """Every event by uid."""
    _, components = client.get_object_list_sync("#t", None)
    found: dict[str, dict[str, Any]] = {}
    for component in components:
        uid = component.get_uid()
        assert uid not in found, uid
        status = component.get_status()
        found[uid] = {
            "start": instant(client, component, "start"),
            "end": instant(client, component, "end"),
            "summary": component.get_summary() or "",
            "description": component.get_description() or "",
            "canceled": status == ICalGLib.PropertyStatus.CANCELLED,
            "sequence": component.get_sequence(),
            "alarms": counted(component, ICalGLib.ComponentKind.VALARM_COMPONENT),
        }
    return found


def main() -> None:
    """Subscribe, then print what is held after each line on standard input, asked for anew from the server."""
    registry = EDataServer.SourceRegistry.new_sync(None)
    client = ECal.Client.connect_sync(registry.ref_source(sys.argv[1]), ECal.ClientSourceType.EVENTS, WAIT_S, None)
    for _ in sys.stdin:
        client.refresh_sync(None)
        print(json.dumps(held(client)), flush=True)


main()
