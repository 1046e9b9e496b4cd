"""Histories of an invented farm at random, for asking whether two ways of reading the books agree."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from intake.errors import IntakeError
from intake.ledger import Entry, Movement, Record, counter
from intake.store import Books
from intake.store.view import View
from tests.ledger.books import Scribe, hour

BATCHES = ("S1-01", "S1-02", "S2-01", "H1", "C1")
VATS = ("Q1", "Q2", "G1")


class Chronicle:
    """Writes acts at random: comings, moves, losses, work, findings, readings, holds, and corrections of any age."""

    def __init__(self, books: Books, seed: int, *, days: float = 160) -> None:
        self.books, self.chance, self.scribe = books, random.Random(seed), Scribe()
        self.now = 0.0
        self.step = days * 24 / 40
        self.written: list[Entry] = []
        self.refused = 0

    def act(self, look: Callable[[View], object] | None = None) -> None:
        """One act, which the books may refuse.

        Parameters
        ----------
        look
            Reads inside the transaction, as what follows an act does: before, between and after its entries, and again
            by the view of before when all is written.  What was read is left to the next reader.
        """
        self.now += self.chance.choice((0.0, 0.05, self.step * self.chance.random() * 2))
        do = self.chance.choice(
            (self._come, self._come, self._move, self._lose, self._lose, self._note, self._note, self._note, self._read,
             self._hold, self._farm, self._correct, self._correct)
        )  # fmt: skip
        entries = do()
        seen: View | None = None
        try:
            with self.books.write() as unit:
                for entry in entries:
                    before = seen
                    if look is not None and self.chance.random() < 0.7:
                        seen = (seen or self.books.view()).within(unit.ask, unit.entries)
                        look(seen)
                    unit.move(entry) if isinstance(entry, Movement) else unit.note(entry)
                    if look is not None and before is not None:
                        look(before)
                if look is not None and seen is not None and self.chance.random() < 0.7:
                    look(seen)
                    seen = seen.within(unit.ask, unit.entries)
                    look(seen)
            self.books.learn(seen)
        except IntakeError:
            self.refused += 1
            return
        self.written += entries

    def _ago(self) -> float:
        """When it happened: now, some minutes ahead within the slack of clocks, or long before."""
        return self.now + self.chance.choice((0.0, 0.0, 0.06, -1.0, -30.0, -24.0 * 70)) if self.now > 1700 else self.now

    def _move_of(self, batch: str, way: str, count: int) -> Movement:
        return self.scribe.move(batch, way, count, self._ago(), recorded=self.now)

    def _come(self) -> list[Entry]:
        batch = self.chance.choice(BATCHES)
        vat = self.chance.choice(VATS)
        payload = {
            "id": batch, "name": batch, "group": "clam", "size_mm": 40.0, "announced": 9,
            "shipment": batch.split("-")[0] if "-" in batch else "",
        }  # fmt: skip
        told: list[Entry] = [
            self.scribe.note("batch", batch, self.now, recorded=self.now, **payload),  # type: ignore[arg-type]
            self._move_of(batch, f"supplier > vat:{vat}" if self.chance.random() < 0.8 else "supplier > dock", 9),
            self.scribe.note("stage", batch, self.now, batch=batch, vat=vat, stage="quarantine"),
        ]
        if "-" in batch:
            told.append(self.scribe.note("received", batch.split("-")[0], self.now))
        return told

    def _move(self) -> list[Entry]:
        one, other = self.chance.sample(VATS, 2)
        return [self._move_of(self.chance.choice(BATCHES), f"vat:{one} > vat:{other}", self.chance.randint(1, 9))]

    def _lose(self) -> list[Entry]:
        head = self.chance.choice(("dead", "missing", "sold"))
        return [self._move_of(self.chance.choice(BATCHES), f"vat:{self.chance.choice(VATS)} > {head}", 3)]

    def _note(self) -> list[Entry]:
        batch = self.chance.choice((*BATCHES, ""))
        kind = self.chance.choice(("done", "finding", "cleaned"))
        vat = self.chance.choice(VATS)
        subject = {"done": f"t{self.chance.randint(0, 9)}", "finding": batch or f"vat:{vat}", "cleaned": vat}[kind]
        payload = {"batch": batch, "kind": "dip", "what": self.chance.choice(("", "", "mite")), "vat": vat}
        payload["where"] = self.chance.choice(("tub", "tub", "vat"))
        return [self.scribe.note(kind, subject, self._ago(), recorded=self.now, **payload)]

    def _read(self) -> list[Entry]:
        quantity = self.chance.choice(("temperature_c", "salinity"))
        place = self.chance.choice(("main", "vat:Q1"))
        value = self.chance.randint(20, 30)
        return [self.scribe.note("reading", place, self._ago(), recorded=self.now, quantity=quantity, value=value)]

    def _farm(self) -> list[Entry]:
        vat, what = self.chance.choice(VATS), self.chance.choice(("closed", "opened"))
        batch = self.chance.choice(BATCHES)
        return [
            self.scribe.note("farm", f"closing of {vat}", self.now, what=what, vat=vat, reason="leak"),
            self.scribe.note("prescription", f"{batch}/salt", self.now, batch=batch, dip="salt", reason="mites"),
        ]

    def _hold(self) -> list[Entry]:
        kind = self.chance.choice(("hold", "hold", "lift"))
        return [self.scribe.note(kind, self.chance.choice(BATCHES), self.now, reason="spots")]

    def _correct(self) -> list[Entry]:
        if not self.written:
            return []
        entry = self.chance.choice(self.written)
        key = f"c{len(self.written)}-{self.refused}"
        if isinstance(entry, Movement):
            part = self.chance.randint(1, entry.count)
            return [counter(entry, part, at=hour(self.now), who="Ada", key=key)]
        withdrawn = {**entry.payload, "withdrawn": True}
        payload = withdrawn if self.chance.random() < 0.6 else entry.payload
        earlier = entry.happened_at - timedelta(hours=self.chance.choice((0, 1, 24 * 80)))
        return [
            replace(
                entry,
                payload=payload,
                recorded_at=hour(self.now),
                happened_at=earlier,
                key=key,
                corrects=entry.key,
                id=None,
            )
        ]


def scope_of(entries: tuple[Entry, ...], lately: Callable[[Entry], bool]) -> set[str]:
    """Batches of which something was recorded lately, by the entries alone; corrections belong where their subject does."""
    owner: dict[str, str] = {}
    found: set[str] = set()
    for entry in entries:
        if isinstance(entry, Movement):
            batch = entry.batch
        else:
            batch = owner.get(entry.corrects or "", _own(entry))
            owner[entry.key] = batch
        if batch and lately(entry):
            found.add(batch)
    return found


def _own(record: Record) -> str:
    if record.kind in ("batch", "hold", "lift", "stage"):
        return record.subject
    return str(record.payload.get("batch", "")) if record.kind in ("done", "finding", "prescription") else ""
