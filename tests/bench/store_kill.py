"""Kill writers, and the server, at random instants while counts are recorded; print what was lost and what came twice.

Run: python -m tests.bench.store_kill [ROUNDS [COUNTS]] (20 rounds of 1,000 counts on each database).
Each round a writer records the counts one act each and says every key once it is written; it is killed with signal 9
at a random instant.  On PostgreSQL every second round the server is stopped at once instead.  A second writer then posts
all counts of the round again, as a phone that heard no answer does.  After each round every acknowledged key must be in
the books, every key once, every animal accounted for and every seal whole.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from intake.ledger import balances, check
from intake.store import Books
from tests.ledger.books import Scribe
from tests.store import server as pg

ROOT = Path(__file__).parents[2]

WRITER = """
import sys
from intake.errors import StoreTrouble
from intake.store import Books
from tests.ledger.books import Scribe
address, name, counts = sys.argv[1], sys.argv[2], int(sys.argv[3])
scribe = Scribe()
try:
    with Books.open(address) as books:
        print("open", flush=True)
        for number in range(counts):
            with books.write() as unit:
                unit.move(scribe.move(name, "vat:Q1 > dead", 1, 1, key=f"{name}-{number}"))
            print(f"{name}-{number}", flush=True)
except StoreTrouble as trouble:
    print("told:", str(trouble).splitlines()[0], file=sys.stderr)
"""


def writer(address: str, name: str, counts: int) -> subprocess.Popen[str]:
    """A process that records counts and says each key once it is written."""
    command = [sys.executable, "-c", WRITER, address, name, str(counts)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def one_round(address: str, name: str, counts: int, instant: float, strike: Callable[[], None] | None) -> int:
    """Record, strike, look, post again, look; gives how many counts were acknowledged before the blow.

    Raises
    ------
    AssertionError
        Something acknowledged is gone, something stands twice, or the books do not add up.
    """
    with Books.open(address) as books, books.write() as unit:
        unit.move(Scribe().move(name, "supplier > vat:Q1", counts, 0, recorded=1, key=f"{name}-came"))
    process = writer(address, name, counts)
    assert process.stdout is not None
    assert process.stderr is not None
    assert process.stdout.readline() == "open\n"
    time.sleep(instant)
    if strike is None:
        process.kill()
    else:
        strike()
    # a line without its end was not said
    said = set(process.stdout.read().split("\n")[:-1])
    assert "Traceback" not in process.stderr.read()
    process.wait()
    for stream in (process.stdout, process.stderr):
        stream.close()
    with Books.open(address) as books:
        kept = [movement.key for movement in books.movements(name)]
        assert said <= set(kept), "lost"
        assert len(kept) == len(set(kept)), "twice"
        again = writer(address, name, counts)
        answered, complained = again.communicate()
        assert not complained, complained
        assert len(answered.split()) == counts + 1
        entries = books.entries()
        assert balances(entries)[(name, "dead")] == counts
        assert len([e for e in entries if e.key.startswith(f"{name}-")]) == counts + 1
        assert check(entries) == []
        assert books.faults() == []
    return len(said)


def rounds(kind: str, address: str, many: int, counts: int, server: pg.Server | None) -> None:
    """Run all rounds on one database and print the figures."""
    chance = random.Random(f"{kind} {many} {counts}")  # a fixed seed
    began = time.perf_counter()
    with Books.open(address) as books, books.write() as unit:
        unit.move(Scribe().move("speed", "supplier > vat:Q1", counts))
    process = writer(address, "speed", counts)
    assert process.stdout is not None
    assert process.stdout.readline() == "open\n"
    started = time.perf_counter()
    process.communicate()
    longest = time.perf_counter() - started

    def restart() -> None:
        assert server is not None
        server.crash()
        server.start()

    acknowledged, within = 0, 0
    for number in range(many):
        strike = restart if server is not None and number % 2 else None
        said = one_round(address, f"round{number:02}", counts, chance.uniform(0, longest), strike)
        acknowledged += said
        within += 0 < said < counts
        struck = "server stopped" if strike else "writer killed"
        print(
            f"{kind} {number + 1}: {struck}, {said} of {counts} acknowledged, {within} in the middle",
            file=sys.stderr,
            flush=True,
        )
    print(
        f"{kind}: {many} rounds of {counts} counts, {acknowledged} acknowledged before the blow "
        f"({within} blows in the middle), lost 0, twice 0, books sound after each; "
        f"{time.perf_counter() - began:.0f} s",
        flush=True,
    )


def main() -> None:
    """Both databases, SQLite always, PostgreSQL where its programs are installed."""
    many, counts = (int(word) for word in (*sys.argv[1:], *("20", "1000")[len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as folder:
        rounds("SQLite", str(Path(folder) / "farm.db"), many, counts, None)
    programs = pg.programs()
    if programs is None:
        print("PostgreSQL: not installed, not run")
        return
    with pg.running(programs) as server:
        rounds("PostgreSQL", f"{server.address}/postgres", many, counts, server)


if __name__ == "__main__":
    main()
