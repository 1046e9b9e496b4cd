"""A hundred and twenty days on a farm, by command: the judge of the year finds nothing, and it would find what is wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from tests.story.year.farm import KINDS
from tests.story.year.judge import Judge, Seen
from tests.story.year.simulator import Year, run_year
from tests.story.year.truth import Act

DAYS = 120


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> Year:
    """The first 120 days, run once."""
    return run_year(tmp_path_factory.mktemp("year") / "farm", days=DAYS)


@pytest.mark.slow
def test_nothing_happens_in_120_days_that_the_judge_forbids(year: Year) -> None:
    """No suppliers together, no vat overfull, no one released early, no promise broken in silence, no jam, same counts."""
    assert year.breaches == []


@pytest.mark.slow
def test_the_farm_lives(year: Year) -> None:
    """A run without sales, work, deaths, findings and an outbreak would prove nothing."""
    assert year.figures["received"] >= 4
    assert year.figures["sold"] > 300
    # 86 when last run, with no breach: the crew orders only what may also leave again in time, so fewer lots need work
    assert year.figures["tasks done"] > 60
    assert year.figures["findings"] == 2
    assert year.figures["outbreaks"] == 1
    assert year.figures["dead"] > 50
    assert year.figures["claims"] >= 4
    assert year.figures["fragments cut"] >= 4


ZONE = ZoneInfo("Europe/Lisbon")
START = datetime(2027, 3, 1, 20, 30, tzinfo=ZONE)
CLAM, CORAL = KINDS[0], KINDS[2]


def evening(**more: object) -> Seen:
    """An evening on which nothing is wrong: corals of one supplier in one quarantine water."""
    stands = {("S1-01", "QA1"): 20}
    seen = Seen(
        day=START.date(),
        at=START,
        stands=stands,
        truth=stands,
        kinds={"S1-01": CORAL, "S2-01": CLAM},
        suppliers={"S1-01": "lagoon", "S2-01": "atoll"},
        entered={"S1-01": START - timedelta(days=50), "S2-01": START - timedelta(days=50)},
        diary=[],
        oxygen_mg_per_l=6.6,
        check={"faults": [], "breaches": [], "no_longer_holds": []},
    )
    return replace(seen, **more)  # type: ignore[arg-type]


def judged(*evenings: Seen) -> list[str]:
    """What the judge says of the last of some evenings."""
    judge = Judge(START.date() - timedelta(days=60))
    return [judge.look(one) for one in evenings][-1]


def both(stands: dict[tuple[str, str], int]) -> dict[str, object]:
    """The same by the tool and in truth."""
    return {"stands": stands, "truth": stands}


def test_the_judge_is_content_with_a_quiet_evening() -> None:
    """Otherwise the next test would pass for nothing."""
    assert judged(evening()) == []


LOSSES = {"doa": 0, "dead_first_7_days": 1, "dead_later": 1, "sold": 0}
WEEKLY = [
    Act("done", "S2-01", "QA1", START - timedelta(days=50 - 7 * n), f"S2-01/clam-brushing/QA1/{n + 1}")
    for n in range(6)
]
LANDING = [
    {"batch": "S1-01", "kind": kind, "title": title, "state": "due", "start": f"{START:%Y-%m-%d}T{start}+00:00",
     "end": f"{START:%Y-%m-%d}T{end}+00:00"}
    for kind, title, start, end in (
        ("placing", "Place box 1: S1-01", "10:00", "10:10"),
        ("placing", "Place box 3: S1-02, S1-01", "11:00", "11:09"),
        ("inspection", "Shake S1-01", "10:45", "11:00"),
        ("inspection", "Brush S1-01", "11:09", "11:30"),
        ("receive", "Open box 3: S1-01", "10:00", "10:10"),
    )
]  # fmt: skip
OUT = both({("S1-01", "GR1"): 20})
CLAMS_IN, CLAMS_OUT = both({("S2-01", "QA1"): 20}), both({("S2-01", "GR1"): 20})


@pytest.mark.parametrize(
    ("evenings", "said"),
    [
        ([evening(truth={("S1-01", "QA1"): 19})], "20 by the tool, 19 in truth"),
        ([evening(**both({("S1-01", "QA1"): 20, ("S2-01", "QA2"): 20}))], "suppliers atoll, lagoon share"),
        ([evening(**both({("S1-01", "QA1"): 118}))], "3.021 m² of 3 m²"),
        ([evening(oxygen_mg_per_l=4.855)], "of oxygen"),
        ([evening(), evening(**OUT, entered={"S1-01": START - timedelta(days=44)})], "left quarantine"),
        ([evening(), evening(**OUT, diary=[Act("hold", "S1-01", "", START)])], "left quarantine on hold"),
        (
            [evening(), evening(**OUT, diary=[Act("finding", "S1-01", "QA1", START - timedelta(days=9))])],
            "not done before",
        ),
        ([evening(**CLAMS_IN), evening(**CLAMS_OUT, diary=WEEKLY[:5])], "not done before None"),
        (
            [evening(placements={"S1": [{"batch": "S1-01", "vat": "QA2", "stage": "quarantine", "count": 20}]})],
            "0 stand",
        ),
        ([evening(), evening(day=START.date() + timedelta(days=101))], "qa: not empty since"),
        (
            [
                evening(),
                evening(
                    day=START.date() + timedelta(days=141),
                    diary=[Act("finding", "S1-01", "QA1", START + timedelta(days=40))],
                ),
            ],
            "qa: not empty since",
        ),
        ([evening(losses={"S1-01": LOSSES}, lost={("S1-01", "dead"): 1})], "2 dead by the report, 1 in truth"),
        ([evening(tasks=LANDING)], "before its last box is placed"),
        ([evening(check={"faults": ["x"], "breaches": [], "no_longer_holds": []})], "check: x"),
    ],
)
def test_the_judge_sees_each_breach_alone(evenings: list[Seen], said: str) -> None:
    """An evening spoiled in one way gives one breach, and it is that one."""
    found = judged(*evenings)
    assert len(found) == 1, found
    assert said in found[0]


def test_a_finding_gives_its_water_another_hundred_days_and_no_other() -> None:
    """Ninety days after the finding its lots may still stand there."""
    found = [Act("finding", "S1-01", "QA1", START + timedelta(days=40))]
    later = evening(day=START.date() + timedelta(days=130), diary=found)
    assert judged(evening(), later) == []
    elsewhere = replace(later, diary=[replace(found[0], vat="QB1")])
    assert len(judged(evening(), elsewhere)) == 1


def test_the_judge_lets_clams_go_that_were_brushed_six_times() -> None:
    """42 days, six weekly brushings: the sixth late by two days begins them again."""
    assert judged(evening(**CLAMS_IN), evening(**CLAMS_OUT, diary=WEEKLY)) == []
    late = [*WEEKLY[:5], replace(WEEKLY[5], at=WEEKLY[5].at + timedelta(days=2))]
    assert len(judged(evening(**CLAMS_IN), evening(**CLAMS_OUT, diary=late))) == 1
