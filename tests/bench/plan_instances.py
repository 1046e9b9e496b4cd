"""Seeded plan instances of any size: over-full farms as a study drew them, and planted ones known to fit to the last animal.

The figures are invented so that every rule binds somewhere; they are not husbandry data.  The receiving stage of the
study is played by a second exclusive stage (named ``healing`` here) whose waters suppliers may share.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from random import Random

from intake.plan import BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer

__all__ = ["days_fixed", "generated", "planted", "twelve_by_eight"]

GROUPS = {
    "clam": ((60, 400), (4, 40)),
    "sps": ((16, 100), (1, 8)),
    "lps": ((25, 225), (1, 10)),
    "soft": ((25, 144), (1, 6)),
    "fish": ((40, 400), (20, 200)),
    "invert": ((4, 64), (1, 15)),
}
APART = [("clam", "fish"), ("soft", "sps"), ("lps", "soft"), ("fish", "sps"), ("fish", "invert"), ("lps", "sps")]
SIZES = [20_000, 30_000, 45_000]
DAY_ZERO = date(2030, 1, 1)
WINDOW = {"R": 44, "Q": 70, "G": 100}


@dataclass
class _Farm:
    systems: list[SystemOffer] = field(default_factory=list)
    vats: list[VatOffer] = field(default_factory=list)
    role: dict[str, str] = field(default_factory=dict)
    setting: dict[str, int] = field(default_factory=dict)
    light: dict[str, int] = field(default_factory=dict)
    flow: dict[str, int] = field(default_factory=dict)

    def of(self, role: str) -> list[VatOffer]:
        return [vat for vat in self.vats if self.role[vat.system] == role]


def _farm(rng: Random, number: int, *, plain: bool = False) -> _Farm:
    farm = _Farm()
    count = 3 if number == 12 else round(number / 6)
    receiving, growing = max(1, round(count * 0.1)), max(1, round(count * 0.5))
    growing = 1 if number == 12 else growing
    roles = ["R"] * receiving + ["Q"] * max(1, count - receiving - growing) + ["G"] * growing
    shares = [2, 5, 5] if number == 12 else [number // count + (index < number % count) for index in range(count)]
    seen: dict[str, int] = {}
    for index, (role, share) in enumerate(zip(roles, shares, strict=True)):
        name = f"{role}{index:02}"
        few = roles.count(role) < 3
        seen[role] = seen.get(role, 0) + 1
        farm.role[name], farm.setting[name] = role, -1 if few else int(seen[role] % 3 == 0)
        farm.light[name] = rng.choice([1, 2, 3, 3])
        model = rng.choice(SIZES)
        for place in range(share):
            area = 45_000 if plain else model if rng.random() < 0.85 else rng.choice(SIZES)
            vat = f"{name}.{place:02}"
            farm.flow[vat] = rng.choice([1, 2, 3])
            farm.vats.append(VatOffer(vat, name, area, area // 5, {"R": 1, "Q": 3, "G": 0}[role]))
    return farm


def _stock(rng: Random, farm: _Farm) -> list[Standing]:
    standing: list[Standing] = []
    full = {system for system, role in farm.role.items() if role == "Q" and rng.random() < 0.3}
    for vat in farm.vats:
        role = farm.role[vat.system]
        if not (vat.system in full or (role == "G" and rng.random() < 0.5)):
            continue
        group = rng.choice(list(GROUPS))
        footprint = rng.randint(*GROUPS[group][0])
        count = max(1, int(vat.area_mm2 * rng.uniform(0.2, 0.8)) // footprint)
        oxygen = min(rng.randint(*GROUPS[group][1]), max(1, vat.oxygen_ug_per_h * 8 // 10 // count))
        movable = role == "G" and rng.random() < 0.4
        others = tuple(other.id for other in farm.of("G") if other.id != vat.id)
        standing.append(
            Standing(
                f"H{len(standing)}", vat.id, "grow-out" if role == "G" else "quarantine", count, group, -30,
                rng.randint(3, 59) if role == "G" else rng.randint(3, 20), footprint, oxygen, max(1, oxygen // 6),
                f"T{vat.system}", f"P{vat.system}", movable and bool(others), others if movable else (), 0, 0, 60,
            )
        )  # fmt: skip
    return standing


def generated(vats: int, batches: int, seed: int, rho: float) -> Problem:
    """A farm and batches drawn as in the study; ``rho`` scales the load (.1 nearly fits, .2 to .4 clearly does not)."""
    rng = Random(f"{vats}/{batches}/{seed}")
    farm = _farm(rng, vats)
    standing = _stock(rng, farm)
    consignments = max(2, batches // 4)
    suppliers = max(2, consignments // 6)
    drawn = [
        (rng.randint(0, 41), rng.randint(0, suppliers - 1), rng.randint(1, 3), rng.choice([14, 21, 28, 42]))
        for _ in range(consignments)
    ]
    needs = [
        _drawn_batch(rng, farm, number, drawn[number % consignments], number % consignments)
        for number in range(batches)
    ]
    factor = _factor(farm, standing, needs, rho)
    scaled = [_scaled(need, max(1, round(need.count * factor))) for need in needs]
    return _problem(farm, scaled, standing)


def _drawn_batch(rng: Random, farm: _Farm, number: int, lot: tuple[int, int, int, int], consignment: int) -> BatchNeed:
    group = rng.choice(list(GROUPS))
    footprint, oxygen = (rng.randint(*bounds) for bounds in GROUPS[group])
    area = min(80_000, rng.lognormvariate(math.log(9000), 0.9))
    count = min(3000, max(1, int(area // footprint)))
    setting, light, flow = int(rng.random() < 0.25), rng.choice([1, 2, 3]), rng.choice([1, 2, 3])
    start, supplier, receiving, quarantine = lot
    grow = rng.choice([21, 28, 42, 60])
    days = [("healing", "R", receiving), ("quarantine", "Q", quarantine), ("grow-out", "G", grow)]
    stages = []
    for stage, role, length in days:
        suited = tuple(
            vat.id
            for vat in farm.of(role)
            if farm.setting[vat.system] in (-1, setting)
            and (role != "G" or (farm.light[vat.system] >= light and abs(farm.flow[vat.id] - flow) <= 1))
        )
        stages.append(StageNeed(stage, start, start + length, suited))  # type: ignore[arg-type]
        start += length
    return BatchNeed(
        f"B{number:03}", f"C{consignment:03}", f"P{supplier}", group, count, footprint, oxygen, max(1, oxygen // 6),
        tuple(stages), 1, min(20, max(1, count // 4)), 4, 30,
    )  # fmt: skip


def _factor(farm: _Farm, standing: list[Standing], needs: list[BatchNeed], rho: float) -> float:
    role_of = {vat.id: farm.role[vat.system] for vat in farm.vats}
    best = math.inf
    for position, role in enumerate("RQG"):
        room = sum(vat.area_mm2 for vat in farm.of(role)) * WINDOW[role]
        room -= sum(one.count * one.footprint_mm2 * one.until_day for one in standing if role_of[one.vat] == role)
        load = sum(
            need.count * need.footprint_mm2 * (need.stages[position].end_day - need.stages[position].start_day)
            for need in needs
        )
        best = min(best, rho * room / load)
    return best


def _scaled(need: BatchNeed, count: int) -> BatchNeed:
    from dataclasses import replace

    return replace(need, count=count, min_portion=min(20, max(1, count // 4)))


def _problem(farm: _Farm, needs: list[BatchNeed], standing: list[Standing]) -> Problem:
    systems = []
    for name, role in farm.role.items():
        mine = [vat for vat in farm.vats if vat.system == name]
        budget = sum(vat.area_mm2 for vat in mine) // 20
        used = sum(one.count * one.ammonia_ug_per_h for one in standing if one.vat.startswith(f"{name}."))
        kind = "grow-out" if role == "G" else "quarantine"
        systems.append(SystemOffer(name, kind, max(budget, used), suppliers_share=role == "R"))
    apart = {(min(pair), max(pair)): "vat" for pair in APART}
    return Problem(DAY_ZERO, tuple(systems), tuple(farm.vats), tuple(needs), tuple(standing), apart)  # type: ignore[arg-type]


def twelve_by_eight(seed: int = 1) -> Problem:
    """The small case: one consignment of 8 × 125 clams on day 0, twelve vats of one size, no stock."""
    rng = Random(f"12/8/{seed}")
    farm = _farm(rng, 12, plain=True)
    needs = []
    for number in range(8):
        stages = []
        start = 0
        for stage, role, days in (("healing", "R", 2), ("quarantine", "Q", 28), ("grow-out", "G", 42)):
            stages.append(StageNeed(stage, start, start + days, tuple(vat.id for vat in farm.of(role))))  # type: ignore[arg-type]
            start += days
        footprint, oxygen = rng.randint(40, 140), rng.randint(4, 40)
        needs.append(
            BatchNeed(
                f"B{number}", "C0", "P0", "clam", 125, footprint, oxygen, max(1, oxygen // 6), tuple(stages), 1, 20, 4
            )
        )
    return _problem(farm, needs, [])


def days_fixed(problem: Problem) -> Problem:
    """The question without release: every stage lasts its own days, whoever shares the water."""
    from dataclasses import replace

    return replace(problem, together=False)


def planted(vats: int, seed: int) -> Problem:
    """Every quarantine and grow-out vat × time rectangle cut into batches: all animals fit, and only just.

    In every quarantine system one supplier's lots follow each other with exactly the fallow days between them; each
    lot's vat is cut into one to three batches of 60 to 100 % of its area, whose animals then fill one grow-out vat.
    """
    rng = Random(f"planted/{vats}/{seed}")
    farm = _Farm()
    pairs = vats // 2
    needs: list[BatchNeed] = []
    for system in range(max(1, pairs // 6)):
        for role in "QG":
            name = f"{role}{system:02}"
            farm.role[name], farm.setting[name], farm.light[name] = role, -1, 3
    systems = [name for name in farm.role if name.startswith("Q")]
    for index in range(pairs):
        water = index % len(systems)
        area = rng.choice(SIZES)
        for role, fallow in (("Q", 3), ("G", 0)):
            farm.vats.append(VatOffer(f"{role}{water:02}.{index:03}", f"{role}{water:02}", area, area, fallow))
    quarantine = {vat.id for vat in farm.vats if vat.id.startswith("Q")}
    rounds = {water: [(0, 21), (24, 45)] for water in range(len(systems))}
    for index in range(pairs):
        water = index % len(systems)
        mine = next(vat for vat in farm.vats if vat.id == f"Q{water:02}.{index:03}")
        for turn, (first, last) in enumerate(rounds[water]):
            needs += _cut(rng, farm, mine, (water, turn, first, last), quarantine, len(needs))
    rng.shuffle(needs)
    apart = {(min(pair), max(pair)): "vat" for pair in APART}
    offers = tuple(
        SystemOffer(name, "quarantine" if role == "Q" else "grow-out", 10**9) for name, role in farm.role.items()
    )
    vats_shuffled = list(farm.vats)
    rng.shuffle(vats_shuffled)
    return Problem(DAY_ZERO, offers, tuple(vats_shuffled), tuple(needs), (), apart)  # type: ignore[arg-type]


def _cut(
    rng: Random, farm: _Farm, vat: VatOffer, when: tuple[int, int, int, int], quarantine: set[str], number: int
) -> list[BatchNeed]:
    water, turn, first, last = when
    group = rng.choice(["clam", "sps", "soft"])
    parts = rng.randint(1, 3)
    room = vat.area_mm2
    needs = []
    for part in range(parts):
        footprint = rng.randint(*GROUPS[group][0])
        share = room if part == parts - 1 else room // 2
        count = share // footprint
        room -= count * footprint
        grown = tuple(one.id for one in farm.vats if one.system.startswith("G"))
        stages = (
            StageNeed("quarantine", first, last, tuple(sorted(quarantine))),
            StageNeed("grow-out", last, last + 24, grown),
        )
        needs.append(
            BatchNeed(
                f"B{number + part:03}", f"C{water:02}.{turn}", f"P{water}", group, count, footprint, 1, 1, stages, 1,
                min(10, count), 4, 30,
            )
        )  # fmt: skip
    return needs
