"""The table of the farm's rules, made from the rules themselves."""

from __future__ import annotations

import inspect

from making.markdown import page, table

__all__ = ["rules_page"]

_ASKED_BY = (
    ("plan", "vats that suit, company, lots and suppliers, closures, findings and copper in the water"),
    ("`receive` `move` `count` `cut` `rebook` `stock` and undoing", "animals that enter vats, and the act itself"),
    ("`order` `done`, the timetable", "treatments and transfers; what may not be done is not placed"),
    ("`reading` `readings` `finding` `clean` `close` `replumb` `amend`", "what is written down"),
    ("the board's forms", "before Save, beside the field, and again on Save"),
    ("`check`", "what stands broken, by vat; exit 1, and nothing is blocked"),
    ("`report alarms`, the floor, the round", "readings outside their limits, and waters nobody read"),
)


def rules_page() -> str:
    """Every rule: what it says, how hard it is, which acts it judges, where it is from."""
    from intake.rules import RULES, SEVERITIES

    rows = [
        (
            f"`{rule.id}`",
            f"{rule.words}. {(inspect.getdoc(rule.judge) or '').splitlines()[0] if rule.judge.__doc__ else ''}".strip(),
            SEVERITIES[rule.severity],
            ", ".join(act.__name__.lower() for act in rule.acts),
            rule.source,
        )
        for rule in RULES
    ]
    return page(
        "Rules of the farm",
        "One set of rules, asked at every door. *Refused* has no override. *Needs a reason* is recorded with "
        '`--despite "three words or more"`; the reason is kept with the entry, shown on the batch and counted in '
        "`vatside report reasons`. A *warning* is recorded and shown.",
        table(("who asks", "about"), list(_ASKED_BY)),
        table(("rule", "what it says", "", "judges", "source"), rows),
        "What an agent may do to a group: [treatments](treatments.md). Who may stand with whom: [kept apart](kept-apart.md). "
        "How long water stays closed: [hazards](hazards.md).",
    )
