"""Losses by day, permits that add up, suppliers that cannot be distinguished, and the pictures."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import timedelta, timezone

import numpy as np
import pytest

from intake.errors import BadInput
from intake.ledger import Entry, Record, batch_payload
from intake.report import by_day, curve, loss_bars, reconcile, scorecard, summary, survival_steps, usual_daily_rate
from intake.report.chart_frame import titled
from intake.report.comparing.clustered import likeness, shrink_clustered
from intake.report.comparing.suppliers import chance_lower, design_effect
from intake.report.intervals import Shrunken, wilson
from tests.bench.coverage import coverage
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import CLAMS


def history(scribe: Scribe) -> list[Entry]:
    """A batch of 50: 3 dead on arrival, 2 missing, 4 dead in the first week, 1 later, 1 lost from sight, 10 sold."""
    return [
        scribe.move("S1-01", "supplier > dock", 50),
        scribe.move("S1-01", "dock > doa", 3, 1),
        scribe.move("S1-01", "dock > missing", 2, 1),
        scribe.move("S1-01", "dock > vat:Q1", 45, 1),
        scribe.move("S1-01", "vat:Q1 > dead", 3, 30),
        scribe.move("S1-01", "vat:Q1 > dead", 1, 24 * 6),
        scribe.move("S1-01", "vat:Q1 > missing", 1, 24 * 9),
        scribe.move("S1-01", "vat:Q1 > dead", 1, 24 * 20),
        scribe.move("S1-01", "vat:Q1 > sold", 10, 24 * 25),
    ]


def test_arrival_first_week_and_later_are_kept_apart() -> None:
    """3 of 48 that came were dead; 4 of 45 died in the week; 1 later."""
    found = summary(history(Scribe()), "S1-01", hour(24 * 30))
    assert found is not None
    assert (found.came, found.doa, found.dead_first_week, found.dead_later) == (48, 3, 4, 1)
    assert (found.missing, found.sold, found.on_hand) == (3, 10, 29)
    assert found.doa_share is not None
    assert found.doa_share.estimate == pytest.approx(3 / 48)
    assert found.first_week is not None
    assert found.first_week.survival == pytest.approx(41 / 45)
    assert found.first_week_complete
    early = summary(history(Scribe()), "S1-01", hour(48))
    assert early is not None
    assert (early.first_week_complete, early.dead_first_week, early.dead_later) == (False, 3, 0)
    assert summary([], "S1-01", hour(1)) is None


def test_each_day_shows_its_deaths_and_those_at_risk() -> None:
    """Days are 24 h from arrival; the sum of the days is the sum of the batch."""
    days = by_day(history(Scribe()), "S1-01", hour(24 * 30))
    assert len(days) == 31
    assert [(d.day, d.at_risk, d.dead) for d in days if d.dead] == [(1, 45, 3), (6, 42, 1), (20, 40, 1)]
    assert (days[0].doa, days[0].at_risk, days[9].missing, days[30].at_risk) == (3, 45, 1, 29)
    assert sum(d.dead for d in days) == 5


def test_the_usual_rate_leaves_the_journeys_week_out() -> None:
    """One death over the animal-days from day 7 on."""
    days = by_day(history(Scribe()), "S1-01", hour(24 * 30))
    watched = sum(d.at_risk for d in days if d.day >= 7)
    assert usual_daily_rate(history(Scribe()), ["S1-01"], hour(24 * 30)) == pytest.approx(1 / watched)
    assert usual_daily_rate(history(Scribe()), ["S1-01"], hour(48)) is None


def test_permit_quantities_come_out() -> None:
    """What came is dead, sold, lost or on hand; carcasses stay on the permit; more than announced is shown."""
    scribe = Scribe()
    batch = replace(CLAMS, announced=45, permit="XX-1", source_code="F", origin="Invented atoll")
    house = replace(CLAMS, id="H1", shipment="", supplier="")
    entries = [
        scribe.note("batch", "S1-01", 0, **batch_payload(batch)),  # type: ignore[arg-type]
        scribe.note("batch", "H1", 0, **batch_payload(house)),  # type: ignore[arg-type]
        *history(scribe),
        scribe.move("H1", "opening > vat:G1", 5),
    ]
    (line,) = reconcile(entries, hour(24 * 30))
    assert (line.permit, line.batches, line.announced, line.came, line.missing) == ("XX-1", ("S1-01",), 45, 48, 2)
    assert (line.carcasses, line.lost, line.sold, line.on_hand, line.beyond) == (8, 1, 10, 29, 3)
    assert line.unexplained == 0
    assert reconcile(entries, hour(24 * 30), shipment="S2") == ()


def shipments(scribe: Scribe, supplier: str, counts: list[tuple[int, int]], first: int) -> list[Entry]:
    """One batch per shipment: (dead on arrival, alive); a tenth of the alive die on day 3."""
    entries: list[Entry] = []
    for number, (dead, alive) in enumerate(counts, start=first):
        batch = replace(CLAMS, id=f"S{number}-01", shipment=f"S{number}", supplier=supplier, announced=dead + alive)
        entries.append(scribe.note("batch", batch.id, 0, **batch_payload(batch)))  # type: ignore[arg-type]
        entries.append(scribe.move(batch.id, "supplier > vat:Q1", alive, 0))
        entries.append(scribe.move(batch.id, "vat:Q1 > dead", alive // 10, 72))
        if dead:
            entries.append(scribe.move(batch.id, "supplier > doa", dead, 0))
    return entries


def test_a_plainly_worse_supplier_is_told_apart_and_equal_ones_are_not() -> None:
    """1 %, 1.2 % and 30 % dead on arrival over four steady shipments each."""
    scribe = Scribe()
    entries = [
        *shipments(scribe, "atoll", [(2, 198), (2, 198), (3, 197), (1, 199)], 1),
        *shipments(scribe, "bay", [(3, 197), (2, 198), (2, 198), (3, 197)], 11),
        *shipments(scribe, "cape", [(62, 138), (58, 142), (60, 140), (61, 139)], 21),
    ]
    card = scorecard(entries, hour(24 * 40))
    first, second, last = card.rankings["doa"]
    assert (first.supplier, second.supplier, last.supplier) == ("atoll", "bay", "cape")
    assert (first.alike, second.alike, last.alike) == (("bay",), ("atoll",), ())
    rows = {row.supplier: row for row in card.rows}
    share = rows["atoll"].shares["doa"]
    assert (share.lost, share.of, share.shipments) == (8, 800, 4)
    assert share.raw < share.shrunk.estimate < 0.03
    assert share.shrunk.low < share.raw < share.shrunk.high
    later = rows["cape"].shares["lost by day 30"]
    assert later.raw == pytest.approx(0.1, abs=0.01)
    assert all(len(place.alike) == 2 for place in card.rankings["lost by day 30"])


def test_one_shipment_each_tells_nobody_apart() -> None:
    """A bad flight and a bad supplier look the same when each came once."""
    scribe = Scribe()
    entries = [*shipments(scribe, "atoll", [(0, 200)], 1), *shipments(scribe, "cape", [(100, 100)], 11)]
    card = scorecard(entries, hour(24 * 40))
    assert card.design_effects["doa"] is None
    assert [place.alike for place in card.rankings["doa"]] == [("cape",), ("atoll",)]


def test_shipments_that_share_one_fate_weigh_less() -> None:
    """The same totals, once even and once all in one shipment: the uneven supplier's interval is much wider."""
    scribe = Scribe()
    even = [*shipments(scribe, "atoll", [(10, 90)] * 4, 1), *shipments(scribe, "bay", [(10, 90)] * 4, 11)]
    uneven = [
        *shipments(scribe, "atoll", [(40, 60), (0, 100), (0, 100), (0, 100)], 1),
        *shipments(scribe, "bay", [(0, 100), (40, 60), (0, 100), (0, 100)], 11),
    ]
    widths = []
    for entries in (even, uneven):
        shrunk = scorecard(entries, hour(24 * 40)).rows[0].shares["doa"].shrunk
        widths.append(shrunk.high - shrunk.low)
    assert widths[1] > 1.8 * widths[0]  # four equal shipments do not prove that the fifth is equal


def test_survival_not_watched_long_enough_is_left_out() -> None:
    """Nobody has been here thirty days: no share for it."""
    card = scorecard(shipments(Scribe(), "atoll", [(2, 98), (1, 99)], 1), hour(24 * 10))
    assert set(card.rows[0].shares) == {"doa", "lost by day 7", "short"}
    assert card.usual["doa"] is None
    assert scorecard([], hour(1)).rows == ()


def test_the_design_effect_follows_its_formula() -> None:
    """Two shipments 4/10 and 0/10: r = ±2, 2/1·8 / (20·0.2·0.8) = 5; equal shares: never below 1."""
    assert design_effect([[(4, 10), (0, 10)]]) == pytest.approx(5.0)
    assert design_effect([[(2, 10), (2, 10)]]) == 1.0
    assert design_effect([[(2, 10)], [(3, 10)]]) is None


def test_intervals_of_suppliers_cover_when_shipments_share_fate() -> None:
    """Simulated: five suppliers, six shipments each with a share of its own; the intervals must hold the truth.

    Counted as independent animals the 95 % interval holds it about half the time.
    """
    rng = np.random.default_rng(3)
    held = naive = tried = 0
    for _ in range(60):
        truth = rng.beta(4, 60, 5)
        sent = [rng.binomial(150, rng.beta(share * 25, (1 - share) * 25, 6)) for share in truth]
        found = shrink_clustered([[(float(dead), 150.0) for dead in shipped] for shipped in sent])
        for share, shipped, one in zip(truth, sent, found.shares, strict=True):
            alone = wilson(int(shipped.sum()), 900)
            held += one.low <= share <= one.high
            naive += alone.low <= share <= alone.high
            tried += 1
    assert held / tried >= 0.93
    assert naive / tried < 0.7


def test_intervals_know_boxes_lines_and_shipments() -> None:
    """Nested three deep, as the coverage bench has it; one supplier alone as well."""
    for suppliers, shipments in ((1, 4), (4, 3)):
        assert coverage(suppliers, shipments, 20.0, 40 // suppliers, 7)["held"] >= 0.92


def test_one_shipment_alone_has_no_interval_to_show() -> None:
    """57 of 1,800 in one shipment is not 2.4 to 4.1 %: how deliveries differ is not known."""
    card = scorecard(shipments(Scribe(), "atoll", [(57, 1743)], 1), hour(24 * 10))
    share = card.rows[0].shares["doa"]
    assert (share.between, share.shipments, card.likeness["doa"]) == (None, 1, None)
    assert share.raw == pytest.approx(57 / 1800)


def test_short_deliveries_stand_beside_the_dead() -> None:
    """Announced 100 and 100, came 98 and 100: two short of 200."""
    scribe = Scribe()
    entries = shipments(scribe, "atoll", [(2, 96), (1, 99)], 1)
    told = [
        replace(entry, payload={**entry.payload, "announced": 100})
        if isinstance(entry, Record) and entry.kind == "batch"
        else entry
        for entry in entries
    ]
    share = scorecard(told, hour(24 * 10)).rows[0].shares["short"]
    assert (share.lost, share.of, share.shipments) == (2, 200, 2)


def test_likeness_is_the_analysis_of_variances() -> None:
    """All of one box dead and none of the next are wholly alike; boxes alike by chance are not; one box says nothing."""
    assert likeness([[(10.0, 10.0), (0.0, 10.0)]]) == pytest.approx(1.0)
    assert likeness([[(5.0, 10.0), (5.0, 10.0)]]) == 0.0
    assert likeness([[(5.0, 10.0)]]) is None
    rng = np.random.default_rng(5)
    truth = 0.2  # shares beta(.8, 3.2): 1 / (4 + 1)
    units = [[(float(rng.binomial(30, rng.beta(0.8, 3.2))), 30.0) for _ in range(6)] for _ in range(200)]
    assert likeness(units) == pytest.approx(truth, abs=0.03)


def test_the_chance_of_being_lower_is_a_chance() -> None:
    """Equal posteriors: one half; far apart: near certainty; the two orders add to one."""
    low, high = Shrunken(0.02, 0, 0, 0.95, 20, 980), Shrunken(0.2, 0, 0, 0.95, 200, 800)
    assert chance_lower(low, low) == pytest.approx(0.5, abs=1e-3)
    assert chance_lower(low, high) > 0.999
    assert chance_lower(low, high) + chance_lower(high, low) == pytest.approx(1, abs=1e-3)


SVG = "{http://www.w3.org/2000/svg}"


def test_the_survival_picture_says_what_it_shows_in_words_and_steps() -> None:
    """Well-formed, with title, description, labelled axes, a step per death, ticks, and no colour."""
    entries = history(Scribe())
    shape = curve(entries, "S1-01", hour(24 * 30))
    assert shape is not None
    text = survival_steps([("clams <maxima> & co", shape)], title="Survival of S1-01")
    root = ET.fromstring(text)
    assert root.find(f"{SVG}title").text == "Survival of S1-01"  # type: ignore[union-attr]
    assert "5 of 45 died" in (root.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]
    (line,) = [path for path in root.iter(f"{SVG}path") if path.get("class") == "curve"]
    assert line.get("d", "").count("V") == len(shape.steps) == 3
    assert len([path for path in root.iter(f"{SVG}path") if path.get("class") == "censored"]) == len(
        shape.censored_days
    )
    words = " ".join(node.text or "" for node in root.iter(f"{SVG}text"))
    assert all(part in words for part in ("days since arrival", "alive, %", "clams <maxima> & co (n = 45)"))
    colours = {value for node in root.iter() for key, value in node.attrib.items() if key in ("fill", "stroke")}
    assert all(len(set(c.strip("#"))) == 1 or c in ("none", "#e4e4e4") for c in colours if not c.startswith("url"))
    assert survival_steps([("clams <maxima> & co", shape)], title="Survival of S1-01") == text


def test_several_curves_are_told_apart_by_dashes() -> None:
    """Six at most, each with its own dash pattern."""
    shape = curve(history(Scribe()), "S1-01", hour(24 * 30))
    assert shape is not None
    root = ET.fromstring(survival_steps([(str(n), shape) for n in range(6)], title="x"))
    dashes = [path.get("stroke-dasharray") for path in root.iter(f"{SVG}path") if path.get("class") == "curve"]
    assert len(set(dashes)) == 6
    for count in (0, 7):
        with pytest.raises(BadInput):
            survival_steps([("x", shape)] * count, title="x")


def test_the_loss_picture_has_a_bar_for_every_loss() -> None:
    """Days 0, 1, 6, 9 and 20; heights in proportion to the counts."""
    days = by_day(history(Scribe()), "S1-01", hour(24 * 30))
    root = ET.fromstring(loss_bars(days, title="Losses"))
    bars = [box for box in root.iter(f"{SVG}rect") if box.get("class") == "loss"]
    heights = [float(box.get("height", "0")) for box in bars]
    assert len(bars) == 5
    assert [height / min(heights) for height in heights] == pytest.approx([3, 3, 1, 1, 1], rel=1e-3)
    assert "3 dead on arrival, 5 dead after, 1 missing" in (root.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]
    words = [node.text or "" for node in root.iter(f"{SVG}text")]
    first = days[0].starts_at
    assert f"days since arrival on {first:%d %b %Y}" in words
    assert f"20 · {(first + timedelta(days=20)).day} {first + timedelta(days=20):%b}" in words
    late = loss_bars(days, title="Losses", zone=timezone(timedelta(hours=14)))
    there = first.astimezone(timezone(timedelta(hours=14)))
    assert f"0 · {there.day} {there:%b}" in late
    alone = ET.fromstring(titled(loss_bars(days, title="Losses of A & B")))
    top = float(alone.get("viewBox", "").split()[1])
    (title,) = (node for node in alone.iter(f"{SVG}text") if node.text == "Losses of A & B")
    assert top < float(title.get("y", "0")) < 0  # above the picture, inside its edge
    with pytest.raises(BadInput):
        loss_bars([], title="x")
