"""What one count costs on books that have grown: reading on from what is remembered against reading from the start.

Run: python -m tests.bench.store_growth [ENTRIES].
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from intake.ledger import balances
from intake.store import Books
from tests.ledger.books import Scribe

BATCHES = 100
TIMES = 15


def grown(path: Path, entries: int) -> Scribe:
    """Write books with this many movements, spread over the batches."""
    scribe = Scribe()
    with Books.open(path) as books, books.write() as unit:
        first = [scribe.move(f"A{one:03}", "opening > vat:G1", 1_000_000) for one in range(BATCHES)]
        unit.copy([*first, *(scribe.move(f"A{one % BATCHES:03}", "vat:G1 > dead", 1, 1) for one in range(entries))])
    return scribe


def took(act: Callable[[], object]) -> float:
    """Median time of an act, in ms."""
    times = []
    for _ in range(TIMES):
        start = time.perf_counter()
        act()
        times.append(time.perf_counter() - start)
    return 1000 * median(times)


def main() -> None:
    """Count and read, both ways, on the same file."""
    entries = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "farm.db"
        scribe = grown(path, entries)

        def count(books: Books) -> None:
            with books.write() as unit:
                unit.move(scribe.move("A001", "vat:G1 > dead", 1, 1))
                balances(unit.entries("movement", "A001"))
            balances(books.entries())

        def stranger() -> None:
            with Books.open(path) as books:
                count(books)

        with Books.open(path) as books:
            books.entries()
            onward = took(lambda: count(books))
            fresh = took(stranger)
            checked = took(books.faults)
    print(
        f"{entries} entries: a count with all balances {onward:.0f} ms from memory, {fresh:.0f} ms from the start, "
        f"ratio {fresh / onward:.1f}; every seal checked {checked:.0f} ms (check always does)"
    )


if __name__ == "__main__":
    main()
