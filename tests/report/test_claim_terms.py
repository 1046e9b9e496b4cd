"""Claims by hand: deadlines over a change of the clocks, terms of every kind, the states and the money of an answer."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from intake.errors import BadInput
from intake.ledger import Entry
from intake.report import ClaimTerms, assess, facts_of, versions
from intake.report.claiming.claim_lines import heads
from intake.report.claiming.steps import ClaimStep, Standing, faults_of_step, fold_steps, steps_of
from intake.report.claiming.terms import deadlines, terms_from, terms_payload
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import TERMS, arrival

LISBON = ZoneInfo("Europe/Lisbon")


def test_a_window_is_hours_not_the_clock_on_the_wall() -> None:
    """Lisbon, 24 to 25 Oct 2026: clocks go back at 02:00; 24 h after 09:00 WEST is 08:00 WET, three days later also."""
    landed = datetime(2026, 10, 24, 9, 0, tzinfo=LISBON)
    ends = deadlines(landed, ClaimTerms(24, daa_days=3, daa_window_h=12))
    assert ends.opening is not None
    assert ends.daa is not None
    assert ends.opening.isoformat() == "2026-10-25T08:00:00+00:00"
    assert ends.covered_until == datetime(2026, 10, 27, 8, 0, tzinfo=UTC)
    assert ends.daa == datetime(2026, 10, 27, 20, 0, tzinfo=UTC)


def test_deaths_after_arrival_have_a_deadline_of_their_own() -> None:
    """Covered for three days, claimed within 12 h more: a death of hour 60 reported at hour 80 is in time, at 90 is not."""
    terms = replace(TERMS, daa_window_h=12)
    for recorded, in_time in ((80, True), (90, False)):
        scribe = Scribe()
        entries: list[Entry] = [*arrival(scribe), scribe.move("S1-01", "vat:Q1 > dead", 4, 60, recorded=recorded)]
        last = assess(facts_of(entries, "S1"), terms, entries, hour(100))
        assert (last.lines[0].daa, last.in_time, last.daa_deadline) == (4, in_time, hour(84))
        # 7 + 4 dead, 2 missing, 2 allowed
        assert (last.lines[0].claimable, last.lines[0].left) == (11, 87)


def test_an_allowance_may_cover_missing_animals_and_be_of_those_announced() -> None:
    """5 % of 100 announced is 5: 7 dead and 2 missing leave 4; of 40: 2 dead are all allowed, the wrong one is claimed."""
    terms = ClaimTerms(24, 0, 5, allowance_of="announced", allowance_covers_missing=True)
    entries = arrival(Scribe())
    claim = assess(facts_of(entries, "S1"), terms, entries, hour(5))
    assert [(line.allowance, line.used, line.claimable) for line in claim.lines] == [(5, 5, 4), (2, 2, 1)]
    assert claim.totals == (("EUR", 4 * Decimal("4.50") + Decimal("1.25")),)
    told = {one.head: one.claimable for one in heads(claim.lines)}
    assert told == {"dead": 2, "missing": 2, "wrong": 1}


def test_credit_at_a_share_and_freight_by_the_animals_claimed() -> None:
    """Half the price: 7 × 4.50 / 2 = 15.75 and 2 × 1.25 / 2 = 1.25; freight 280.00 × 50 % × 9 / 140 = 9.00."""
    terms = replace(TERMS, credit_percent=50, freight_share_percent=50)
    scribe = Scribe()
    entries = [*arrival(scribe), scribe.note("claim", "S1", 2, state="facts", freight="280.00", invoice="I-7")]
    claim = assess(facts_of(entries, "S1"), terms, entries, hour(5))
    assert [line.value for line in claim.lines] == [Decimal("15.75"), Decimal("1.25")]
    assert (claim.freight, claim.facts.invoice) == (Decimal("9.00"), "I-7")
    assert claim.totals == (("EUR", Decimal("26.00")),)


def test_terms_survive_being_kept_and_say_themselves_in_words() -> None:
    """What stands with a sent version is what was agreed."""
    terms = ClaimTerms(
        24, 3, Decimal("2.5"), "shipment", ("bag water",), 12, "announced", True, "replacement", 100, 50, 7
    )
    assert terms_from(terms_payload(terms)) == terms
    assert terms.words() == (
        "2.5 % allowance over the whole shipment on animals announced, whole animals, for dead and missing animals. Claim "
        "what was found at opening within 24 h of receipt. Deaths after arrival are covered for 3 days, to be claimed within "
        "12 h after that. Credit in replacement animals. 50 % of the freight is credited by the share of animals claimed."
    )
    with pytest.raises(BadInput):
        terms_from({"evidence": []})
    with pytest.raises(BadInput) as refused:
        ClaimTerms(24, allowance_of="box", credit="praise", credit_percent=101, daa_window_h=-1)
    assert len(refused.value.findings) == 4


def test_what_was_sent_is_a_version_of_its_own_even_before_the_window_ends() -> None:
    """Sent at hour 5 with 9 animals; two more dead found at hour 20 are version 2, and version 1 stays."""
    scribe = Scribe()
    sent = scribe.note("claim", "S1", 5, state="sent", version=1, as_of=hour(5).isoformat(), animals=9)
    entries = [*arrival(scribe), sent, scribe.move("S1-01", "vat:Q1 > doa", 2, 20)]
    first, second = versions(facts_of(entries, "S1"), TERMS, entries, hour(21))
    assert (first.claimable, first.sent, first.frozen) == (9, True, True)
    assert (second.claimable, second.sent, second.in_time, second.state) == (11, False, True, "sent")


def step(kind: str, **told: object) -> ClaimStep:
    """A step, as a person records it."""
    values = {"key": "k", "at": hour(30), "who": "Ada", "payload": told.pop("payload", {}), **told}
    return ClaimStep(kind=kind, **values)  # type: ignore[arg-type]


def sent(version: int = 1, value: str = "100.00", animals: int = 20) -> ClaimStep:
    """A version sent that claims 100 EUR for 20 animals."""
    return step("sent", version=version, payload={"claimed": [{"currency": "EUR", "value": value}], "animals": animals})


def words(at: Standing, one: ClaimStep) -> str:
    """What is wrong with a step."""
    return " ".join(str(fault) for fault in faults_of_step(at, one, 20))


def test_a_claim_moves_only_forward() -> None:
    """Nothing is answered or settled before it was sent, the same version is not sent twice, and closed is closed."""
    drafted = fold_steps([])
    assert (drafted.state, drafted.sent_version) == ("drafted", 0)
    assert "Record --state sent first" in words(drafted, step("answered", amount=Decimal(1)))
    assert "Record --state sent first" in words(drafted, step("settled"))
    assert not faults_of_step(drafted, step("sent", version=1), 20)
    assert "nothing was counted" in " ".join(str(one) for one in faults_of_step(drafted, step("sent", version=1), 0))
    was_sent = fold_steps([sent()])
    assert (was_sent.state, was_sent.accepted) == ("sent", {"EUR": Decimal("100.00")})
    assert "version 1 was" in words(was_sent, step("sent", version=1))
    assert not words(was_sent, step("sent", version=2))
    closed = fold_steps([sent(), step("answered"), step("settled")])
    assert closed.state == "settled"
    for kind in ("sent", "answered", "settled", "written off"):
        assert "the claim is settled" in words(closed, step(kind, note="late"))


def test_amounts_are_plausible_against_the_claim() -> None:
    """No more accepted than claimed, no more credited than accepted; less needs the supplier's reason."""
    at = fold_steps([sent()])
    assert "at most 100.00 EUR" in words(at, step("answered", amount=Decimal("100.01")))
    assert "the supplier's reason" in words(at, step("answered", amount=Decimal(60)))
    assert not words(at, step("answered", amount=Decimal(60), note="missing refused"))
    assert "one of EUR" in words(at, step("answered", amount=Decimal(60), currency="USD", note="x"))
    part = fold_steps([sent(), step("answered", amount=Decimal(60), note="missing refused")])
    assert part.open == {"EUR": Decimal(60)}
    assert "at most 60 EUR" in words(part, step("settled", amount=Decimal(61)))
    assert "why the claim is written off" in words(part, step("written off"))


def test_a_claim_may_be_settled_in_parts_and_with_replacements() -> None:
    """40 of 100 credited, then 12 of 20 animals replaced, worth 60: settled."""
    steps = [sent(), step("answered"), step("settled", amount=Decimal(40), reference="CN-1")]
    part = fold_steps(steps)
    assert (part.state, part.open) == ("settled in part", {"EUR": Decimal("60.00")})
    assert "1 to 20 animals" in words(part, step("settled", animals=21, batch="S3-02"))
    assert "together with --animals" in words(part, step("settled", animals=12))
    whole = fold_steps([*steps, step("settled", animals=12, batch="S3-02")])
    assert (whole.state, whole.replaced, whole.open) == ("settled", 12, {"EUR": Decimal("0.00")})


def test_a_step_recorded_by_mistake_is_withdrawn_and_stays_readable() -> None:
    """The state is that of the steps that stand."""
    scribe = Scribe()
    entries = [
        *arrival(scribe),
        scribe.note("claim", "S1", 5, state="sent", version=1, animals=9),
        scribe.note("claim", "S1", 9, key="wrong", state="settled", version=1, amount="1"),
        scribe.note("claim", "S1", 10, corrects="wrong", withdrawn=True, state="settled", reason="other shipment"),
    ]
    assert [one.kind for one in steps_of(entries, "S1")] == ["sent"]
    assert assess(facts_of(entries, "S1"), TERMS, entries, hour(11)).state == "sent"
