"""The reference of the husbandry library: every shipped value with its provenance, unsourced ones marked †."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from pydantic import BaseModel

from intake.library import Library, Sourced
from intake.library.treatments import Treatment
from making.docstrings import attributes_of, summary_of
from making.markdown import page, table

__all__ = [
    "apart_page",
    "dips_page",
    "groups_page",
    "hazards_page",
    "names_page",
    "pests_page",
    "sources_page",
    "taxa_page",
    "treatments_page",
]

_PROVENANCE = ("source", "evidence", "checked")

MARK = (
    "† no published source: common practice, from memory, or a default of ours that the farm should overwrite. Tags such "
    "as S01 are listed in [sources](sources.md). A farm lays its own values over these: "
    "[override the library](../how-to/override-the-library.md). Nothing here is advice; ask your veterinarian."
)


def _library() -> Library:
    from intake.library import load

    return load()


def _figures(value: BaseModel) -> str:
    parts = []
    for name in type(value).model_fields:
        told = getattr(value, name)
        if name in _PROVENANCE or told in (None, "", ()):
            continue
        shown = "; ".join(told) if isinstance(told, tuple) else f"{told:g}" if isinstance(told, float) else str(told)
        parts.append(shown if name in ("text", "restart") else f"{name} {shown}")
    return ", ".join(parts)


def _marked(value: Sourced) -> str:
    return f"{value.evidence}{' †' if value.unsourced else ''}"


def _rows(group: BaseModel) -> Iterator[tuple[str, str, str, str]]:
    for name in type(group).model_fields:
        value = getattr(group, name)
        if isinstance(value, Sourced):
            dagger = " †" if value.unsourced else ""
            yield f"`{name}`", f"{_figures(value)}{dagger}", value.evidence, value.source


def groups_page() -> str:
    """Husbandry groups."""
    from intake.library import groups

    library = _library()
    told = [
        (f"`{name}`", summary_of(info.annotation))
        for name, info in groups.Group.model_fields.items()
        if isinstance(info.annotation, type) and issubclass(info.annotation, BaseModel)
    ]
    told.append(("`light`", summary_of(groups.Light)))
    told.append(("`fish_free`", summary_of(groups.FishFree)))
    evidence = attributes_of(Sourced)["evidence"]
    parts = [
        MARK,
        f"Evidence: {evidence}",
        "## What the values mean",
        table(("value", "meaning"), sorted(told)),
    ]
    for group in library.groups.values():
        dips = ", ".join(f"`{dip}`" for dip in group.dips) or "none"
        off = f"; off unless asked for: {', '.join(f'`{dip}`' for dip in group.dips_off)}" if group.dips_off else ""
        depth = f" Least water depth {group.depth_min_mm:g} mm." if group.depth_min_mm else ""
        parts += [
            f"## {group.id}",
            f"{group.name} ({group.kind}): {group.includes}. Protocol: {dips}{off}.{depth}",
            table(("value", "figures", "evidence", "source"), _rows(group)),
        ]
    return page("Husbandry groups", *parts)


def dips_page() -> str:
    """Dips, inspections and transfers."""
    from intake.library.dips import Dip

    told = attributes_of(Dip)
    parts = [
        MARK,
        (
            "Prescription baths carry no strength and no minutes: there is no default dose, and none is scheduled without a "
            "named prescriber and the reference of the prescription."
        ),
        "## What the values mean",
        table(("value", "meaning"), [(f"`{name}`", text) for name, text in told.items() if name in Dip.model_fields]),
    ]
    for dip in _library().dips.values():
        rows = [(f"`{name}`", _plain(getattr(dip, name))) for name in Dip.model_fields if name not in ("id", "name")]
        dagger = " †" if dip.unsourced else ""
        parts += [f"## {dip.id}", f"{dip.name}{dagger}", table(("value", "figures"), [row for row in rows if row[1]])]
    return page("Dips, inspections and transfers", *parts)


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, tuple):
        return "; ".join(str(one) for one in value)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def pests_page() -> str:
    """Pests and their life cycles."""
    from intake.library.pests import Cycle

    told = attributes_of(Cycle)
    parts = [
        MARK,
        table(("value", "meaning"), [(f"`{name}`", text) for name, text in told.items() if name in Cycle.model_fields]),
    ]
    heads = (
        "°C",
        "first hatch d",
        "mean hatch d",
        "last hatch d",
        "free d",
        "maturity d",
        "generation d",
        "evidence",
        "source",
    )
    for pest in _library().pests.values():
        rows = [
            (
                *(
                    _plain(figure)
                    for figure in (
                        cycle.temperature_c, cycle.first_hatch_d, cycle.mean_hatch_d, cycle.last_hatch_d, cycle.free_d,
                        cycle.maturity_d, cycle.generation_d,
                    )
                ),
                _marked(cycle),
                cycle.source,
            )
            for cycle in pest.cycles
        ]  # fmt: skip
        parts += [f"## {pest.id}", f"{pest.name}; hosts: {pest.hosts}. {pest.note}", table(heads, rows)]
    return page("Pests", *parts)


def _who(group: str, only: tuple[str, ...], but: tuple[str, ...]) -> str:
    scope = f" ({', '.join(only)})" if only else f" (not {', '.join(but)})" if but else ""
    return f"`{group}`{scope}"


def apart_page() -> str:
    """Pairs kept apart."""
    words = {"touch": "may not touch: a divider", "vat": "may not share a vat", "water": "may not share water"}
    rows = [
        (
            _who(pair.a, pair.a_taxa, pair.a_except),
            _who(pair.b, pair.b_taxa, pair.b_except),
            f"caution: {words[pair.kind]}" if pair.caution else words[pair.kind],
            pair.why,
            f"{pair.evidence}{' †' if pair.unsourced else ''}",
            pair.source,
        )
        for pair in _library().incompatible
    ]
    return page(
        "What is kept apart",
        MARK,
        "Pairs are read both ways; `*` stands for any letters. Where several hold the strictest counts. A caution is shown and "
        "keeps nobody apart. The plan also keeps apart groups whom no single light or flow of a vat can suit.",
        table(("group", "and", "rule", "why", "evidence", "source"), rows),
    )


def treatments_page() -> str:
    """Treatments and what each agent may do to each group."""
    treatments = _library().treatments
    parts = [
        MARK,
        (
            "A verdict belongs to the agent, not to the name of a dip. *Never* is lifted by nobody; *veterinarian*: in "
            "writing, for one batch; *prescriber*: with a reference; *test piece*: one animal, 24 h, and a reason. An agent "
            "or a group without a row is forbidden. Figures in the reasons are evidence, not doses."
        ),
    ]
    for agent in treatments.agents:
        named = [one for one in treatments.by_id.values() if one.agent == agent]
        rows = [
            (
                ", ".join(f"`{group}`" for group in one.groups) + (f" ({', '.join(one.taxa)})" if one.taxa else ""),
                f"{one.verdict}{f', {one.override}' if one.override and one.override != one.verdict else ''}",
                one.reason,
                _marked(one),
                one.source,
            )
            for one in treatments.shipped
            if one.agent == agent
        ]
        parts += [
            f"## {agent}",
            "; ".join(f"{one.name} (`{one.id}`, {_limits(one)})" for one in named) + ".",
            table(("groups", "verdict", "reason", "evidence", "source"), rows),
        ]
    return page("Treatments", *parts)


def _limits(one: Treatment) -> str:
    bounds = (
        ("min", one.contact_min, one.contact_max),
        ("°C", one.temperature_min_c, one.temperature_max_c),
        ("PSU", one.salinity_min_psu, one.salinity_max_psu),
    )
    told = [f"{_bound(low, high)} {unit}" for unit, low, high in bounds if low is not None or high is not None]
    return ", ".join([one.where, *told])


def _bound(low: float | None, high: float | None) -> str:
    if low is None:
        return f"at most {high:g}"
    return f"at least {low:g}" if high is None else f"{low:g}–{high:g}"


def hazards_page() -> str:
    """Hazards and how long water without hosts must stand."""
    rows = [
        (
            f"`{one.id}`",
            one.name,
            ", ".join(f"`{group}`" for group in one.groups),
            one.host_free_days or "not known",
            one.basis,
            _marked(one),
            one.source,
        )
        for one in _library().hazards.values()
    ]
    heads = ("id", "hazard", "strikes", "host-free days", "basis", "evidence", "source")
    note = (
        "A finding of one of these closes its water to the groups it strikes until the days have passed without a host."
    )
    return page("Hazards", MARK, note, table(heads, rows))


def taxa_page() -> str:
    """Taxa with their listing."""
    rows = [
        (one.name, "; ".join(one.formerly), f"`{one.group}`" if one.group else "", one.family, one.appendix, one.as_of,
         one.note, f"{_marked(one)}; {one.source}")
        for one in _library().taxa.rows
        if one.appendix
    ]  # fmt: skip
    heads = ("taxon", "formerly", "group", "family", "appendix", "as of", "note", "evidence")
    note = (
        "*Not listed* means: no row in the list that was read, at its date. It never means that no permit is needed. Not "
        "legal advice; check the list valid today."
    )
    return page("Taxa and their listing", note, table(heads, rows))


def sources_page() -> str:
    """Where the values are from."""
    from intake.library import shipped_bytes

    rows = csv.DictReader(io.StringIO(shipped_bytes("sources.csv").decode("utf-8")))
    return page(
        "Sources",
        "What the tags of the library stand for, and what of each was read: an abstract is not the paper.",
        table(("tag", "kind", "citation", "what was read"), [tuple(row.values()) for row in rows]),
    )


def names_page() -> str:
    """Names of animals."""
    from intake.library.names import Taxon, load_names

    told = attributes_of(Taxon)
    taxa = load_names().taxa.values()
    unchecked = sum(not taxon.checked for taxon in taxa)
    return page(
        "Names of animals",
        f"Names the packing list may use. {unchecked} of {len(taxa)} entries were never compared with a list of names: they "
        "are general taxonomy written down from memory. Lay your own `library/names.csv` over them (same columns).",
        table(
            ("column", "meaning"), [(f"`{name}`", text) for name, text in told.items() if name in Taxon.model_fields]
        ),
        table(
            ("accepted", "rank", "group", "synonyms", "common"),
            [(t.accepted, t.rank, f"`{t.group}`", "; ".join(t.synonyms), "; ".join(t.common)) for t in taxa],
        ),
    )
