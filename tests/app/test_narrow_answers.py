"""Tracing, a plan's forecast and a season's sales read few entries and answer as if they had read them all."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from intake.app.queries.biosecurity import contact_tracing
from intake.app.queries.biosecurity.contact_tracing import last_in_vat, presences, shared_water_meetings, trace_rows
from intake.app.queries.planning.present_stock import LOOK_BACK_WEEKS
from intake.app.queries.reports import journey_forecast
from intake.app.queries.season.recorded_sales import with_sales
from intake.app.session import House, open_house
from intake.errors import BadInput
from intake.farm.floor import Batch
from intake.ledger import Entry, Movement, Record, batch_payload, counter, netted
from intake.report.comparing.journeys import journeys
from intake.store import Books
from tests.conftest import FARM, VAT

BEGAN = datetime(2024, 1, 1, 8, tzinfo=UTC)
VATS = {"Q1": "quarantine", "Q2": "quarantine", "G1": "growout", "G2": "growout"}
GROUPS = ("zoanthid", "clam_small")


class Story:
    """Two years of lots that come, die, move, are sold, and of acts undone, vats cleaned, joined and shared by a net."""

    def __init__(self, seed: int) -> None:
        self.chance, self.told, self.at = random.Random(seed), list[Entry](), BEGAN
        self.stand: dict[str, dict[str, int]] = {}

    def note(self, kind: str, subject: str, payload: dict[str, object]) -> None:
        """Write a record."""
        self.told.append(Record(kind, subject, payload, self.at, self.at, "ada", f"k{len(self.told)}"))

    def move(self, lot: str, source: str, target: str, count: int, *, undone: float = 0.0) -> bool:
        """Write a movement, with a chance that it is taken back; whether it stands."""
        one = Movement(lot, source, target, count, self.at, self.at, "ada", f"k{len(self.told)}")
        self.told.append(one)
        if self.chance.random() >= undone:
            return True
        self.told.append(counter(one, at=self.at, who="ada", key=f"k{len(self.told)}"))
        return False

    def come(self, number: int) -> None:
        """A shipment of one lot lands."""
        shipment, lot, supplier = f"S{number}", f"S{number}-01", f"from{number % 2}"
        self.note("shipment", shipment, {"supplier": supplier, "lands": self.at.isoformat()})
        self.note("received", shipment, {"shipment": shipment})
        line = Batch(lot, lot, GROUPS[number % 2], 30.0, 40, shipment, 1, supplier)
        self.note("batch", lot, batch_payload(line))
        vat, dead = self.chance.choice(("Q1", "Q2")), self.chance.choice((0, 0, 3))
        self.move(lot, "supplier", f"vat:{vat}", 40 - dead)
        if dead:
            self.move(lot, "supplier", "doa", dead)
        lost = self.chance.random() < 0.3 and self.move(lot, f"vat:{vat}", "missing", 1, undone=0.5)
        self.stand[lot] = {vat: 40 - dead - lost}

    def act(self) -> None:
        """Something happens to a lot or a vat."""
        lot = self.chance.choice(sorted(self.stand))
        spots = [spot for spot, count in self.stand[lot].items() if count > 2]
        if not spots:
            return
        spot, other = self.chance.choice(spots), self.chance.choice(sorted(VATS))
        way = self.chance.random()
        if way < 0.3 and other != spot:
            here = self.stand[lot].pop(spot)
            self.move(lot, f"vat:{spot}", f"vat:{other}", here)
            self.stand[lot][other] = self.stand[lot].get(other, 0) + here
        elif way < 0.6:
            self.stand[lot][spot] -= 2 * self.move(
                lot, f"vat:{spot}", self.chance.choice(("sold", "dead")), 2, undone=0.3
            )
        elif way < 0.85:
            self.note("cleaned", self.chance.choice((f"vat:{other}", f"vat:{other}", "quarantine", "growout")), {})
        elif way < 0.93:
            self.note("farm", "net", {"what": "carried", "source": spot, "target": other, "tool": "net"})
        else:
            joined = self.chance.choice(("quarantine", "growout"))
            self.note("farm", spot, {"what": "replumbed", "vat": spot, "joined": joined, "left": ""})

    def go(self, lot: str) -> None:
        """The last of a lot are sold."""
        for spot, count in self.stand.pop(lot).items():
            if count:
                self.move(lot, f"vat:{spot}", "sold", count)


def history(seed: int, lots: int = 24) -> list[Entry]:
    """All of a story."""
    story = Story(seed)
    for number in range(lots):
        story.at += timedelta(days=story.chance.uniform(1, 40))
        story.come(number)
        for _ in range(story.chance.randrange(6)):
            story.at += timedelta(days=story.chance.uniform(0, 9))
            story.act()
        if story.chance.random() < 0.6:
            story.go(next(iter(story.stand)))
    return story.told


@pytest.fixture(params=range(3))
def house(request: pytest.FixtureRequest, tmp_path: Path) -> House:
    """A farm with such a history, looked at a day after it ends."""
    text = FARM + "".join(VAT.format(name=name, system=system) for name, system in VATS.items())
    (tmp_path / "farm.toml").write_text(text, encoding="utf-8")
    told = history(request.param)
    with Books.open(tmp_path / "farm.db") as books, books.write() as unit:
        unit.copy(told)
    return open_house(tmp_path, who="ada", now=told[-1].recorded_at + timedelta(days=1))


def every_lot(house: House) -> set[str]:
    """Each batch there ever was."""
    return {entry.batch for entry in house.entries() if isinstance(entry, Movement)}


def test_tracing_finds_what_it_would_among_all_lots_there_ever_were(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a batch, a vat and a system, both ways, with and without a moment to begin at."""
    late = house.now - timedelta(days=60)
    asked = [{"batch": lot} for lot in sorted(every_lot(house))] + [
        {"vat": "Q1"},
        {"vat": "G2"},
        {"system": "quarantine"},
    ]
    narrow = [trace_rows(house, **one, since=since) for one in asked for since in (None, late)]
    lots = every_lot(house)

    def among_all(house: House, _lots: object, _since: datetime, **_: bool) -> object:
        return shared_water_meetings(house, lots, BEGAN - timedelta(days=1))

    monkeypatch.setattr(contact_tracing, "shared_water_meetings", among_all)
    assert [trace_rows(house, **one, since=since) for one in asked for since in (None, late)] == narrow
    assert sum(map(len, narrow)) > 50
    assert {row["way"] for rows in narrow for row in rows} == {"forward", "back"}


def test_tracing_of_a_late_lot_leaves_lots_long_gone_unread(house: House) -> None:
    """Forward of the last that came: only who stood anywhere since."""
    last = f"S{max(int(lot[1:-3]) for lot in every_lot(house))}-01"
    begun = min(one.start for one in presences(house, (last,)))
    found, _ = shared_water_meetings(house, (last,), begun)
    assert {one.batch for one in found} < every_lot(house)


def test_a_vat_lists_who_left_it_last(house: House) -> None:
    """As many as the page has room for, those still there first."""
    whole = [one for one in presences(house, every_lot(house)) if one.vat == "Q1"]
    by_end = sorted(whole, key=lambda one: (one.end or house.now, one.start), reverse=True)
    assert [last_in_vat(house, "Q1", many) for many in (3, 300)] == [tuple(by_end[:3]), tuple(by_end)]


def test_a_plan_expects_the_losses_that_a_report_expects(house: House) -> None:
    """Dead on arrival from the movements in which animals came, as from all that there are."""
    all_of_it = (*house.standing("received"), *house.standing("batch"), *house.moved())
    few = journey_forecast._came(house)
    heads = journey_forecast._ON_ARRIVAL
    assert journeys(few, house.now, heads) == journeys(all_of_it, house.now, heads)
    assert len(few) < len(all_of_it)
    assert any(one.lost["doa"][0] for one in journeys(few, house.now, heads))


def test_a_season_counts_the_sales_that_all_movements_count(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Animals a week of each group, or the same refusal."""

    def told() -> object:
        try:
            return with_sales(house, {group: group for group in GROUPS}, "season.toml")
        except BadInput as error:
            return str(error)

    few = told()
    monkeypatch.setattr(House, "stream", lambda one, *_: one.entries())
    assert told() == few
    sold = [one for one in netted(house.moved()) if one.target == "sold"]
    assert sold
    assert (sold[-1].happened_at - sold[0].happened_at).days > LOOK_BACK_WEEKS * 7
