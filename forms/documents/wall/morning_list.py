"""The plan as each morning's list: what leaves which vat, then what comes into it, read off the picture's own bars."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from forms.documents.wall.plan_content import PlanBar, PlanContent
from forms.layout.blocks import Heading, Text
from forms.layout.page import Block
from forms.layout.table_grid import Cell, Column, Grid

__all__ = ["PlanStep", "morning_list", "steps_of"]


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One batch leaves a vat or comes into it.

    Attributes
    ----------
    day
        From the first day of the plan.
    vat, batch, count
        What is carried and at which vat.
    out
        True where it leaves.
    before
        Time of day by which it must be done; empty where the day is enough.
    others
        Where it goes, or comes from: vats; none for what lands or leaves the plan.
    """

    day: int
    vat: str
    batch: str
    count: int
    out: bool
    before: str = ""
    others: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """As read at the vat: ``"150 of H1 out before 07:30 to G3"``."""
        way = "out" if self.out else "in"
        told = [f"{self.count} of {self.batch} {way}", f"before {self.before}" if self.before else ""]
        if self.others:
            told.append(f"{'to' if self.out else 'from'} {', '.join(self.others)}")
        return " ".join(word for word in told if word)


def steps_of(content: PlanContent) -> tuple[PlanStep, ...]:
    """Every step within the days shown, by day, then as the vats are in the picture.

    A batch that stays in its vat from one stage to the next is not carried: only a difference in count is a step.
    """
    net: dict[tuple[int, str, str], int] = defaultdict(int)
    before: dict[tuple[int, str, str], str] = {}
    for vat, bar in _stays(content):
        if bar.from_day >= 0 and (bar.kind == "arriving" or bar.from_day > 0):
            net[int(bar.from_day), vat, bar.batch] += bar.count
        if bar.leaves and bar.until_day < len(content.days):
            key = (int(bar.until_day), vat, bar.batch)
            net[key] -= bar.count
            before[key] = max(before.get(key, ""), bar.out_before)
    ways: dict[tuple[int, str, bool], list[str]] = defaultdict(list)
    for (day, vat, batch), count in net.items():
        ways[day, batch, count < 0].append(vat)
    found = (
        PlanStep(
            day, vat, batch, abs(count), count < 0, before.get((day, vat, batch), "") if count < 0 else "",
            tuple(ways.get((day, batch, count > 0), ())),
        )
        for (day, vat, batch), count in net.items() if count
    )  # fmt: skip
    return tuple(sorted(found, key=lambda step: step.day))


def morning_list(content: PlanContent, beside: int = 1) -> list[Block]:
    """What stands at first, then day by day what is carried: out first, each vat named once a day and way.

    `beside` is how many vats that animals come into stand in one row; two where the paper is wide.
    """
    days: dict[int, tuple[dict[str, list[PlanStep]], dict[str, list[PlanStep]]]] = {}
    for step in steps_of(content):
        outs, ins = days.setdefault(step.day, ({}, {}))
        (outs if step.out else ins).setdefault(step.vat, []).append(step)
    rows: list[tuple[Cell | str, ...]] = []
    for day, (outs, ins) in days.items():
        left, right = [(vat, outs[vat]) for vat in _emptied_first(outs)], list(ins.items())
        deep = max(len(left), -(-len(right) // beside))
        for n in range(deep):
            into = [cell for part in range(beside) for cell in _cells(right, n + part * deep)]
            rows.append((Cell(content.days[day], bold=n == 0), *_cells(left, n), *into))
    standing, kept = _standing(content), _kept(content)
    blocks: list[Block] = [Text(f"In the vats on {content.days[0]}: {standing}.", 9)] if standing else []
    if rows:
        ways = [column for _ in range(beside) for column in (Column("Vat", 0.5), Column("Then in", 4))]
        columns = (Column("Day", 1.0), Column("Vat", 0.5), Column("Out first", 4), *ways)
        blocks += [Heading("Day by day"), Grid(columns, tuple(rows), row_mm=4.8)]
    if kept:
        blocks.append(Text(f"Planned no further than, with no move due: {kept}.", 9))
    return blocks


def _stays(content: PlanContent) -> list[tuple[str, PlanBar]]:
    """Vat and bar, without what is fallow, in the order of the picture."""
    return [(v.vat, bar) for system in content.systems for v in system.vats for bar in v.bars if bar.kind != "fallow"]


def _emptied_first(outs: dict[str, list[PlanStep]]) -> list[str]:
    """Vats in the order they are emptied: one that others' animals go to comes before those; in a ring, as drawn."""
    waiting, order = list(outs), []
    while waiting:
        free = (
            vat for vat in waiting if not any(to != vat and to in waiting for step in outs[vat] for to in step.others)
        )
        order.append(next(free, waiting[0]))
        waiting.remove(order[-1])
    return order


def _cells(rows: list[tuple[str, list[PlanStep]]], n: int) -> tuple[Cell | str, Cell | str]:
    """Vat and what is carried there; empty below the last."""
    if n >= len(rows):
        return "", ""
    vat, steps = rows[n]
    return Cell(f"{vat}:", bold=True), ", ".join(step.words for step in steps)


def _standing(content: PlanContent) -> str:
    """Vats with what is in them as the first day begins; each vat once."""
    found: dict[str, list[str]] = {}
    for vat, bar in _stays(content):
        if bar.from_day < 0 or (bar.kind == "present" and bar.from_day == 0):
            found.setdefault(vat, []).append(f"{bar.count} of {bar.batch}")
    return "; ".join(f"{vat}: {', '.join(batches)}" for vat, batches in found.items())


def _kept(content: PlanContent) -> str:
    """Last days for which a place is planned although no one moves then, with the vats."""
    found: dict[int, dict[str, list[str]]] = {}
    for vat, bar in _stays(content):
        if not bar.leaves and bar.until_day < len(content.days):
            found.setdefault(int(bar.until_day), {}).setdefault(vat, []).append(bar.batch)
    told = {day: ", ".join(f"{vat} ({', '.join(names)})" for vat, names in vats.items()) for day, vats in found.items()}
    return "; ".join(f"{content.days[day]} {told[day]}" for day in sorted(told))
