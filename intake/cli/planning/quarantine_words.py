"""What a plan says of quarantine on the command line: who waits for whom, when waters empty, and holds asked for."""

from __future__ import annotations

from datetime import date
from typing import Any

__all__ = ["held_lines", "holds_of", "policy_lines", "water_lines"]


def holds_of(texts: tuple[str, ...]) -> dict[str, date]:
    """``--hold SYSTEM=DAY``, as often as it was given.

    Raises
    ------
    BadInput
        A text that is not of that form.
    """
    from intake.errors import BadInput, Finding

    days = {}
    for text in texts:
        name, _, day = text.partition("=")
        try:
            days[name] = date.fromisoformat(day)
        except ValueError as error:
            raise BadInput(Finding("--hold", text, "SYSTEM=YYYY-MM-DD, for example Q1=2027-04-14")) from error
    return days


def held_lines(facts: dict[str, Any]) -> list[str]:
    """Who waits for another lot in its water, and for how long."""
    rows = [
        f"  {one['count']} of {one['batch']} until {one['until']}, {one['days']} d longer, because of {one['because']}"
        for one in facts["held"]
    ]
    return ["Held in quarantine by another lot in the same water:", *rows, ""] if rows else []


def water_lines(facts: dict[str, Any]) -> list[str]:
    """When each quarantine water empties, and what threatens to jam them."""
    rows = [f"  {row['words']}" for row in facts["waters"]] + [f"! {words}" for words in facts["warnings"]]
    return ["Quarantine waters:", *rows, ""] if rows else []


def policy_lines(rows: list[dict[str, Any]]) -> list[str]:
    """One question planned three ways: how many fit, whether more could, and who would stay longer for it."""
    lines = ["Planned three ways:"] if rows else []
    for row in rows:
        sure = "proved" if row["proved"] else f"not proved; at most {row['placed_bound']}"
        lines.append(f"  {row['policy']}: {row['placed']} of {row['announced']} animals fit ({sure})")
        waits = row["newcomers_wait_animal_days"], row["current_held_animal_days"]
        lines.append(f"    newcomers wait {waits[0]} animal-days, current lots {waits[1]} animal-days longer")
        lines += [f"    with --hold {one['system']}={one['until']}" for one in row["holds"]]
    return [*lines, ""] if rows else []
