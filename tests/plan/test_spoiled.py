"""The judge must not nod at everything: a sound plan, spoiled one rule at a time, is refused for that rule."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest

from intake.plan import Problem
from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.facts import facts_of_problem

Plan = dict[str, Any]
Spoil = Callable[[Plan, dict[str, Any]], object]


def placed(plan: Plan, batch: str, stage: str) -> Plan:
    """The first placement of a batch in a stage."""
    return next(row for row in plan["placements"] if row["batch"] == batch and row["stage"] == stage)


def shift_animals(plan: Plan, facts: dict[str, Any]) -> None:
    """Add animals that nobody announced."""
    plan["placements"][0]["count"] += 1


def lose_a_row(plan: Plan, facts: dict[str, Any]) -> None:
    """Forget where the animals go after quarantine."""
    plan["placements"].remove(placed(plan, "T1-1", "grow-out"))


def shorten_quarantine(plan: Plan, facts: dict[str, Any]) -> None:
    """Let a batch out a day early."""
    row = placed(plan, "T1-1", "quarantine")
    row["until"] = row["until"][:-2] + f"{int(row['until'][-2:]) - 1:02}"


def wrong_setting(plan: Plan, facts: dict[str, Any]) -> None:
    """Quarantine in a grow-out vat."""
    placed(plan, "T1-1", "quarantine")["vat"] = "G2"


def unknown_vat(plan: Plan, facts: dict[str, Any]) -> None:
    """Use a vat the farm has not."""
    plan["placements"][0]["vat"] = "Z9"


def tiny_portion(plan: Plan, facts: dict[str, Any]) -> None:
    """Ask for larger portions than were planned."""
    facts["batches"][plan["placements"][0]["batch"]]["min_portion"] = 99


def too_many_splits(plan: Plan, facts: dict[str, Any]) -> None:
    """Put one batch into one vat twice."""
    row = placed(plan, "T1-1", "quarantine")
    row["count"] -= 5
    plan["placements"].append({**row, "count": 5})


def too_small_a_bench(plan: Plan, facts: dict[str, Any]) -> None:
    """Take bench away from a used vat."""
    facts["vats"][plan["placements"][0]["vat"]]["area_mm2"] = 3


def too_little_oxygen(plan: Plan, facts: dict[str, Any]) -> None:
    """Turn the air down in a used vat."""
    facts["vats"][plan["placements"][0]["vat"]]["oxygen_ug_per_h"] = 2


def too_little_filter(plan: Plan, facts: dict[str, Any]) -> None:
    """Shrink the filter of a used system."""
    facts["systems"]["G"]["ammonia_ug_per_h"] = 1


def young_filter(plan: Plan, facts: dict[str, Any]) -> None:
    """Let the filter mature later than planned."""
    facts["systems"]["G"]["matured"] = "2031-01-01"
    facts["systems"]["G"]["new_filter_ug_per_h"] = 1


def two_lots(plan: Plan, facts: dict[str, Any]) -> None:
    """Give the vat of one lot a fallow so long that the next cannot follow the stock that was there."""
    facts["vats"]["Q1a"]["fallow_days"] = 60
    facts["standing"].append({**facts["standing"][2], "vat": "Q1a"})


def two_suppliers(plan: Plan, facts: dict[str, Any]) -> None:
    """Bring a second supplier into quarantine water that is in use."""
    vat = placed(plan, "T1-1", "quarantine")["vat"]
    system = facts["vats"][vat]["system"]
    facts["systems"][system]["suppliers_share"] = False
    other = next(name for name, entry in facts["vats"].items() if entry["system"] == system and name != vat)
    stranger = {"vat": other, "stage": "healing", "supplier": "P9", "until": "2030-12-01"}
    facts["standing"].append({**facts["standing"][2], **stranger})


def bad_company(plan: Plan, facts: dict[str, Any]) -> None:
    """Find out that the stock of a vat eats the newcomers."""
    row = plan["placements"][0]
    group = facts["batches"][row["batch"]]["group"]
    facts["standing"].append(
        {**facts["standing"][1], "vat": row["vat"], "group": "eater", "area_mm2": 0, "oxygen_ug_per_h": 0}
    )
    facts["apart"].append([group, "eater", "vat"])


def touching(plan: Plan, facts: dict[str, Any]) -> None:
    """The same with animals that sting, and no divider."""
    bad_company(plan, facts)
    facts["apart"][-1][2] = "touch"
    facts["vats"][plan["placements"][0]["vat"]]["divided"] = False


def shared_water(plan: Plan, facts: dict[str, Any]) -> None:
    """Find out that a group elsewhere in the same water poisons the newcomers."""
    row = plan["placements"][0]
    system = facts["vats"][row["vat"]]["system"]
    other = next(n for n, entry in facts["vats"].items() if entry["system"] == system and n != row["vat"])
    facts["standing"].append({**facts["standing"][1], "vat": other, "group": "poison", "until": "2030-12-01"})
    facts["apart"].append([facts["batches"][row["batch"]]["group"], "poison", "water"])


def vat_out_of_service(plan: Plan, facts: dict[str, Any]) -> None:
    """Close a used vat for a day."""
    row = plan["placements"][0]
    facts["vats"][row["vat"]]["closed"] = [[row["from"], row["until"]]]


def unlawful_move(plan: Plan, facts: dict[str, Any]) -> None:
    """Move stock out of quarantine."""
    plan["moves"].append({"batch": "H3", "from_vat": "Q2b", "to_vat": "G1", "count": 5, "by": "2030-03-02"})


def invented_move(plan: Plan, facts: dict[str, Any]) -> None:
    """Move stock that is not there."""
    plan["moves"].append({"batch": "H7", "from_vat": "G1", "to_vat": "G2", "count": 5, "by": "2030-03-02"})


def boastful_bound(plan: Plan, facts: dict[str, Any]) -> None:
    """Claim a bound below what was placed."""
    plan["placed_bound"] = plan["placed"] - 1


def false_status(plan: Plan, facts: dict[str, Any]) -> None:
    """Call a plan that leaves animals over optimal."""
    plan["status"] = "optimal"


def mate_stays_longer(plan: Plan, facts: dict[str, Any]) -> None:
    """Find out that a lot in the same water needs longer, so that those beside it leave later than planned."""
    row = placed(plan, "T1-1", "quarantine")
    system = facts["vats"][row["vat"]]["system"]
    other = next(name for name, entry in facts["vats"].items() if entry["system"] == system and name != row["vat"])
    facts["batches"]["X"] = {**facts["batches"]["T1-1"], "stages": [{**facts["batches"]["T1-1"]["stages"][0]}]}
    facts["batches"]["X"]["stages"][0]["until"] = "2030-03-20"
    plan["placements"].append({**row, "batch": "X", "vat": other, "until": "2030-03-20"})


def holds_a_present_lot(plan: Plan, facts: dict[str, Any]) -> None:
    """Find a lot in the water that was to be released while the newcomers are there."""
    row = placed(plan, "T1-1", "quarantine")
    system = facts["vats"][row["vat"]]["system"]
    other = next(name for name, entry in facts["vats"].items() if entry["system"] == system and name != row["vat"])
    facts["standing"].append({**facts["standing"][2], "vat": other, "supplier": "P1", "until": "2030-03-06"})


SPOILS: list[tuple[Spoil, str]] = [
    (shift_animals, "conservation"),
    (lose_a_row, "conservation"),
    (shorten_quarantine, "days"),
    (wrong_setting, "setting"),
    (unknown_vat, "unknown"),
    (tiny_portion, "portion"),
    (too_many_splits, "splits"),
    (too_small_a_bench, "area"),
    (too_little_oxygen, "oxygen"),
    (too_little_filter, "ammonia"),
    (young_filter, "ammonia"),
    (two_lots, "lots"),
    (two_suppliers, "suppliers"),
    (mate_stays_longer, "days"),
    (holds_a_present_lot, "release"),
    (bad_company, "company"),
    (touching, "company"),
    (shared_water, "water"),
    (vat_out_of_service, "closed"),
    (unlawful_move, "move"),
    (invented_move, "move"),
    (boastful_bound, "bound"),
    (false_status, "status"),
]


@pytest.fixture(scope="module")
def sound() -> tuple[Plan, dict[str, Any]]:
    """A plan of the tiny farm that the judge accepts, with its facts."""
    from tests.plan.conftest import tiny_problem

    problem: Problem = tiny_problem()
    plan = solve(problem, seconds=5).as_dict(problem.day_zero)
    facts = facts_of_problem(problem)
    assert judge(facts, plan) == []
    assert plan["status"] == "short"
    return plan, facts


@pytest.mark.parametrize(("spoil", "rule"), SPOILS, ids=lambda value: getattr(value, "__name__", value))
def test_spoiled_plan_is_refused_for_its_rule(sound: tuple[Plan, dict[str, Any]], spoil: Spoil, rule: str) -> None:
    """Each rule of the plan has a plan that breaks it, and the judge says which."""
    plan, facts = deepcopy(sound)
    spoil(plan, facts)
    assert any(fault.startswith(rule) for fault in judge(facts, plan)), judge(facts, plan)
