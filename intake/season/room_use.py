"""Room an order plan takes week by week: how full each quarantine water is, and the bench area in grow-out with its band."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from intake.season.order_model import Key, alive
from intake.season.order_plan import Landing, OrderPlan
from intake.season.problem import Kind, Offer, Season, at
from intake.season.stress import Chances

__all__ = ["Band", "WaterWeek", "grow_out_band", "grow_out_use", "quarantine_use"]

FIRST_WEEK_RHO = 0.06
WEEKLY_DEATHS_CV = 0.5
"""How alike the animals of a batch die in the first week (beta-binomial), and the spread of later weekly deaths (gamma); design
defaults of the study, as those of ``stress.Chances``."""

LOW, HIGH = 5.0, 95.0
"""Percentiles between which a band lies."""


@dataclass(frozen=True, slots=True)
class WaterWeek:
    """A quarantine water in one week: ``free``, ``present`` (what is there now), ``taken`` by a landing, or ``fallow``.

    ``share`` is the bench area used, of all there is; ``None`` where animals are there and their area is not known.
    """

    state: str = "free"
    share: float | None = 0.0


@dataclass(frozen=True, slots=True)
class Band:
    """Bench area in grow-out by week, m²: as planned, and the 5th and 95th percentile of drawn futures."""

    planned: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    futures: int


def quarantine_use(
    season: Season, plan: OrderPlan, present: Mapping[str, float] | None = None
) -> dict[str, tuple[WaterWeek, ...]]:
    """Every water over all weeks of the season.

    Parameters
    ----------
    present
        Share of a water's bench area that is in use now; it is taken to stay so until the water is free.
    """
    areas = {water.id: water.area_m2 for water in season.waters}
    weeks: dict[str, list[WaterWeek]] = {name: [WaterWeek()] * season.last for name in areas}
    for stock in season.stock:
        if stock.release and stock.water in weeks:
            there = WaterWeek("present", None if present is None else present.get(stock.water))
            _stay(season, weeks[stock.water], 0, [there] * min(stock.release, season.last))
    for one in plan.landings:
        room = sum(areas[water] for water in one.waters)
        need = list(_needs(season, one))
        for water in one.waters:
            _stay(season, weeks[water], one.week, [WaterWeek("taken", area / room if room else None) for area in need])
    return {name: tuple(row) for name, row in weeks.items()}


def _stay(season: Season, row: list[WaterWeek], start: int, stay: list[WaterWeek]) -> None:
    for number, state in enumerate([*stay, *[WaterWeek("fallow")] * season.fallow]):
        if start + number < len(row):
            row[start + number] = state


def _needs(season: Season, landing: Landing) -> Iterator[float]:
    """Bench area of one landing in each week of its quarantine, m²."""
    shipper = next(one for one in season.shippers if one.id == landing.supplier)
    offers = {offer.kind: offer for offer in shipper.offers}
    for age in range(landing.free - landing.week):
        yield sum(
            count * alive(offers[name], kind.survival, age + 1)[age] * at(kind.area_m2, age)
            for name, count in landing.animals
            for kind in (season.kind(name),)
        )


def grow_out_use(season: Season, plan: OrderPlan) -> tuple[float, ...]:
    """Bench area that released animals waiting for their week of sale take, m² by week."""
    used = [0.0] * season.last
    for (_, _, start), kind, offer, release, older, sale, count in _sold(season, plan):
        shares = _shares(kind, offer, season.last + 1)
        for week in range(release, sale):
            used[week] += count * shares[week - start] * at(kind.area_m2, week - start + older)
    return tuple(used)


def _sold(season: Season, plan: OrderPlan) -> Iterator[tuple[Key, Kind, Offer | None, int, int, int, float]]:
    """Batch, kind, offer, release, age before week 0, week of sale and landed animals; no offer for present stock."""
    shippers = {one.id: one for one in season.shippers}
    for supplier, name, start, sale, count in plan.sold:
        kind = season.kind(name)
        if supplier not in shippers:
            stock = season.stock[int(supplier.removeprefix("stock "))]
            yield (supplier, name, 0), kind, None, stock.release, stock.age, sale, count
        else:
            offer = next(one for one in shippers[supplier].offers if one.kind == name)
            yield (supplier, name, start), kind, offer, start + shippers[supplier].quarantine, 0, sale, count


def _shares(kind: Kind, offer: Offer | None, weeks: int) -> tuple[float, ...]:
    if offer is None:
        return tuple(kind.survival**age for age in range(weeks + 1))
    return alive(offer, kind.survival, weeks)


def grow_out_band(
    season: Season, plan: OrderPlan, chances: Chances | None = None, *, futures: int = 1000, seed: int = 1
) -> Band:
    """Draw futures of the plan: late flights, counts, deaths and growth; sales stay as planned.

    A shipment that lands later is released later, and what was meant for a week before that is sold at its release.
    """
    import numpy as np  # heavy, and only needed to draw

    chances = chances or Chances()
    rng = np.random.default_rng([seed, 505])
    used = np.zeros((futures, season.last))
    fates: dict[Key, tuple[Any, ...]] = {}
    lates: dict[tuple[str, int], Any] = {}
    for key, kind, offer, release, older, sale, count in _sold(season, plan):
        if (key[0], key[2]) not in lates:
            lates[key[0], key[2]] = _late(rng, chances, futures) if offer else 0
        if key not in fates:
            fates[key] = _fate(rng, chances, kind, offer, futures)
        late, (more, first, weekly, grown) = lates[key[0], key[2]], fates[key]
        for week in range(release, sale):
            age = week - key[2]
            share = first[min(age, 1)] * weekly ** max(0, age - 1 if offer else age)
            area = at(kind.area_m2, older) + (at(kind.area_m2, age + older) - at(kind.area_m2, older)) * grown
            used[:, week] += np.where(release + late <= week, count * more * share * area, 0.0)
    low, high = (np.percentile(used, end, axis=0).tolist() for end in (LOW, HIGH))
    return Band(grow_out_use(season, plan), tuple(low), tuple(high), futures)


def _late(rng: Any, chances: Chances, futures: int) -> Any:
    """Whole weeks a flight is late."""
    days, weights = zip(*chances.slips, strict=True)
    return -(-rng.choice(days, size=futures, p=weights) // 7)


def _fate(rng: Any, chances: Chances, kind: Kind, offer: Offer | None, futures: int) -> tuple[Any, ...]:
    """Count against ordered, share alive on arrival and after a week, weekly survival, growth against planned."""
    import numpy as np

    more = np.maximum(0.0, rng.normal(1.0, chances.count_sd, futures)) if offer else np.ones(futures)
    more = np.minimum(more, 1.0) if chances.capped else more
    landed = 1.0 - _share_dead(rng, offer.dead_on_arrival if offer else 0.0, chances.dead_rho, futures)
    week = landed * (1.0 - _share_dead(rng, offer.first_week if offer else 0.0, FIRST_WEEK_RHO, futures))
    shape = WEEKLY_DEATHS_CV**-2
    weekly = np.clip(1.0 - (1.0 - kind.survival) * rng.gamma(shape, 1.0 / shape, futures), 0.0, 1.0)
    return more, (landed, week), weekly, rng.lognormal(0.0, chances.growth_sd, futures)


def _share_dead(rng: Any, mean: float, rho: float, futures: int) -> Any:
    """Shares drawn from the beta distribution with this mean and intra-class correlation."""
    import numpy as np

    if not mean:
        return np.zeros(futures)
    scale = (1.0 - rho) / rho
    return rng.beta(mean * scale, (1.0 - mean) * scale, futures)
