"""What the ledger shows: losses and survival, alarms, suppliers, claims, permits and their pictures.

It reads entries and gives values and SVG text; it opens no file and prints no page.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from intake.report.alarms.share_chart import p_chart, watch
    from intake.report.charts import IntervalRow, control_steps, hazard_steps, interval_rows, loss_bars, survival_steps
    from intake.report.claiming.claim_lines import ClaimFacts, ClaimLine
    from intake.report.claiming.terms import ClaimTerms
    from intake.report.claiming.versions import Claim, assess, facts_of, versions
    from intake.report.comparing.suppliers import Scorecard, scorecard
    from intake.report.losses import by_day, summary, usual_daily_rate
    from intake.report.permits import PermitLine, reconcile
    from intake.report.survival import Curve, curve, kaplan_meier

__all__ = [
    "Claim",
    "ClaimFacts",
    "ClaimLine",
    "ClaimTerms",
    "Curve",
    "IntervalRow",
    "PermitLine",
    "Scorecard",
    "assess",
    "by_day",
    "control_steps",
    "curve",
    "facts_of",
    "hazard_steps",
    "interval_rows",
    "kaplan_meier",
    "loss_bars",
    "p_chart",
    "reconcile",
    "scorecard",
    "summary",
    "survival_steps",
    "usual_daily_rate",
    "versions",
    "watch",
]

_HOMES = {
    "Claim": "claiming.versions",
    "ClaimFacts": "claiming.lines",
    "ClaimLine": "claiming.lines",
    "ClaimTerms": "claiming.terms",
    "Curve": "survival",
    "IntervalRow": "charts",
    "PermitLine": "permits",
    "Scorecard": "comparing.suppliers",
    "assess": "claiming.versions",
    "by_day": "losses",
    "control_steps": "charts",
    "curve": "survival",
    "facts_of": "claiming.versions",
    "hazard_steps": "charts",
    "interval_rows": "charts",
    "kaplan_meier": "survival",
    "loss_bars": "charts",
    "p_chart": "alarms.share_chart",
    "reconcile": "permits",
    "scorecard": "comparing.suppliers",
    "summary": "losses",
    "survival_steps": "charts",
    "usual_daily_rate": "losses",
    "versions": "claiming.versions",
    "watch": "alarms.share_chart",
}
"""Name → module it is in: read when it is asked for, so that a count does not draw in every picture."""


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
