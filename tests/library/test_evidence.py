"""What a value says of its source and the class it bears say the same, for every value of the library."""

import re
from collections.abc import Iterator

from intake.library import Sourced, load

UNREAD = re.compile(
    r"common practice|from memory|hobby|forum|design default|not peer reviewed|no source", re.IGNORECASE
)
WORDS = {"memory": r"memory", "default": r"default|house rule", "published": r"[SZ]\d\d|\d{4}|NIOSH|derived|published"}


def values() -> Iterator[tuple[str, Sourced]]:
    """Every value with a source, by its place."""
    library = load()
    for group in library.groups.values():
        for name in type(group).model_fields:
            value = getattr(group, name)
            if isinstance(value, Sourced):
                yield f"{group.id}.{name}", value
    for kind, entries in (("dip", library.dips), ("hazard", library.hazards), ("treatment", library.treatments.by_id)):
        yield from ((f"{kind} {one.id}", one) for one in entries.values())
    for pest in library.pests.values():
        yield from ((f"pest {pest.id}", cycle) for cycle in pest.cycles)
    for number, pair in enumerate(library.incompatible, start=1):
        yield f"pair {number}", pair
    for number, verdict in enumerate(library.treatments.shipped, start=2):
        yield f"verdicts.csv row {number}", verdict
    yield from ((f"taxon {one.name}", one) for one in library.taxa.rows)


def test_published_means_that_nothing_else_is_said_beside_it() -> None:
    """A note that says practice or memory and a class that says published would print a figure without its mark."""
    faulty = [
        f"{where}: {one.source}" for where, one in values() if one.evidence == "published" and UNREAD.search(one.source)
    ]
    assert not faulty, "\n".join(faulty)


def test_memory_and_default_say_so_and_published_names_what_was_read() -> None:
    """The class is not a guess at the note: the note must hold its word."""
    faulty = [
        f"{where}: {one.evidence}: {one.source}"
        for where, one in values()
        if one.evidence in WORDS and not re.search(WORDS[one.evidence], f"{one.source} {getattr(one, 'basis', '')}")
    ]
    assert not faulty, "\n".join(faulty)


def test_every_tag_of_every_table_is_resolved() -> None:
    """A page that cites Z36 must be able to say what Z36 is."""
    sources = load().sources
    faulty = [
        f"{where} cites {tag}"
        for where, one in values()
        for tag in re.findall(r"\b[SZ]\d{2,3}\b", one.source)
        if tag not in sources
    ]
    assert not faulty, "\n".join(faulty)


def test_the_check_sees_the_fault_it_is_for() -> None:
    """The pattern catches the notes that were wrongly classed once."""
    for note in (
        "read in S19, S20; design default",
        "read in S110 (hobby), read in S18",
        "read in S85, from memory (status)",
    ):
        assert UNREAD.search(note), note
