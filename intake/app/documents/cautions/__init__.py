"""What papers warn of: what can kill or hurt a hand in the water, and what to mind with these animals."""

from intake.app.documents.cautions.sheet_cautions import (
    ALWAYS,
    OXIDISER,
    cautions_of,
    gravest_of,
    oxidiser_used,
    rule_cautions,
)

__all__ = ["ALWAYS", "OXIDISER", "cautions_of", "gravest_of", "oxidiser_used", "rule_cautions"]
