"""The report of what was done in spite of a rule: by rule, and each with who, when and why."""

from __future__ import annotations

import click

from intake.cli.terminal import as_json, house_of, json_option, say, table

__all__ = ["reasons"]


@click.command()
@click.option("--days", type=click.IntRange(1, 3650), default=365, show_default=True, help="Days looked back.")
@json_option
@click.pass_context
def reasons(ctx: click.Context, days: int, json_: bool) -> None:
    """Entries recorded against a rule, with the reason.

    Example: vatside report reasons --days 90
    """
    from intake.app.queries.biosecurity.standing_breaches import reasons_given

    house = house_of(ctx)
    rows = reasons_given(house, days=days)
    counts: dict[str, int] = {}
    for row in rows:
        counts[row["rule"]] = counts.get(row["rule"], 0) + 1
    if json_:
        as_json({"reasons": rows, "by_rule": counts})
        return
    if not rows:
        say(["No entry was recorded against a rule."])
        return
    by_rule = sorted((-number, rule) for rule, number in counts.items())
    say(table(("rule", "times"), [(rule, -number) for number, rule in by_rule]))
    lines = [(row["when"][:16].replace("T", " "), row["who"], row["about"], row["rule"], row["reason"]) for row in rows]
    say(["", *table(("when", "who", "about", "rule", "reason"), lines)])
