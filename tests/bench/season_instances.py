"""Seeded seasons of our own, small, middle and large: prices, losses, growth and sales are invented so that every row binds.

They are not husbandry data.
"""

from __future__ import annotations

from random import Random

from intake.season import Kind, Offer, Season, Shipper, Stock, Water

__all__ = ["SIZES", "season_of"]

SIZES = {"small": (3, 2, 3), "mid": (8, 3, 5), "large": (20, 5, 9)}
"""Kinds, suppliers and quarantine waters."""

WEEKS = 26


def season_of(size: str, seed: int) -> Season:
    """One season: 26 weeks to land in, eight more to sell in, two lots there already."""
    rng = Random(f"season {size} {seed}")
    kinds, suppliers, waters = SIZES[size]
    made = tuple(_kind(rng, number) for number in range(kinds))
    areas = [rng.choice([2.0, 3.0, 4.5]) for _ in range(waters)]
    load = sum(one.area_m2[6] * sum(one.sales[:WEEKS]) for one in made)
    scale = sum(areas) * 0.55 * WEEKS / 7 / load
    sold = tuple(_scaled(one, scale) for one in made)
    stock = tuple(
        Stock(rng.choice(made).id, float(rng.randint(20, 60)), rng.randint(1, 4), rng.randint(1, 5), f"Q{number}")
        for number in range(2)
    )
    money = sum(sum(one.price) / len(one.price) * sum(one.sales[:WEEKS]) for one in sold)
    return Season(
        WEEKS, sold, tuple(_shipper(rng, number, sold) for number in range(suppliers)),
        tuple(Water(f"Q{number}", area, area * rng.uniform(400, 900)) for number, area in enumerate(areas)),
        grow_out_m2=sum(areas) * rng.uniform(0.6, 1.2), fallow=1, budget=money * 0.35, stock=stock,
    )  # fmt: skip


def _kind(rng: Random, number: int) -> Kind:
    price = rng.uniform(6, 60)
    growth = rng.uniform(1.0, 1.05)
    area = rng.uniform(0.002, 0.02)
    level = rng.uniform(5, 40)
    sales = tuple(max(0.0, round(level * rng.uniform(0.4, 1.6))) for _ in range(WEEKS + 8))
    return Kind(
        f"K{number}", tuple(price * (1.15 if week % 26 > 18 else 1.0) for week in range(WEEKS + 8)), sales,
        upkeep=price * 0.006, goodwill=price * 0.1, clearance=price * 0.25, survival=rng.uniform(0.985, 0.998),
        area_m2=tuple(area * growth**age for age in range(40)),
        oxygen_mg_per_h=tuple(area * 300 * growth**age for age in range(40)),
    )  # fmt: skip


def _scaled(kind: Kind, scale: float) -> Kind:
    sales = tuple(float(round(one * scale)) for one in kind.sales)
    return Kind(
        kind.id, kind.price, sales, kind.upkeep, kind.goodwill, kind.clearance, kind.survival, kind.area_m2,
        kind.oxygen_mg_per_h,
    )  # fmt: skip


def _shipper(rng: Random, number: int, kinds: tuple[Kind, ...]) -> Shipper:
    some = [one for one in kinds if rng.random() < 0.75] or [kinds[0]]
    offers = tuple(
        Offer(
            one.id, one.price[0] * rng.uniform(0.25, 0.45), rng.choice([5, 10, 20]), None, rng.uniform(0.01, 0.06),
            rng.uniform(0.01, 0.08),
        )
        for one in some
    )  # fmt: skip
    rhythm = rng.choice([1, 2, 2, 4])
    ships = tuple(range(rng.randrange(rhythm), WEEKS, rhythm))
    return Shipper(
        f"S{number}", offers, ships, rng.uniform(150, 600), 40, rng.choice([400, 800]), rng.choice([4, 6, 6])
    )
