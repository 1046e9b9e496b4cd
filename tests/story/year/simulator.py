"""The crew of the year: orders, receives, works, counts, moves, sells and errs by command, with chance from a seed."""

from __future__ import annotations

import json
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from click.testing import CliRunner

from intake.app import system_clock
from intake.cli.command_table import vatside
from tests.story.year.farm import CUTTING, GROWN, MOTHERS, QUARANTINES, VATS, write_farm, write_stock
from tests.story.year.judge import Judge, Seen
from tests.story.year.orders import land, order
from tests.story.year.truth import Act, Coming, Truth

__all__ = ["Year", "run_year"]

_ZONE = ZoneInfo("Europe/Lisbon")
_SYSTEM = {place.vat: place.system for place in VATS}
_AREA = {place.vat: place.area_m2 for place in VATS}


@dataclass(slots=True)
class Year:
    """One run, with all that a report on it needs.

    Attributes
    ----------
    breaches
        What the judge found, each under its day.
    refused
        Commands that were refused, with the words: the crew did something else instead.
    seconds
        Month → seconds and number of acts.
    """

    folder: Path
    first: date
    random: Random
    now: datetime
    truth: Truth = field(default_factory=Truth)
    breaches: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    figures: Counter[str] = field(default_factory=Counter)
    coming: dict[str, Coming] = field(default_factory=dict)
    tasks: dict[str, dict[str, Any]] = field(default_factory=dict)
    late: dict[str, date] = field(default_factory=dict)
    accepted: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    grown: dict[tuple[str, str], date] = field(default_factory=dict)
    held: dict[str, date] = field(default_factory=dict)
    bursts: dict[str, float] = field(default_factory=dict)
    landed_today: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    doa_today: dict[str, int] = field(default_factory=dict)
    timetable_today: list[dict[str, Any]] = field(default_factory=list)
    next_order: date = date.min

    def give(self, *words: str, who: str = "sam", quiet: bool = False) -> tuple[int, Any]:
        """Run one command; its exit code and its JSON.  A refusal is kept, with what was refused."""
        began = time.perf_counter()
        line = ["--farm", str(self.folder), "--who", who, *words, "--json"]
        told = CliRunner().invoke(vatside, line, catch_exceptions=False)
        self.seconds[f"{self.now:%Y-%m}"].append(time.perf_counter() - began)
        if told.exit_code == 2 and not quiet:
            self.refused.append(f"{self.now:%Y-%m-%d} {' '.join(words)}: {' '.join(told.stderr.split())[:300]}")
        text = told.stdout.strip()
        return told.exit_code, json.loads(text) if text[:1] in {"{", "["} else text

    def clock(self, day: date, hour: int, minute: int = 0) -> None:
        """Set the farm's clock."""
        self.now = datetime(day.year, day.month, day.day, hour, minute, tzinfo=_ZONE)

    # ── a day ────────────────────────────────────────────────────────────────────────────────────────────────────────
    def day(self, day: date, judge: Judge, oxygen: float) -> None:
        """Everything the crew does on one day, and the judge's look at its evening."""
        self.landed_today, self.doa_today, self.timetable_today = {}, {}, []
        age = (day - self.first).days
        self.clock(day, 8)
        self._trouble(day, age)
        landed = land(self, day)
        if landed or age % 7 == 0:
            self._schedule()
        order(self, day)
        self._work(day)
        self._deaths(day)
        self._holds(day)
        self._move_on(day)
        self._sell(day)
        self.clock(day, 20, 30)
        self._judged(day, judge, oxygen, checked=bool(landed) or age % 7 == 0)

    def _judged(self, day: date, judge: Judge, oxygen: float, *, checked: bool) -> None:
        _, vats = self.give("report", "vats")
        stands = {(one["batch"], row["vat"]): one["count"] for row in vats for one in row["stands"]}
        check = self.give("check")[1] if checked else None
        told = (
            self.give("report", "losses", "--out", str(self.folder / "out"))[1]
            if (day - self.first).days % 28 == 27
            else {}
        )
        seen = Seen(
            day=day,
            at=self.now,
            stands=stands,
            truth=self.truth.standing(),
            kinds=self.truth.kind,
            suppliers=self.truth.supplier,
            entered=self.truth.entered,
            diary=self.truth.diary,
            oxygen_mg_per_l=oxygen,
            check=check,
            placements=self.landed_today,
            doa=self.doa_today,
            losses={row["batch"]: row for row in told.get("batches", ()) if row["batch"] in self.truth.supplier},
            lost=self.truth.lost,
            tasks=list(self.timetable_today),
        )
        self.breaches += judge.look(seen)

    # ── work ─────────────────────────────────────────────────────────────────────────────────────────────────────────
    def _schedule(self) -> None:
        code, told = self.give("timetable", "--seconds", "0.3")
        if code != 2:
            self.timetable_today = told["tasks"]
            self.tasks = {row["uid"]: row for row in told["tasks"] if row["kind"] in {"dip", "inspection"}}

    def _work(self, day: date) -> None:
        """Today's tasks at their hour; a few a day or two later."""
        for uid, row in list(self.tasks.items()):
            start = datetime.fromisoformat(row["start"]).astimezone(_ZONE)
            wanted = self.late.get(uid, start.date())
            if wanted > day or row["batch"] not in self.truth.entered:
                continue
            if uid not in self.late and self.random.random() < 0.04:
                self.late[uid] = day + timedelta(days=self.random.choice((1, 1, 2)))
                continue
            self.now = max(self.now, start if start.date() == day else self.now)
            code, _ = self.give("done", uid)
            del self.tasks[uid]
            if code == 0:
                self.figures["tasks done"] += 1
                self.truth.diary.append(Act("done", row["batch"], row["vat"], self.now, uid))

    def _deaths(self, day: date) -> None:
        self.clock(day, 18, 30) if self.now.hour < 18 else None
        for (batch, vat), count in self.truth.standing().items():
            age = (day - self.truth.entered[batch].date()).days
            rate = self.bursts.get(batch, 0.003 if age <= 7 else 0.001) if age else 0.0
            dead = sum(self.random.random() < rate for _ in range(count))
            if dead and self.give("count", batch, "--vat", vat, "--dead", str(dead))[0] == 0:
                self.truth.lose(batch, vat, "dead", dead)
                self.figures["dead"] += dead

    def _trouble(self, day: date, age: int) -> None:
        """Two findings, an outbreak and a pump failure a quarter of a year, on fixed days."""
        self.bursts = {batch: rate for batch, rate in self.bursts.items() if age % 91 not in {64, 75}}
        inside = [spot for spot in self.truth.standing() if _SYSTEM[spot[1]] in QUARANTINES]
        if age % 91 in {40, 55} and inside:
            seen = {_SYSTEM[act.vat] for act in self.truth.diary if act.what == "finding"}
            other = [spot for spot in inside if _SYSTEM[spot[1]] not in seen] or inside
            wanted = [spot for spot in other if self.truth.kind[spot[0]].brushed == (age % 91 == 40)] or other
            batch, vat = self.random.choice(wanted)
            pest = "pyramidellid-snail" if self.truth.kind[batch].brushed else "acropora-flatworm"
            if self.give("finding", batch, pest, "--vat", vat)[0] == 0:
                self.truth.diary.append(Act("finding", batch, vat, self.now, pest))
                self.figures["findings"] += 1
        if age % 91 == 60 and inside:
            self.bursts[max(inside, key=lambda spot: self.truth.alive[spot])[0]] = 0.05
            self.figures["outbreaks"] += 1
        if age % 91 == 72:
            system = self.random.choice(GROWN)
            self.give("reading", system, "temperature_c", "28.9")
            self.bursts |= {batch: 0.02 for batch, vat in self.truth.standing() if _SYSTEM[vat] == system}
            self.figures["pump failures"] += 1
        if age % 91 == 20:
            self._cut(day)

    def _cut(self, day: date) -> None:
        """Four fragments of the farm's own colonies, sold once they have healed."""
        batch = f"C{1 + sum(name.startswith('C') for name in self.truth.kind)}"
        if self.give("cut", "H1", "--pieces", "4", "--vat", "RA4")[0] == 0:
            self.truth.kind[batch], self.truth.entered[batch] = CUTTING, self.now
            self.truth.alive[batch, "RA4"] += 4
            self.grown[batch, "RA4"] = day + timedelta(days=3)
            self.figures["fragments cut"] += 4

    def _holds(self, day: date) -> None:
        """What died beyond the usual is held at once, tested, and the hold lifted six days later."""
        for row in self.give("release")[1]:
            batch = row["batch"]
            died = any(
                " died in the " in words for words in row["stands_in_the_way"] if "shares its water" not in words
            )
            if (
                died
                and batch not in self.held
                and self.give("hold", batch, "--reason", "more deaths than usual")[0] == 0
            ):
                self.held[batch] = day
                self.truth.diary.append(Act("hold", batch, "", self.now))
                self.figures["held for deaths"] += 1
        due = [batch for batch, since in self.held.items() if day >= since + timedelta(days=6)]
        if due:
            words = ("--lift", "--reason", "tested and clear", "--test", "histology of 20: negative")
            if self.give("hold", *due, *words)[0] == 0:
                self.truth.diary += [Act("lift", batch, "", self.now) for batch in due]
            self.held = {batch: since for batch, since in self.held.items() if batch not in due}

    # ── moves and sales ──────────────────────────────────────────────────────────────────────────────────────────────
    def _move_on(self, day: date) -> None:
        """Whoever may be released goes to the places its plan promised, or where there is room."""
        for row in self.give("release")[1]:
            batch = row["batch"]
            if not row["releasable"] and not self._looked_over(batch, row["stands_in_the_way"]):
                continue
            for (owner, vat), count in list(self.truth.standing().items()):
                if owner == batch and _SYSTEM[vat] in QUARANTINES:
                    self._carry(day, batch, vat, count)
        empty = {vat for vat in _AREA if _SYSTEM[vat] in QUARANTINES} - {vat for _, vat in self.truth.standing()}
        for vat in sorted(
            {act.vat for act in self.truth.diary if act.what == "moved" and act.at.date() == day} & empty
        ):
            self.give("clean", vat)

    def _looked_over(self, batch: str, open_: list[str]) -> bool:
        """What was found on a lot is looked for once more before it goes, where that alone is asked; whether it is free then."""
        if not open_ or not all("no clean inspection since" in words for words in open_):
            return False
        self.give("finding", batch, "clean")
        return any(row["batch"] == batch and row["releasable"] for row in self.give("release")[1])

    def _carry(self, day: date, batch: str, vat: str, count: int) -> None:
        promised = [(row["vat"], row["count"]) for row in self.accepted.get(batch, ()) if row["stage"] == "grow-out"]
        left = count
        for target, most in [*promised, *((name, left) for name in self._roomy())]:
            taken = self.truth.alive[batch, target]
            number = min(left, max(0, most - taken), self._fits(batch, target))
            if number <= 0:
                continue
            if self.give("move", batch, "--from", vat, "--to", target, "--count", str(number))[0] == 0:
                self.truth.move(batch, vat, target, number)
                self.truth.diary.append(Act("moved", batch, vat, self.now, target))
                self.grown[batch, target] = day
                left -= number
                self.figures["moved"] += number
            if not left:
                return
        self.figures["nowhere to go"] += left

    def _fits(self, batch: str, vat: str) -> int:
        """Animals of a batch for which a vat still has bench area."""
        taken = sum(self.truth.kind[b].area_cm2 * n for (b, v), n in self.truth.standing().items() if v == vat)
        return int((_AREA[vat] * 1e4 - taken) // self.truth.kind[batch].area_cm2)

    def _roomy(self) -> list[str]:
        used: Counter[str] = Counter()
        for (batch, vat), count in self.truth.standing().items():
            used[vat] += round(self.truth.kind[batch].area_cm2 * count)
        return sorted((vat for vat in _AREA if _SYSTEM[vat] in GROWN), key=lambda vat: used[vat] - _AREA[vat] * 1e4)

    def _sell(self, day: date) -> None:
        for (batch, vat), since in list(self.grown.items()):
            count = self.truth.alive[batch, vat]
            due = day >= since + timedelta(days=13) and count and batch not in self.held
            if due and self.give("move", batch, "--from", vat, "--to", "sold", "--count", str(count))[0] == 0:
                self.truth.move(batch, vat, "sold", count)
                self.truth.lost[batch, "sold"] += count
                self.figures["sold"] += count
            if not self.truth.alive[batch, vat]:
                self.grown.pop((batch, vat))


def run_year(
    folder: Path,
    *,
    days: int,
    seed: int = 1,
    first: date = date(2027, 1, 4),
    watch: Callable[[Year, int], None] | None = None,
) -> Year:
    """Run so many days; the farm's one clock is the simulator's while it runs.

    ``watch`` hears of every thirtieth day, with the days run.
    """
    write_farm(folder)
    morning = datetime(first.year, first.month, first.day, 7, tzinfo=_ZONE)
    year = Year(folder, first, Random(seed), morning, next_order=first)
    year.truth.kind["H1"], year.truth.entered["H1"] = MOTHERS, morning - timedelta(days=200)
    year.truth.alive["H1", "GR9"] = 12
    write_stock(folder / "stock.csv", f"{first - timedelta(days=200)}")
    real = system_clock.now
    try:
        system_clock.now = lambda: year.now.astimezone(UTC)
        water = year.give("water", "oxygen", "--temp", "26.2", "--salinity", "34.5")[1]
        year.give("stock", str(folder / "stock.csv"))
        judge = Judge(first)
        for number in range(days):
            year.day(first + timedelta(days=number), judge, float(water["mg_per_l"]))
            if watch is not None and number % 30 == 29:
                watch(year, number + 1)
    finally:
        system_clock.now = real
    return year
