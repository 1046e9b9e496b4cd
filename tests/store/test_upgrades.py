"""Books as the programs of the last three schema versions wrote them, opened by this one: nothing moves, nothing goes back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from intake.errors import Refused
from intake.ledger import balances, latest
from intake.ledger.kept_revisions import fingerprint_of, kept, whole_of
from intake.store import Books
from tests.ledger.books import Scribe, hour
from tests.store.old import old_books

NOW = hour(100)


@pytest.mark.parametrize("version", [2, 3])
def test_what_was_written_reads_the_same(address: str, tmp_path: Path, version: int) -> None:
    """Balances, the last revision of each calendar event, and what stands on the floor; then the books go on."""
    old_books(address, version)
    with Books.open(address, aside=tmp_path / "aside") as books:
        entries = books.entries()
        assert balances(entries) == {
            ("S1-01", "supplier"): -40, ("S1-01", "vat:Q1"): 37, ("S1-01", "dead"): 3,
            ("S1-02", "supplier"): -40, ("S1-02", "vat:Q1"): 40,
            ("H1", "opening"): -40, ("H1", "vat:G1"): 40,
        }  # fmt: skip
        view = books.view()
        assert {uid: one.payload["sequence"] for uid, one in view.latest("published").items()} == {
            "a@farm": 1,
            "b@farm": 3,
        }
        assert view.latest("published") == latest(entries, "published")
        assert set(view.latest_from("published", "2026-02-01", ())) == {"a@farm", "b@farm"}
        assert view.latest_from("published", "2026-02-02", ()) == {}
        floor = view.floor(NOW)
        assert {stay.batch: (stay.vat, stay.count) for stay in floor.stays} == {
            "S1-01": ("Q1", 37), "S1-02": ("Q1", 40), "H1": ("G1", 40),
        }  # fmt: skip
        assert (floor.found, [hold.batch for hold in floor.holds], list(floor.received)) == ((), ["S1-02"], ["S1"])
        assert [record.kind for record in view.of_shipment("S1")] == ["batch", "batch", "received"]
        assert view.latest("feed")["F1"].payload == {"who": "farm", "hash": "00", "revoked": False}
        assert books.prove(NOW).faults == ()
        with books.write() as unit:
            unit.move(Scribe().move("S1-01", "vat:Q1 > dead", 1, 7, key="next"))
        assert books.view().held("S1-01")["vat:Q1"] == 36
        assert books.prove(NOW).faults == ()


@pytest.mark.parametrize("version", [1, 2, 3])
def test_calendar_events_go_on_from_the_revisions_that_were_kept_whole(
    address: str, tmp_path: Path, version: int
) -> None:
    """UID, sequence, stamp and words stay; the next revision is kept as changes against the old one, and proved."""
    old_books(address, version)
    with Books.open(address, aside=tmp_path / "aside") as books:
        before = {uid: one for uid, one in books.view().latest("published").items() if one.payload["sequence"] == 3}
        assert [(uid, one.payload["stamp"], one.payload["fields"]["summary"]) for uid, one in before.items()] == (  # type: ignore[index]
            [("b@farm", "2026-01-05T10:00:00+00:00", "Dip")] if version > 1 else []
        )
        long = {"end": "2026-03-01", "description": "\n".join(f"line {number}" for number in range(99))}
        first = {"sequence": 4, "stamp": hour(80).isoformat(), "fingerprint": fingerprint_of(long), "fields": long}
        scribe = Scribe()
        with books.write() as unit:
            unit.note(scribe.note("published", "b@farm", 80, key="whole", **kept(first, before.get("b@farm"))))
        (whole,) = books.view().noted(["whole"])
        assert "fields" in whole.payload  # the old one shares no line with it
        fields = {**long, "end": "2026-03-02"}
        wanted = {**first, "sequence": 5, "fingerprint": fingerprint_of(fields), "fields": fields}
        with books.write() as unit:
            unit.note(scribe.note("published", "b@farm", 81, key="changes", **kept(wanted, whole)))
        last = books.view().latest("published")["b@farm"]
        assert "fields" not in last.payload
        assert whole_of(last, whole) == wanted
        assert set(books.view().latest_from("published", "2026-03-02", ())) == {"b@farm"}
        assert books.prove(NOW).faults == ()
    with Books.open(address) as books:
        assert whole_of(books.view().latest("published")["b@farm"], whole) == wanted
        wrong = replace(last, payload={**last.payload, "base": "changes"}, key="wrong", id=None)
        with pytest.raises(Refused, match="key of an earlier whole revision"), books.write() as unit:
            unit.note(wrong)


@pytest.mark.parametrize("version", [1, 2, 3])
def test_seals_of_older_books_are_kept_or_made_once(address: str, tmp_path: Path, version: int) -> None:
    """A head taken after the first opening is met by every later one; the first version had no seals to keep."""
    old_books(address, version)
    with Books.open(address, aside=tmp_path / "aside") as books:
        head = books.head()
    with Books.open(address, aside=tmp_path / "aside") as books:
        assert books.differs_from(head) == []
        assert books.prove(NOW).faults == ()


def test_a_program_of_version_2_still_open_cannot_write_beside_this_one(tmp_path: Path) -> None:
    """It names no place for its records: they are refused by the database, not lost from sight."""
    import sqlite3

    file = tmp_path / "farm.db"
    old_books(str(file), 2)
    older = sqlite3.connect(file)
    with Books.open(file):
        pass
    columns = "kind, subject, payload, happened_at, recorded_at, who, key, corrects, site, seal"
    with pytest.raises(sqlite3.IntegrityError, match="newer program"):
        older.execute(
            f"INSERT INTO record ({columns}) VALUES ('hold', 'S1-01', '{{}}', 'x', 'x', 'Ada', 'k', NULL, '', 's')"
        )
    older.close()
