"""The receiving day as a question: which boxes, landed when and packed when, with which tables, tubs, hands and water.

All times inside are whole minutes from ``DayProblem.origin``, an absolute instant, so neither two time zones nor a
change of the clocks can stretch or shorten the hours an animal has been in its bag.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property
from math import floor
from typing import Literal
from zoneinfo import ZoneInfo

from intake.errors import BadInput, Finding
from intake.receiving.box import BoxLine, BoxNeed

__all__ = [
    "DIP_PLACE",
    "SECOND",
    "TABLE",
    "TUB",
    "BoxLine",
    "BoxNeed",
    "DayProblem",
    "Hand",
    "Kind",
    "Lane",
    "Pool",
    "Taken",
    "Underway",
    "joined_tubs",
    "minutes_between",
    "tub_names",
]

Kind = Literal["opening", "acclimation", "dip"]
_Spans = tuple[tuple[int, int], ...]
KINDS: tuple[Kind, ...] = ("opening", "acclimation", "dip")
TABLE, TUB, DIP_PLACE = (frozenset((f"{kind} place",)) for kind in KINDS)
"""What a lane of each kind serves, named apart from the skills of people."""


SECOND = "a second person"
"""Stands in where only one person is in: no one opens boxes or handles chemicals alone."""
_JOIN = " + "
"""Between the names of several tubs of one box."""


def tub_names(tub: str) -> tuple[str, ...]:
    """The tubs one box is in, by name."""
    return tuple(tub.split(_JOIN)) if tub else ()


def joined_tubs(names: Iterable[str]) -> str:
    """Several tubs as one name."""
    return _JOIN.join(names)


def minutes_between(earlier: datetime, later: datetime) -> int:
    """Whole minutes from one instant to another, in absolute time whatever their zones.

    Both are taken to UTC first: Python subtracts two times of the *same* zone by the wall clock, which is an hour wrong
    over a change of the clocks.
    """
    return round((later.astimezone(UTC) - earlier.astimezone(UTC)) / timedelta(minutes=1))


@dataclass(frozen=True, slots=True)
class Lane:
    """One place at one station: a table, a tub, a dip bench place; ``until`` (minute) if it is taken away."""

    id: str
    kind: Kind
    until: int | None = None


@dataclass(frozen=True, slots=True)
class Hand:
    """A person in on this day, from minute ``starts`` to minute ``ends``; ``name`` as people say it."""

    id: str
    skills: frozenset[str]
    starts: int
    ends: int
    name: str = ""


@dataclass(frozen=True, slots=True)
class Taken:
    """Minutes in which a person or place is taken by other published work, from ``start`` to ``end``."""

    name: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Underway:
    """What has already happened to a box: done and started work is never moved.

    ``opened_at`` to ``counted_at`` on ``table`` by ``opener``; then, once begun, ``tub_at`` in ``tub`` set up by
    ``setter``; then, once begun, ``finish_at`` (taken out of the tub) on ``dip_place`` by ``finisher``, until
    ``placed_at``.  ``counted_at`` and ``placed_at`` may lie ahead: work in hand.
    """

    box: str
    opened_at: datetime
    counted_at: datetime
    table: str = ""
    opener: str = ""
    tub_at: datetime | None = None
    tub: str = ""
    setter: str = ""
    finish_at: datetime | None = None
    placed_at: datetime | None = None
    dip_place: str = ""
    finisher: str = ""


@dataclass(frozen=True, slots=True)
class Pool:
    """Lanes or people that can be in for one another: same abilities, same minutes ``opens`` to ``closes``."""

    members: tuple[str, ...]
    serves: frozenset[str]
    opens: int
    closes: int


@dataclass(frozen=True)
class DayProblem:
    """Everything the receiving day is planned from.

    Attributes
    ----------
    origin
        The instant minutes are counted from: opening time of the receiving team, UTC.
    zone
        Time zone of the farm, for showing times.
    closes
        Minute at which the team's day ends; work past it is late, not forbidden.
    trucks
        Shipment → minute its boxes stand on the dock.
    people
        Who is in.  Whoever of those with a needed skill leaves last stays until the work is done; minutes past
        ``Hand.ends`` are reported as overtime.
    drip_lines, mixed_water_l
        How many, how much ready at once; ``None``: not limiting.
    remake_minutes
        Drawn water is mixed again so long after the acclimation it was drawn for.
    now
        Nothing new starts before this minute.
    underway
        Done and started work.
    taken
        Minutes in which people and places are taken by other published work.
    notes
        What was assumed, in words.
    """

    origin: datetime
    zone: str
    closes: int
    trucks: Mapping[str, int]
    boxes: tuple[BoxNeed, ...]
    lanes: tuple[Lane, ...]
    people: tuple[Hand, ...]
    drip_lines: int | None = None
    mixed_water_l: float | None = None
    remake_minutes: int = 0
    now: int = 0
    underway: tuple[Underway, ...] = ()
    taken: tuple[Taken, ...] = ()
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        known = [box.box for box in self.boxes]
        faults = [
            Finding("box", box, "each box once", "Give the second one its own number.")
            for box in sorted({box for box in known if known.count(box) > 1})
        ]
        faults += [
            Finding(f"box {box.box}, shipment", box.shipment, "a shipment with a landing time", "Say when it lands.")
            for box in self.boxes
            if box.shipment not in self.trucks
        ]
        faults += [
            Finding(f"started work on box {work.box}", work.box, "a box of the day")
            for work in self.underway
            if work.box not in known
        ]
        names = [*(lane.id for lane in self.lanes), *(hand.id for hand in self.people)]
        faults += [
            Finding("place or person", name, "a name of its own", "Rename one of the two.")
            for name in sorted({name for name in names if names.count(name) > 1})
        ]
        if self.origin.tzinfo is None:
            faults.append(Finding("origin", str(self.origin), "a time with its time zone"))
        if faults:
            raise BadInput(faults)

    def at(self, minute: int) -> datetime:
        """The instant of a minute, in the farm's time zone."""
        return (self.origin.astimezone(UTC) + timedelta(minutes=minute)).astimezone(ZoneInfo(self.zone))

    def called(self, person: str) -> str:
        """A person's name, or the id where there is none."""
        return next((hand.name for hand in self.people if hand.id == person and hand.name), person)

    def minute(self, at: datetime) -> int:
        """The minute of an instant, negative before the origin."""
        return minutes_between(self.origin, at)

    def ready(self, box: BoxNeed) -> int:
        """Minute from which a box that is still closed may be opened."""
        return max(0, self.now, self.trucks[box.shipment])

    @cached_property
    def age(self) -> Mapping[str, int]:
        """Box → minutes it had been closed at the origin."""
        return {box.box: minutes_between(box.packed_at, self.origin) for box in self.boxes}

    @cached_property
    def begun(self) -> Mapping[str, Underway]:
        """Box → its done and started work."""
        return {work.box: work for work in self.underway}

    @cached_property
    def horizon(self) -> int:
        """A minute by which everything could be done one box after another."""
        marks = [0, self.now, self.closes, *self.trucks.values(), *(hand.starts for hand in self.people)]
        marks += [one.end for one in self.taken]
        marks += [
            self.minute(at)
            for work in self.underway
            for at in (work.counted_at, work.tub_at, work.placed_at)
            if at is not None
        ]
        work = sum(
            box.opening_minutes + box.tub_minutes + box.finishing_minutes + self.remake_minutes for box in self.boxes
        )
        return max(marks) + work + 1

    @property
    def whole_litres(self) -> int | None:
        """Mixed water ready at once, rounded down to whole liters; ``None``: not limiting."""
        return None if self.mixed_water_l is None else floor(self.mixed_water_l)

    def needs(self) -> tuple[frozenset[str], ...]:
        """Every combination of skills some step of the day asks for, in a fixed order."""
        asked = {
            skills for box in self.boxes for skills in (box.opening_skills, box.setup_skills, box.finishing_skills)
        }
        return tuple(sorted(asked, key=sorted))

    def kinds(self) -> tuple[Kind, ...]:
        """Kinds of station the day needs."""
        dips = any(box.dip_minutes for box in self.boxes)
        return KINDS if dips else KINDS[:2]

    @cached_property
    def crew(self) -> tuple[Pool, ...]:
        """People as pools, those who must stay late given until the horizon."""
        stay = self.stayers
        return _pooled(
            (
                hand.id,
                hand.skills,
                max(0, hand.starts),
                self.horizon if hand.id in stay else hand.ends,
                self._taken(hand.id),
            )
            for hand in self.people
        )

    def _taken(self, name: str) -> _Spans:
        return tuple((one.start, one.end) for one in self.taken if one.name == name and one.end > max(one.start, 0))

    @cached_property
    def stayers(self) -> frozenset[str]:
        """Who stays until the work is done: whoever leaves last of those with a needed skill, and two at least."""
        stay: set[str] = set()
        for need in self.needs():
            able = [hand for hand in self.people if need <= hand.skills]
            last = max((hand.ends for hand in able), default=0)
            stay |= {hand.id for hand in able if hand.ends == last}
        others = sorted((hand for hand in self.people if hand.id not in stay), key=lambda hand: (-hand.ends, hand.id))
        stay |= {hand.id for hand in others[: max(0, 2 - len(stay))]}
        return frozenset(stay)

    @cached_property
    def company(self) -> int:
        """Minutes with two people at the landing, as the bits of a number: no one opens boxes or handles chemicals alone.

        Whoever has other work at the time, such as a published round, is in the house and no company.
        """
        once = twice = 0
        for pool in self.crew:
            for name in pool.members:
                bits = _bits(pool.opens, pool.closes)
                for start, end in self._taken(name):
                    bits &= ~_bits(max(0, start), end)
                once, twice = once | bits, twice | (once & bits)
        return twice

    @cached_property
    def places(self) -> tuple[Pool, ...]:
        """Lanes as pools."""
        rows = [
            (
                lane.id,
                frozenset((f"{lane.kind} place",)),
                0,
                self.horizon if lane.until is None else lane.until,
                self._taken(lane.id),
            )
            for lane in self.lanes
        ]
        return _pooled(rows)

    def completed(self) -> DayProblem:
        """The same day with a stand-in wherever no one and no place can do what it needs, each with a note.

        So a day is never refused: it says who or what is missing.  Drip lines and water asked for by one box beyond
        what the farm has are cut to what it has.
        """
        people, lanes, notes = list(self.people), list(self.lanes), list(self.notes)
        for need in self.needs():
            if not any(need <= hand.skills for hand in people):
                words = " and ".join(sorted(need))
                people.append(Hand(f"one more ({words})", need, 0, self.closes))
                notes.append(f"No one who may {words} is in: the plan counts on one more person who can.")
        if len(people) < 2:
            people.append(Hand(SECOND, frozenset(), 0, self.closes))
            notes.append(
                "No one opens boxes or handles chemicals alone: the plan counts on a second person. This is what binds."
            )
        most = max((box.tubs for box in self.boxes), default=1)
        for kind in self.kinds():
            have = sum(lane.kind == kind and lane.until is None for lane in lanes)
            wanted = most if kind == "acclimation" else 1
            for number in range(have, wanted):
                lanes.append(Lane(f"{kind} place to find" + (f" {number + 1}" if number else ""), kind))
            if have < wanted:
                several = "one" if wanted - have == 1 else str(wanted - have)
                left = f"No {kind} place is" if not have else f"Only {have} {kind} places are"
                notes.append(f"{left} left to the end of the day: the plan counts on {several} to be found.")
        boxes = tuple(self._fitting(box, notes) for box in self.boxes)
        if notes == list(self.notes):
            return self
        return replace(self, people=tuple(people), lanes=tuple(lanes), boxes=boxes, notes=tuple(notes))

    def _fitting(self, box: BoxNeed, notes: list[str]) -> BoxNeed:
        if self.drip_lines is not None and box.drip_lines > self.drip_lines:
            notes.append(f"Box {box.box} asks for {box.drip_lines} drip lines; there are {self.drip_lines}.")
            box = replace(box, drip_lines=self.drip_lines)
        litres = self.whole_litres
        if litres is not None and box.whole_litres > litres:
            notes.append(f"Box {box.box} asks for {box.whole_litres} L of mixed water at once; {litres} L are ready.")
            box = replace(box, water_l=float(litres))
        return box


def _bits(start: int, end: int) -> int:
    """Minutes from a start to before an end, as the bits of a number."""
    return ((1 << max(0, end - start)) - 1) << start


def _pooled(rows: Iterable[tuple[str, frozenset[str], int, int, _Spans]]) -> tuple[Pool, ...]:
    """Alike members together; someone with other work to do is a pool alone."""
    alike: dict[tuple[tuple[str, ...], int, int, str], list[str]] = {}
    for identity, serves, opens, closes, taken in rows:
        if closes > opens:
            alike.setdefault((tuple(sorted(serves)), opens, closes, identity if taken else ""), []).append(identity)
    return tuple(
        Pool(tuple(members), frozenset(serves), opens, closes) for (serves, opens, closes, _), members in alike.items()
    )
