"""Kill a person's process at random instants while commands of every kind run, in bursts; print what was lost or half done.

Run: nice python -m tests.bench.command_kill [ROUNDS [SEED]] (1,000 rounds).
Each round a child process records one act after another: counts, moves, findings, readings, holds, work done, closures,
calendars, claims, undos.  It says when an act begins and when it is reported saved.  It is killed with signal 9 at a random
instant.  Afterwards every act reported saved must be on record once, the act it died in whole or not at all, and sent
again under its key it must come out whole.  Every fiftieth round all of the ledger is proved.  Each round is reported to
standard error, so that a run that is ended counts too.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from intake.app.calendars import feed_publication
from intake.app.commands import advance_claim, count_animals, hold_batch, maintain_vats, record_observation
from intake.app.commands.count_animals import Count
from intake.app.farm_folder import check_house
from intake.app.session import House, open_house
from intake.errors import IntakeError
from tests.app.deliveries import LANDED, announced
from tests.conftest import FARM, VAT

NOW = LANDED + timedelta(hours=6)
ACTS: dict[str, Callable[[House, str, int], object]] = {
    "count": lambda house, key, _n: count_animals.count(house, "S1-01", "Q1", Count(weak=2, dead=1, box="7"), key=key),
    "alive": lambda house, key, _n: count_animals.count(house, "S1-02", "Q1", Count(weak=1), key=key),
    "finding": lambda house, key, _n: record_observation.finding(house, "S1-03", "", key=key),
    "reading": lambda house, key, n: record_observation.reading(
        house, "quarantine", "temperature_c", 25 + n % 2, key=key
    ),
    "hold": lambda house, key, _n: hold_batch.hold(house, "S1-02", "spots seen on two", key=key),
    "close": lambda house, key, _n: maintain_vats.close_vat(house, "G2", "a leak at the drain", key=key),
    "calendars": lambda house, _key, _n: feed_publication.publish(house),
    "claim": lambda house, key, _n: advance_claim.set_state(house, "S1", "sent", key=key),
}


def ready(folder: Path) -> None:
    """A farm with many animals, received."""
    folder.mkdir()
    vats = [("Q1", "quarantine"), ("Q2", "quarantine"), ("Q3", "quarantine"), ("G1", "growout"), ("G2", "growout")]
    text = FARM + "".join(VAT.format(name=name, system=system) for name, system in vats)
    (folder / "farm.toml").write_text(text, encoding="utf-8")
    house = open_house(folder, who="ada", now=LANDED)
    announced(house, (("clam_small", "Q1", 90_000), ("stony_branching_acropora", "Q1", 400), ("zoanthid", "Q2", 400)))
    with house.at(LANDED + timedelta(hours=1)).act() as act:
        act.note("received", "S1", {"shipment": "S1"})
        for line, vat, number in (("S1-01", "Q1", 90_000), ("S1-02", "Q1", 400), ("S1-03", "Q2", 400)):
            act.move(line, "supplier", f"vat:{vat}", number)
    house.books.close()


def burst(folder: Path, chance: random.Random, number: int, out: int) -> None:
    """Acts of a child until it is killed."""
    house = open_house(folder, who="ada", now=NOW)
    for turn in range(400):
        name = chance.choice(list(ACTS))
        key = f"kill{number:05}x{turn:03}{'y' * 8}"
        os.write(out, f"begin {key} {name}\n".encode())
        try:
            ACTS[name](house, key, turn)
        except IntakeError as error:
            os.write(out, f"refused {key} {str(error)[:60]}\n".encode())
            continue
        os.write(out, f"saved {key} {name}\n".encode())
    os._exit(0)


def one_round(folder: Path, number: int, seed: random.Random, longest_s: float) -> tuple[bool, int, str]:
    """Kill one child; whether it died inside an act, how many acts it had reported, and which act it died in.

    Raises
    ------
    AssertionError
        Something reported saved is not on record, stands twice, or an act is there in part.
    """
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        burst(folder, random.Random(seed.random()), number, write)
    os.close(write)
    first = os.read(read, 1)  # it has opened the books and begun
    time.sleep(seed.random() * longest_s)
    os.kill(child, signal.SIGKILL)
    said = first
    while part := os.read(read, 65_536):
        said += part
    os.close(read)
    os.waitpid(child, 0)
    lines = [line.split(" ", 2) for line in said.decode().split("\n")[:-1]]
    saved = {key: name for word, key, name in lines if word == "saved"}
    last = lines[-1] if lines else ["", "", ""]
    house = open_house(folder, who="ada", now=NOW)
    try:
        entries = Counter(entry.key for key in saved for entry in house.act_of(key))
        assert all(count == 1 for count in entries.values()), "twice"
        for key, name in saved.items():
            assert name == "calendars" or house.act_of(key), f"lost: {name} {key}"
        if last[0] == "begin" and last[2] != "calendars":
            before = len(house.act_of(last[1]))
            again = open_house(folder, who="ada", now=NOW)
            try:
                ACTS[last[2]](again, last[1], int(last[1].split("x")[1][:3]))
            except IntakeError:
                assert before == 0, "refused though it is there"
            whole = len(again.act_of(last[1]))
            assert before in (0, whole), f"half: {last[2]} has {before} of {whole} entries"
            again.books.close()
        if number % 50 == 49:
            assert check_house(house) == []
    finally:
        house.books.close()
    return last[0] == "begin", len(saved), last[2] if last[0] == "begin" else ""


def main() -> None:
    """All rounds, and the figures."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000
    seed = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 20)
    hit, told, inside = 0, 0, Counter[str]()
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as beside:
        folder = Path(beside) / "farm"
        ready(folder)
        for number in range(many):
            if number % 100 == 0 and number:  # short books, so that a round is an act or two
                folder = Path(beside) / f"farm{number}"
                ready(folder)
            died, saved, name = one_round(folder, number, seed, 0.8)
            hit, told = hit + died, told + saved
            inside[name] += died
            print(f"{number + 1} kills, {hit} inside an act, {told} acts saved before", file=sys.stderr, flush=True)
    share = ", ".join(f"{name} {count}" for name, count in sorted(inside.items()) if name)
    print(
        f"{many} kills, {hit} inside a running act ({hit / many:.0%}: {share}); {told} acts told as saved; lost 0, twice 0, "
        f"half 0; {time.perf_counter() - began:.0f} s"
    )


if __name__ == "__main__":
    main()
