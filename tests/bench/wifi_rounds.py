"""Phones in several browser engines count while the wifi is cut under their hands; prints what was lost or counted twice.

Run: python -m tests.bench.wifi_rounds [ROUNDS [ENGINE …]], three phones, by default of all engines this machine has.  Exit 1 if
anything was lost or doubled.
"""

from __future__ import annotations

import random
import signal
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from intake.app.access import devices
from intake.app.farm_folder import check_house
from intake.app.session import open_house
from intake.ledger import Movement, balances
from tests.bench.board_phones import BATCHES, PERSONS, farm
from tests.browser.conftest import Server
from tests.browser.engines import ENGINES, Chromium, Firefox, Phone, WebKit, missing, wait
from tests.browser.wifi import Wifi

PHONES = 3
SEED = 20270304
LONGEST_S = 600.0
"""Seconds a count may wait on a phone: on a busy machine an answer takes longer than one try of the page, and tries thin out."""


class Hand:
    """A person with one phone on a wifi of its own, and what they tapped."""

    def __init__(self, phone: Phone, server: Server, person: str, batch: str) -> None:
        self.phone, self.wifi, self.batch = phone, Wifi(server.port), batch
        self.tapped, self.up = 0, True
        house = open_house(server.folder)
        try:
            _, code = devices.invite(house, person)
        finally:
            house.books.close()
        self.base = f"http://{phone.host}:{self.wifi.port}"
        phone.go(f"{self.base}/join/{code}")
        wait(phone, "main", "device")
        phone.tap("main button")
        wait(phone, "main", "alive")
        self.open()

    def open(self) -> None:
        """Open the count page, from the server or, cut off, from what the browser kept."""
        self.phone.go(f"{self.base}/c")
        self.phone.go(f"{self.base}/c#{self.batch}")
        wait(self.phone, "#batch", self.batch)
        wait(self.phone, "#places", "Q1")

    def cut(self) -> None:
        """Cut its wifi."""
        if self.up:
            self.wifi.cut()
        self.up = False

    def restore(self) -> None:
        """Bring its wifi back."""
        if not self.up:
            self.wifi.restore()
        self.up = True

    def count(self, dead: int) -> None:
        """Tap so many dead and save."""
        for _ in range(dead):
            self.phone.tap("[data-head=dead] .more")
        if "Choose the vat" in self.phone.text("#save"):
            self.phone.tap('#places input[value="Q1"]')
        wait(self.phone, "#save", "Save")
        self.phone.tap("#save")
        wait(self.phone, "#recent li", f"{dead} dead · {self.batch} in Q1")  # from here on the page has promised it
        self.tapped += dead

    def all_sent(self) -> None:
        """Wait until nothing waits on the phone."""
        end = time.monotonic() + LONGEST_S
        while self.phone.text("#queue li"):
            if time.monotonic() > end:
                message = f"still waiting: {self.phone.text('#queue')} {self.phone.text('#state')}"
                raise AssertionError(message)
            time.sleep(0.1)


def one_round(hands: list[Hand], chance: random.Random) -> None:
    """Cut some before they count and some while their count is on its way; reload some cut off; bring all back."""
    for hand in hands:
        how = chance.choice(["before", "after", "twice"])
        if how == "before":
            hand.cut()
        hand.count(chance.randint(1, 3))
        if how != "before":
            time.sleep(chance.random() * 0.15)  # so that the request, its act or its answer is cut
            hand.cut()
        if how == "twice":
            hand.count(1)
        if chance.random() < 0.3:
            hand.open()
    time.sleep(chance.random())
    for hand in hands:
        hand.restore()
        if chance.random() < 0.7:
            hand.open()  # opened again it sends at once; else by its own clock
    for hand in hands:
        hand.all_sent()


def phones_of(engines: list[str], stack: ExitStack) -> list[Phone]:
    """Three phones, the engines in turn."""
    driver = None
    found: list[Phone] = []
    for number in range(PHONES):
        engine = engines[number % len(engines)]
        if engine == "chromium":
            from playwright.sync_api import sync_playwright

            driver = driver or stack.enter_context(sync_playwright())
            found.append(Chromium(driver))
        else:
            found.append(Firefox() if engine == "firefox" else WebKit())
        stack.callback(found[-1].close)
    return found


def main() -> None:
    """Run the rounds, then read the books."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    engines = sys.argv[2:] or [one for one in ENGINES if not missing(one)]
    lacking = {one: missing(one) for one in ENGINES if missing(one)}
    began, chance, done = time.monotonic(), random.Random(SEED), 0
    with tempfile.TemporaryDirectory() as name, ExitStack() as stack:
        folder = Path(name) / "farm"
        farm(folder, 0)
        server = Server(folder, _free_port(), Wifi(0))
        server.start()
        stack.callback(server.kill, signal.SIGTERM)
        phones = phones_of(engines, stack)
        hands = [
            Hand(phone, server, PERSONS[number % len(PERSONS)], BATCHES[number % 2])
            for number, phone in enumerate(phones)
        ]
        for done in range(1, rounds + 1):
            one_round(hands, chance)
            if done % 20 == 0:
                print(f"  {done} rounds, {time.monotonic() - began:.0f} s", flush=True)
        house = open_house(folder)
        entries, faults = house.entries(), check_house(house)
        house.books.close()
    told = sum(hand.tapped for hand in hands)
    dead = sum(number for (batch, place), number in balances(entries).items() if place == "dead" and batch in BATCHES)
    keys = [entry.key for entry in entries if isinstance(entry, Movement)]
    print(
        f"{done} rounds, {PHONES} phones ({', '.join(engines)}), {time.monotonic() - began:.0f} s: {told} tapped, {dead} dead on "
        f"record, {max(0, told - dead)} lost, {max(0, dead - told)} double, {len(keys) - len(set(keys))} keys twice, "
        f"check: {faults or 'clean'}" + "".join(f"; no {one}: {what}" for one, what in lacking.items())
    )
    if dead != told or faults or len(keys) != len(set(keys)):
        raise SystemExit(1)


def _free_port() -> int:
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


if __name__ == "__main__":
    main()
