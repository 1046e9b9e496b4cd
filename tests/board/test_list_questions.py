"""A packing list's questions on the board: columns chosen by what is in them, answers kept as in a terminal."""

import html
import re
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from intake.app.queries.planning.announced_shipments import waiting
from tests.board.conftest import Entering, form_token

ODD = "Foo,Bar,Baz,Qux\n" + "".join(f"x{n},Tridacna derasa,{6 + n} cm,{10 + 7 * n % 5}\n" for n in (1, 2, 3))
CLEAR = "Line,Scientific name,Size (mm),Qty,Dead,Box\n1,Tridacna derasa,60-70,10,3,1\n2,Tridacna derasa,70-80,20,4,2\n"
LANDS = "2027-04-20T09:00"


def sent(client: TestClient, text: str = "", **fields: str) -> Any:
    """The page after a list was uploaded, or after its form was sent."""
    data = {"form_token": form_token(client), "key": "list", "supplier": "one", "lands": LANDS} | fields
    files = {"list": ("list.csv", text.encode(), "text/csv")} if text else {}
    return client.post("/deliveries/new", data=data, files=files)


def form_of(page: str) -> dict[str, str]:
    """What the page's form would send as it stands."""
    hidden = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', page)
    fields = {name: html.unescape(value) for name, value in hidden}
    for name, inner in re.findall(r'<select name="(column:\d+)".*?>(.*?)</select>', page, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected>', inner)
        fields[name] = chosen[1] if chosen else ""
    return {name: value for name, value in fields.items() if name not in {"form_token", "key"}}


def test_a_column_is_chosen_by_its_cells_and_nothing_is_typed(enter: Entering, app: Starlette) -> None:
    """Each of their columns stands with cells and field; another choice is read at once and kept for the next visit."""
    ada = enter("ada")
    page = sent(ada, CLEAR).text
    fields = form_of(page)
    assert [fields[f"column:{n}"] for n in range(1, 7)] == ["line", "name", "size", "count", "", "boxes"]
    assert "3 · 4" in page, "cells of a column that is not read are shown as well"
    changed = sent(ada, **fields | {"column:5": "count", "column:4": ""}).text
    assert form_of(changed)["column:5"] == "count"
    assert ", 7 animals," in changed
    house = app.state.farm.house()
    kept = next((house.folder / "inbox").glob("answers-one-*.toml"))
    assert "count=E" in kept.read_text(encoding="utf-8")
    # the phone was lost on the way: another device uploads the list and goes on where it was left
    again = sent(enter("ada"), CLEAR).text
    assert form_of(again)["column:5"] == "count"
    fresh = sent(ada, **form_of(again), again="yes").text
    assert form_of(fresh)["column:4"] == "count"
    assert not list((house.folder / "inbox").glob("answers-one-*.toml"))


def test_a_column_taken_by_another_gives_its_field_up_and_two_anew_are_refused(enter: Entering) -> None:
    """The field goes to the column chosen anew; two columns for one field are no answer."""
    ada = enter("ada")
    fields = form_of(sent(ada, CLEAR).text)
    assert form_of(sent(ada, **fields | {"column:5": "count"}).text)["column:4"] == ""
    refused = sent(ada, **form_of(sent(ada, CLEAR, again="yes").text) | {"column:1": "note", "column:5": "note"})
    assert refused.status_code == 422
    assert "two for remarks" in refused.text


def test_what_the_headings_do_not_tell_is_asked_as_columns(enter: Entering) -> None:
    """No known heading of the count: the form stands open; the choice settles it; the list is entered and forgotten."""
    ada = enter("ada")
    page = sent(ada, ODD).text
    assert '<details class="big" open><summary>Columns: theirs and ours' in page
    assert "FIELD=COLUMN" not in page
    fields = form_of(page)
    done = sent(ada, **fields | {"column:2": "name", "column:3": "size", "column:4": "count"}).text
    for _ in range(4):
        if 'name="enter"' in done:
            break
        more = {
            name: html.unescape(value)
            for name, value in re.findall(r'type="radio" name="([^"]+)" value="([^"]*)"', done)
        }
        done = sent(ada, **form_of(done) | more).text
    assert 'name="enter"' in done
    told = sent(ada, **form_of(done), enter="yes").text
    assert "entered: 3 lines" in told


@pytest.mark.parametrize("field", ["column:3", "was:3", "columns_else"])
def test_nonsense_for_a_column_is_told(enter: Entering, field: str) -> None:
    """A field that is none is named; nothing stumbles."""
    ada = enter("ada")
    fields = form_of(sent(ada, CLEAR).text)
    assert sent(ada, **fields | {field: "x=y,\n<b>"}).status_code in {200, 422}


def test_a_corrected_list_shows_its_difference_before_it_counts(enter: Entering, app: Starlette) -> None:
    """Nothing changes on looking; then the shipment keeps its id and the lines their batches, and one is new."""
    ada = enter("ada")
    read = form_of(sent(ada, CLEAR, **{"ask:unread-columns": "not-needed"}).text)
    assert "entered: 2 lines" in sent(ada, **read | {"ask:unread-columns": "not-needed"}, enter="yes").text
    before = app.state.farm.house()
    (shipment,) = [one for one in waiting(before) if before.lines_of(one)[0].name == "Tridacna derasa"]
    better = CLEAR.replace("70-80,20", "80-90,18") + "3,Tridacna maxima,40-50,5,0,3\n"
    page = sent(ada, better, replaces=shipment, lands="", **{"ask:unread-columns": "not-needed"}).text
    assert f"{shipment}-02 Tridacna derasa: 20 → 18 animals, 80 mm → 90 mm" in page
    assert f"+ {shipment}-03: 5 × Tridacna maxima, new" in page
    assert [line.announced for line in app.state.farm.house().lines_of(shipment)] == [10, 20]
    sent(ada, **form_of(page), enter="yes")
    after = app.state.farm.house()
    assert [(line.id, line.announced) for line in after.lines_of(shipment)] == [
        (f"{shipment}-01", 10), (f"{shipment}-02", 18), (f"{shipment}-03", 5)
    ]  # fmt: skip
    assert waiting(after) == waiting(before)
