"""Random histories of accepted acts leave no breach standing, as the rules list it and as an independent judge sees it."""

from __future__ import annotations

import random
import tomllib
from dataclasses import replace
from datetime import timedelta
from math import pi
from typing import Any

import pytest

from intake.farm.floor import Batch, Closure, Floor, Past
from intake.farm.site import Site
from intake.library import shipped_bytes
from intake.rules import Act, Breach, Joining, Placing, Portion, Treating, breaches, standing
from intake.rules.scene import Scene
from tests.rules.floor_judge import judged
from tests.rules.ground import LIBRARY, NOW, SITE, batch, done

HISTORIES = 2000
ACTS = 8
SEED = 20261130
KINDS = (
    *(("clam_small", "Tridacna maxima", 30.0), ("clam_large", "Tridacna gigas", 150.0)),
    *(("stony_montipora", "Montipora", 40.0), ("zoanthid", "Zoanthus", 40.0), ("soft_leathery", "Sinularia", 60.0)),
    *(("fish_reef_safe", "Chrysiptera", 40.0), ("fish_predatory", "Balistes", 120.0)),
    *(
        ("decapod_crustacean", "Lysmata", 40.0),
        ("decapod_crustacean", "Calcinus", 20.0),
        ("grazing_snail", "Trochus", 25.0),
    ),
    *(("echinoderm", "Mespilia", 40.0), ("anemone_host", "Entacmaea", 80.0)),
)
VATS = ("A1", "A2", "A3", "B1", "B2", "G1", "G2", "H1")
PAIRS = tomllib.loads(shipped_bytes("incompatible.toml").decode())["pair"]
GROUPS = tomllib.loads(shipped_bytes("groups.toml").decode())


def lots(chance: random.Random) -> list[Batch]:
    """A few batches of two suppliers and of the house."""
    rows = []
    for number in range(4):
        group, name, size = chance.choice(KINDS)
        shipment, supplier = chance.choice((("S1", "one"), ("S2", "two"), ("", "")))
        rows.append(batch(f"L{number}", group, name, shipment=shipment, supplier=supplier, size_mm=size, announced=600))
    return rows


def proposed(chance: random.Random, here: Floor, known: list[Batch]) -> Act:
    """Something somebody might try."""
    lot = chance.choice(known)
    kind = chance.random()
    vat = chance.choice(VATS)
    if kind < 0.75:
        stays = [stay for stay in here.stays if stay.batch == lot.id]
        number = chance.choice((1, 5, 40, 200, 500))
        if stays and chance.random() < 0.6:
            stay = chance.choice(stays)
            row = Portion(lot, vat, min(number, stay.count), stay.vat, stay.stage)
            return Placing(here.at, (row,), "move")
        stage = chance.choice(("quarantine", "grow-out"))
        return Placing(here.at, (Portion(lot, vat, number, "", stage),), chance.choice(("receive", "stock")))
    if kind < 0.9:
        where = tuple(stay.vat for stay in here.stays if stay.batch == lot.id) or (vat,)
        told: dict[str, Any] = {
            "prescriber": "vet",
            "reference": "RX",
            "agent": "as told",
            "strength": "as told",
            "dose_source": "RX",
        }
        return Treating(here.at, lot, where, "fish-copper-bath", ("copper-ionic",), "vat", work=True, **told)
    return Joining(here.at, vat, chance.choice(("qa", "qb", "gr")))


def after(here: Floor, act: Act, closed: str) -> Floor:
    """The floor once an accepted act is done."""
    if isinstance(act, Placing):
        told = Scene(SITE, LIBRARY, here).after(act).floor
        left = {(stay.batch, stay.vat) for stay in here.stays} - {(stay.batch, stay.vat) for stay in told.stays}
        gone = tuple(Past(one.batch, one.vat, one.since, here.at) for one in here.stays if (one.batch, one.vat) in left)
        here = replace(told, past=(*here.past, *gone))
    elif isinstance(act, Treating):
        here = replace(here, done=(*here.done, done(act.batch, act.dip, act.vats[0], here.at, where="vat")))
    if closed:
        here = replace(here, closures=(*here.closures, Closure(closed, here.at + timedelta(hours=1), None, "crack")))
    return replace(here, at=here.at + timedelta(hours=7))


def told(here: Floor) -> list[Breach]:
    """Breaches the rules list, those of light and water aside: every vat of this farm has the same."""
    return list(standing(SITE, LIBRARY, here))


def facts(here: Floor, site: Site = SITE) -> dict[str, object]:
    """The floor in plain figures, reckoned here again from the farm's numbers and the library's own file."""
    vats = {}
    for vat in site.vats.values():
        closed = [one.since for one in here.closures if one.vat == vat.id]
        system = site.systems[vat.system]
        saturation = _saturation(system.temperature_c, system.salinity_psu)
        air = vat.turnover_per_h * vat.volume_l * (saturation - 5.0) + vat.aeration_mg_per_h
        vats[vat.id] = {
            "system": vat.system, "area_mm2": (vat.bench_area_m2 or 0) * 1e6, "air": air, "divided": vat.divided,
            "guarded": vat.guarded,
            "closed": min(closed, default=None),
        }  # fmt: skip
    wet = {done.vat for done in here.done}
    systems = {
        name: {
            "role": one.role,
            "load": one.filter_area_m2 * 280 / 24 * (0.4 if one.matured and one.matured > here.at.date() else 1.0),
            "copper": any(vats[vat]["system"] == name for vat in wet),
        }
        for name, one in site.systems.items()
    }
    animals = []
    for stay in here.stays:
        one = first = here.batches[stay.batch]
        while first.parent:  # a cutting stands in its parent's quarantine: it is of the parent's lot and sender
            first = here.batches[first.parent]
        group = GROUPS[one.group]
        foot, breath = group["footprint"], group["oxygen"]
        side = one.size_mm * foot.get("factor", 1) if foot["rule"] == "cell" else one.size_mm + foot.get("margin_mm", 0)
        area = foot["area_cm2"] * 100 if foot["rule"] == "head" else side * side
        breathes = breath["coefficient"] * (one.size_mm / 10) ** breath["exponent"]
        animals.append({
            "who": one.id, "vat": stay.vat, "number": stay.count, "area_mm2": area, "air": breathes,
            "load": breathes * group["ammonia"]["mg_n_per_mg_o2"], "group": one.group, "genus": one.name.split()[0],
            "lot": first.shipment or f"house {stay.since:%Y-%m-%d}", "sender": first.supplier or "house",
            "entered": stay.since, "bone": group["kind"] == "fish",
        })  # fmt: skip
    apart = [
        (pair["a"], pair.get("a_taxa", []), pair.get("a_except", []), pair["b"], pair.get("b_taxa", []),
         pair.get("b_except", []), pair["kind"])
        for pair in PAIRS
        if not pair.get("caution")
    ]  # fmt: skip
    return {"vats": vats, "systems": systems, "animals": animals, "apart": apart}


def _saturation(celsius: float, salinity: float) -> float:
    """Oxygen in mg/L at saturation, Garcia & Gordon 1992 with the Benson & Krause coefficients, written out again."""
    from math import exp, log

    ts = log((298.15 - celsius) / (273.15 + celsius))
    a = (5.80871, 3.20291, 4.17887, 5.10006, -9.86643e-2, 3.80369)
    b = (-7.01577e-3, -7.70028e-3, -1.13864e-2, -9.51519e-3)
    umol = exp(
        sum(value * ts**power for power, value in enumerate(a))
        + salinity * sum(value * ts**power for power, value in enumerate(b))
        - 2.75915e-7 * salinity**2
    )
    density = 1.0229 if pi > 0 else 0  # kg/L at 26 °C and 34.5 PSU, close enough: no history comes so near to the limit
    return umol * density * 31.9988 / 1000


@pytest.mark.slow
@pytest.mark.parametrize("part", range(8))
def test_accepted_acts_leave_no_breach_standing(part: int) -> None:
    """Two thousand histories of eight tries each; what no rule refused is done, and both judges find nothing."""
    accepted = refused = 0
    for number in range(part, HISTORIES, 8):
        chance = random.Random(SEED + number)
        known, here = lots(chance), Floor(at=NOW)
        here = replace(here, batches={one.id: one for one in known})
        for _ in range(ACTS):
            act = proposed(chance, here, known)
            closed = chance.choice(VATS) if chance.random() < 0.05 else ""
            if any(one.severity != "warn" for one in breaches(SITE, LIBRARY, here, [act])):
                refused += 1
                continue
            accepted += 1
            if not isinstance(act, Joining):  # the farm file says which water a vat is part of
                here = after(here, act, closed)
            assert told(here) == [], f"history {SEED + number}"
            assert judged(facts(here)) == set(), f"history {SEED + number}"
    assert accepted > 300
    assert refused > 300


def test_the_judge_sees_what_the_rules_see() -> None:
    """Floors thrown together without asking: where the judge finds a fault the rules list a breach, and the other way."""
    names = {
        "area": "bench-area", "air": "oxygen", "closed": "vat-closed", "lots": "other-lot", "company": "company-",
        "singly": "company-", "load": "filter", "copper": "copper-water", "senders": "other-supplier", "shared": "company-water",
        "guards": "anemone-intakes",
    }  # fmt: skip
    seen: set[str] = set()
    for number in range(300):
        chance = random.Random(number)
        known, here = lots(chance), Floor(at=NOW)
        here = replace(here, batches={one.id: one for one in known})
        for _ in range(5):
            here = after(here, proposed(chance, here, known), chance.choice((*VATS, "", "", "")))
        kinds = {fault.partition(":")[0] for fault in judged(facts(here))}
        ids = {one.id for one in told(here)} - {"one-setting", "temperature", "salinity", "depth", "flow", "light"}
        assert {kind for kind in kinds if not any(one.startswith(names[kind]) for one in ids)} == set(), number
        assert {one for one in ids if not any(one.startswith(names[kind]) for kind in kinds)} == set(), number
        seen |= kinds
    assert seen >= {"area", "closed", "lots", "company", "copper", "senders", "shared", "singly", "guards"}
