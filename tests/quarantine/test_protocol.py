"""The work a batch needs: its windows, lags, numbers, marks and refusals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from intake.errors import Refused
from intake.farm.floor import Batch, Done, Floor, Found, Hold, Reading, Stay
from intake.farm.site import Site
from intake.library import load
from intake.quarantine import Need, Orders, Prescription, needs_for, temperature_of, work_for
from intake.timetable import schedule
from tests.timetable.farms import MONDAY, Row, floor_of, site_of

LIBRARY = load()


def work(
    rows: Sequence[Row], *, at: datetime = MONDAY, site: Site | None = None, floor: Floor | None = None, **more: Any
) -> dict[str, Need]:
    """Needs by uid of a floor, given or made of rows."""
    floor = floor or floor_of(rows, at)
    needs = needs_for(floor.stays, floor, LIBRARY, site or site_of(), now=at, **more)
    return {need.uid: need for need in needs}


def test_clams_are_brushed_six_times_a_week_apart_after_dark() -> None:
    """Husbandry 1.2: six weekly snail inspections, the first after a day of rest (A011); an interval may move by a day."""
    needs = work([("T-1", "clam_small", 100, "Q1a", MONDAY)])
    brushing = [needs[f"T-1/clam-brushing/Q1a/{number}"] for number in range(1, 7)]
    assert [(need.nominal - MONDAY).days for need in brushing] == [1, 8, 15, 22, 29, 36]
    assert brushing[0].earliest - MONDAY == timedelta(hours=24)
    assert "A011" in brushing[0].why
    assert all(need.after_dark for need in brushing)
    assert [need.after for need in brushing[1:]] == [need.uid for need in brushing[:-1]]
    assert {(need.lag_min_days, need.lag_max_days) for need in brushing[1:]} == {(6.0, 8.0)}
    assert "T-1/clam-brushing/Q1a/7" not in needs


def test_fish_are_moved_four_times_and_never_stay_longer_than_72_hours() -> None:
    """Colorni 1985, Dis Aquat Org 1:19 (abstract): four transfers 3 d apart; 72 h is an upper limit (husbandry 3)."""
    needs = work([("T-1", "fish_reef_safe", 20, "Q1a", MONDAY)])
    moves = [needs[f"T-1/fish-tank-transfer/{number}"] for number in range(1, 5)]
    assert "T-1/fish-tank-transfer/5" not in needs
    assert moves[0].latest - MONDAY == timedelta(hours=72)
    assert all(move.lag_max_days == 3.0 for move in moves[1:])
    assert all(move.part_of_day == "morning" and move.strict for move in moves)


def test_montipora_gets_the_series_0_7_14_21() -> None:
    """Husbandry 2.2: four removals 7 d apart against Phestilla; the step must not be longer."""
    needs = work([("T-1", "stony_montipora", 60, "Q1a", MONDAY)])
    rows = [needs[f"T-1/coral-nudibranch-series/Q1a/{number}"] for number in range(1, 5)]
    assert [(need.nominal - MONDAY).days for need in rows] == [0, 7, 14, 21]
    assert all(need.lag_max_days == 7.0 for need in rows[1:])


def test_acropora_in_27_degrees_is_inspected_again_on_day_16_to_24() -> None:
    """The worked flatworm case reaches the timetable, with its arithmetic in the reason."""
    needs = work_27()
    again = needs["T-1/coral-egg-scrape/Q1a/2"]
    assert (again.lag_min_days, again.lag_max_days) == (16.0, 24.0)
    assert (again.nominal - MONDAY).days == 18
    assert "0.9 × 27" in again.why


def work_27(readings: tuple[Reading, ...] = ()) -> dict[str, Need]:
    """Needs of an Acropora lot in water planned at 27 °C."""
    site = site_of()
    systems = {name: system.model_copy(update={"temperature_c": 27.0}) for name, system in site.systems.items()}
    floor = replace(floor_of([("T-1", "stony_branching_acropora", 30, "Q1a", MONDAY)]), readings=readings)
    return work([], site=site.model_copy(update={"systems": systems}), floor=floor)


def logged(value: float) -> tuple[Reading, ...]:
    """Three readings of the water in the last two days."""
    return tuple(
        Reading("Q1", "temperature", value, "", MONDAY - timedelta(hours=hours), "ann") for hours in (1, 12, 40)
    )


def test_a_logged_departure_of_more_than_a_degree_recomputes_the_series() -> None:
    """25.5 °C logged in water planned at 27: later, since development is slower (husbandry 2.3)."""
    cooler = work_27(logged(25.5))["T-1/coral-egg-scrape/Q1a/2"]
    assert cooler.lag_min_days > 16.0
    assert (cooler.nominal - MONDAY).days > 18
    assert "25.5" in cooler.why


def test_a_logged_departure_of_less_than_a_degree_changes_nothing() -> None:
    """Readings wander; the plan should not."""
    assert work_27(logged(26.2)) == work_27()


def test_water_warmer_than_the_figures_keeps_the_own_interval_and_marks_it() -> None:
    """28.5 °C was not read: nothing is extrapolated, and the sheet must say that the interval is unsourced."""
    warmer = work_27(logged(28.5))["T-1/coral-egg-scrape/Q1a/2"]
    assert (warmer.lag_min_days, warmer.lag_max_days) == (16.0, 24.0)
    assert warmer.unsourced
    assert warmer.evidence == "default"
    assert "24 to 27" in warmer.why


def test_old_readings_do_not_count() -> None:
    """The mean is over the last seven days."""
    old = Reading("Q1", "temperature", 20.0, "", MONDAY - timedelta(days=9), "ann")
    floor = replace(floor_of([]), readings=(old,))
    assert temperature_of("Q1", site_of(), floor, MONDAY) == 26.4


def test_what_is_done_is_left_out_and_the_next_counts_from_when_it_was_done() -> None:
    """A dip done two days late moves the next one, not its number."""
    floor = floor_of([("T-1", "clam_small", 100, "Q1a", MONDAY - timedelta(days=9))])
    late = MONDAY - timedelta(days=1)
    floor = replace(
        floor,
        done=(
            Done("T-1/clam-brushing/Q1a/1", "T-1", "dip:clam-brushing", MONDAY - timedelta(days=9), "ann"),
            Done("T-1/clam-brushing/Q1a/2", "T-1", "dip:clam-brushing", late, "ann"),
        ),
    )
    needs = work([], floor=floor)
    assert "T-1/clam-brushing/Q1a/2" not in needs
    third = needs["T-1/clam-brushing/Q1a/3"]
    assert third.earliest - late == timedelta(days=6)
    assert third.latest - late == timedelta(days=8)
    assert third.after == ""


def test_work_keeps_its_uid_when_the_animals_are_moved() -> None:
    """Same task, same uid for life: a portion keeps the name of the vat it began in."""
    since = MONDAY - timedelta(days=8)
    floor = floor_of([("T-1", "clam_small", 100, "Q1b", MONDAY - timedelta(days=2))])
    done = Done("T-1/clam-brushing/Q1a/1", "T-1", "dip:clam-brushing", since, "ann")
    floor = replace(floor, done=(done,))
    needs = work([], floor=floor, orders=Orders(began={("T-1", "Q1b"): "Q1a"}))
    assert needs["T-1/clam-brushing/Q1a/2"].vat == "Q1b"
    assert "T-1/clam-brushing/Q1a/1" not in needs


def test_a_finding_restarts_the_series_of_every_lot_in_that_water_and_of_no_other() -> None:
    """S73 and husbandry 5.1: the system is the unit of exposure."""
    since = MONDAY - timedelta(days=20)
    rows = [("T-1", "clam_small", 50, "Q1a", since), ("T-2", "clam_small", 50, "Q1b", since)]
    rows.append(("T-3", "clam_small", 50, "Q2a", since))
    floor = floor_of(rows)
    done = tuple(
        Done(f"{batch}/clam-brushing/{vat}/{number}", batch, "dip", since + timedelta(days=7 * (number - 1)), "ann")
        for batch, _, _, vat, _ in rows
        for number in (1, 2, 3)
    )
    seen = Found("T-1", "Q1a", "pyramidellid-snail", MONDAY - timedelta(days=1), "ann")
    needs = work([], floor=replace(floor, done=done, found=(seen,)))
    assert "T-1/clam-brushing/Q1a/9" in needs
    assert "T-2/clam-brushing/Q1b/9" in needs
    assert "T-3/clam-brushing/Q2a/6" in needs
    assert "T-3/clam-brushing/Q2a/7" not in needs
    assert needs["T-2/clam-brushing/Q1b/4"].nominal == seen.at
    assert needs["T-1/release-check"].earliest >= seen.at + timedelta(days=42)
    assert needs["T-3/release-check"].earliest == since + timedelta(days=42)
    assert needs["T-1/clam-brushing/Q1a/4"].condition == "sick"
    assert needs["T-2/clam-brushing/Q1b/4"].condition == "quarantine"


def test_a_prescription_bath_needs_prescriber_and_reference() -> None:
    """No default dose, no schedule without both (husbandry 7)."""
    rows = [("T-1", "stony_branching_acropora", 30, "Q1a", MONDAY)]
    asked = {"T-1": {"coral-flatworm-bath": "flatworm seen"}}
    with pytest.raises(Refused, match="prescriber"):
        work(rows, orders=Orders(asked=asked))
    blank = Prescription("Dr Invented", " ", "agent", "strength")
    with pytest.raises(Refused, match="reference"):
        work(rows, orders=Orders(asked=asked, prescriptions={("T-1", "coral-flatworm-bath"): blank}))
    order = Prescription("Dr Invented", "RX-0001", "as written on RX-0001", "as written on RX-0001", 60.0, 60.0)
    needs = work(rows, orders=Orders(asked=asked, prescriptions={("T-1", "coral-flatworm-bath"): order}))
    bath = needs["T-1/coral-flatworm-bath/Q1a/1"]
    assert (bath.strength, bath.contact_max) == (
        "as written on RX-0001 (as prescribed: Dr Invented, RX-0001)",
        60.0,
    )
    assert "RX-0001" in bath.why


def test_no_prescription_bath_is_ever_scheduled_by_default() -> None:
    """Whatever the group, what needs a prescriber stays out."""
    for group in LIBRARY.groups:
        for need in work([("T-1", group, 10, "Q1a", MONDAY)]).values():
            assert not (need.dip and LIBRARY.dips[need.dip].prescription)


def test_optional_dips_come_only_where_the_farm_switched_them_on() -> None:
    """The farm of the tests switched on the freshwater dip and not iodine."""
    needs = work([("T-1", "stony_branching_other", 10, "Q1a", MONDAY)])
    assert {need.dip for need in needs.values() if need.dip} == {"coral-shake", "coral-freshwater-dip"}


def test_a_strength_ordered_on_the_farm_is_printed_in_place_of_the_blank() -> None:
    """Iodine has no dose in the library; what was measured and ordered stands on every paper, marked as ordered."""
    row = [("T-1", "stony_branching_other", 10, "Q1a", MONDAY)]
    asked, key = {"T-1": {"coral-iodine-dip": "wounds"}}, ("T-1", "coral-iodine-dip")
    blank = next(n for n in work(row, orders=Orders(asked)).values() if n.dip == "coral-iodine-dip")
    assert "write it here" in blank.strength
    assert "no one dips in chemicals alone" in blank.why
    (shake,) = (n for n in work(row, orders=Orders(asked)).values() if n.dip == "coral-shake")
    assert "alone" not in shake.why  # no chemical
    told = {key: Prescription("", "", "", "12 mg/L available iodine", None, None)}
    (dip,) = (n for n in work(row, orders=Orders(asked, told)).values() if n.dip == "coral-iodine-dip")
    assert (dip.strength, dip.agent, dip.minutes) == (
        "12 mg/L available iodine (as ordered)",
        blank.agent,
        blank.minutes,
    )
    on = {"T-1": {"coral-freshwater-dip": "pests"}}
    mine = {("T-1", "coral-freshwater-dip"): Prescription("", "", "", "0 PSU, pH matched", None, None)}
    baths = [n for n in work(row, orders=Orders(on, mine)).values() if n.dip == "coral-freshwater-dip"]
    assert {n.strength for n in baths} == {"0 PSU, pH matched (as ordered)"}
    assert len({n.uid for n in baths}) == len(baths)


def test_the_first_bath_follows_the_first_inspection_of_its_portion() -> None:
    """Inspect before treating: held by the timetable while the inspection is open, free once it is recorded."""
    needs = work([("T-1", "stony_branching_other", 10, "Q1a", MONDAY)])
    bath = min((need for need in needs.values() if need.dip == "coral-freshwater-dip"), key=lambda need: need.number)
    look = min((need for need in needs.values() if need.dip == "coral-shake"), key=lambda need: need.number)
    assert (bath.opens, look.opens, bath.after) == (True, True, look.uid)
    assert bath.lag_min_days > 0
    table = {task.uid: task for task in schedule(list(needs.values()), site_of(), now=MONDAY, seconds=0.0).tasks}
    assert table[bath.uid].start >= table[look.uid].end
    looked = Done(look.uid, "T-1", "inspection", MONDAY + timedelta(hours=2), "ada", "Q1a")
    floor = replace(floor_of([("T-1", "stony_branching_other", 10, "Q1a", MONDAY)], MONDAY), done=(looked,))
    again = work([], floor=floor)
    assert again[bath.uid].after == ""


def test_long_work_is_cut_into_parts_that_add_up_and_keep_the_first_uid() -> None:
    """900 clams at 120 an hour are 7.5 h: more than one pair of hands."""
    needs = work([("T-1", "clam_small", 900, "Q1a", MONDAY)])
    parts = [need for uid, need in needs.items() if uid.split("/part-")[0] == "T-1/clam-brushing/Q1a/1"]
    assert "T-1/clam-brushing/Q1a/1" in needs
    assert sum(part.headcount for part in parts) == 900
    assert sum(part.minutes for part in parts) >= 450
    assert max(part.minutes for part in parts) <= 180


def test_recording_one_part_leaves_the_other_parts_open() -> None:
    """Half the clams brushed is not the batch brushed."""
    floor = floor_of([("T-1", "clam_small", 900, "Q1a", MONDAY - timedelta(hours=20))])
    done = Done("T-1/clam-brushing/Q1a/1", "T-1", "dip", MONDAY - timedelta(hours=15), "ann")
    needs = work([], floor=replace(floor, done=(done,)))
    assert "T-1/clam-brushing/Q1a/1" not in needs
    assert "T-1/clam-brushing/Q1a/1/part-2" in needs
    assert "T-1/clam-brushing/Q1a/2" in needs


def test_each_part_of_a_repeat_follows_the_same_part_of_the_one_before() -> None:
    """The second part has its own animals: the lag between repeats holds for them too, not only for the first part."""
    needs = work([("T-1", "clam_small", 900, "Q1a", MONDAY)])
    second = needs["T-1/clam-brushing/Q1a/2/part-2"]
    assert second.after == "T-1/clam-brushing/Q1a/1/part-2"
    assert second.lag_min_days == 6.0
    assert needs["T-1/clam-brushing/Q1a/1/part-2"].after == needs["T-1/clam-brushing/Q1a/1"].after


def test_work_done_as_the_timetable_said_is_done_though_its_parts_lie_on_different_days() -> None:
    """Parts a day apart, each six to eight days after its own: six repeats count, and no seventh is asked for."""
    site = site_of()
    entered = MONDAY - timedelta(days=46)
    floor = floor_of([("T-1", "clam_small", 3000, "Q1a", entered)])
    floor = replace(floor, at=entered)
    table = schedule(needs_for(floor.stays, floor, LIBRARY, site, now=entered), site, now=entered, seconds=0.3)
    brushed = [task for task in table.tasks if task.dip == "clam-brushing"]
    done = [Done(task.uid, "T-1", "dip", task.start, "ann") for task in brushed]
    assert not table.late
    assert len({task.start.date() for task in brushed}) > 6
    needs = work([], at=MONDAY, floor=replace(floor, done=tuple(done), at=MONDAY))
    assert [uid for uid, need in needs.items() if need.dip == "clam-brushing"] == []


def test_two_death_rounds_in_the_first_48_hours_the_last_after_lights_out_then_one_a_day() -> None:
    """Husbandry 1.3; a round is one piece of work per system and day, not per batch."""
    rows = [("T-1", "clam_small", 50, "Q1a", MONDAY), ("T-2", "clam_small", 50, "Q1b", MONDAY)]
    rounds = sorted((need.nominal, need.after_dark) for need in work(rows).values() if need.kind == "death round")
    early = [dark for at, dark in rounds if at <= MONDAY + timedelta(hours=48)]
    assert early.count(True) == 2
    assert early[-2:] != [False, False]
    assert len(early) >= 2
    days = [at.date() for at, dark in rounds if not dark]
    assert len(days) == len(set(days)) >= 41


def test_a_shipment_under_way_is_received_and_acclimated_before_its_first_dip() -> None:
    """The chain of the day: receive, acclimate, first inspection."""
    lands = MONDAY + timedelta(days=3)
    groups = {"S1-01": ("clam_small", "Q1a"), "S1-02": ("stony_montipora", "Q1b")}
    batches = {
        name: Batch(name, f"invented {group}", group, 40.0, 50, shipment="S1", line=int(name[-1]))
        for name, (group, _) in groups.items()
    }
    floor = replace(floor_of([]), batches=batches)
    stays = tuple(Stay(name, vat, 50, lands, "quarantine") for name, (_, vat) in groups.items())
    needs = {need.uid: need for need in needs_for(stays, floor, LIBRARY, site_of(), now=MONDAY)}
    assert needs["S1-02/acclimation"].after == "S1-02/receive"
    assert needs["S1-02/coral-shake/Q1b/1"].after == "S1-02/acclimation"
    assert needs["S1-01/clam-brushing/Q1a/1"].earliest == lands + timedelta(hours=24), "A011: no brush on the first day"


def test_a_lot_on_hold_comes_last_in_the_order_of_work() -> None:
    """Sick or suspect animals are handled after all others (husbandry 5)."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY)])
    floor = replace(floor, holds=(Hold("T-1", "gaping", MONDAY),))
    assert {need.condition for need in work([], floor=floor).values() if need.batch} == {"sick"}


def test_every_need_says_why_and_how_it_is_known() -> None:
    """Values without a published source are marked on every event."""
    rows = [(f"T-{n}", group, 10, "Q1a", MONDAY) for n, group in enumerate(LIBRARY.groups)]
    for need in work(rows).values():
        assert need.why
        assert need.source
        if need.evidence in ("practice", "memory", "default"):
            assert need.unsourced, need.uid


def test_uids_are_ascii_without_blanks_and_unique() -> None:
    """They become calendar UIDs."""
    rows = [(f"T-{n}", group, 900, "Q1a", MONDAY) for n, group in enumerate(LIBRARY.groups)]
    floor = floor_of(rows)
    uids = [need.uid for need in needs_for(floor.stays, floor, LIBRARY, site_of(), now=MONDAY)]
    assert len(uids) == len(set(uids))
    assert all(uid.isascii() and not set(uid) & set(' \\;,"|') for uid in uids)


def test_a_batch_without_a_stay_in_quarantine_needs_nothing() -> None:
    """Grow-out and released animals have no protocol."""
    batch = Batch("T-1", "invented", "clam_small", 40.0, 10)
    stays = (Stay("T-1", "G1", 10, MONDAY, "grow-out"),)
    group = LIBRARY.groups["clam_small"]
    assert work_for(batch, stays, group, LIBRARY, site_of(), entered=MONDAY, floor=floor_of([])) == ()


def moved(*hours: float) -> dict[str, Need]:
    """Fish that were moved after so many hours from entry, each; what is still to be done on the last day."""
    last = MONDAY + timedelta(hours=hours[-1])
    floor = floor_of([("T-1", "fish_reef_safe", 20, "Q1a", MONDAY)], at=last)
    done = tuple(
        Done(f"T-1/fish-tank-transfer/{number}", "T-1", "transfer", MONDAY + timedelta(hours=after), "ann", to="F2")
        for number, after in enumerate(hours, start=1)
    )
    return work([], at=last, floor=replace(floor, done=done))


def test_a_transfer_after_more_than_72_hours_begins_the_four_again() -> None:
    """The cycle was not broken: tomites may have left their cysts (S54, S56), so four more are asked for."""
    in_time = moved(71, 142, 213)
    assert "T-1/fish-tank-transfer/4" in in_time
    assert "T-1/fish-tank-transfer/5" not in in_time
    late = moved(71, 150, 221)
    assert {"T-1/fish-tank-transfer/4", "T-1/fish-tank-transfer/5", "T-1/fish-tank-transfer/6"} <= set(late)
    assert "T-1/fish-tank-transfer/7" not in late
    assert "began again" in late["T-1/fish-tank-transfer/4"].why


def test_a_bath_done_too_soon_does_not_count() -> None:
    """Eggs hatch after it: two baths within three days are one."""
    since = MONDAY - timedelta(days=4)
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", since)])
    done = tuple(
        Done(f"T-1/clam-brushing/Q1a/{number}", "T-1", "dip", since + timedelta(days=3 * (number - 1)), "ann")
        for number in (1, 2)
    )
    needs = work([], floor=replace(floor, done=done))
    assert "T-1/clam-brushing/Q1a/7" in needs
    assert needs["T-1/clam-brushing/Q1a/3"].nominal == since + timedelta(days=7)
    assert "too soon" in needs["T-1/clam-brushing/Q1a/3"].why


def test_portions_moved_apart_never_share_a_uid() -> None:
    """Half of Q1a went to Q1b: both portions began in Q1a, and only one may be called so."""
    floor = floor_of([("T-1", "clam_small", 50, "Q1a", MONDAY), ("T-1", "clam_small", 50, "Q1b", MONDAY)])
    needs = needs_for(floor.stays, floor, LIBRARY, site_of(), now=MONDAY, orders=Orders(began={("T-1", "Q1b"): "Q1a"}))
    uids = [need.uid for need in needs]
    assert len(uids) == len(set(uids))
