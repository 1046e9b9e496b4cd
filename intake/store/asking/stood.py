"""Questions to one site's rows about who stood where, and what came and went."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from datetime import datetime
from typing import Final

from sqlalchemy import select

from intake.ledger.entries import SOURCES, Entry
from intake.store.asking.questions import AT_ONCE, Questions, Reach, parts, recorded_order
from intake.store.entry_reading import vats_left
from intake.store.ledger_tables import HOLDING, MOVEMENT, stored_time

__all__ = ["Asked"]

_LEFT_LAST: Final = 3


class Asked(Questions):
    """Every question there is, those of :class:`~intake.store.asking.questions.Questions` among them."""

    def up_to(self, reach: Reach) -> Asked:
        """The same questions to the rows up to a reach."""
        return Asked(self._connection, self._site, reach)

    def stood_since(self, places: Iterable[str], since: datetime | None) -> frozenset[str]:
        """Batches that live, and those of which animals left one of these places from a moment on (ever, if ``None``)."""
        found = set(self.living())
        given = [] if since is None else [MOVEMENT.c.happened_at >= stored_time(since)]
        for part in parts(sorted(set(places))):
            left = self._of(MOVEMENT, MOVEMENT.c.source.in_(part), *given, order=())
            found.update(self._connection.execute(left.with_only_columns(MOVEMENT.c.batch).distinct()).scalars())
        return frozenset(found)

    def last_out_of(self, place: str, many: int) -> tuple[str, ...]:
        """So many batches of which animals left a place last, the latest first; of all movements only the last are read."""
        newest = (MOVEMENT.c.happened_at.desc(), MOVEMENT.c.id.desc())
        query = self._of(MOVEMENT, MOVEMENT.c.source == place, order=newest).with_only_columns(MOVEMENT.c.batch)
        found: dict[str, None] = {}
        for start in itertools.count(0, AT_ONCE):
            came = self._connection.execute(query.offset(start).limit(AT_ONCE)).scalars().all()
            found |= dict.fromkeys(map(str, came))
            if len(came) < AT_ONCE or len(found) >= many:
                return tuple(found)[:many]
        raise AssertionError

    def ended_in(self, place: str) -> frozenset[str]:
        """Batches of which animals ended in a place that is no vat: ``sold``, ``doa`` and so on."""
        given = (HOLDING.c.site == self._site, HOLDING.c.place == place, HOLDING.c.count > 0)
        return frozenset(map(str, self._connection.execute(select(HOLDING.c.batch).where(*given)).scalars()))

    def landed(self) -> tuple[Entry, ...]:
        """Movements that say how many animals came and how many of them dead: a few of each batch there ever was.

        Where animals were dead on arrival or missing, all movements of the batch: when they were missed matters.
        """
        whole = self.ended_in("doa") | self.ended_in("missing")
        came = [MOVEMENT.c.source.in_(sorted(SOURCES)), MOVEMENT.c.corrects.is_not(None)]
        queries = [self._of(MOVEMENT, one, order=()) for one in came]
        queries += [self._of(MOVEMENT, MOVEMENT.c.batch.in_(part), order=()) for part in parts(sorted(whole))]
        found = {entry.id: entry for query in queries for entry in self._merged(query)}
        return recorded_order(found.values())

    def last_to_leave(self) -> frozenset[str]:
        """Batches of the last movements out of each vat; several of each, since the last may have been undone."""
        places = vats_left(self._site)
        moved = self._of(MOVEMENT, MOVEMENT.c.source == places.c.place, order=()).with_only_columns(MOVEMENT.c.batch)
        newest = moved.order_by(MOVEMENT.c.happened_at.desc(), MOVEMENT.c.id.desc()).limit(1).correlate(places)
        asked = select(*(newest.offset(back).scalar_subquery() for back in range(_LEFT_LAST))).select_from(places)
        return frozenset(str(one) for row in self._connection.execute(asked) for one in row if one is not None)
