"""The water assignment problem: how many vats of which water each lot gets, which decides a full farm.

Vats of one water that are alike are counted, animals of one lot that may share vats are taken together, and only bench
area and oxygen are looked at.  So a few waters with everybody in them can be reassigned in a tenth of a second, and a
supplier's whole share can change places with another's, for which a step with individual vats would be far too large.  What
comes of it is a proposal: rules are left out, so a plan has to be made of it lot by lot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Occupancy
from intake.plan.model.overlap import together
from intake.plan.relaxations.aggregated_quarantine import Rooms
from intake.plan.relaxations.disaggregation import Claim
from intake.plan.solvers.interface import Answer
from intake.plan.tuning import ASSIGNMENT_ANIMAL_PRICE, ASSIGNMENT_VAT_PRICE, ASSIGNMENT_WATER_PRICE

__all__ = ["AssignmentModel", "Kind", "Party", "WaterAssignment", "claims_assigned", "water_assignment"]


@dataclass(frozen=True, slots=True)
class Kind:
    """Vats of one water that offer the same."""

    system: int
    area: int
    oxygen: int
    fallow: int
    vats: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Party:
    """Batches of one lot that may share vats, in the same waters on the same days.

    Attributes
    ----------
    doors
        Kinds of vats that suit, and how many of each no one who stays keeps from it.
    apart
        Whether the waters are such as suppliers may not share.
    """

    number: int
    apart: bool
    lot: tuple[str, int]
    supplier: str
    start: int
    end: int
    owners: tuple[int, ...]
    area: int
    oxygen: int
    doors: Mapping[int, int]


@dataclass(slots=True)
class WaterAssignment:
    """Who has how many vats of which kind.

    Attributes
    ----------
    least
        Animals of each batch that no plan can place.
    held
        For each party the vats it has, by kind.
    left
        For each batch the animals for which that is too little, in the stage in which they lack most.
    """

    occupancy: Occupancy
    kinds: Sequence[Kind]
    parties: Sequence[Party]
    least: Mapping[int, int]
    held: list[dict[int, int]] = field(default_factory=list)
    left: dict[int, int] = field(default_factory=dict)
    kinds_of: dict[int, list[int]] = field(default_factory=dict)
    holders: list[set[int]] = field(default_factory=list)
    of_batch: dict[int, list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.held = [{} for _ in self.parties]
        self.holders = [set() for _ in self.kinds]
        self.left = {owner: self.occupancy.problem.batches[owner].count for one in self.parties for owner in one.owners}
        for number, kind in enumerate(self.kinds):
            self.kinds_of.setdefault(kind.system, []).append(number)
        for party in self.parties:
            for owner in party.owners:
                self.of_batch.setdefault(owner, []).append(party.number)

    def lacking(self, party: int) -> int:
        """Weighted animals of a party without a place that might have one."""
        batches = self.occupancy.problem.batches
        owners = self.parties[party].owners
        return sum((self.left[owner] - self.least[owner]) * batches[owner].weight for owner in owners)

    def waters(self, party: int) -> list[int]:
        """Waters in which a party has vats."""
        return sorted({self.kinds[kind].system for kind in self.held[party]})

    def suited(self, party: int) -> list[int]:
        """Waters with vats that suit a party."""
        return sorted({self.kinds[kind].system for kind in self.parties[party].doors})

    def inside(self, systems: Iterable[int]) -> list[int]:
        """Parties with vats in some waters."""
        return sorted({one for system in systems for kind in self.kinds_of[system] for one in self.holders[kind]})

    def tied(self, parties: Iterable[int]) -> list[int]:
        """Parties and all in which any of their batches spend other stages, and so on."""
        found: set[int] = set()
        ahead = list(parties)
        while ahead:
            one = ahead.pop()
            if one not in found:
                found.add(one)
                ahead += [other for owner in self.parties[one].owners for other in self.of_batch[owner]]
        return sorted(found)

    def give(self, party: int, held: Mapping[int, int]) -> None:
        """Let a party have these vats and no others."""
        for kind in self.held[party]:
            self.holders[kind].discard(party)
        self.held[party] = {kind: count for kind, count in held.items() if count}
        for kind in self.held[party]:
            self.holders[kind].add(party)


def water_assignment(occupancy: Occupancy, rooms: Rooms, least: Mapping[int, int]) -> WaterAssignment:
    """A water assignment of all waters kept lot by lot, in which no one has anything yet.

    Parameters
    ----------
    occupancy
        Filled with whoever stays where they are.
    rooms
        Of this occupancy, such as ``rooms_in`` gives.
    least
        Animals of each batch that no plan can place.
    """
    kinds = _kinds(occupancy)
    kind_of = {vat: number for number, kind in enumerate(kinds) for vat in kind.vats}
    return WaterAssignment(occupancy, kinds, _parties(occupancy, rooms, kinds, kind_of), dict(least))


def _kinds(occupancy: Occupancy) -> list[Kind]:
    found: dict[tuple[int, int, int, int], list[int]] = {}
    for vat, offer in enumerate(occupancy.problem.vats):
        system = occupancy.system_of[vat]
        if occupancy.quarantine[vat]:
            key = (system, offer.area_mm2, offer.oxygen_ug_per_h, offer.fallow_days)
            found.setdefault(key, []).append(vat)
    return [Kind(*key, tuple(vats)) for key, vats in sorted(found.items())]


_Key = tuple[tuple[str, int], str, int, int, tuple[int, ...]]


def _parties(occupancy: Occupancy, rooms: Rooms, kinds: Sequence[Kind], kind_of: Mapping[int, int]) -> list[Party]:
    batches = occupancy.problem.batches
    found: dict[_Key, list[tuple[int, int]]] = {}
    for owner, batch in enumerate(batches):
        for position, stage in enumerate(batch.stages):
            if occupancy.by_lots(owner, position) and rooms(owner, position):
                doors = tuple(sorted({kind_of[vat] for vat in rooms(owner, position)}))
                key = (batch.lot, batch.supplier, stage.start_day, stage.end_day, doors)
                found.setdefault(key, []).append((owner, position))
    parties: list[Party] = []
    for (lot, supplier, start, end, doors), members in sorted(found.items()):
        apart = all(occupancy.separate[kinds[kind].system] for kind in doors)
        for company in _companies(occupancy, kinds[doors[0]].vats[0], members):
            vats = {vat for member in company for vat in rooms(*member)}
            open_vats = {kind: sum(kind_of[vat] == kind for vat in vats) for kind in doors}
            owners = tuple(owner for owner, _ in company)
            area = sum(batches[owner].count * batches[owner].footprint_mm2 for owner in owners)
            oxygen = sum(batches[owner].count * batches[owner].oxygen_ug_per_h for owner in owners)
            one = Party(len(parties), apart, lot, supplier, start, end, owners, area, oxygen, open_vats)
            parties.append(one)
    return parties


def _companies(occupancy: Occupancy, vat: int, members: Iterable[tuple[int, int]]) -> list[list[tuple[int, int]]]:
    """Members in as few companies as the order of their groups gives, no one beside whom he may not stand."""
    batches = occupancy.problem.batches
    companies: list[list[tuple[int, int]]] = []
    for member in sorted(members, key=lambda member: (batches[member[0]].group, member)):
        group = batches[member[0]].group
        for company in companies:
            if not any(occupancy.clash(vat, group, batches[owner].group) for owner, _ in company):
                company.append(member)
                break
        else:
            companies.append([member])
    return companies


class AssignmentModel:
    """Some waters to be reassigned to some parties; what these have elsewhere they keep.

    Parameters
    ----------
    parties
        Everybody who has vats in these waters now, and others; with those tied to them.
    """

    def __init__(self, assignment: WaterAssignment, systems: Iterable[int], parties: Sequence[int]) -> None:
        self.assignment, self.systems, self.parties = assignment, set(systems), tuple(parties)
        self.rows = Rows()
        self.count: dict[tuple[int, int], int] = {}
        self.there: dict[tuple[int, int], int] = {}
        self.left: dict[int, int] = {}
        self._terms: list[tuple[int, int]] = []
        for number in self.parties:
            self._party(number)
        for system in sorted(self.systems):
            self._apart(system)
            for kind in assignment.kinds_of[system]:
                self._counted(kind)

    @property
    def terms(self) -> Terms:
        """Animals left over dearest, then waters, then vats."""
        return self._terms

    def _party(self, number: int) -> None:
        assignment, rows, party = self.assignment, self.rows, self.assignment.parties[number]
        area: list[tuple[int, int]] = []
        oxygen: list[tuple[int, int]] = []
        for owner in party.owners:
            batch = assignment.occupancy.problem.batches[owner]
            if owner not in self.left:
                self.left[owner] = rows.variable(assignment.least[owner], batch.count)
                self._terms.append((self.left[owner], ASSIGNMENT_ANIMAL_PRICE * batch.weight))
            left = self.left[owner]
            area.append((left, batch.footprint_mm2))
            oxygen.append((left, batch.oxygen_ug_per_h))
        for kind, most in party.doors.items():
            if assignment.kinds[kind].system in self.systems:
                count = self._offer(number, kind, most)
                area.append((count, assignment.kinds[kind].area))
                oxygen.append((count, assignment.kinds[kind].oxygen))
        elsewhere = [(assignment.kinds[kind], count) for kind, count in self._elsewhere(number).items()]
        rows.row(area, party.area - sum(kind.area * count for kind, count in elsewhere), None)
        rows.row(oxygen, party.oxygen - sum(kind.oxygen * count for kind, count in elsewhere), None)

    def _offer(self, number: int, kind: int, most: int) -> int:
        rows, system = self.rows, self.assignment.kinds[kind].system
        if (number, system) not in self.there:
            self.there[number, system] = rows.variable(0, 1)
            self._terms.append((self.there[number, system], ASSIGNMENT_WATER_PRICE))
        count = self.count[number, kind] = rows.variable(0, most)
        self._terms.append((count, ASSIGNMENT_VAT_PRICE))
        rows.row([(count, 1), (self.there[number, system], -most)], None, 0)
        return count

    def _elsewhere(self, number: int) -> dict[int, int]:
        assignment = self.assignment
        return {
            kind: count
            for kind, count in assignment.held[number].items()
            if assignment.kinds[kind].system not in self.systems
        }

    def _apart(self, system: int) -> None:
        """Animals of two suppliers are never in a separate water on one day."""
        if not self.assignment.occupancy.separate[system]:
            return
        for active in together(
            [self.assignment.parties[party] for party in self.parties if (party, system) in self.there]
        ):
            mine: dict[str, list[int]] = {}
            for one in active:
                mine.setdefault(one.supplier, []).append(self.there[one.number, system])
            self.rows.at_most_one(self.rows.any_of(some) for some in mine.values())

    def _counted(self, number: int) -> None:
        """Lots, fallow days included, use no more vats of a kind than there are without those of others."""
        kind, inside = self.assignment.kinds[number], self.assignment.occupancy.inside
        mine = [self.assignment.parties[party] for party in self.parties if (party, number) in self.count]
        for active in together(mine, kind.fallow):
            day, lots = max(one.start for one in active), {one.lot for one in active}
            taken = sum(
                any(one.start <= day < one.end + kind.fallow and one.lot not in lots for one in inside[vat])
                for vat in kind.vats
            )
            free = max(0, len(kind.vats) - taken)
            terms = [(self.count[one.number, number], 1) for one in active]
            if sum(self.rows.high[variable] for variable, _ in terms) > free:
                self.rows.row(terms, None, free)

    def hint(self) -> list[int]:
        """The water assignment in hand as values of all variables."""
        assignment = self.assignment
        values = {variable: assignment.held[party].get(kind, 0) for (party, kind), variable in self.count.items()}
        values |= {
            variable: int(system in assignment.waters(party)) for (party, system), variable in self.there.items()
        }
        values |= {variable: assignment.left[owner] for owner, variable in self.left.items()}
        return self.rows.complete(values)

    def take_over(self, answer: Answer, now: int) -> bool:
        """Let the water assignment be what was found unless that is dearer than it was; whether it got cheaper."""
        if not answer.values:
            return False
        value = sum(price * answer.values[variable] for variable, price in self._terms)
        if value > now:
            return False
        held = {party: self._elsewhere(party) for party in self.parties}
        for (party, kind), variable in self.count.items():
            held[party][kind] = answer.values[variable]
        for party in self.parties:
            self.assignment.give(party, held[party])
        self.assignment.left |= {owner: answer.values[variable] for owner, variable in self.left.items()}
        return value < now


def claims_assigned(assignment: WaterAssignment) -> list[Claim]:
    """What a water assignment gives to its parties."""
    claims = []
    for party in assignment.parties:
        for number, count in sorted(assignment.held[party.number].items()):
            kind = assignment.kinds[number]
            claims.append(Claim(party.start, party.end, party.lot, party.owners, kind.vats, kind.fallow, count))
    return claims
