"""The claim to a supplier: drafted from the books, printed, sent, answered, settled; every step is a new entry."""

from intake.desk.claims.evidence import KeptPhoto, photos_of
from intake.desk.claims.paper import claim_csv, claim_pdf, money_words, write
from intake.desk.claims.state import (
    OpenClaim,
    all_claims,
    claim_state,
    current,
    history,
    open_claims,
    set_state,
    steps_of,
    terms_of,
)

__all__ = [
    "KeptPhoto",
    "OpenClaim",
    "all_claims",
    "claim_csv",
    "claim_pdf",
    "claim_state",
    "current",
    "history",
    "money_words",
    "open_claims",
    "photos_of",
    "set_state",
    "steps_of",
    "terms_of",
    "write",
]
