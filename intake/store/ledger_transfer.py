"""Taking the ledger of one site from one database to another, and proving that all of them arrived."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from intake.errors import Finding, Refused, StoreTrouble
from intake.ledger import balances, check
from intake.ledger.entries import Entry
from intake.store.books import Books

__all__ = ["transfer"]


def transfer(source: Books, target: Books) -> tuple[Entry, ...]:
    """Copy all entries of the source's site into the target's site, which must have none.

    The source is locked against writing meanwhile and stays as it is.  The copy is compared entry by entry before it is
    kept and read again afterwards: the same entries, in the same order, with the same balances and sound seals.

    Returns
    -------
    tuple
        The entries as the target has them.

    Raises
    ------
    Refused
        When the target's site has entries already.
    StoreTrouble
        When the source does not add up, or the copy is not the same; the target is left empty.
    """
    with source.write():
        given = source.entries()
        found = source.faults() + check(given)
        if found:
            raise StoreTrouble(found)
        with target.write() as unit:
            if unit.entries():
                do = "Transfer into an empty database, or under a site name not used yet."
                raise Refused(Finding(f"site {target.site!r} in {target.where}", "entries", "a site without any", do))
            unit.copy(given)
            _same(given, unit.entries(), target)
    arrived = target.entries()
    _same(given, arrived, target)
    if found := target.faults():
        raise StoreTrouble(found)
    return arrived


def _same(given: Sequence[Entry], arrived: Sequence[Entry], target: Books) -> None:
    """Raise when two readings differ in anything but the numbers the databases gave."""
    found = [
        Finding(f"copy in {target.where}", str(came), f"{went} of {what}", "Nothing was kept; repeat.")
        for what, went, came in (
            ("entries", len(given), len(arrived)),
            ("balances", len(balances(given)), len(balances(arrived))),
        )
        if went != came
    ]
    if not found and balances(given) != balances(arrived):
        found = [Finding(f"copy in {target.where}", "other balances", "the same balances", "Nothing was kept; repeat.")]
    for one, other in zip(given, arrived, strict=False):
        if found:
            break
        if replace(one, id=None) != replace(other, id=None):
            found = [Finding(f"copy in {target.where}", other.key, f"entry {one.key}, unchanged", "Repeat.")]
    if found:
        raise StoreTrouble(found)
