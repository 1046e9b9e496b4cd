"""The power goes between any two instructions: afterwards the act is in the books whole or not at all, and can be sent again.

A process is killed at every call that reaches database or disk, before and after it.  What the operating system had not
yet put on the disk is not tested here: the books ask for a full sync at every commit.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from types import FrameType

from intake.app.calendars import feed_publication
from intake.app.commands import announce_shipment, count_animals, receive_shipment, schedule_work
from intake.app.commands.count_animals import Count
from intake.app.farm_folder import check_house
from intake.app.output_files import save
from intake.app.queries.planning import packing_list
from intake.app.session import House, open_house
from intake.ledger import Entry, balances
from tests.app.deliveries import LANDED, Open, announced, received

LATER = LANDED + timedelta(hours=5)
_TOUCHES = {"execute", "executemany", "commit", "fsync", "replace", "write", "open", "unlink"}
_ALWAYS = {"commit", "fsync", "replace", "unlink"}
"""Calls around which every cut is made; of the others a dozen, spread over the act."""


def _touched(call: object) -> str:
    """Name of a call that reaches database or disk; empty for any other."""
    owner, name = getattr(call, "__self__", None), getattr(call, "__name__", "")
    outside = type(owner).__module__ in {"sqlite3", "_io"} or getattr(owner, "__name__", "") == "posix"
    return name if outside and name in _TOUCHES else ""


class _Cut:
    """Kills the process at the ``at``-th event of a call that touches database or disk; 0 only writes them down."""

    def __init__(self, at: int) -> None:
        self.at = at
        self.seen: list[str] = []

    def __call__(self, _frame: FrameType, event: str, argument: object) -> None:
        name = _touched(argument) if event in {"c_call", "c_return"} else ""
        if name:
            self.seen.append(name)
            if len(self.seen) == self.at:
                os.kill(os.getpid(), signal.SIGKILL)


def cut_at(folder: Path, act: Callable[[House], object], at: int) -> bool:
    """Do the act in a process of its own that dies at its ``at``-th touch; whether it lived to the end."""
    child = os.fork()
    if child == 0:
        house = open_house(folder, who="ada", now=LATER)
        house.entries()
        sys.setprofile(_Cut(at))
        act(house)
        sys.setprofile(None)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0
    return not os.WIFSIGNALED(status)


def points_of(folder: Path, act: Callable[[House], object]) -> list[int]:
    """Points at which to cut: around every commit, sync and renaming, and a dozen in between."""
    house = open_house(folder, who="ada", now=LATER)
    house.entries()
    watch = _Cut(0)
    sys.setprofile(watch)
    act(house)
    sys.setprofile(None)
    house.books.close()
    near = {at for at, name in enumerate(watch.seen, start=1) if name in _ALWAYS}
    return sorted(near | {1 + step * (len(watch.seen) - 1) // 11 for step in range(12)})


def every_cut(folder: Path, act: Callable[[House], object], look: Callable[[Path, House], None]) -> int:
    """Do the act on fresh copies of the farm, cut at each point in turn; gives how often it did not live to the end."""
    whole = folder.parent / "whole"
    shutil.copytree(folder, whole)
    points = points_of(whole, act)
    entries = _content(open_house(whole, who="ada", now=LATER))
    before = _content(open_house(folder, who="ada", now=LATER))
    died = 0
    for point in points:
        copy = folder.parent / f"cut{point}"
        shutil.copytree(folder, copy)
        died += not cut_at(copy, act, point)
        house = open_house(copy, who="ada", now=LATER)
        assert check_house(house) == []
        assert _content(house) in (before, entries), f"half an act after cut {point}"
        look(copy, house)
        act(house)  # sent again, it must come out as if nothing had happened
        assert _content(house) == entries
        house.books.close()
        shutil.rmtree(copy)
    return died


def _content(house: House) -> list[tuple[object, ...]]:
    return [_told(entry) for entry in house.entries()]


def _told(entry: Entry) -> tuple[object, ...]:
    return entry.key, entry.happened_at, getattr(entry, "count", None), getattr(entry, "subject", None)


def nothing(_folder: Path, _house: House) -> None:
    """Nothing more to look at than the books."""


def test_power_cut_during_a_count(farm_folder: Path, house_at: Open) -> None:
    """Five dead and two missing are one act: both or neither."""
    received(house_at).books.close()
    points = every_cut(
        farm_folder, lambda house: count_animals.count(house, "S1-01", "Q1", Count(doa=5, missing=2), key="k"), nothing
    )
    assert points > 8


def test_power_cut_during_a_receipt(farm_folder: Path, house_at: Open) -> None:
    """A truck is in the books with all its lines or is still to come."""
    house = house_at()
    announced(house)
    house.books.close()

    def look(_folder: Path, house: House) -> None:
        held = balances(house.entries())
        landed = [held.get((batch, "supplier"), 0) for batch in ("S1-01", "S1-02", "S1-03")]
        assert landed in ([0, 0, 0], [-40, -40, -40])
        assert ("S1" in house.floor().received) == (landed[0] == -40)

    assert every_cut(farm_folder, lambda house: receive_shipment.receive(house, "S1", key="k"), look) > 8


def test_power_cut_while_a_list_is_entered(farm_folder: Path, house_at: Open) -> None:
    """A list is a shipment with all its batches, or nothing; its file in the inbox is whole or not there."""
    house_at().books.close()
    source = farm_folder.parent / "list.csv"
    source.write_text(
        "Box,Scientific name,Size (cm),Qty\n1,Tridacna maxima,4,60\n2,Zoanthus sp.,3,20\n", encoding="utf-8"
    )

    def act(house: House) -> None:
        if announce_shipment.entered_as(house, "k"):
            return
        lands = LATER + timedelta(days=3)
        found = packing_list.expect(house, source, "one", lands)
        announce_shipment.enter(house, found, lands, source=source, key="k")

    def look(folder: Path, _house: House) -> None:
        kept = [path for path in (folder / "inbox").glob("*") if not path.name.startswith(".")]
        assert all(path.read_bytes() == source.read_bytes() for path in kept)

    act(open_house(_warm(farm_folder), who="ada", now=LATER))  # pandas and all are read before the cuts begin
    assert every_cut(farm_folder, act, look) > 8


def _warm(folder: Path) -> Path:
    other = folder.parent / "warm"
    shutil.copytree(folder, other)
    return other


def test_power_cut_while_a_calendar_is_written(farm_folder: Path, house_at: Open) -> None:
    """The file a reader fetches is the old one or the new one, never half of one."""
    received(house_at)
    house = house_at(LATER)
    schedule_work.reschedule(house, seconds=0)
    out = Path("out") / "farm.ics"
    feed_publication.write(house, "farm", farm_folder / out)
    old = (farm_folder / out).read_bytes()
    new = old.replace(b"PRODID", b"X-OTHER:1\r\nPRODID")
    house.books.close()

    def look(folder: Path, _house: House) -> None:
        assert (folder / out).read_bytes() in (old, new)

    points = every_cut(farm_folder, lambda house: save(house.folder / out, new), look)
    assert points > 5
