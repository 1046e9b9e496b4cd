"""Eight people count at once for a minute on one server's books; print counts, errors and how long a count took.

Run: python -m tests.bench.store_crowd [SECONDS [WRITERS]].
"""

from __future__ import annotations

import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from intake.errors import IntakeError
from intake.ledger import balances, check
from intake.store import Books
from tests.ledger.books import Scribe
from tests.store import server as pg

BATCHES = 400
EACH = 1_000_000


def crowd(kind: str, address: str, seconds: float, writers: int) -> None:
    """Count, then check that every count is there once.

    Raises
    ------
    AssertionError
        A count is missing or doubled, or the books do not add up.
    """
    scribe = Scribe()
    with Books.open(address) as books:
        with books.write() as unit:
            for number in range(BATCHES):
                unit.move(scribe.move(f"S1-{number:03}", "supplier > vat:Q1", EACH))
        until = time.perf_counter() + seconds

        def person(name: int) -> tuple[list[float], list[str]]:
            took: list[float] = []
            errors: list[str] = []
            number = 0
            while (start := time.perf_counter()) < until:
                batch = f"S1-{(name * 50 + number) % BATCHES:03}"
                try:
                    with books.write() as unit:
                        unit.move(scribe.move(batch, "vat:Q1 > dead", 1, 1, key=f"{name}-{number}"))
                except IntakeError as error:
                    errors.append(str(error))
                took.append(time.perf_counter() - start)
                number += 1
            return took, errors

        with ThreadPoolExecutor(writers) as pool:
            results = list(pool.map(person, range(writers)))
        took = sorted(one for times, _ in results for one in times)
        errors = [error for _, found in results for error in found]
        entries = books.entries()
        dead = sum(count for (_, place), count in balances(entries).items() if place == "dead")
        assert dead == len(took) - len(errors)
        assert check(entries) == []
        assert books.faults() == []
    each = [len(times) for times, _ in results]
    at = [f"p{share} {took[min(len(took) - 1, len(took) * share // 100)] * 1000:.1f}" for share in (50, 95, 99)]
    print(
        f"{kind}: {writers} writers, {seconds:.0f} s, {len(took)} counts ({min(each)} to {max(each)} each), "
        f"{len(errors)} errors, {', '.join(at)}, longest {took[-1] * 1000:.0f} ms; nothing lost, nothing twice",
        flush=True,
    )
    for error in sorted(set(errors))[:3]:
        print("  ", error)


def main() -> None:
    """Both databases, SQLite always, PostgreSQL where its programs are installed."""
    seconds, writers = (float(word) for word in (*sys.argv[1:], *("60", "8")[len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as folder:
        crowd("SQLite", str(Path(folder) / "farm.db"), seconds, int(writers))
    programs = pg.programs()
    if programs is None:
        print("PostgreSQL: not installed, not run")
        return
    with pg.running(programs) as server:
        crowd("PostgreSQL", f"{server.address}/postgres", seconds, int(writers))


if __name__ == "__main__":
    main()
