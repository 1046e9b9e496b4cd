"""Rules at the board's doors: shown beside the field before Save; a second tap with a reason; none for what is refused."""

from datetime import timedelta

import pytest
from starlette.applications import Starlette

from intake.board.pages import planning
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.board.conftest import Clock, Entering, entries_of, form_token, post, send

KEY = "0123456789abcdef0123456789abcdef"
ASK = {"x-vatside-ask": "1"}


def asked(client, where: str, **fields: str):  # type: ignore[no-untyped-def]
    """What the rules say of a form as it is filled in."""
    answer = client.post(where, data={"form_token": form_token(client), "key": KEY, **fields}, headers=ASK)
    assert answer.status_code == 200
    return answer.json()["rules"]


def test_a_move_is_told_beside_the_field_and_nothing_is_saved(enter: Entering, app: Starlette) -> None:
    """Out of quarantine on day 0: needs a reason; asking writes nothing; an ordinary form has nothing to say."""
    ben = enter("ben")
    before = entries_of(app)
    told = asked(ben, "/batches/S1-01/move", count="5", source="Q1", target="G1")
    assert [rule["id"] for rule in told] == ["not-free"]
    assert set(told[0]) >= {"id", "severity", "what", "where", "need", "have", "source"}
    assert asked(ben, "/batches/S1-01/move", count="5", source="Q1", target="Q2") == []
    assert asked(ben, "/batches/S1-01/move", count="", source="Q1", target="G1") == []
    assert entries_of(app) == before


def test_only_forms_that_go_before_the_rules_can_be_asked_about(enter: Entering, app: Starlette) -> None:
    """A hold asked about is not set."""
    ben = enter("ben")
    before = entries_of(app)
    assert asked(ben, "/batches/S1-01/hold", reason="ticks seen") == []
    assert entries_of(app) == before


def test_a_second_tap_with_a_reason_saves(enter: Entering, app: Starlette) -> None:
    """The refused page holds the form again, with a field for the reason; two words are not one."""
    ben = enter("ben")
    before = entries_of(app)
    fields = {"count": "5", "source": "Q1", "target": "G1"}
    refused = post(ben, "/batches/S1-01/move", **fields)
    assert refused.status_code == 422
    assert "Save with this reason" in refused.text
    assert 'name="count" value="5"' in refused.text
    assert post(ben, "/batches/S1-01/move", **fields, despite="too short").status_code == 422
    assert entries_of(app) == before
    saved = post(ben, "/batches/S1-01/move", **fields, despite="tank is cracking now")
    assert saved.status_code == 200
    assert "tank is cracking now" in saved.text
    assert entries_of(app) > before


def test_what_is_refused_offers_no_reason(enter: Entering, app: Starlette) -> None:
    """Clams are not cut; a vat with animals is not clean."""
    ben = enter("ben")
    before = entries_of(app)
    for where, fields in (("/batches/S1-01/cut", {"pieces": "4", "vat": "Q1"}), ("/vats/Q1/clean", {})):
        answer = post(ben, where, **fields, despite="we always did so")
        assert answer.status_code == 422
        assert "Save with this reason" not in answer.text
    assert entries_of(app) == before


@pytest.mark.parametrize(
    ("value", "rule", "saved"), [("26.5", "", True), ("78.4", "reading-unit", False), ("36.6", "reading-far", False)]
)
def test_a_reading_that_can_hardly_be_true_is_asked_again(
    enter: Entering, app: Starlette, value: str, rule: str, saved: bool
) -> None:
    """The unit is named; a value too far asks once more."""
    ben = enter("ben")
    before = entries_of(app)
    answer = post(ben, "/vats/Q1/reading", quantity="temperature_c", value=value)
    assert (answer.status_code == 200) == saved
    assert (entries_of(app) > before) == saved
    assert rule in answer.text
    assert ("Save with this reason" in answer.text) == (rule == "reading-far")


def test_a_great_loss_is_saved_by_the_phones_second_tap(enter: Entering, app: Starlette) -> None:
    """Without it the phone gets the rule that asks; with it the count is taken."""
    ben = enter("ben")
    before = entries_of(app)
    first = send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=40)
    assert first.status_code == 422
    assert [rule["id"] for rule in first.json()["rules"]] == ["count-many"]
    assert entries_of(app) == before
    second = send(ben, "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=40, despite="counted twice on the phone")
    assert second.status_code == 201


def test_a_plain_count_is_still_one_request(enter: Entering) -> None:
    """No new tap for the ordinary act."""
    assert send(enter("ben"), "/api/count", key=KEY, batch="S1-01", vat="Q1", dead=3).status_code == 201


def test_a_helper_undoes_only_what_a_helper_may_do_and_only_of_the_batch_shown(enter: Entering, app: Starlette) -> None:
    """A move is a keeper's; an entry of another batch is not found on this page."""
    ada, cleo = enter("ada"), enter("cleo")
    post(ada, "/batches/S1-01/move", count="5", source="Q1", target="Q2")
    moved = app.state.farm.house().stream("S1-01")[-2].key
    before = entries_of(app)
    assert post(cleo, "/batches/S1-01/undo", entry=moved).status_code == 422
    assert post(ada, "/batches/S1-02/undo", entry=moved).status_code in (404, 422)
    assert entries_of(app) == before
    assert post(ada, "/batches/S1-01/undo", entry=moved).status_code == 200
    assert entries_of(app) > before


def test_another_vat_is_chosen_by_hand_and_the_plan_made_around_it(
    enter: Entering, app: Starlette, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only vats the rules allow are offered; the choice and its price are shown, accepted, kept, and taken back again."""
    monkeypatch.setattr(planning, "_PLAN_SECONDS", 1.0)
    with app.state.farm.writing("ada") as found, found.act() as act:
        act.note("shipment", "S2", {"supplier": "one", "lands": (clock.moment + timedelta(days=45)).isoformat()})
        batch = Batch("S2-01", "Tridacna maxima", "clam_small", 40.0, 20, "S2", 1, "one", ("1",))
        act.note("batch", batch.id, batch_payload(batch))
    ada = enter("ada")
    chosen = {"batch": "S2-01", "stage": "quarantine"}
    assert post(ada, "/plan/pin", **chosen, vat="Q3").status_code in {409, 422}, "there is no plan to change yet"

    def made(where: str, **fields: str) -> tuple[str, list[str]]:
        assert post(ada, where, **fields).status_code == 200
        app.state.jobs.wait(60)
        assert app.state.jobs.last("plan").wrong == ""
        placed = app.state.jobs.last("plan").answer.solution.placements
        return ada.get("/plan").text, sorted(
            {one.vat for one in placed if (one.batch, one.stage) == ("S2-01", "quarantine")}
        )

    page, free = made("/plan/propose")
    assert "Choose vats by hand" in page
    assert "Decided by hand" not in page
    other = next(vat for vat in ("Q2", "Q3") if [vat] != free)
    for fields in ({"vat": "G1"}, {"vat": "Z9"}, {"stage": "nowhere"}, {"batch": "S9-09"}):
        assert post(ada, "/plan/pin", **({"vat": other} | chosen | fields)).status_code in {404, 422}, fields
    page, there = made("/plan/pin", **chosen, vat=other)
    assert there == [other]
    assert f"Decided by hand: S2-01 only in {other} (they cost no animal its place)." in page
    assert "Records have changed" not in page
    plan = app.state.jobs.last("plan").answer.id
    assert "accepted" in post(ada, "/plan/accept", plan=plan).text
    page, there = made("/plan/propose")
    assert there == [other], "what was accepted is kept"
    page, _ = made("/plan/pin", **chosen, vat="")
    assert "Decided by hand" not in page


def test_a_question_that_comes_late_says_nothing_on_the_next_page(enter: Entering) -> None:
    """The field was asked about after its form was saved: no one is told that the count was recorded before."""
    ben = enter("ben")
    fields = {"where": "S1-01@Q1", "dead": "2"}
    assert post(ben, "/count", **fields).status_code == 200
    sealed = {"form_token": form_token(ben), "key": "the-form-of-this-test"} | fields
    assert ben.post("/count", data=sealed, headers=ASK).json() == {"rules": []}
    assert "Counted before" not in ben.get("/work").text
