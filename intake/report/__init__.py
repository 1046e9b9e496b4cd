"""What the ledger shows: losses and survival, alarms, suppliers, claims, permits and their pictures.

It reads entries and gives values and SVG text; it opens no file and prints no page.
"""

from intake.report.alarms.share_chart import p_chart, watch
from intake.report.charts import IntervalRow, control_steps, hazard_steps, interval_rows, loss_bars, survival_steps
from intake.report.claiming.lines import ClaimFacts, ClaimLine
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
