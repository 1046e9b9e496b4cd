"""Words of a library that stand on papers and in calendars, which a catalogue of a language must therefore hold."""

from __future__ import annotations

from collections.abc import Iterator

from intake.library import Library

__all__ = ["shown_words"]

_PLACED = ("clam-orientation", "air-exposure")
"""Topics of the table of the first weeks that the intake sheet shows."""


def shown_words(library: Library) -> Iterator[str]:
    """Baths with their agents, strengths and protection, what becomes of their water, cautions, and names of groups."""
    for dip in library.dips.values():
        yield from (dip.name, dip.agent, dip.strength.removeprefix("none: "), dip.why, *dip.protection)
    for treatment in library.treatments.by_id.values():
        yield treatment.disposal
    for group in library.groups.values():
        yield from (group.name, group.quarantine.restart)
        for topic in _PLACED:
            for row in library.after_arrival.of(topic, group.id):
                yield from (row.rule, row.value)
        yield from group.cautions.text
    for pair in library.incompatible:
        yield pair.why
