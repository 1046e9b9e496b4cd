"""How much slower commands and pages are on old books than on young ones, as ratios to 1,000 entries in one run.

Run: nice python -m tests.bench.ages [ENTRIES …] (1,000, 20,000 and 100,000 when none are named).
Books are invented: two thirds readings, then counts, rounds, moves, sales, holds and corrections, recorded over three years,
with 40 batches alive at the end whatever the size.  Command lines are timed as whole processes in seconds of processor,
which do not depend on what else the machine does; the board is asked by eight phones over kept connections.
"""

from __future__ import annotations

import json
import random
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

from intake.app.session import open_house
from intake.farm.floor import Batch
from intake.ledger import Entry, Movement, Record, batch_payload, counter
from intake.store import Books
from tests.conftest import FARM, VAT

ROOT = Path(__file__).parents[2]
ALIVE = 40
YEARS = 3
GROUPS = ("zoanthid", "clam_small", "stony_branching_acropora")
VATS = ("Q1", "Q2", "G1")


class Writer:
    """Entries of one invented farm in the order they are recorded."""

    def __init__(self, entries: int, end: datetime, letter: str = "S", alive: int = ALIVE) -> None:
        self.letter, self.alive = letter, alive
        self.chance = random.Random(entries)
        self.many, self.end = entries, end
        self.told: list[Entry] = []
        self.stand: Counter[str] = Counter()
        self.at = end - timedelta(days=365 * YEARS)
        self.step = timedelta(days=365 * YEARS) / entries

    def key(self) -> str:
        """The next key."""
        return f"k{len(self.told)}"

    def move(self, batch: str, source: str, target: str, count: int) -> Movement:
        """Animals that went somewhere."""
        self.told.append(Movement(batch, source, target, count, self.at, self.at, "ada", self.key()))
        self.stand[batch] += count * (target.startswith("vat:") - source.startswith("vat:"))
        self.at += self.step
        entry = self.told[-1]
        assert isinstance(entry, Movement)
        return entry

    def note(self, kind: str, subject: str, payload: dict[str, object]) -> None:
        """Anything else."""
        self.told.append(Record(kind, subject, payload, self.at, self.at, "ada", self.key()))
        self.at += self.step

    def batch(self, number: int, shipment: int) -> str:
        """A line of a shipment comes and stands in quarantine."""
        name, group = f"{self.letter}{shipment}-{number:02}", GROUPS[number % len(GROUPS)]
        if number == 1:
            came = f"{self.letter}{shipment}"
            self.note("shipment", came, {"supplier": "one", "lands": self.at.isoformat()})
            self.note("received", came, {"shipment": came})
        line = Batch(name, group, group, 30.0, 40, f"{self.letter}{shipment}", number, "one", ("7",))
        self.note("batch", name, batch_payload(line))
        vat = VATS[number % 2]
        self.move(name, "supplier", f"vat:{vat}", 40)
        self.note("stage", name, {"batch": name, "vat": vat, "stage": "quarantine"})
        return name

    def write(self) -> list[Entry]:
        """The whole history."""
        lines = 20
        shipments = max(2, self.many // 1_300)
        living: list[tuple[str, str]] = []
        per = self.many // shipments
        for shipment in range(1, shipments + 1):
            until = min(self.many, shipment * per)
            here = [(self.batch(number, shipment), VATS[number % 2]) for number in range(1, lines + 1)]
            living += here
            while len(self.told) < until - lines:
                self.something(living)
            while len(living) > self.alive:
                name, vat = living.pop(0)
                if held := self.stand[name]:
                    self.move(name, f"vat:{vat}", "sold", held)
        return self.told

    def something(self, living: list[tuple[str, str]]) -> None:
        """A reading, twice of three times; else a round, a death with or without its correction, a finding."""
        what = self.chance.random()
        name, vat = self.chance.choice(living)
        if what < 0.66:
            self.note(
                "reading",
                self.chance.choice(("quarantine", "growout")),
                {"quantity": "temperature_c", "value": 25.0, "scale": ""},
            )
        elif what < 0.80:
            self.note("done", f"round/{len(self.told)}", {"batch": "", "kind": "death round", "vat": vat})
        elif what < 0.90:
            self.note("done", f"{name}/inspection/{len(self.told)}", {"batch": name, "kind": "inspection", "vat": vat})
        elif what < 0.93:
            self.note("finding", name, {"batch": name, "vat": vat, "what": "", "note": ""})
        elif self.stand[name] > 22:
            dead = self.move(name, f"vat:{vat}", "dead", 1)
            if what > 0.99:
                self.told.append(counter(dead, at=self.at, who="ada", key=self.key()))
                self.stand[name] += 1


def grown(folder: Path, entries: int) -> str:
    """A farm with books of this size; gives the batch that is counted."""
    folder.mkdir(parents=True)
    vats = (("Q1", "quarantine"), ("Q2", "quarantine"), ("G1", "growout"))
    text = FARM + "".join(VAT.format(name=name, system=system) for name, system in vats)
    (folder / "farm.toml").write_text(text, encoding="utf-8")
    told = Writer(entries, datetime.now(UTC) - timedelta(hours=2)).write()
    with Books.open(folder / "farm.db") as books, books.write() as unit:
        unit.copy(told)
    house = open_house(folder)
    stay = max(house.floor().stays, key=lambda one: one.count)
    house.books.close()
    return f"{stay.batch} {stay.vat}"


def processor(command: list[str], folder: Path, times: int = 3) -> float:
    """Median seconds of processor of a whole process."""
    found = []
    for _ in range(times):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            [sys.executable, "-m", "intake", "--farm", str(folder), *command],
            cwd=ROOT,
            capture_output=True,
            check=False,
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        if done.returncode not in (0, 1):
            raise RuntimeError(f"{command}: {done.stderr.decode()[-400:]}")
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return statistics.median(found)


def inside(folder: Path) -> dict[str, float]:
    """Seconds of processor of what pages ask, in one warm process; and its memory in MB."""
    code = (
        "import json,sys,time,resource\n"
        "from intake.app.session import open_house\n"
        "from intake.app.queries.overview.floor_today import floor_facts\n"
        "from intake.app.queries.overview.batch_status import batch_facts\n"
        "from intake.app.queries.reports.claim_status import open_claims\n"
        "house=open_house(sys.argv[1]); house.floor(); batch=house.floor().stays[0].batch\n"
        "def took(act):\n"
        "    house._views.clear(); house._floors.clear(); began=time.process_time(); act(); return time.process_time()-began\n"
        "acts={'floor page':lambda:floor_facts(house),'batch page':lambda:batch_facts(house,batch),"
        "'claims':lambda:open_claims(house)}\n"
        "[act() for act in acts.values()]\n"
        "told={name:min(took(act) for _ in range(3)) for name,act in acts.items()}\n"
        "told['memory MB']=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss/1024\n"
        "print(json.dumps(told))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], cwd=ROOT, capture_output=True, text=True, check=True
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


def phones(folder: Path, many: int = 8, each: int = 12, pause_s: float = 1.0) -> dict[str, float]:
    """Counts of eight threads with pauses on one open farm, as the board makes them: median and 99th part, in ms."""
    from intake.app.commands.count_animals import Count
    from intake.app.commands.phones import sync_phone
    from intake.board.open_farm import OpenFarm

    farm = OpenFarm(folder)
    stays = sorted(farm.house().floor().stays, key=lambda one: -one.count)[:many]
    took: list[float] = []

    def phone(number: int) -> None:
        stay = stays[number % len(stays)]
        for turn in range(each):
            time.sleep(pause_s * random.Random(number * 100 + turn).random() * 2)
            began = time.perf_counter()
            with farm.writing("ada") as house:
                sent = sync_phone.Sent(f"bench-{number:02}-{turn:02}-{'x' * 12}", timedelta(0), timedelta(0))
                sync_phone.count_once(house, stay.batch, stay.vat, Count(dead=1), sent)
            took.append(1000 * (time.perf_counter() - began))

    threads = [threading.Thread(target=phone, args=(number,)) for number in range(many)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    farm.close()
    took.sort()
    return {"8 phones p50 ms": took[len(took) // 2], "8 phones p99 ms": took[min(len(took) - 1, int(0.99 * len(took)))]}


def measured(entries: int, beside: Path) -> dict[str, float]:
    """All figures of books of one size."""
    folder = beside / str(entries)
    batch, vat = grown(folder, entries).split()
    told: dict[str, float] = {}
    commands: dict[str, list[str]] = {
        "count": ["count", batch, "--vat", vat, "--dead", "1"],
        "release": ["release"],
        "report vats": ["report", "vats"],
        "feed": ["feed", "--out", str(beside / f"{entries}.ics")],
        "report losses": ["report", "losses"],
        "check --all": ["check", "--all"],
        "check": ["check"],
    }
    for name, command in commands.items():
        told[f"{name} s"] = processor(command, folder, 1 if name.startswith("report losses") else 3)
    told |= inside(folder)
    told |= phones(folder)
    told["file MB"] = (folder / "farm.db").stat().st_size / 1e6
    shutil.rmtree(folder)
    return told


def main() -> None:
    """Measure each size and print figures and ratios."""
    sizes = [int(word) for word in sys.argv[1:]] or [1_000, 20_000, 100_000]
    with tempfile.TemporaryDirectory() as beside:
        found = {entries: measured(entries, Path(beside)) for entries in sizes}
    first = found[sizes[0]]
    print("| what | " + " | ".join(f"{entries:,}" for entries in sizes) + " |")
    print("|---|" + "---|" * len(sizes))
    for name in first:
        cells = [f"{found[entries][name]:.3g} (×{found[entries][name] / first[name]:.2f})" for entries in sizes]
        print(f"| {name} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main()
