"""Several farms in one store: each reads and writes its own rows, and only suppliers are compared across."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from intake.errors import Refused, StoreTrouble
from intake.ledger import Movement, balances, check
from intake.report.comparing.suppliers import scorecard
from intake.store import Books, engines, transfer, verify
from intake.store.engines import address as url_of
from tests.ledger.books import Scribe, hour

Opener = Callable[[str], Books]


@pytest.fixture
def site(address: str) -> Iterator[Opener]:
    """Open the books of a named site of one store."""
    made: list[Books] = []

    def open_site(name: str) -> Books:
        made.append(Books.open(address, site=name))
        return made[-1]

    yield open_site
    for books in made:
        books.close()


def shipment(books: Books, doa: int) -> None:
    """A shipment of 100 from supplier one, the same ids at every site, some dead on arrival."""
    scribe = Scribe()
    with books.write() as unit:
        unit.note(scribe.note("shipment", "S1", supplier="one"))
        facts = {"shipment": "S1", "supplier": "one", "name": "Invented clam", "group": "tridacna", "announced": 100}
        unit.note(scribe.note("batch", "S1-01", **{**facts, "size_mm": 40.0}))  # type: ignore[arg-type]
        unit.note(scribe.note("received", "S1", shipment="S1"))
        unit.note(scribe.note("person", "ada", secret="kept at home"))
        unit.move(scribe.move("S1-01", "supplier > dock", 100))
        unit.move(scribe.move("S1-01", "dock > doa", doa))
        unit.move(scribe.move("S1-01", "dock > vat:Q1", 100 - doa))


def test_two_sites_use_the_same_ids_and_keys_and_never_meet(site: Opener) -> None:
    """Both sites have a batch S1-01 and the keys m5 to m7; the balances stay apart."""
    north, south = site("north"), site("south")
    shipment(north, 10)
    shipment(south, 30)
    assert balances(north.entries())[("S1-01", "doa")] == 10
    assert balances(south.entries())[("S1-01", "doa")] == 30
    assert check(north.entries()) == check(south.entries()) == []
    assert north.faults() == []
    assert north.sites() == ("north", "south")


def test_animals_of_another_site_cannot_be_moved_nor_corrected(site: Opener) -> None:
    """The shortage check and the look-up of a corrected key stop at the fence."""
    north, south = site("north"), site("south")
    shipment(north, 1)
    scribe = Scribe()
    with pytest.raises(Refused, match="at most 0"), south.write() as unit:
        unit.move(scribe.move("S1-01", "vat:Q1 > sold", 1, 1))
    with pytest.raises(Refused, match="earlier movement"), south.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > dock", 1, 1, corrects="m5"))


def test_the_clock_of_one_site_does_not_hold_up_another(site: Opener) -> None:
    """North lives ahead; south, a day behind, writes on."""
    north, south = site("north"), site("south")
    scribe = Scribe()
    with north.write() as unit:
        unit.note(scribe.note("cleaned", "Q1", 24))
    with south.write() as unit:
        unit.note(scribe.note("cleaned", "Q1", 0))
    with pytest.raises(Refused, match="clock"), north.write() as unit:
        unit.note(scribe.note("cleaned", "Q1", 0))


def test_suppliers_are_compared_over_all_sites_and_nothing_else_is_told(site: Opener) -> None:
    """Two shipments of 100 with 10 and 30 dead on arrival are 40 of 200; people stay at home."""
    north, south = site("north"), site("south")
    shipment(north, 10)
    shipment(south, 30)
    told = north.entries(every_site=True)
    card = scorecard(told, hour(0) + timedelta(days=40))
    (row,) = card.rows
    assert (row.shipments, row.batches, row.came) == (2, 2, 200)
    assert row.shares["doa"].lost == 40
    assert check(told) == []
    batches = {entry.batch for entry in told if isinstance(entry, Movement)}
    assert batches == {"S1-01", "south/S1-01"}
    assert "kept at home" not in str(told)
    assert len(scorecard(north.entries(), hour(960)).rows) == 1
    assert scorecard(north.entries(), hour(960)).rows[0].came == 100


def test_writers_of_one_site_wait_for_each_other_not_for_other_sites(
    postgres_only: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a server each site has its own lock; a site with an act open does not stop the neighbours."""
    monkeypatch.setattr(engines, "BUSY_MS", 100)
    with (
        Books.open(postgres_only, site="north") as north,
        Books.open(postgres_only, site="north") as also_north,
        Books.open(postgres_only, site="south") as south,
        north.write(),
    ):
        with pytest.raises(StoreTrouble, match="Wait a moment"), also_north.write():
            pass
        with south.write() as unit:
            unit.note(Scribe().note("cleaned", "Q1"))
        assert len(south.entries()) == 1


def test_the_server_itself_parts_the_sites(postgres_only: str) -> None:
    """Row-level security: a program under the site's role that forgets to say "where" sees and writes only its own."""
    engine = create_engine(url_of(postgres_only))
    with engine.begin() as connection:
        connection.execute(text("DROP ROLE IF EXISTS books_keeper"))
        connection.execute(text("CREATE ROLE books_keeper LOGIN"))
        connection.execute(text("GRANT ALL ON SCHEMA public TO books_keeper"))
    keeper = postgres_only.replace("farm@", "books_keeper@")
    with Books.open(keeper, site="north") as north, Books.open(keeper, site="south") as south:
        shipment(north, 10)
        shipment(south, 30)
        plain = create_engine(url_of(keeper))
        with plain.begin() as connection:
            forced = text("SELECT relname FROM pg_class WHERE relrowsecurity AND relforcerowsecurity")
            assert set(connection.execute(forced).scalars()) == {"movement", "record", "holding", "proved"}
            for table in ("movement", "record", "holding"):  # what stands where is nobody else's business either
                assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() == 0
            connection.execute(text("SELECT set_config('vatside.site', 'north', true)"))
            assert connection.execute(text("SELECT count(*) FROM movement")).scalar_one() == 3
            assert set(connection.execute(text("SELECT site FROM holding")).scalars()) == {"north"}
            other = "INSERT INTO record SELECT 999, kind, subject, payload, happened_at, recorded_at, who, 'x', NULL, "
            with pytest.raises(Exception, match="row-level security"):
                connection.execute(text(other + "'south', seal, '', '', '' FROM record LIMIT 1"))
        plain.dispose()
        assert len(north.entries(every_site=True)) == 12
    with engine.begin() as connection:
        connection.execute(text("ALTER TABLE movement NO FORCE ROW LEVEL SECURITY"))
    with pytest.raises(StoreTrouble, match="movement_site"):
        Books.open(keeper, site="north")
    with engine.begin() as connection:
        connection.execute(text("DROP OWNED BY books_keeper CASCADE"))
        connection.execute(text("DROP ROLE books_keeper"))
    engine.dispose()


def test_a_mistyped_site_is_no_empty_farm(site: Opener, address: str) -> None:
    """Without leave to create, the sites that have entries are named; with it a new site joins."""
    shipment(site("north"), 1)
    with pytest.raises(StoreTrouble, match="'north'"):
        Books.open(address, site="nroth", create=False)
    assert site("south").entries() == ()


def test_a_copy_of_a_site_on_a_server_holds_no_other_site(postgres_only: str, tmp_path: Path) -> None:
    """A farm that leaves takes its own books along, not the neighbours'."""
    with Books.open(postgres_only, site="north") as north, Books.open(postgres_only, site="south") as south:
        shipment(north, 10)
        shipment(south, 30)
        copy = south.backup(tmp_path / "south.db")
        assert len(verify(copy)) == 7
        with Books.open(copy, site="south", create=False) as books:
            assert books.entries() == south.entries()
            assert books.sites() == ("south",)


def test_books_go_to_another_database_and_back_unchanged(address: str, tmp_path: Path) -> None:
    """Entries, order, balances and seals are the same after both ways; the name of the site may change."""
    with Books.open(address) as home, Books.open(tmp_path / "other.db", site="north") as away:
        shipment(home, 10)
        went = transfer(home, away)
        assert [e.key for e in went] == [e.key for e in home.entries()]
        with Books.open(address, site="returned") as back:
            transfer(away, back)
            assert balances(back.entries()) == balances(home.entries())
            assert back.faults() == away.faults() == []
        with pytest.raises(Refused, match="without any"):
            transfer(home, away)


def test_a_transfer_that_arrives_changed_is_undone(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A target that loses an entry on the way is found out before anything is kept."""
    from intake.store.unit import Unit

    copy = Unit.copy
    monkeypatch.setattr(Unit, "copy", lambda self, entries: copy(self, entries[:-1]))
    with Books.open(address) as home, Books.open(tmp_path / "other.db") as away:
        shipment(home, 10)
        with pytest.raises(StoreTrouble, match="entries"):
            transfer(home, away)
        assert away.entries() == ()


def test_the_stamp_changes_when_and_only_when_something_was_written(site: Opener) -> None:
    """What was read may be kept until the stamp changes; the neighbours' writing does not change it."""
    north = site("north")
    before = north.stamp()
    shipment(site("south"), 1)
    assert north.stamp() == before
    with north.write() as unit:
        unit.note(Scribe().note("cleaned", "Q1"))
    assert north.stamp() != before


def test_reading_many_threads_while_writing_sees_whole_acts(site: Opener) -> None:
    """Readers never see an act half written: every act here moves one animal in two steps."""
    books = site("north")
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > dock", 1000))
    stop = threading.Event()
    odd: list[int] = []

    def read() -> None:
        while not stop.is_set():
            if len(books.entries()) % 2 == 0:
                odd.append(1)

    readers = [threading.Thread(target=read) for _ in range(3)]
    for reader in readers:
        reader.start()
    try:
        for _ in range(40):
            with books.write() as unit:
                unit.move(scribe.move("S1-01", "dock > vat:Q1", 1))
                unit.move(scribe.move("S1-01", "vat:Q1 > sold", 1))
    finally:
        stop.set()
        for reader in readers:
            reader.join()
    assert odd == []
