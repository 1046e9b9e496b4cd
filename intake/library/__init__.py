"""The husbandry library: groups, dips, pests and what may not stand together, each value with its provenance.

The shipped data are placeholders of known quality, not advice: a farm overrides them file by file (``library/`` in the
farm folder, same schema), and the sheets mark every value that has no published source.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import Any, Literal, TypeVar

from intake.errors import BadInput, Finding, UnknownName
from intake.library.after_arrival import AfterArrival, read_after_arrival
from intake.library.company_rows import Incompatible, kin_of
from intake.library.dips import Dip
from intake.library.groups import Group
from intake.library.hazards import Hazard
from intake.library.library_reading import model_of, toml_of
from intake.library.library_tables import rows_of
from intake.library.library_values import Evidence, Sourced
from intake.library.pests import Cycle, Pest
from intake.library.taxa import Listing, Taxa, TaxonListing
from intake.library.treatments import Treatment, Treatments, Verdict

__all__ = [
    "FILES",
    "Cycle",
    "Dip",
    "Evidence",
    "Group",
    "Hazard",
    "Incompatible",
    "Library",
    "Listing",
    "Pest",
    "Sourced",
    "Treatments",
    "Verdict",
    "load",
    "shipped_bytes",
]

VERDICTS = "verdicts.csv"

FILES = ("groups.toml", "dips.toml", "pests.toml", "incompatible.toml", VERDICTS)
"""Files a farm may lay over the shipped ones; a row of its own verdicts wins over what is shipped, but lifts no *never*."""

_TABLES = FILES[:4]

_STRICTEST_FIRST: tuple[Literal["water", "vat", "touch"], ...] = ("water", "vat", "touch")

Model = TypeVar("Model", Group, Dip, Pest)


@dataclass(frozen=True, slots=True)
class Library:
    """All groups, dips, pests, incompatible pairs and sources of one farm."""

    groups: Mapping[str, Group]
    dips: Mapping[str, Dip]
    pests: Mapping[str, Pest]
    incompatible: tuple[Incompatible, ...]
    sources: Mapping[str, str]
    treatments: Treatments
    hazards: Mapping[str, Hazard]
    taxa: Taxa
    after_arrival: AfterArrival
    _kins: dict[tuple[str, str], str] = field(init=False, default_factory=dict, repr=False, compare=False)
    _pairs: dict[tuple[str, str], tuple[Incompatible, ...]] = field(
        init=False, default_factory=dict, repr=False, compare=False
    )
    _agents: dict[tuple[str, ...], tuple[str, ...]] = field(init=False, default_factory=dict, repr=False, compare=False)
    _verdicts: dict[tuple[str, str, str], Verdict] = field(init=False, default_factory=dict, repr=False, compare=False)
    """Answers found before: a full vat asks the same few of every two batches in it, and each act of every treatment ahead."""

    def group(self, identity: str, where: str = "husbandry group") -> Group:
        """The group of this id.

        Raises
        ------
        UnknownName
            No such group; the closest ids are offered.
        """
        if identity not in self.groups:
            raise UnknownName(where, identity, _closest(identity, self.groups), "husbandry group")
        return self.groups[identity]

    def kin(self, group: str, name: str) -> str:
        """The group of an animal, with its genus or family where some pair distinguishes them."""
        found = self._kins.get((group, name))
        if found is None:
            told_apart = frozenset(scope for rule in self.incompatible for scope in rule.scopes)
            found = self._kins[group, name] = kin_of(group, self.taxa.scopes(name), told_apart)
        return found

    def pairs(self, one: str, other: str) -> tuple[Incompatible, ...]:
        """Every pair two kins (or group ids) fall under, cautions among them."""
        found = self._pairs.get((one, other))
        if found is None:
            found = self._pairs[one, other] = tuple(rule for rule in self.incompatible if rule.covers(one, other))
        return found

    def apart(self, one: str, other: str) -> Literal["", "touch", "vat", "water"]:
        """How two kins must be kept apart: not at all, by a divider, by a vat, or by separate water."""
        kinds = {rule.kind for rule in self.pairs(one, other) if not rule.caution}
        for kind in _STRICTEST_FIRST:
            if kind in kinds:
                return kind
        return ""

    def agents(self, dip: str, *texts: str) -> tuple[str, ...]:
        """Agent classes a dip may mean: its own class, and what free text beside it names.

        A dip of the farm's own without a class is read by its words; empty when they name no agent known here.
        """
        found = self._agents.get((dip, *texts))
        if found is None:
            found = self._agents[dip, *texts] = self._agents_meant(dip, texts)
        return found

    def _agents_meant(self, dip: str, texts: Iterable[str]) -> tuple[str, ...]:
        known = self.dips.get(dip)
        said = self.treatments.meant(*texts)
        if known is None:
            return said
        treatment = self.treatments.by_id.get(dip)
        own = known.agent_class or (treatment.agent if treatment is not None else "")
        return tuple(dict.fromkeys([*((own,) if own else self.treatments.meant(known.agent)), *said]))

    def verdict(self, agent: str, group: str, name: str = "") -> Verdict:
        """The verdict on an agent class for an animal of a group and name."""
        found = self._verdicts.get((agent, group, name))
        if found is None:
            found = self.treatments.verdict(agent, group, self.taxa.scopes(name) if name else ())
            self._verdicts[agent, group, name] = found
        return found

    def listing(self, group: str, name: str) -> Listing:
        """What is known of an animal's listing: its taxon, else its group's text, else a listed species of its genus."""
        found = self.taxa.listing(name)
        if found is not None:
            return found
        listed = self.group(group).listed
        of_group = Listing(listed.appendix, listed.as_of, listed.source, listed.evidence, f"group {group}")
        return of_group if of_group.ask else self.taxa.sibling(name) or of_group


def shipped_bytes(name: str) -> bytes:
    """A shipped library file as it stands, for ``init`` and for reading."""
    return resources.files("intake.library").joinpath("data", name).read_bytes()


def load(overrides: Mapping[str, bytes] | None = None) -> Library:
    """Read the shipped library and lay a farm's own files over it.

    Parameters
    ----------
    overrides
        File name (``groups.toml`` …) → bytes.  A table of an id that is shipped replaces the keys it names; a new id
        adds an entry, which must then be complete.

    Raises
    ------
    BadInput
        With a finding per fault: file, table, key, value, what was expected.
    """
    if not overrides:
        return _shipped()
    unknown = sorted(set(overrides) - set(FILES))
    if unknown:
        raise BadInput(
            Finding(f"library/{unknown[0]}", unknown[0], ", ".join(FILES), "Rename the file or move it away.")
        )
    return _build({name: _merged(name, overrides.get(name)) for name in _TABLES}, overrides.get(VERDICTS))


@cache
def _shipped() -> Library:
    return _build({name: toml_of(shipped_bytes(name), name) for name in _TABLES})


def _merged(name: str, own: bytes | None) -> dict[str, Any]:
    tables = toml_of(shipped_bytes(name), name)
    if own is None:
        return tables
    for key, value in toml_of(own, f"library/{name}").items():
        if name == "incompatible.toml" and isinstance(value, list):
            tables[key] = [*tables.get(key, []), *value]
        elif isinstance(value, dict):
            tables[key] = {**tables.get(key, {}), **value}
        else:
            raise BadInput(Finding(f"library/{name}, {key}", str(value), "a table", "Write it as [id]."))
    return tables


@cache
def _fixed() -> tuple[Mapping[str, Treatment], tuple[Verdict, ...], Mapping[str, Hazard], Taxa]:
    """The tables a farm does not replace."""
    lists = {"groups": " ", "taxa": " "}
    treatments = rows_of(Treatment, shipped_bytes("treatments.csv"), "treatments.csv", {"words": ";"})
    hazards = rows_of(Hazard, shipped_bytes("hazards.csv"), "hazards.csv", lists)
    taxa = rows_of(TaxonListing, shipped_bytes("taxa.csv"), "taxa.csv", {"formerly": ";", "common": ";"})
    return (
        {one.id: one for one in treatments},
        rows_of(Verdict, shipped_bytes(VERDICTS), VERDICTS, lists),
        {one.id: one for one in hazards},
        Taxa.of(taxa),
    )


def _build(tables: Mapping[str, dict[str, Any]], own: bytes | None = None) -> Library:
    by_id, shipped, hazards, taxa = _fixed()
    file = f"library/{VERDICTS}"
    verdicts = () if own is None else rows_of(Verdict, own, file, {"groups": " ", "taxa": " "})
    treatments = Treatments(by_id, shipped, verdicts)
    treatments.check_own(file)
    library = Library(
        groups=_all(Group, tables["groups.toml"], "groups.toml"),
        dips=_all(Dip, tables["dips.toml"], "dips.toml"),
        pests=_all(Pest, tables["pests.toml"], "pests.toml"),
        incompatible=tuple(
            model_of(Incompatible, table, f"incompatible.toml, pair {number}")
            for number, table in enumerate(tables["incompatible.toml"].get("pair", []), start=1)
        ),
        sources=_sources(),
        treatments=treatments,
        hazards=hazards,
        taxa=taxa,
        after_arrival=read_after_arrival(shipped_bytes("after_arrival.csv")),
    )
    _cross_check(library)
    return library


def _all(model: type[Model], tables: Mapping[str, Any], file: str) -> dict[str, Model]:
    faults: list[Finding] = []
    entries: dict[str, Model] = {}
    for identity, table in tables.items():
        try:
            entries[identity] = model_of(model, {**table, "id": identity}, f"library/{file}, [{identity}]")
        except BadInput as error:
            faults.extend(error.findings)
    if faults:
        raise BadInput(faults)
    return entries


def _cross_check(library: Library) -> None:
    faults = [
        Finding(f"library/groups.toml, [{group.id}], dips", dip, "the id of a dip in dips.toml")
        for group in library.groups.values()
        for dip in (*group.dips, *group.dips_off)
        if dip not in library.dips
    ]
    faults += [
        Finding(f"library/dips.toml, [{dip.id}], pest", dip.pest, "the id of a pest in pests.toml")
        for dip in library.dips.values()
        if dip.pest and dip.pest not in library.pests
    ]
    faults += [
        Finding(f"library/dips.toml, [{dip.id}], agent_class", dip.agent_class, "an agent class of the verdicts")
        for dip in library.dips.values()
        if dip.agent_class and dip.agent_class not in library.treatments.agents
    ]
    if faults:
        raise BadInput(faults)


def _sources() -> dict[str, str]:
    rows = csv.DictReader(io.StringIO(shipped_bytes("sources.csv").decode("utf-8")))
    return {row["tag"]: f"{row['citation']} ({row['what_was_read']})" for row in rows}


def _closest(word: str, known: Iterable[str]) -> list[str]:
    def shared(other: str) -> int:
        pairs = set(pairwise(word.lower()))
        return len(pairs & set(pairwise(other.lower())))

    return [name for name in sorted(known, key=lambda other: (-shared(other), other))[:3] if shared(name)]
