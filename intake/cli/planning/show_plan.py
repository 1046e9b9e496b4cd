"""How a plan is shown on a terminal of 80 columns: the answer, the aims, who goes where, what limits, ways to make room."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from intake.cli.farm_units import now_in
from intake.cli.planning.quarantine_words import held_lines, water_lines
from intake.cli.terminal import say, table

if TYPE_CHECKING:
    from intake.app.commands.plan_vats import Proposal
    from intake.app.session import House


__all__ = ["show_plan"]

CUT_SHORT = "The search was stopped by the clock or by hand. Planned again, the answer can differ."


def show_plan(house: House, proposal: Proposal) -> None:
    """Show a plan at 80 columns: the answer, the aims with their bounds, who stands where, what to do."""
    facts: dict[str, Any] = proposal.as_dict()
    say([_headline(facts), ""])
    if not facts["reproducible"]:
        say([f"! {CUT_SHORT}", ""])
    rows = [_aim(aim) for aim in facts["objectives"]] if facts["announced"] else []
    if rows and facts["objectives"][0]["value"] != facts["placed"]:
        rows[0] = ("animals × worth placed", *rows[0][1:])
    if rows:
        say([*table(("aim", "reached", "bound", ""), rows), ""])
    batches = house.floor().batches
    places = [
        (
            house.site.vats[row["vat"]].system,
            row["vat"],
            row["stage"],
            row["batch"],
            batches[row["batch"]].name if row["batch"] in batches else "",
            row["count"],
            row["from"][5:],
            row["until"][5:],
        )
        for row in sorted(facts["placements"], key=lambda row: (row["from"], row["vat"], row["batch"]))
    ]
    if places:
        say([*table(("system", "vat", "stage", "batch", "name", "count", "from", "until"), places), ""])
    if facts["announced"]:
        say([_aim_words(facts), *facts["counted_on"], ""])
    if facts["pins"]:
        cost = (
            f"{facts['pins_cost']} more would fit without them"
            if facts["pins_cost"]
            else "they cost no animal its place"
        )
        say([f"Decided by hand: {'; '.join(facts['pins'])} ({cost}).", ""])
    _show_moves(facts)
    say([*held_lines(facts), *water_lines(facts)])
    _show_changes(facts)
    _show_short(facts)


def _aim(aim: dict) -> tuple[str, str, str, str]:  # type: ignore[type-arg]
    """An aim in words: the solver counts loads in thousandths, people read per cent."""
    name, value, bound = aim["name"], f"{aim['value']}", f"{aim['bound']}"
    if name.endswith(" permille"):
        name = name.removesuffix(" permille")
        value, bound = (f"{number / 10:.1f} %" for number in (aim["value"], aim["bound"]))
    return name, value, bound, "proved" if aim["proved"] else "not proved"


def _aim_words(facts: dict) -> str:  # type: ignore[type-arg]
    """What animals count and why, and what those placed are worth where that is known."""
    value = facts["value"]
    return str(facts["aim"]["words"]) + (
        f" Placed: worth {value:.2f} {facts['currency']}".rstrip() + "." if value else ""
    )


def _headline(facts: dict) -> str:  # type: ignore[type-arg]
    left = facts["announced"] - facts["placed"]
    if not facts["announced"]:
        return "No shipment is expected. Add a packing list: vatside expect FILE --supplier S --lands WHEN"
    if left:
        return (
            f"{facts['placed']} of {facts['announced']} animals fit; {left} do not "
            f"(no plan can fit more than {facts['placed_bound']})."
        )
    words = {"optimal": "proved best", "bounded": "not proved best; limits below"}
    return f"All {facts['announced']} animals fit ({words.get(facts['status'], facts['status'])})."


def _show_moves(facts: dict) -> None:  # type: ignore[type-arg]
    if facts["moves"]:
        say(["Move first:"])
        say([f"  {m['count']} of {m['batch']}: {m['from_vat']} → {m['to_vat']} by {m['by']}" for m in facts["moves"]])
        say([""])


def _show_changes(facts: dict) -> None:  # type: ignore[type-arg]
    """What is otherwise than in the plan accepted before."""
    if not facts["changes"]:
        return
    say(["Changes from the accepted plan:"])
    for row in facts["changes"]:
        before, after = (", ".join(f"{p['vat']} {p['count']}" for p in row[side]) for side in ("before", "after"))
        say(
            [
                f"  {row['batch']}, {row['stage']}: {before or 'not placed'} → {after or 'not placed'}",
                f"    {row['why']}",
            ]
        )
    say([""])


def _span(values: list[float], shown: Callable[[float], str] = "{:g}".format) -> str:
    """One value, or from the least to the greatest of several."""
    low, high = min(values), max(values)
    return shown(low) if low == high else f"{shown(low)} to {shown(high)}"


def _show_short(facts: dict) -> None:  # type: ignore[type-arg]
    alike: dict[tuple[tuple[str, str], ...], list[Any]] = {}
    for row in facts["short"]:
        alike.setdefault(tuple((b["resource"], b["where"]) for b in row["binding"]), []).append(row)
    for reasons, rows in alike.items():
        whom = ", ".join(f"{row['count']} of {row['batch']}" for row in rows)
        later = " (only after quarantine: nothing in quarantine keeps them out)" if rows[0]["after_quarantine"] else ""
        say([f"Not placed{later}: {whom}. Limiting:"])
        for number, (_, where) in enumerate(reasons):
            bindings = [row["binding"][number] for row in rows]
            name, shown = now_in().binding(bindings[0])
            need, have = (_span([one[side] for one in bindings], shown) for side in ("need", "have"))
            gain = _span([one["gain"] for one in bindings])
            helps = "" if gain == "0" else f"; without it {gain} more would fit"
            say([f"  {name}: {need} needed, {have} available ({where}){helps}"])
    if facts["relief"]:
        say(["", "Ways to make room (each tested with a new plan):"])
        for number, row in enumerate(facts["relief"], start=1):
            gain = f"{row['places']} fewer to place" if row["kind"] == "fewer" else f"{row['places']} more animals"
            value = f", worth {row['value']:.2f}" if row["value"] > 0 else ""
            price = f" and {row['price']:.2f}" if row["price"] else ""
            say([f"  {number}. {row['do']}: {gain}{value}, about {row['cost']:.0f} min of work{price}"])
            say([f"     Risk: {row['risk']}."] if row["risk"] else [])
