"""Every page shows what the books say, and every number leads to where it comes from."""

import re
from collections import deque
from importlib import resources
from urllib.parse import urldefrag, urljoin

import pytest
from starlette.applications import Starlette

from intake.board.template_filters import number
from tests.board.conftest import Clock, Entering, entries_of, post

PAGES = {
    "/": ("Q1", "100", "Tridacna maxima", "On the dock", "S1-02"),
    "/vats/Q1": ("In this vat", "S1-01", "140 animals"),
    "/vats/Q2": ("empty",),
    "/space": ("<svg", "S1-01", "List view"),
    "/work": ("Done", "Tridacna maxima"),
    "/work?who=mine": ("My tasks",),
    "/round": ("1 of 1", "Dead of S1-01 in Q1", "Temperature of"),
    "/journal": ("S1-01: 100: the supplier → Q1", "Mine only"),
    "/more": ("All pages", "Search"),
    "/release": ("S1-01", "earliest"),
    "/readings": ("Take in a logger",),
    "/farm": ("farm.toml", "Back up now", "quarantine"),
    "/capacity": ("What the farm can take",),
    "/season": ("What to order this season", "An example to start from"),
    "/plan/what-if": ("never kept",),
    "/reports/permits": ("Permits",),
    "/wall": ("Q1", "alive", "Next released"),
    "/batches": ("S1-01", "S1-02"),
    "/batches/S1-01": ("100", "alive when opened", "the supplier → Q1", "Losses of S1-01 by day"),
    "/batches/S1-01/acclimation": ("Minute",),
    "/deliveries": ("S1", "received"),
    "/deliveries/S1": ("150", "140", "S1-02"),
    "/deliveries/new": ("Packing list",),
    "/plan": ("Expected:",),
    "/claims": ("S1", "h 00 min left"),
    "/claims/S1": ("version 1", "photo of the sealed bag"),
    "/contacts": ("Trace the batch",),
    "/losses": ("Unusual losses", "exact tests"),
    "/losses/common": ("What the dead have in common", "not a proven cause"),
    "/losses?days=30": ("in the last 30 days",),
    "/contacts?batch=S1-01": ("S1-02", "may have exposed", "S1-01 in Q1: asked about"),
    "/calendars": ("the whole farm",),
    "/people": ("cleo", "read-only", "Invite"),
    "/count": ("S1-01@Q1",),
    "/c": ("Which batch?",),
}


@pytest.mark.parametrize("address", PAGES)
def test_a_page_shows_the_facts(enter: Entering, address: str) -> None:
    """Facts come from the books, not from the template."""
    answer = enter("ada").get(address)
    assert answer.status_code == 200
    for fact in PAGES[address]:
        assert fact in answer.text


def test_every_link_leads_somewhere_and_the_count_is_linked(enter: Entering) -> None:
    """A dead link at the vats costs more than a missing one; walked from the floor as the owner."""
    client = enter("ada")
    seen, waiting = {"/"}, deque(["/"])
    while waiting:
        here = waiting.popleft()
        answer = client.get(here)
        assert answer.status_code == 200, here
        if "text/html" not in answer.headers["content-type"]:
            continue
        for link in re.findall(r'href="([^"]+)"', answer.text):
            target, fragment = urldefrag(urljoin(here, link.replace("&amp;", "&")))
            if target == here and fragment and target != "/c":
                assert f'id="{fragment}"' in answer.text, f"{here} → #{fragment}"
            if target not in seen:
                seen.add(target)
                waiting.append(target)
    assert {"/batches/S1-01", "/vats/Q1", "/claims/S1", "/claims/S1/claim.pdf", "/deliveries/S1/day"} <= seen


def test_a_count_changes_the_floor(enter: Entering) -> None:
    """What is recorded on one page is seen on the next."""
    client = enter("ben")
    post(client, "/count", where="S1-01@Q1", dead="4", key="a-form-that-is-new")
    assert "<b>96</b> <span>Tridacna maxima</span>" in client.get("/").text


def test_an_unknown_batch_offers_the_closest(enter: Entering) -> None:
    """A misread label is answered with what it may have been, as a page, not as a fault."""
    answer = enter("ben").get("/batches/S1-11")
    assert answer.status_code == 404
    assert "S1-01" in answer.text


def test_done_is_one_tap_and_a_second_tap_does_no_harm(enter: Entering, app: Starlette) -> None:
    """Two people tap the same work: it is done once and neither reads of a fault."""
    ben, cleo = enter("ben"), enter("cleo")
    task = re.search(r'name="task" value="([^"]+)"', ben.get("/work?who=all&days=60").text)
    assert task
    assert post(ben, "/done", task=task[1], back="/work").status_code == 200
    once = entries_of(app)  # the record, and what follows it in timetable and calendars
    again = post(cleo, "/done", task=task[1], back="/work")
    assert again.status_code == 200
    assert "recorded before" in again.text
    assert entries_of(app) == once
    assert [one.task for one in app.state.farm.house().floor().done].count(task[1]) == 1


@pytest.mark.parametrize("back", ["//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example"])
def test_a_form_does_not_lead_off_the_board(enter: Entering, back: str) -> None:
    """A link that comes back through us must not carry a keeper to a foreign page."""
    client = enter("ben")
    task = re.search(r'name="task" value="([^"]+)"', client.get("/work?who=all&days=60").text)
    assert task
    answer = post(client, "/done", follow=False, task=task[1], back=back)
    assert answer.headers["location"] == "/work"


def test_an_entry_is_taken_back_from_the_history(enter: Entering, app: Starlette) -> None:
    """A correction is a further entry, and the line that was wrong stays readable, struck out."""
    client = enter("ben")
    post(client, "/count", where="S1-01@Q1", dead="4", key="a-form-that-is-new")
    page = client.get("/batches/S1-01").text
    entry = re.search(r'name="entry" value="(a-form-that-is-new)"', page)
    assert entry
    page = post(client, "/batches/S1-01/undo", entry=entry[1]).text
    assert "Undone: 4 of S1-01" in page
    assert 'class="back"' in page
    assert "Taken back before" in post(client, "/batches/S1-01/undo", entry=entry[1]).text


@pytest.mark.parametrize(
    ("act", "fields", "says"),
    [
        ("finding", {"what": "clean", "vat": "Q1"}, "S1-01: clean"),
        ("finding", {"what": "", "other": "odd snails", "vat": "Q1"}, "odd snails found"),
        ("move", {"count": "10", "source": "Q1", "target": "Q2"}, "10 of S1-01: Q1 → Q2"),
        ("move", {"count": "10", "source": "Q1", "target": "sample"}, "10 of S1-01: Q1 → sample"),
        ("hold", {"reason": "unexplained deaths"}, "S1-01: held"),
        ("hold", {"reason": "flatworms", "reached": "yes"}, "S1-02: held"),
        ("lift", {"reason": "tested clean"}, "S1-01: hold lifted"),
    ],
)
def test_a_batch_can_be_told_about(enter: Entering, act: str, fields: dict[str, str], says: str) -> None:
    """What the command line records, the board records too."""
    assert says in post(enter("ben"), f"/batches/S1-01/{act}", **fields).text


def test_the_same_form_twice_is_one_act_and_a_changed_form_another(enter: Entering, app: Starlette) -> None:
    """A slow wifi makes people press twice; going back and mending a form makes a new act."""
    client = enter("ben")
    for _ in range(2):
        post(client, "/batches/S1-01/move", count="10", source="Q1", target="sample")
    assert app.state.farm.house().floor().headcount("S1-01") == 90
    post(client, "/batches/S1-01/move", count="5", source="Q1", target="sample")
    assert app.state.farm.house().floor().headcount("S1-01") == 85


def test_a_claim_goes_out_and_its_clock_is_shown(enter: Entering, clock: Clock) -> None:
    """A claim sent too late is worth nothing."""
    client = enter("ada")
    post(client, "/count", where="S1-01@Q1", doa="9", key="a-form-that-is-new")
    assert "23 h 00 min left" in client.get("/claims").text
    clock.turn(hours=17)
    assert "! 6 h 00 min left" in client.get("/claims").text
    assert client.get("/claims/S1/claim.pdf").content.startswith(b"%PDF")
    assert "S1-01" in client.get("/claims/S1/claim.csv").text
    assert "sent" in post(client, "/claims/S1/state", state="sent").text
    assert "left" not in client.get("/claims").text


def test_a_reading_needs_its_scale(enter: Entering) -> None:
    """A pH without its scale is refused with words on a page."""
    client = enter("ben")
    refused = post(client, "/vats/Q1/reading", quantity="ph", value="8,1", scale="")
    assert refused.status_code == 422
    assert "nbs" in refused.text
    kept = post(client, "/vats/Q1/reading", quantity="ph", value="8,1", scale="nbs")
    assert "pH 8.1 nbs" in kept.text


def test_a_page_that_stays_open_learns_that_something_was_recorded(enter: Entering) -> None:
    """The tablet on the wall follows the phones."""
    client = enter("ben")
    before = client.get("/api/beat").json()
    assert client.get("/api/beat").json() == before
    post(client, "/count", where="S1-01@Q1", dead="1", key="a-form-that-is-new")
    assert client.get("/api/beat").json() != before


@pytest.mark.parametrize(
    "address",
    [
        "/deliveries/S1/print/sheets.pdf",
        "/deliveries/S1/print/dips.pdf",
        "/batches/S1-01/print/history.pdf",
        "/print/round.pdf",
        "/print/suppliers.pdf",
    ],
)
def test_paper_is_printed_from_the_board(enter: Entering, address: str) -> None:
    """Who stands at the vats has a phone and a printer, and no terminal."""
    answer = enter("ben").get(address)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"].startswith('attachment; filename="')
    assert answer.content.startswith(b"%PDF")


def test_paper_that_does_not_exist_is_refused_in_words(enter: Entering) -> None:
    """No path trick and no unknown form reaches the printer's code."""
    assert enter("ben").get("/deliveries/S1/print/farm.pdf").status_code == 404
    assert enter("ben").get("/batches/S9-99/print/history.pdf").status_code == 404


def test_losses_beyond_what_is_usual_are_told_on_the_floor(
    enter: Entering, app: Starlette, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Forty dead in a night: whoever opens the board sees it first, with a way to what they have in common."""
    monkeypatch.setattr("intake.board.background_jobs._REST", 0.0)  # on a loaded machine the first look takes long
    ben = enter("ben")
    assert "Do first" not in ben.get("/").text
    app.state.watch.wait(60)  # what is looked for beside the page must be done before the next is asked
    clock.turn(hours=30)
    sent = post(ben, "/count", where="S1-01@Q1", dead="40", key="a-form-that-is-new", despite="counted them twice over")
    assert sent.status_code == 200, re.sub(r"<[^>]*>", "", sent.text)
    clock.turn(hours=2)
    ben.get("/")
    app.state.watch.wait(60)
    told = r'<a href="/losses">Unusual losses</a>: S1-01 .*: 4[0-9] dead in the .*Do first:'
    assert re.search(told, ben.get("/").text)
    page = ben.get("/losses").text
    assert "corrected chance" in page
    assert "✓" not in page


def test_an_open_claims_clock_stands_on_the_floor(enter: Entering) -> None:
    """Hours decide a claim; they are seen without looking for them."""
    assert re.search(r'<a href="/claims/S1">Claim S1: draft, [\d.]+ h left to send', enter("ben").get("/").text)


def test_big_numbers_do_not_break_at_their_thousands() -> None:
    """A number over two lines reads as two numbers."""
    assert number(1400) == "1\N{NARROW NO-BREAK SPACE}400"
    assert number(None) == "–"


def _colours(text: str) -> dict[str, tuple[float, ...]]:
    found = {}
    for name, code in re.findall(r"--([a-z-]+): #([0-9a-f]{3,6})\b", text):
        full = code if len(code) == 6 else "".join(2 * letter for letter in code)
        found[name] = tuple(int(full[at : at + 2], 16) / 255 for at in (0, 2, 4))
    return found


def _luminance(colour: tuple[float, ...]) -> float:
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_can_be_told_apart_in_sunlight(scheme: str) -> None:
    """WCAG 2.2: text 4.5 to 1 (1.4.3), and here 7 to 1 for what is read outside (1.4.6); lines of fields 3 to 1 (1.4.11)."""
    sheet = resources.files("intake.board").joinpath("static/board.css").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{(.*?)\}", sheet, re.DOTALL)[:2]
    colours = _colours(light) if scheme == "light" else _colours(light) | _colours(dark)
    pairs = [
        *((text, "ground", 7.0) for text in ("ink", "quiet", "accent", "bad", "good")),
        *((text, "band", 7.0) for text in ("ink", "quiet", "accent")),
        *(("bad", "bad-ground", 4.5), ("good", "good-ground", 4.5), ("accent-ink", "accent", 7.0)),
        *(("present-ink", "present", 7.0), ("line", "ground", 3.0), ("line", "band", 3.0)),
    ]
    for one, other, least in pairs:
        bright, dim = sorted((_luminance(colours[one]), _luminance(colours[other])), reverse=True)
        assert (bright + 0.05) / (dim + 0.05) >= least, (one, other, (bright + 0.05) / (dim + 0.05))
