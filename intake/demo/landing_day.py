"""The day itself on the invented farm: bag readings, receipt, counts, and the claim sent the same evening."""

from __future__ import annotations

from datetime import datetime, timedelta

from intake.app.commands import count_animals, maintain_vats, receive_shipment, record_observation
from intake.app.documents.claim_paper import write
from intake.app.documents.claim_sending import mark_sent
from intake.app.queries.reports.claim_status import current
from intake.app.session import House
from intake.demo.story import Story, chance, of
from intake.farm.floor import Batch
from intake.units import show_temperature

__all__ = ["receive", "send_claim"]

_DOA = {"S1-01": 0.055, "S1-02": 0.02, "S1-04": 0.03, "S1-06": 0.034, "S1-11": 0.09}
_FEW = 0.008


def receive(story: Story) -> None:
    """Book the shipment in, read the bags, count the dead, send the claim."""
    for vat in ("F1", "F2"):  # both waters of the fish: a tank transfer begins with a dry vat
        maintain_vats.clean(story.at(story.lands - timedelta(hours=1)), vat)
    receive_shipment.receive(story.at(story.lands + timedelta(minutes=20)), "S1")
    house = story.at(story.lands + timedelta(hours=1))
    lines = [batch for batch in house.floor().batches.values() if batch.shipment == "S1"]
    with house.together():
        _read_bags(house, lines)
    house = story.at(story.lands + timedelta(hours=7))
    with house.together():
        dead, missing = _count(house, lines)
    story.tell(f"{story.lands:%a %d %b}: S1 received; {dead} dead on arrival, {missing} missing.")
    story.tell(f"  quarantine water at {show_temperature(house.site.systems['quarantine-a'].temperature_c, 'us')}")
    send_claim(story, story.lands + timedelta(hours=9))


def _read_bags(house: House, lines: list[Batch]) -> None:
    for batch in lines:
        box = f"S1/{batch.boxes[0]}" if batch.boxes else batch.id
        for quantity, value, scale in (
            ("temperature_c", 23.0 + round(2 * chance(batch.id, "t"), 1), ""),
            ("salinity_psu", 33.5 + round(chance(batch.id, "s"), 1), ""),
            ("ph", 6.6 + round(0.4 * chance(batch.id, "p"), 2), "nbs"),
            ("tan_n_mg_per_l", round(0.6 + 1.6 * chance(batch.id, "a"), 2), ""),
        ):
            record_observation.reading(house, box, quantity, value, scale=scale)


def _count(house: House, lines: list[Batch]) -> tuple[int, int]:
    """Dead and missing of every line, as counted into the vats."""
    dead = missing = 0
    for batch in lines:
        for stay in [stay for stay in house.floor().stays if stay.batch == batch.id]:
            doa = of(stay.count, _DOA.get(batch.id, _FEW), batch.id, stay.vat, "doa")
            lost = 2 if (batch.id == "S1-02" and not missing) else 0
            if doa or lost:
                count_animals.count(house, batch.id, stay.vat, count_animals.Count(doa=doa, missing=lost))
            dead, missing = dead + doa, missing + lost
    return dead, missing


def send_claim(story: Story, moment: datetime) -> None:
    """Write the claim as it stands at a moment, and record it as sent."""
    house = story.at(moment)
    claim = current(house, "S1")
    mark_sent(house, "S1")
    story.files += write(house, claim, story.out)
    money = " + ".join(f"{value:,.2f} {currency}" for currency, value in claim.totals)
    until = "with deaths of the days agreed after it"
    if claim.deadline is not None and moment <= claim.deadline:
        until = f"deadline {claim.deadline.astimezone(moment.tzinfo):%d %b %H:%M}"
    story.tell(
        f"  {moment:%a %d %b}: claim version {claim.version} for {claim.claimable} animals, {money}, sent; {until}."
    )
