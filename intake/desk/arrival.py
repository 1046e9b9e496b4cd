"""How each batch is brought from its bag to its vat: what is known of both waters, and the step table that follows."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import lru_cache

from intake.desk.house import House
from intake.desk.plans import accepted_rows, shipment_facts
from intake.errors import OutOfRange
from intake.farm.floor import Batch
from intake.farm.site import System
from intake.receiving.acclimation import Acclimation, BagWater, Limits, VatWater, choose

__all__ = ["EXPECTED_BAG", "acclimation_of", "bag_of", "hours_in_bag", "lands_at", "limits_of", "vat_water"]

EXPECTED_BAG = {"below_vat_c": 2.0, "salinity_psu": 34.0, "ph": 6.7, "tan_n_mg_per_l": 1.0, "volume_l": 1.5}
"""What a bag is expected to hold before it is read.  pH 6.7 as after a day in simulated coral transit and 1.5 L as in a
clam export trial (read in S40 and S25 of the library's sources); the rest are design defaults.  The sheet says so."""


def lands_at(house: House, batch: Batch) -> datetime:
    """When the batch's shipment landed or is to land."""
    received = house.floor().received.get(batch.shipment)
    if received is not None:
        return received
    return datetime.fromisoformat(str(shipment_facts(house)[batch.shipment]["lands"]))


def hours_in_bag(house: House, batch: Batch, at: datetime | None = None) -> float | None:
    """Hours since packing on absolute time; ``None`` when the list does not say when the bag was closed."""
    if batch.packed_at is None:
        return None
    return (at or lands_at(house, batch)).timestamp() / 3600 - batch.packed_at.timestamp() / 3600


def bag_of(house: House, batch: Batch, system: System) -> BagWater:
    """The bag's water: read where someone read it (on the batch or one of its boxes), expected otherwise."""
    mine = {batch.id, *(f"{batch.shipment}/{box}" for box in batch.boxes)}
    landed = lands_at(house, batch)
    read: dict[str, tuple[float, str]] = {}
    for reading in house.floor().readings:
        if reading.place in mine and reading.at >= landed - timedelta(days=1):
            read[reading.quantity] = (reading.value, reading.scale)
    hours = hours_in_bag(house, batch)
    ph, scale = read.get("ph", (EXPECTED_BAG["ph"], "nbs"))
    return BagWater(
        temperature_c=read.get("temperature_c", (system.temperature_c - EXPECTED_BAG["below_vat_c"], ""))[0],
        salinity_psu=read.get("salinity_psu", (EXPECTED_BAG["salinity_psu"], ""))[0],
        ph=ph,
        ph_scale=scale,
        tan_n_mg_per_l=read.get("tan_n_mg_per_l", (EXPECTED_BAG["tan_n_mg_per_l"], ""))[0],
        volume_l=EXPECTED_BAG["volume_l"],
        hours_in_bag=max(0.0, hours) if hours is not None else house.library.group(batch.group).bag_hours.amber,
        measured={"temperature_c", "salinity_psu"} <= set(read),
    )


def vat_water(system: System) -> VatWater:
    """The water of a system as the farm file states it."""
    return VatWater(system.temperature_c, system.salinity_psu, system.ph_nbs, "nbs", system.alkalinity_meq_per_l)


def limits_of(house: House, batch: Batch) -> Limits:
    """What the batch's group bears."""
    group = house.library.group(batch.group)
    mode = group.acclimation.mode
    return Limits(
        max_c_per_h=group.change.max_c_per_h,
        max_psu_per_h=group.change.max_psu_per_h,
        hours_in_bag_amber=group.bag_hours.amber,
        hours_in_bag_red=group.bag_hours.red,
        preferred_mode=None if mode == "damp_direct" else mode,
    )


def acclimation_of(house: House, batch: Batch) -> Acclimation | None:
    """Mode and step table for a batch's first vat; ``None`` while it has no vat, or its water is outside the formulas."""
    vats = [str(row["vat"]) for row in accepted_rows(house) if row["batch"] == batch.id]
    vats += [stay.vat for stay in house.floor().stays if stay.batch == batch.id]
    if not vats or not batch.shipment:
        return None
    system = house.site.system_of(vats[0])
    try:
        return _chosen(bag_of(house, batch, system), vat_water(system), limits_of(house, batch))
    except OutOfRange:
        return None


@lru_cache(maxsize=512)
def _chosen(bag: BagWater, vat: VatWater, limits: Limits) -> Acclimation:
    # sheets, checklists and run sheet ask for the same table; the carbonate system is solved once
    return choose(bag, vat, limits)
