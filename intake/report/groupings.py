"""Losses distinguished by batch, vat, system, box, supplier or husbandry group, each with its daily hazard."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from intake.errors import UnknownName
from intake.farm.floor import Batch
from intake.ledger.balance import batches
from intake.ledger.corrections import netted
from intake.ledger.entries import Entry, Movement, is_vat, movements, vat_id
from intake.report.intervals import Interval, wilson
from intake.report.losses import FIRST_WEEK_DAYS, summary
from intake.report.stays import Span, animal_days, lives_of, spans
from intake.report.survival import Curve, Step, kaplan_meier

__all__ = ["BY", "HazardDay", "LossRow", "Rate", "box_label", "daily_hazard", "losses_by", "rate"]

BY: Final = ("batch", "vat", "system", "box", "supplier", "group")
"""What losses can be grouped by."""

_PLACES: Final = ("vat", "system")


@dataclass(frozen=True, slots=True)
class Rate:
    """Deaths per animal and day with its exact interval; the upper limit alone says something when none died."""

    estimate: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True, slots=True)
class HazardDay:
    """One day since arrival: deaths, animal-days at risk in it, and the rate (``None`` without animals at risk)."""

    day: int
    deaths: int
    animal_days: float
    rate: Rate | None


@dataclass(frozen=True, slots=True)
class LossRow:
    """Losses under one key; counts are animals.

    Attributes
    ----------
    key
        Batch, vat, system, box, supplier or group id; ``dock`` for losses before any vat.
    batches
        Batches that took part.
    came
        Came dead or alive; for a vat or system, all that ever entered it.
    doa, doa_share
        Dead when the bag was opened, and their share of those that came (Wilson interval).
    dead_first_week, dead_later
        Dead within seven days of the batch's arrival, and after.
    animal_days, hazard
        Animals × days in vats, and deaths per animal-day; ``None`` when none stood in a vat.
    day_7, day_30
        Share alive at day 7 and 30 since arrival of those alive when opened; ``None`` when not watched so long.
    curve
        Survival, ``None`` when none stood in a vat.
    """

    key: str
    batches: tuple[str, ...]
    came: int
    doa: int
    doa_share: Interval | None
    dead_first_week: int
    dead_later: int
    missing: int
    animal_days: float
    hazard: Rate | None
    day_7: Step | None
    day_30: Step | None
    curve: Curve | None


def rate(deaths: int, exposure: float, confidence: float = 0.95) -> Rate | None:
    """Deaths per animal-day with the exact Poisson interval; ``None`` without exposure.

    Parameters
    ----------
    deaths
        0 or more.
    exposure
        Animal-days, above 0 to say anything.
    confidence
        Between 0 and 1.

    References
    ----------
    F. Garwood, Biometrika 28 (1936) 437–442, by quantiles of the gamma distribution.  For 5 deaths the 95 % limits of
    the count are 1.623 and 11.668 (the published table's row, from memory).

    Examples
    --------
    >>> found = rate(5, 100.0)
    >>> round(100 * found.low, 3), round(100 * found.high, 3)
    (1.623, 11.668)
    """
    from scipy.special import gammaincinv

    if exposure <= 0:
        return None
    tail = (1 - confidence) / 2
    low = float(gammaincinv(deaths, tail)) if deaths else 0.0
    high = float(gammaincinv(deaths + 1, 1 - tail))
    return Rate(deaths / exposure, low / exposure, high / exposure, confidence)


def box_label(batch: Batch) -> str:
    """The boxes a batch came in, as one key: a death is booked on the batch, so boxes of one batch stay together."""
    parts: list[list[str]] = []
    for box in batch.boxes:
        follows = parts and parts[-1][-1].isdigit() and box.isdigit() and int(box) == int(parts[-1][-1]) + 1
        if follows:
            parts[-1].append(box)
        else:
            parts.append([box])
    return "+".join(part[0] if len(part) == 1 else f"{part[0]}–{part[-1]}" for part in parts) or "no box"


def losses_by(
    entries: Iterable[Entry],
    now: datetime,
    by: str,
    *,
    systems: Mapping[str, str] | None = None,
    only: Iterable[str] | None = None,
    confidence: float = 0.95,
) -> tuple[LossRow, ...]:
    """Losses of all batches, distinguished by one key.

    Parameters
    ----------
    entries
        Entries of the ledger.
    now
        Moment of looking, time-zone aware.
    by
        One of :data:`BY`.
    systems
        Vat id → system id, needed for ``system``.
    only
        Batches looked at; all when ``None``.
    confidence
        Of the intervals.

    Raises
    ------
    UnknownName
        For an unknown key.

    Notes
    -----
    Deaths are booked on a batch in a vat.  A batch packed over several boxes is one key of all of them; boxes of two
    shipments with one number are kept apart by the shipment's id.  Intervals take animals as dying independently, which
    animals of one bag do not: they are a lower bound of the true uncertainty.
    """
    if by not in BY:
        raise UnknownName("--by", by, BY, "way to distinguish losses")
    kept = tuple(entries)
    known = batches(kept, now)
    chosen = set(known) if only is None else set(only)
    moved = tuple(movement for movement in movements(kept) if movement.batch in chosen)
    if by in _PLACES:
        return _by_place(moved, now, _namer(by, systems or {}), confidence)
    return _by_batches(moved, now, {one: _key(known[one], by) for one in sorted(chosen & set(known))}, confidence)


def _namer(by: str, systems: Mapping[str, str]) -> Callable[[str], str]:
    return vat_id if by == "vat" else lambda place: systems.get(vat_id(place), vat_id(place))


def _key(batch: Batch, by: str) -> str:
    if by == "batch":
        return batch.id
    if by == "box":
        return f"{batch.shipment} {box_label(batch)}".strip()
    return (batch.supplier or "house") if by == "supplier" else batch.group


def _by_batches(
    kept: Sequence[Movement], now: datetime, keys: Mapping[str, str], confidence: float
) -> tuple[LossRow, ...]:
    stood: defaultdict[str, list[Span]] = defaultdict(list)
    for span in spans(kept, now, lambda _: "water"):
        stood[keys.get(span.batch, "")].append(span)
    owned: defaultdict[str, list[Movement]] = defaultdict(list)
    for movement in kept:
        owned[movement.batch].append(movement)
    rows = []
    for key in sorted(set(keys.values())):
        mine = [one for one, its in keys.items() if its == key]
        told = [found for one in mine if (found := summary(owned[one], one, now)) is not None]
        if told:
            counts = {
                name: sum(getattr(one, name) for one in told)
                for name in ("came", "doa", "dead_first_week", "dead_later", "missing")
            }
            rows.append(_row(key, tuple(one.batch for one in told), counts, stood[key], confidence))
    return tuple(rows)


def _by_place(
    kept: Sequence[Movement], now: datetime, where: Callable[[str], str], confidence: float
) -> tuple[LossRow, ...]:
    def name(place: str) -> str:
        return where(place) if is_vat(place) else place

    origins: dict[str, datetime] = {}
    counts: defaultdict[str, defaultdict[str, int]] = defaultdict(lambda: defaultdict(int))
    took: defaultdict[str, set[str]] = defaultdict(set)
    for m in netted(kept):
        if m.happened_at > now:
            continue
        origins.setdefault(m.batch, m.happened_at)
        source, target = name(m.source), name(m.target)
        if is_vat(m.target) and source != target:
            counts[target]["came"] += m.count
            took[target].add(m.batch)
        head = _head(m, m.target, origins)
        if head:
            counts[source][head] += m.count
            took[source].add(m.batch)
        back = _head(m, m.source, origins)  # found alive after all
        if back and is_vat(m.target):
            counts[target][back] -= m.count
            counts[target]["came"] -= m.count
    stood: defaultdict[str, list[Span]] = defaultdict(list)
    for span in spans(kept, now, where):
        stood[span.place].append(span)
    return tuple(
        _row(key, tuple(sorted(took[key])), counts[key], stood[key], confidence)
        for key in sorted(counts)
        if key not in ("supplier", "opening", "cut-from")
    )


def _head(movement: Movement, place: str, origins: Mapping[str, datetime]) -> str:
    if place == "dead":
        week = movement.happened_at <= origins[movement.batch] + timedelta(days=FIRST_WEEK_DAYS)
        return "dead_first_week" if week else "dead_later"
    return place if place in ("doa", "missing") else ""


def _row(
    key: str, taking_part: tuple[str, ...], counts: Mapping[str, int], stood: Sequence[Span], confidence: float
) -> LossRow:
    observed = lives_of(stood)
    shape = kaplan_meier(observed, confidence) if observed else None
    exposure = animal_days(stood)
    came, doa = counts.get("came", 0), counts.get("doa", 0)
    deaths = sum(span.count for span in stood if span.died)
    return LossRow(
        key=key,
        batches=taking_part,
        came=came,
        doa=doa,
        doa_share=wilson(doa, came, confidence) if came > 0 and 0 <= doa <= came else None,
        dead_first_week=counts.get("dead_first_week", 0),
        dead_later=counts.get("dead_later", 0),
        missing=counts.get("missing", 0),
        animal_days=exposure,
        hazard=rate(deaths, exposure, confidence),
        day_7=_at(shape, 7.0),
        day_30=_at(shape, 30.0),
        curve=shape,
    )


def _at(shape: Curve | None, day: float) -> Step | None:
    """Share alive at a day; nothing before animals stood there, which a vat filled late would else be credited with."""
    step = shape.at(day) if shape else None
    if shape is None or step is None or (step.survival > 0 and not shape.at_risk(day)):
        return None
    return step


def daily_hazard(shape: Curve, *, confidence: float = 0.95) -> tuple[HazardDay, ...]:
    """Deaths per animal-day for each day since arrival.

    Parameters
    ----------
    shape
        A survival curve; its lives say who was at risk when.
    confidence
        Of the exact Poisson interval of each day.

    Notes
    -----
    Day 0 is the first 24 hours.  A death on the border of two days belongs to the earlier, as animals are at risk up to
    and with the moment they leave.
    """
    last = max(0, -int(-shape.last_day // 1))
    exposure = [0.0] * max(1, last)
    deaths = [0] * len(exposure)
    for life in shape.observed:
        first = int(life.entered_days)
        for day in range(first, min(len(exposure), int(-(-life.left_days // 1)))):
            exposure[day] += life.count * max(0.0, min(life.left_days, day + 1) - max(life.entered_days, day))
        if life.died:
            deaths[min(len(deaths) - 1, max(0, int(-(-life.left_days // 1)) - 1))] += life.count
    return tuple(
        HazardDay(day, deaths[day], exposure[day], rate(deaths[day], exposure[day], confidence))
        for day in range(len(exposure))
    )
