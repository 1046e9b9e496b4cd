"""A finding holds what shared its water, in one act, and the picture shows from when."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from intake.app.commands import hold_batch, record_observation
from intake.app.commands.hold_batch import hold_reached
from intake.app.documents.contact_trace_picture import draw_trace, trace_picture
from intake.app.queries.biosecurity.contact_tracing import trace_rows
from intake.app.queries.biosecurity.release_status import release_rows
from intake.errors import BadInput
from tests.app.deliveries import LANDED, Open, received


def test_a_hold_with_all_that_was_reached_names_the_way_and_bars_their_release(house_at: Open) -> None:
    """Acropora and clams share a vat, zoanthids the water: all are held, each with its own reason."""
    received(house_at)
    house = house_at(LANDED + timedelta(hours=5))
    met = {row["batch"] for row in trace_rows(house, batch="S1-02") if row["way"] == "forward"}
    told = hold_reached(house, "S1-02", "flatworms seen")
    assert met
    assert set(told.said) == {f"{lot}: held" for lot in met | {"S1-02"}}
    rows = {
        row["batch"]: " ".join(row["stands_in_the_way"]) for row in release_rows(house_at(LANDED + timedelta(hours=6)))
    }
    assert all("flatworms seen" in rows[lot] for lot in met)
    assert all("S1-02" in rows[lot] for lot in met)


def test_a_lot_that_is_held_already_is_not_held_again(house_at: Open) -> None:
    """Two holds would need two liftings, and the second would be forgotten."""
    house = received(house_at)
    hold_batch.hold(house, "S1-01", "gaping")
    told = hold_reached(house_at(LANDED + timedelta(hours=2)), "S1-02", "flatworms seen")
    assert "S1-01: held" not in told.said
    floor = house_at(LANDED + timedelta(hours=3)).floor()
    assert [hold.reason for hold in floor.holds if hold.batch == "S1-01" and not hold.lifted] == ["gaping"]


def test_a_hold_without_a_reason_is_refused(house_at: Open) -> None:
    """Nobody could say later when it may be lifted."""
    with pytest.raises(BadInput, match="reason"):
        hold_reached(received(house_at), "S1-02", " ")


def test_the_picture_marks_the_batch_asked_about_and_those_it_met(house_at: Open) -> None:
    """One lane for each water, a bar for each stay; the words say what the marks say."""
    received(house_at)
    svg = trace_picture(house_at(LANDED + timedelta(days=3)), "S1-02")
    root = ET.fromstring(svg)
    space = "{http://www.w3.org/2000/svg}"
    words = [text.text for text in root.iter(f"{space}text")]
    assert {"quarantine", "Q1", "Q2"} <= set(words)
    titles = [title.text or "" for title in root.iter(f"{space}title")]
    assert "S1-02 in Q1: asked about" in titles
    assert any(title.startswith("S1-01 in Q1: shared its water; ") for title in titles)
    assert re.search(r"Reached: .*S1-01", next(root.iter(f"{space}desc")).text or "")


@pytest.mark.parametrize(("ending", "begins"), [("svg", b"<svg"), ("PNG", b"\x89PNG"), ("pdf", b"%PDF")])
def test_the_picture_is_written_in_the_form_its_name_asks_for(
    house_at: Open, tmp_path: Path, ending: str, begins: bytes
) -> None:
    """For the screen, the chat and the printer; the find on the batch stands in it; the same bytes each time."""
    house = received(house_at)
    record_observation.finding(house, "S1-02", "acropora-flatworm", vat="Q1")
    later = house_at(LANDED + timedelta(days=3))
    files = [draw_trace(later, "S1-02", tmp_path / f"{number}.{ending}") for number in (1, 2)]
    assert files[0].read_bytes().startswith(begins)
    assert files[0].read_bytes() == files[1].read_bytes()
    if ending == "svg":
        assert "acropora-flatworm seen in Q1, 04 Mar" in files[0].read_text(encoding="utf-8")


def test_a_picture_in_no_known_form_is_refused(house_at: Open, tmp_path: Path) -> None:
    """Before anything is drawn."""
    with pytest.raises(BadInput, match=r"\.svg, \.png or \.pdf"):
        draw_trace(received(house_at), "S1-02", tmp_path / "met.gif")
    assert not list(tmp_path.glob("met*"))
