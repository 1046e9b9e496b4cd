"""Invented farms for property tests: small random problems of the vat plan."""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import strategies as st

from intake.plan import BatchNeed, Grown, Problem, StageNeed, Standing, SystemOffer, VatOffer

__all__ = ["problems"]

GROUPS = ("clam", "coral", "leather", "predator")


@st.composite
def problems(draw: Any, *, most_batches: int = 4, most_vats: int = 5, most_animals: int = 12) -> Problem:
    """A farm with quarantine and grow-out water, a few batches of two suppliers, some stock, some of it movable."""
    roles = ["quarantine", "grow-out", *draw(st.lists(st.sampled_from(["quarantine", "grow-out"]), max_size=1))]
    systems = tuple(
        SystemOffer(
            f"S{number}",
            role,
            (budget := draw(st.integers(5, 60))),
            draw(st.integers(0, min(20, budget))),
            draw(st.sampled_from([0, 0, 6])),
            draw(st.booleans()),
        )
        for number, role in enumerate(roles)
    )
    vats = tuple(
        VatOffer(
            f"V{number}",
            f"S{number % len(roles)}",
            draw(st.integers(4, 30)),
            draw(st.integers(4, 40)),
            draw(st.integers(0, 3)),
            draw(st.booleans()),
            draw(st.sampled_from([(), (), ((3, 5),)])),
        )
        for number in range(draw(st.integers(len(roles), most_vats)))
    )
    batches = tuple(
        _batch(draw, number, roles, vats, most_animals) for number in range(draw(st.integers(1, most_batches)))
    )
    standing = tuple(_standing(draw, number, roles, vats) for number in range(draw(st.integers(0, 3))))
    pairs = [(one, other) for n, one in enumerate(GROUPS) for other in GROUPS[n + 1 :]] + [("predator", "predator")]
    chosen = draw(st.lists(st.sampled_from(pairs), unique=True, max_size=3))
    apart = {pair: draw(st.sampled_from(["touch", "vat", "water"])) for pair in chosen}
    batches = tuple(_alone(batch, apart) for batch in batches)
    return Problem(date(2030, 3, 1), systems, vats, batches, standing, apart)


def _alone(batch: BatchNeed, apart: dict[tuple[str, str], str]) -> BatchNeed:
    from dataclasses import replace

    return replace(batch, min_portion=1) if (batch.group, batch.group) in apart else batch


def _of_role(role: str, roles: list[str], vats: tuple[VatOffer, ...]) -> list[str]:
    return [vat.id for vat in vats if roles[int(vat.system[1:])] == role]


def _batch(draw: Any, number: int, roles: list[str], vats: tuple[VatOffer, ...], most: int) -> BatchNeed:
    shipment = draw(st.integers(0, 1))
    start = 2 + 5 * shipment
    quarantine = draw(st.sampled_from([3, 5]))
    count = draw(st.integers(1, most))
    area, oxygen, ammonia = draw(st.integers(1, 4)), draw(st.integers(0, 4)), draw(st.integers(0, 3))
    stages = [StageNeed("quarantine", start, start + quarantine, tuple(_of_role("quarantine", roles, vats)))]
    if draw(st.booleans()):
        grown = tuple(_of_role("grow-out", roles, vats))
        stages.append(StageNeed("grow-out", start + quarantine, start + quarantine + 4, grown))
    return BatchNeed(
        id=f"B{number}",
        shipment=f"T{shipment}",
        supplier=f"P{shipment}",
        group=draw(st.sampled_from(GROUPS)),
        count=count,
        footprint_mm2=area,
        oxygen_ug_per_h=oxygen,
        ammonia_ug_per_h=ammonia,
        stages=tuple(stages),
        grown=_growing(draw, start + quarantine, (area, oxygen, ammonia)),
        min_portion=draw(st.integers(1, min(3, count))),
        max_vats=draw(st.integers(1, 3)),
        handling_seconds=30,
    )


def _standing(draw: Any, number: int, roles: list[str], vats: tuple[VatOffer, ...]) -> Standing:
    vat = draw(st.sampled_from(vats))
    grown = roles[int(vat.system[1:])] == "grow-out"
    others = tuple(name for name in _of_role("grow-out", roles, vats) if name != vat.id)
    movable = bool(others) and draw(st.booleans())
    until = draw(st.integers(1, 14))
    resting = not (grown or movable)
    count, needs = draw(st.integers(1, 6)), (draw(st.integers(1, 3)), draw(st.integers(0, 3)), draw(st.integers(0, 2)))
    return Standing(
        batch=f"H{number}",
        vat=vat.id,
        stage="grow-out" if grown or movable else "quarantine",
        count=count,
        group=draw(st.sampled_from(GROUPS)),
        from_day=-3,
        until_day=until,
        served_day=0 if grown or movable else until,
        footprint_mm2=needs[0],
        oxygen_ug_per_h=needs[1],
        ammonia_ug_per_h=needs[2],
        shipment=draw(st.sampled_from(["", "T9"])),
        supplier=draw(st.sampled_from(["", "P0"])),
        movable=movable,
        move_to=others if movable else (),
        move_day=1,
        handling_seconds=30,
        grown=() if resting else _growing(draw, 1, needs),
        left=() if resting else _leaving(draw, count),
    )


def _growing(draw: Any, first: int, needs: tuple[int, int, int]) -> tuple[Grown, ...]:
    """Up to two days from which each animal needs more."""
    found: list[Grown] = []
    for day in sorted(draw(st.sets(st.integers(first, first + 8), max_size=2))):
        needs = tuple(need + draw(st.integers(0, 2)) for need in needs)
        found.append(Grown(day, *needs))
    return tuple(found)


def _leaving(draw: Any, count: int) -> tuple[tuple[int, int], ...]:
    """Up to two days from which fewer are there, down to none."""
    found: list[tuple[int, int]] = []
    for day in sorted(draw(st.sets(st.integers(1, 12), max_size=2))):
        count = draw(st.integers(0, count))
        found.append((day, count))
    return tuple(found)
