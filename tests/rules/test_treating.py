"""Treatments: the whole matrix through the rules, others in the water, prescriptions, limits, rest and transfer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from intake.farm.floor import Past, Stay
from intake.library.treatments import COPPER
from intake.rules import Transferring, Treating
from tests.rules.ground import LIBRARY, NOW, SITE, asked, batch, days, done, floor, found, hours, ids, read

AGENTS = LIBRARY.treatments.agents
CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")
CORAL = batch("S1-06", "stony_montipora", "Montipora capricornis")
WRITTEN: dict[str, Any] = {
    "prescriber": "Dr. Test (invented)",
    "reference": "RX-1",
    "agent": "as prescribed",
    "strength": "as prescribed",
    "dose_source": "the prescription",
}


def treat(one: Any, dip: str, *agents: str, vats: tuple[str, ...] = ("A1",), **other: Any) -> Treating:
    """A treatment proposed now."""
    return Treating(NOW, one, vats, dip, agents or LIBRARY.agents(dip), **other)


def expected(agent: str, group: str, *, written: bool) -> set[str]:
    """What the matrix says a treatment breaks, stated without the rules."""
    verdict = LIBRARY.treatments.verdict(agent, group)
    fish = LIBRARY.groups[group].kind == "fish"
    if verdict.verdict == "allowed":
        return set()
    if verdict.verdict == "unknown":
        return {"treatment-unknown", "test-piece"}
    if verdict.verdict == "prescriber":
        return set() if written else {"prescription"}
    if agent in COPPER and not fish:
        return {"copper"}
    if verdict.override == "never":
        return {"treatment-forbidden"}
    return {"treatment-veterinarian"} if written else {"treatment-forbidden"}


@pytest.mark.parametrize("written", [False, True], ids=["plain", "prescribed"])
@pytest.mark.parametrize("group", LIBRARY.groups)
@pytest.mark.parametrize("agent", AGENTS)
def test_the_whole_matrix(agent: str, group: str, written: bool) -> None:
    """Every agent for every group, with and without a prescriber, in a tub."""
    one = batch("X-1", group, group)
    act = treat(one, "no-dip", agent, **(WRITTEN if written else {}))
    broken = asked(floor((one, "A1", 5)), act)
    assert {breach.id for breach in broken} == expected(agent, group, written=written)
    row = LIBRARY.treatments.verdict(agent, group)
    for breach in broken:
        if breach.id not in {"test-piece", "prescription"}:
            assert breach.source == row.source


@pytest.mark.parametrize("group", LIBRARY.groups)
@pytest.mark.parametrize("agent", AGENTS)
def test_the_whole_matrix_for_those_who_share_the_water(agent: str, group: str) -> None:
    """A medicine for fish in the water of a system, with somebody of each group in another vat of it."""
    other = batch("X-1", group, group)
    here = floor((FISH, "A1", 5), (other, "A2", 1))
    act = treat(FISH, "no-dip", agent, where="vat", **WRITTEN)
    verdict = LIBRARY.treatments.verdict(agent, group)
    mine = expected(agent, "fish_reef_safe", written=True)
    if agent in COPPER and LIBRARY.groups[group].kind != "fish":
        theirs = {"copper"}
    else:
        theirs = {"allowed": set(), "forbidden": {"shared-water-treatment"}}.get(
            verdict.verdict, {"shared-water-unknown"}
        )
    assert ids(here, act) == mine | theirs
    assert ids(here, replace(act, where="tub")) == mine
    assert ids(floor((FISH, "A1", 5), (other, "B1", 1)), act) == mine


def test_copper_is_refused_whatever_is_written() -> None:
    """With prescriber, reference, dose and source it is refused all the same, and only once for each animal."""
    act = treat(CLAM, "fish-copper-bath", "copper-ionic", "copper-chelated", **WRITTEN)
    (breach,) = asked(floor((CLAM, "A1", 5)), act)
    assert (breach.id, breach.severity, breach.animals, breach.need) == ("copper", "refuse", ("S1-01",), "no copper")
    assert "No reason" in breach.do


def test_free_text_is_judged_by_the_strictest_it_may_mean() -> None:
    """An iodine dip whose strength says Cu 0.2 is a copper bath."""
    agents = LIBRARY.agents("coral-iodine-dip", "Cu 0.2")
    assert "copper" in ids(floor((CORAL, "A1", 5)), treat(CORAL, "coral-iodine-dip", *agents))
    assert ids(floor((CORAL, "A1", 5)), treat(CORAL, "coral-iodine-dip")) == set()


def test_a_dip_nobody_knows_is_refused() -> None:
    """The farm's own potion names no agent class."""
    assert LIBRARY.agents("own-potion") == ()
    (breach,) = asked(floor((CLAM, "A1", 5)), Treating(NOW, CLAM, ("A1",), "own-potion", ()))
    assert (breach.id, breach.severity) == ("unknown-agent", "refuse")


@pytest.mark.parametrize("missing", [*WRITTEN])
def test_a_prescription_is_whole(missing: str) -> None:
    """Prescriber, reference, agent, dose, and where the dose is from."""
    here = floor((FISH, "A1", 5))
    assert ids(here, treat(FISH, "fish-formalin-bath", **WRITTEN)) == set()
    (breach,) = asked(here, treat(FISH, "fish-formalin-bath", **{**WRITTEN, missing: " "}))
    assert (breach.id, breach.severity) == ("prescription", "refuse")
    assert breach.have == f"without --{missing.replace('_', '-')}"


def test_a_prescription_dip_asks_for_it_whatever_the_matrix_says() -> None:
    """The library's own mark on the dip counts too."""
    own = LIBRARY.dips["coral-iodine-dip"].model_copy(update={"prescription": True})
    library = replace(LIBRARY, dips={**LIBRARY.dips, "coral-iodine-dip": own})
    act = treat(CORAL, "coral-iodine-dip")
    assert ids(floor((CORAL, "A1", 5)), act, library=library) == {"prescription"}


@pytest.mark.parametrize(
    ("ago", "broken"), [(0, True), (23.9, True), (24, False), (24 * 180, False), (24 * 180 + 1, True)]
)
def test_the_unknown_needs_a_test_piece_a_day_old(ago: float, broken: bool) -> None:
    """And no older than half a year; the test itself needs none."""
    test = done(CORAL, "test", "A1", NOW - hours(ago), kind="test", agents=("fresh-water",))
    here = replace(floor((CORAL, "A1", 5)), done=(test,))
    act = treat(CORAL, "coral-freshwater-dip")
    assert ids(here, act) == {"treatment-unknown"} | ({"test-piece"} if broken else set())
    assert ids(floor((CORAL, "A1", 5)), replace(act, test=True)) == {"treatment-unknown"}


def test_a_test_of_another_batch_or_agent_or_in_the_future_does_not_count() -> None:
    """Tolerance differs inside a genus."""
    act = treat(CORAL, "coral-freshwater-dip")
    good = {"kind": "test", "agents": ("fresh-water",)}
    for test in (
        done(batch("S1-99"), "test", "A1", NOW - days(2), **good),
        done(CORAL, "test", "A1", NOW - days(2), kind="test", agents=("iodine-ki",)),
        done(CORAL, "test", "A1", NOW - days(2), kind="dip", agents=("fresh-water",)),
        done(CORAL, "test", "A1", NOW + days(2), **good),
    ):
        assert "test-piece" in ids(replace(floor((CORAL, "A1", 5)), done=(test,)), act)


@pytest.mark.parametrize(("minutes", "broken"), [(4.9, True), (5, False), (15, False), (15.1, True), (None, False)])
def test_contact_stays_inside_its_minutes(minutes: float | None, broken: bool) -> None:
    """Iodine: 5 to 15 minutes."""
    act = treat(CORAL, "coral-iodine-dip", minutes=minutes)
    assert ids(floor((CORAL, "A1", 5)), act) == ({"contact-time"} if broken else set())
    if broken:
        (breach,) = asked(floor((CORAL, "A1", 5)), act)
        assert (breach.need, breach.severity) == ("5–15 min", "refuse")


def test_ten_days_and_more_may_be_prescribed() -> None:
    """Copper runs 14 to 30 days for fish in water of their own."""
    here = floor((FISH, "A1", 5))
    for length, broken in ((13, True), (14, False), (30, False), (31, True)):
        act = treat(FISH, "fish-copper-bath", where="vat", minutes=length * 1440, **WRITTEN)
        assert ids(here, act) == ({"contact-time"} if broken else set())


def test_a_treatment_keeps_to_its_temperatures_and_salinities() -> None:
    """Copper at 24–27 °C and full salinity; formalin never above 28 °C; a tub is made up to its own salinity."""
    act = treat(FISH, "fish-copper-bath", where="vat", **WRITTEN)
    (breach,) = asked(floor((FISH, "W1", 5)), replace(act, vats=("W1",)))
    assert (breach.id, breach.need, breach.have) == ("treatment-temperature", "24–27 °C", "28.5 °C")
    assert ids(floor((FISH, "W1", 5)), treat(FISH, "fish-formalin-bath", vats=("W1",), **WRITTEN)) == {
        "treatment-temperature"
    }
    assert ids(floor((FISH, "A1", 5)), treat(FISH, "fish-formalin-bath", **WRITTEN)) == set()
    low = {**SITE.systems, "qa": SITE.systems["qa"].model_copy(update={"salinity_psu": 29.9})}
    site = SITE.model_copy(update={"systems": low})
    assert ids(floor((FISH, "A1", 5)), act, site=site) == {"treatment-salinity"}
    assert ids(floor((FISH, "A1", 5)), replace(act, where="tub"), site=site) == set()
    edge = SITE.model_copy(
        update={"systems": {**low, "qa": low["qa"].model_copy(update={"salinity_psu": 30.0, "temperature_c": 27.0})}}
    )
    assert ids(floor((FISH, "A1", 5)), act, site=edge) == set()
    cold = SITE.model_copy(
        update={"systems": {**low, "qa": low["qa"].model_copy(update={"salinity_psu": 30.0, "temperature_c": 23.9})}}
    )
    assert ids(floor((FISH, "A1", 5)), act, site=cold) == {"treatment-temperature"}


@pytest.mark.parametrize(
    ("place", "value", "hours_ago", "broken"),
    [("qa", 29.9, 1, True), ("vat:A1", 29.9, 24, True), ("qa", 29.9, 25, False), ("vat:A2", 29.9, 1, False),
     ("qb", 29.9, 1, False), ("qa", 30.0, 1, False), ("qa", 29.9, -1, False)],
)  # fmt: skip
def test_a_water_is_what_was_read_in_it_within_a_day(place: str, value: float, hours_ago: float, broken: bool) -> None:
    """Set to 34.5 PSU and read as 29.9: copper is not given, by a reading of the system or of the vat treated."""
    act = treat(FISH, "fish-copper-bath", where="vat", **WRITTEN)
    here = replace(floor((FISH, "A1", 5)), readings=(read(place, "salinity_psu", value, NOW - hours(hours_ago)),))
    assert ids(here, act) == ({"treatment-salinity"} if broken else set())


def test_the_newest_reading_counts_also_where_the_farm_file_says_otherwise() -> None:
    """Diluted, then brought back; and a water set too warm that was cooled."""
    act = treat(FISH, "fish-copper-bath", where="vat", **WRITTEN)
    rows = (read("qa", "salinity_psu", 28.0, NOW - hours(3)), read("qa", "salinity_psu", 34.0, NOW - hours(1)))
    assert ids(replace(floor((FISH, "A1", 5)), readings=rows), act) == set()
    cooled = replace(floor((FISH, "W1", 5)), readings=(read("warm", "temperature_c", 26.5, NOW - hours(1)),))
    assert ids(cooled, replace(act, vats=("W1",))) == set()


def test_low_salinity_changes_the_water_itself() -> None:
    """The bath for bony fish begins at full salinity."""
    assert ids(floor((FISH, "A1", 5)), treat(FISH, "fish-hyposalinity", "hyposalinity", where="vat")) == set()


@pytest.mark.parametrize(
    ("one", "dip", "need"),
    [
        (FISH, "fish-freshwater-dip", 24),
        (FISH, "fish-formalin-bath", 48),
        (CORAL, "coral-iodine-dip", 24),
        (CORAL, "coral-flatworm-bath", 72),
        (CLAM, "clam-brushing", 24),
    ],
)
def test_newcomers_rest(one: Any, dip: str, need: int) -> None:
    """A reason is asked of work, not of orders; a move within does not begin the hours again; eyes and a shake are free."""
    looked = (found(one, "", "A1", NOW - hours(0.1)),)
    stay = Stay(one.id, "A1", 5, NOW - hours(need - 0.1), "quarantine")
    here = replace(floor((one, "A1", 5)), stays=(stay,), found=looked)
    act = treat(one, dip, work=True, **WRITTEN)
    (breach,) = asked(here, act)
    assert (breach.id, breach.severity, breach.need) == ("rest-after-arrival", "reason", f"{need} h")
    assert ids(here, replace(act, work=False)) == set()
    rested = replace(here, stays=(Stay(one.id, "A1", 5, NOW - hours(need), "quarantine"),))
    assert ids(rested, act) == set()
    moved = replace(here, past=(Past(one.id, "A2", NOW - hours(need), NOW - hours(need - 0.1)),))
    assert ids(moved, act) == set()
    for gentle in ("arrival-inspection", "clam-snail-picking", "coral-shake"):
        assert "rest-after-arrival" not in ids(here, treat(one, gentle, work=True)), gentle
    house = replace(one, shipment="")
    assert ids(replace(here, batches={one.id: house}), replace(act, batch=house)) == set()


def test_one_agent_a_day_and_two_days_between_two() -> None:
    """The same series is not its own hindrance."""
    last = done(CORAL, "coral-freshwater-dip", "A1", NOW - hours(47))
    here = replace(seen(CORAL), done=(last,))
    (breach,) = asked(here, treat(CORAL, "coral-iodine-dip", work=True))
    assert (breach.id, breach.severity, breach.need, breach.have) == ("two-agents", "reason", "48 h", "47 h")
    old = replace(here, done=(replace(last, at=NOW - hours(48)),))
    assert ids(old, treat(CORAL, "coral-iodine-dip", work=True)) == set()
    same = replace(here, done=(done(CORAL, "zoanthid-iodine-dip", "A1", NOW - hours(23)),))
    (breach,) = asked(same, treat(CORAL, "coral-iodine-dip", work=True))
    assert breach.need == "24 h"
    series = replace(here, done=(done(CORAL, "coral-iodine-dip", "A1", NOW - hours(2)),))
    assert ids(series, treat(CORAL, "coral-iodine-dip", work=True)) == set()
    brush = replace(here, done=(done(CORAL, "coral-shake", "A1", NOW - hours(2)),))
    assert ids(brush, treat(CORAL, "coral-iodine-dip", work=True)) == set()
    assert ids(here, treat(CORAL, "coral-iodine-dip")) == set()
    assert ids(replace(here, done=(replace(last, batch="S9"),)), treat(CORAL, "coral-iodine-dip", work=True)) == set()


def test_no_bath_while_animals_are_marked_weak() -> None:
    """By the last count before the act; a later count of none lifts it; brushes, and other lots, are not meant."""
    act = treat(CORAL, "coral-iodine-dip", work=True)
    weak = replace(seen(CORAL), readings=(read("vat:A1", f"weak {CORAL.id}", 2, NOW - hours(1)),))
    (breach,) = asked(weak, act)
    assert (breach.id, breach.severity, breach.need, breach.have) == ("weak-lot", "reason", "0 weak", "2 weak")
    assert ids(weak, replace(act, work=False)) == set()
    assert ids(weak, treat(CORAL, "coral-shake", work=True)) == set()
    none = read("vat:A1", f"weak {CORAL.id}", 0, NOW - hours(0.5))
    assert ids(replace(weak, readings=(none, *weak.readings)), act) == set()
    later = read("vat:A1", f"weak {CORAL.id}", 1, NOW + hours(1))
    assert ids(replace(weak, readings=(later,)), act) == set()
    other = read("vat:A1", "weak S9-01", 2, NOW - hours(1))
    assert ids(replace(weak, readings=(other,)), act) == set()


def test_newcomers_are_looked_over_before_they_are_treated() -> None:
    """An inspection recorded or a finding since they were placed; cuttings of the house are known."""
    act = treat(CORAL, "coral-iodine-dip", work=True)
    here = floor((CORAL, "A1", 5))
    (breach,) = asked(here, act)
    assert (breach.id, breach.severity, breach.have) == ("inspect-first", "reason", "none on record")
    assert ids(here, replace(act, work=False)) == set()
    assert ids(here, treat(CORAL, "coral-shake", work=True)) == set()
    shaken = done(CORAL, "coral-shake", "A1", NOW - hours(2), kind="inspection")
    assert ids(replace(here, done=(shaken,)), act) == set()
    assert ids(replace(here, done=(done(CORAL, "coral-shake", "A1", NOW - hours(2)),)), act) == set()
    assert ids(replace(here, done=(replace(shaken, batch="S9"),)), act) == {"inspect-first"}
    assert ids(replace(here, found=(found(CORAL, "", "A1", NOW - hours(2)),)), act) == set()
    before = found(CORAL, "", "A1", NOW - days(11))
    assert ids(replace(here, found=(before,)), act) == {"inspect-first"}
    cut = replace(CORAL, shipment="")
    assert ids(replace(here, batches={cut.id: cut}), replace(act, batch=cut)) == set()


def seen(*lots: Any) -> Any:
    """Lots in A1 for ten days, looked over yesterday."""
    here = floor(*((one, "A1", 5) for one in lots))
    return replace(here, found=tuple(found(one, "", "A1", NOW - days(1)) for one in lots))


def transfer(to: str = "B1", count: int = 10, sources: tuple[str, ...] = ("A1",)) -> Transferring:
    """A transfer of the fish now."""
    return Transferring(NOW, FISH, sources, to, count)


READY = replace(floor((FISH, "A1", 10)), cleaned={"B1": NOW - hours(24)})


def test_a_transfer_to_a_dry_vat_in_other_water_breaks_nothing() -> None:
    """The whole lot."""
    assert ids(READY, transfer()) == set()


@pytest.mark.parametrize(
    ("here", "act", "rule"),
    [
        (READY, transfer(to=""), "transfer-place"),
        (replace(READY, cleaned={"A2": NOW - days(2)}), transfer(to="A2"), "transfer-water"),
        (replace(READY, cleaned={}), transfer(), "transfer-dry"),
        (replace(READY, cleaned={"B1": NOW - hours(23.9)}), transfer(), "transfer-dry"),
        (
            replace(READY, past=(Past("S9", "B1", NOW - days(9), NOW - hours(10)),), cleaned={"B1": NOW - days(2)}),
            transfer(),
            "transfer-dry",
        ),
        (READY, transfer(count=9), "transfer-whole"),
    ],
)
def test_a_transfer_broken_in_one_way(here: Any, act: Transferring, rule: str) -> None:
    """Each is refused and says what is free."""
    (breach,) = asked(here, act)
    assert (breach.id, breach.severity) == (rule, "refuse")


def test_the_refusal_names_vats_that_are_free_in_other_water() -> None:
    """Or that there is none."""
    (breach,) = asked(READY, transfer(to=""))
    assert "B1" in breach.do
    assert "A2" not in breach.do
    lone = SITE.model_copy(update={"vats": {name: vat for name, vat in SITE.vats.items() if vat.system == "qa"}})
    (breach,) = asked(READY, transfer(to=""), site=lone)
    assert "No vat in other water is free" in breach.do


def test_a_transfer_does_not_go_among_others_nor_leave_a_shrimp_behind() -> None:
    """An occupied vat; a shrimp in the water of either vat."""
    more = batch("S2-02", "fish_reef_safe", shipment="S2")
    assert ids(replace(floor((FISH, "A1", 10), (more, "B1", 2)), cleaned={"B1": NOW - days(2)}), transfer()) == {
        "transfer-empty"
    }
    mate = batch("S1-13", "fish_reef_safe")
    assert ids(replace(floor((FISH, "A1", 10), (mate, "B1", 2)), cleaned={"B1": NOW - days(2)}), transfer()) == set()
    shrimp = batch("S1-11", "decapod_crustacean", "Lysmata")
    for vat, broken in (("A2", True), ("B2", True), ("G1", False)):
        here = replace(floor((FISH, "A1", 10), (shrimp, vat, 2)), cleaned=READY.cleaned)
        assert ids(here, transfer()) == ({"transfer-company"} if broken else set())


def test_seventy_two_hours_are_the_top_between_two_transfers() -> None:
    """Once the course has begun by a move."""
    begun = done(FISH, "fish-tank-transfer", "A1", NOW - hours(73), kind="transfer", to="A1")
    for since, broken in ((72.1, True), (72, False)):
        here = replace(READY, stays=(Stay(FISH.id, "A1", 10, NOW - hours(since), "quarantine"),), done=(begun,))
        assert ids(here, transfer()) == ({"transfer-late"} if broken else set())
    ticked = replace(READY, done=(replace(begun, to=""),))
    assert ids(ticked, transfer()) == set()


def test_findings_do_not_stop_a_treatment() -> None:
    """They are its reason."""
    assert ids(replace(READY, found=(found(FISH, "white-spot", "A1", NOW - days(1)),)), transfer()) == set()
