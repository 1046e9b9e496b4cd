"""What losses cost, by hand: prices, freight, credits, and currencies that are never added; animals invented."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from intake.ledger import Entry, batch_payload
from intake.report import ClaimTerms, assess, facts_of
from intake.report.losses import summary
from intake.report.money import loss_values
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import CLAMS, POLYPS, arrival


def test_losses_are_valued_at_the_price_paid_and_with_freight() -> None:
    """7 DOA, 5 dead in the week, 2 missing of clams at 4.50; 2 DOA, 1 wrong of polyps at 1.25; 280.00 for 140 animals: 2 each."""
    scribe = Scribe()
    entries = [*arrival(scribe), scribe.move("S1-01", "vat:Q1 > dead", 5, 48)]
    lines = [(batch, told) for batch in (CLAMS, POLYPS) if (told := summary(entries, batch.id, hour(240))) is not None]
    (one,) = loss_values(lines, Decimal(280), {"EUR": Decimal("30.00")})
    assert dict(one.lost) == {
        "doa": Decimal("34.00"),
        "dead_first_week": Decimal("22.50"),
        "dead_later": Decimal("0.00"),
        "missing": Decimal("9.00"),
        "wrong": Decimal("1.25"),
    }
    assert (one.bought, one.total) == (Decimal("500.00"), Decimal("66.75"))
    assert (one.landed, one.net) == (Decimal("100.75"), Decimal("70.75"))


def test_currencies_are_kept_apart_and_lines_without_price_are_counted() -> None:
    """A line in dollars, one without a price; a credit in francs stands alone."""
    entries = arrival(Scribe())
    dollars = replace(CLAMS, currency="USD")
    free = replace(POLYPS, unit_price=None)
    lines = [(batch, told) for batch in (dollars, free) if (told := summary(entries, batch.id, hour(240))) is not None]
    francs, usd = loss_values(lines, None, {"CHF": Decimal(7)})
    assert (francs.currency, francs.total, francs.net) == ("CHF", Decimal(0), Decimal(-7))
    assert (usd.currency, usd.total, usd.landed) == ("USD", Decimal("40.50"), None)
    assert loss_values([], None, {}) == ()


DEMO = (
    # line, announced, DOA, dead of the first days, missing, price; claimable by hand
    (1, 1400, 77, 11, 0, "4.20", 46),
    (2, 800, 16, 7, 2, "5.10", 2),
    (3, 420, 2, 4, 0, "8.40", 0),
    (4, 240, 7, 2, 0, "7.00", 2),
    (6, 60, 2, 0, 0, "6.00", 1),
    (7, 40, 1, 1, 0, "6.50", 1),
    (8, 40, 1, 0, 0, "5.00", 0),
    (10, 200, 2, 1, 0, "0.80", 0),
    (11, 24, 2, 0, 0, "6.00", 2),
    (5, 50, 0, 0, 0, "1.00", 0),
)
"""The demo's S1 as its claim was worked out by hand: 110 + 26 + 2 − 84 = 54 animals, 241.90 USD."""


def test_the_demos_first_claim_by_hand() -> None:
    """3 % of what came by line, whole animals, never more than the dead; 3274 − 2 − 110 = 3162 placed, − 26 = 3136."""
    scribe = Scribe()
    entries: list[Entry] = [scribe.note("received", "S1", 0)]
    for line, announced, doa, daa, missing, price, _ in DEMO:
        batch = replace(
            CLAMS, id=f"S1-{line:02}", line=line, announced=announced, unit_price=Decimal(price), currency="USD"
        )
        entries.append(scribe.note("batch", batch.id, 0, **batch_payload(batch)))  # type: ignore[arg-type]
        entries.append(scribe.move(batch.id, "supplier > vat:Q1", announced, 0))
        for target, count, at in (("doa", doa, 2), ("missing", missing, 2), ("dead", daa, 50)):
            if count:
                entries.append(scribe.move(batch.id, f"vat:Q1 > {target}", count, at))
    claim = assess(facts_of(entries, "S1"), ClaimTerms(24, 3, 3, "line"), entries, hour(60))
    assert {line.line: line.claimable for line in claim.lines} == {one[0]: one[-1] for one in DEMO}
    assert claim.sums.check == "110 DOA + 26 DAA + 2 missing + 0 wrong − 84 allowance used = 54 claimable"
    assert claim.sums.balance == (
        "3274 announced − 2 missing − 0 wrong − 110 DOA = 3162 placed; 3162 − 26 DAA = 3136 left"
    )
    assert claim.totals == (("USD", Decimal("241.90")),)
