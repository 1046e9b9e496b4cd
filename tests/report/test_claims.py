"""The claim: allowance, value, deadline, state, and versions that never change once the window has ended."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.farm.floor import Batch
from intake.ledger import Entry, batch_payload, counter
from intake.report import ClaimTerms, assess, facts_of, versions
from tests.ledger.books import Scribe, hour

CLAMS = Batch(
    id="S1-01",
    name="Tridacna maxima",
    group="clam_small",
    size_mm=45.0,
    announced=100,
    shipment="S1",
    line=1,
    supplier="northern reef",
    unit_price=Decimal("4.50"),
    currency="EUR",
)
POLYPS = replace(CLAMS, id="S1-02", name="Zoanthus sp.", line=2, announced=40, unit_price=Decimal("1.25"))


def arrival(scribe: Scribe) -> list[Entry]:
    """Two lines received at hour 0, counted at hour 1: 7 of 98 clams dead, 2 missing; 2 of 40 polyps dead, 1 wrong."""
    return [
        *[scribe.note("batch", b.id, -48, **batch_payload(b)) for b in (CLAMS, POLYPS)],  # type: ignore[arg-type]
        scribe.note("shipment", "S1", -48, waybill="123-4567", order="A9", supplier="northern reef"),
        scribe.note("received", "S1", 0),
        scribe.move("S1-01", "supplier > dock", 100, 0),
        scribe.move("S1-01", "dock > missing", 2, 1),
        scribe.move("S1-01", "dock > doa", 7, 1),
        scribe.move("S1-01", "dock > vat:Q1", 91, 1),
        scribe.move("S1-02", "supplier > dock", 40, 0),
        scribe.move("S1-02", "dock > doa", 2, 1),
        scribe.move("S1-02", "dock > wrong", 1, 1),
        scribe.move("S1-02", "dock > vat:Q2", 37, 1),
    ]


TERMS = ClaimTerms(window_h=24, daa_days=3, allowance_percent=3, allowance_by="line")


def test_a_claim_by_line_counts_and_values_each_line() -> None:
    """3 % of 98 is 2.94: 2 whole animals are free, 5 dead + 2 missing at 4.50; 3 % of 40: 1 free, 1 dead + 1 wrong."""
    entries = arrival(Scribe())
    claim = assess(facts_of(entries, "S1"), TERMS, entries, hour(5))
    clams, polyps = claim.lines
    assert (clams.announced, clams.received, clams.alive, clams.doa, clams.missing) == (100, 98, 91, 7, 2)
    assert clams.percent == pytest.approx(700 / 98)
    assert (clams.allowance, clams.used) == (2, 2)
    assert (clams.placed, clams.left, clams.percent_announced) == (91, 91, 9.0)
    assert claim.sums.balance == ("140 announced − 2 missing − 1 wrong − 9 DOA = 128 placed; 128 − 0 DAA = 128 left")
    assert claim.sums.check == "9 DOA + 0 DAA + 2 missing + 1 wrong − 3 allowance used = 9 claimable"
    assert (clams.claimable, clams.value) == (7, Decimal("31.50"))
    assert (polyps.alive, polyps.wrong, polyps.claimable, polyps.value) == (37, 1, 2, Decimal("2.50"))
    assert claim.totals == (("EUR", Decimal("34.00")),)
    assert (claim.waybill, claim.order, claim.supplier) == ("123-4567", "A9", "northern reef")
    assert (claim.deadline, claim.daa_deadline) == (hour(24), hour(72))
    assert (claim.state, claim.frozen, claim.version, claim.in_time) == ("drafted", False, 1, True)


def test_a_claim_by_shipment_takes_the_allowance_once() -> None:
    """3 % of all 138 is 4.14: 4 of the 9 dead are free; the 5 left are spread 7 : 2, so 4 clams and 1 polyp."""
    entries = arrival(Scribe())
    claim = assess(facts_of(entries, "S1"), replace(TERMS, allowance_by="shipment"), entries, hour(5))
    assert [line.claimable - line.missing - line.wrong for line in claim.lines] == [4, 1]
    assert ([line.allowance for line in claim.lines], claim.sums.allowance, claim.sums.used) == ([None, None], 4, 4)
    assert claim.totals == (("EUR", 6 * Decimal("4.50") + 2 * Decimal("1.25")),)


@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=1, max_size=5),
    st.sampled_from([0, 1, 2.5, 3, 10, 100]),
    st.sampled_from(["line", "shipment"]),
)
@settings(max_examples=50, deadline=None)
def test_no_claim_exceeds_the_dead_or_ignores_the_allowance(
    counts: list[tuple[int, int]], percent: float, by: str
) -> None:
    """For any shipment: 0 ≤ claimed ≤ dead on each line, and in all the dead less the whole free animals."""
    scribe = Scribe()
    entries: list[Entry] = [scribe.note("received", "S1", 0)]
    for number, (dead, alive) in enumerate(counts):
        batch = replace(CLAMS, id=f"S1-{number}", line=number, announced=dead + alive)
        entries.append(scribe.note("batch", batch.id, 0, **batch_payload(batch)))  # type: ignore[arg-type]
        if dead:
            entries.append(scribe.move(batch.id, "supplier > doa", dead, 1))
        if alive:
            entries.append(scribe.move(batch.id, "supplier > vat:Q1", alive, 1))
    terms = ClaimTerms(24, 0, percent, by)
    claim = assess(facts_of(entries, "S1"), terms, entries, hour(2))
    lines = claim.lines
    assert all(line.adds_up for line in lines)
    assert claim.sums.claimable == claim.sums.doa - claim.sums.used
    assert claim.sums.used <= claim.sums.allowance
    assert all(0 <= line.claimable <= line.doa for line in lines)
    share = Decimal(str(percent)) / 100
    if by == "line":
        assert all(line.claimable == max(0, line.doa - int(share * line.received)) for line in lines)
    else:
        free = int(share * sum(line.received for line in lines))
        assert sum(line.claimable for line in lines) == max(0, sum(line.doa for line in lines) - free)


def test_deaths_after_arrival_count_only_within_the_terms() -> None:
    """Day 2 counts under three days, day 4 does not, and without such terms neither."""
    scribe = Scribe()
    entries = [
        *arrival(scribe),
        scribe.move("S1-01", "vat:Q1 > dead", 5, 48),
        scribe.move("S1-01", "vat:Q1 > dead", 9, 96),
    ]
    facts = facts_of(entries, "S1")
    assert [line.daa for line in assess(facts, TERMS, entries, hour(200)).lines] == [5, 0]
    assert [line.daa for line in assess(facts, replace(TERMS, daa_days=0), entries, hour(200)).lines] == [0, 0]


def test_the_first_version_is_frozen_and_later_counts_make_new_ones() -> None:
    """A death after arrival within the terms is in time; dead on arrival reported after the window is not."""
    scribe = Scribe()
    entries = [
        *arrival(scribe),
        scribe.move("S1-01", "vat:Q1 > dead", 5, 48),
        scribe.move("S1-02", "vat:Q2 > doa", 3, 2, recorded=60),
    ]
    facts = facts_of(entries, "S1")
    first, second, third = versions(facts, TERMS, entries, hour(100))
    assert [v.version for v in (first, second, third)] == [1, 2, 3]
    assert [v.as_of for v in (first, second, third)] == [hour(24), hour(48), hour(60)]
    assert [v.in_time for v in (first, second, third)] == [True, True, False]
    assert first.lines == assess(facts, TERMS, entries[:-2], hour(24)).lines
    assert third.lines[1].doa == 5
    assert "recorded after the terms ended" in " ".join(third.notes)
    again = versions(facts, TERMS, [*entries, scribe.move("S1-01", "vat:Q1 > sold", 4, 110)], hour(200))
    assert [v.lines for v in again] == [first.lines, second.lines, third.lines]


def test_before_the_windows_end_counts_change_the_draft_itself() -> None:
    """One version, not frozen, always of now."""
    scribe = Scribe()
    entries = arrival(scribe)
    wrong = entries[6]
    corrected = [*entries, counter(wrong, 1, at=hour(3), who="Ada", key="undo")]  # type: ignore[arg-type]
    (only,) = versions(facts_of(entries, "S1"), TERMS, corrected, hour(4))
    assert (only.lines[0].doa, only.version, only.frozen) == (6, 1, False)


def test_a_correction_after_the_window_leaves_the_frozen_version() -> None:
    """What was sent stays as sent; the corrected count is a new version."""
    entries = arrival(Scribe())
    corrected = [*entries, counter(entries[6], 1, at=hour(30), who="Ada", key="undo")]  # type: ignore[arg-type]
    first, second = versions(facts_of(entries, "S1"), TERMS, corrected, hour(40))
    assert (first.lines[0].doa, second.lines[0].doa) == (7, 6)


def test_the_state_follows_the_records_and_expires_by_itself() -> None:
    """Drafted, then expired when never sent; sent, answered, settled as recorded; sent late is reported."""
    scribe = Scribe()
    entries = arrival(scribe)
    facts = facts_of(entries, "S1")
    assert assess(facts, TERMS, entries, hour(20)).state == "drafted"
    between = assess(facts, TERMS, entries, hour(30))
    assert (between.state, between.frozen) == ("drafted", True)
    assert "Not sent" in " ".join(between.notes)
    assert assess(facts, TERMS, entries, hour(100)).state == "expired"
    sent = [*entries, scribe.note("claim", "S1", 20, state="sent")]
    assert (assess(facts, TERMS, sent, hour(100)).state, assess(facts, TERMS, sent, hour(100)).state_at) == (
        "sent",
        hour(20),
    )
    settled = [*sent, scribe.note("claim", "S1", 90, state="settled")]
    assert assess(facts, TERMS, settled, hour(100)).state == "settled"
    late = [*entries, scribe.note("claim", "S1", 26, state="sent")]
    assert "after the window" in " ".join(assess(facts, TERMS, late, hour(100)).notes)
    odd = [*entries, scribe.note("claim", "S1", 26, state="forgotten")]
    with pytest.raises(BadInput, match="forgotten"):
        assess(facts, TERMS, odd, hour(100))


def test_a_shipment_under_way_has_no_deadline() -> None:
    """Nothing received, nothing counted, nothing to claim."""
    entries = arrival(Scribe())[:3]
    claim = assess(facts_of(entries, "S1"), TERMS, entries, hour(5))
    assert (claim.deadline, claim.claimable, claim.state) == (None, 0, "drafted")
    assert [line.percent for line in claim.lines] == [None, None]


def test_prices_unknown_are_told_and_currencies_never_added() -> None:
    """A line without a price is counted apart; yen have no cents."""
    scribe = Scribe()
    entries = arrival(scribe)
    entries[0] = scribe.note("batch", "S1-01", -48, **batch_payload(replace(CLAMS, unit_price=None)))  # type: ignore[arg-type]
    yen = replace(POLYPS, unit_price=Decimal("150.4"), currency="JPY")
    entries[1] = scribe.note("batch", "S1-02", -48, **batch_payload(yen))  # type: ignore[arg-type]
    claim = assess(facts_of(entries, "S1"), TERMS, entries, hour(5))
    assert (claim.totals, claim.unpriced) == ((("JPY", Decimal(301)),), 7)
    assert "7 claimable animals have no price." in claim.notes


def test_evidence_is_ticked_off_against_the_records() -> None:
    """Photos and readings that name what they are evidence of, for this shipment only."""
    scribe = Scribe()
    terms = replace(TERMS, evidence=("photo of the sealed bag", "bag water"))
    entries = [
        *arrival(scribe),
        scribe.note("photo", "S1-01", 1, evidence="photo of the sealed bag"),
        scribe.note("photo", "S2-01", 1, evidence="bag water"),
    ]
    held = assess(facts_of(entries, "S1"), terms, entries, hour(5)).evidence
    assert [(item.name, item.held) for item in held] == [("photo of the sealed bag", 1), ("bag water", 0)]


def test_missing_from_a_vat_weeks_later_is_the_farms_own_loss() -> None:
    """Only what was missing within the window is claimed."""
    scribe = Scribe()
    entries = [*arrival(scribe), scribe.move("S1-01", "vat:Q1 > missing", 4, 500)]
    assert assess(facts_of(entries, "S1"), TERMS, entries, hour(600)).lines[0].missing == 2


def test_terms_out_of_range_and_unknown_shipments_are_refused() -> None:
    """All faults of the terms at once."""
    with pytest.raises(BadInput) as refused:
        ClaimTerms(window_h=0, daa_days=-1, allowance_percent=101, allowance_by="box")
    assert len(refused.value.findings) == 4
    with pytest.raises(BadInput, match="S9"):
        facts_of(arrival(Scribe()), "S9")
