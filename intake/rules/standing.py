"""Breaches that stand now, by vat: what no act brought before a rule, or what was done in spite of one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from intake.farm.floor import Floor
from intake.farm.site import Site
from intake.library import Library
from intake.rules.acts import Placing
from intake.rules.scene import Scene, portions
from intake.rules.values import Breach, Rule

__all__ = ["standing"]


def standing(rules: tuple[Rule, ...], site: Site, library: Library, floor: Floor) -> tuple[Breach, ...]:
    """Every breach of these rules by how things stand, in the order of the vats of the farm file.

    Stays in vats the farm file no longer has, and batches of groups the library no longer has, are left aside: the check
    of the ledger shows  them.
    """
    known = tuple(
        stay for stay in floor.stays if stay.vat in site.vats and floor.batches[stay.batch].group in library.groups
    )
    scene = Scene(site, library, replace(floor, stays=known))
    found: list[Breach] = []
    for vat in site.vats:
        rows = portions(scene.floor.in_vat(vat), scene.floor)
        if rows:
            found += _of(rules, scene, Placing(floor.at, rows, "check"))
    return tuple(dict.fromkeys(_once(found)))


def _of(rules: tuple[Rule, ...], scene: Scene, act: Placing) -> Iterator[Breach]:
    for rule in rules:
        if rule.severity != "warn":
            yield from rule.breaches(scene, act)


def _once(found: list[Breach]) -> Iterator[Breach]:
    """Each breach once: one of a whole water, or of two vats, is seen from each of its vats."""
    told: set[tuple[str, str, frozenset[str], str]] = set()
    for one in found:
        animals = frozenset(one.animals) if one.id.startswith("company") else frozenset()
        key = (one.id, one.where, animals, one.source)
        if key not in told:
            told.add(key)
            yield one
