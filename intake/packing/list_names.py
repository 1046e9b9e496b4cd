"""A written name to a taxon: exactly, by rule at the level of the genus, or as proposals to choose from."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from intake.errors import quoted
from intake.library import Library
from intake.library.names import Names, Taxon, folded

__all__ = ["Match", "Open", "answered", "match"]

_SIZE = re.compile(
    r"\(?[<>~≈]?\s*\d[\d.,/½¼¾ ]*(?:\s*(?:-|–|to)\s*\d[\d.,/½¼¾ ]*)?\s*(?:mm|cm|inch(?:es)?|in\b|[\"″”])\.?\)?",
    re.IGNORECASE,
)
_AUTHOR = re.compile(r"\(?\b[A-Z][\w'’-]+(?: (?:&|et|and) [A-Z][\w'’-]+)?,? (?:17|18|19|20)\d\d\b\)?")
_PARTS = re.compile(r"[()\[\]/,;:]| [-–—] ")
_ROCK = re.compile(
    r"\b(on|in|w|with) (live )?(rock|substrate|plug|stone)\b|\brock[- ]?set\b|\bsubstrate\b", re.IGNORECASE
)

_OPEN_NAMES = frozenset(["sp", "spp", "ssp", "cf", "aff", "nov", "species", "indet", "unidentified"])
_MIXTURES = frozenset(["assorted", "asst", "assort", "mixed", "mix", "various", "variety"])
_COLOURS = frozenset(
    {"blue", "green", "red", "gold", "golden", "purple", "pink", "orange", "yellow", "brown", "black", "white", "teal"}
    | {"cream", "grey", "gray", "silver", "striped", "spotted", "metallic", "neon", "bright", "dark", "light", "multi"}
    | {"colour", "color", "colours", "colors", "coloured", "colored", "multicolour", "multicolor"}
)
_SORTS = frozenset(
    {
        "photo",
        "pic",
        "picture",
        "mother",
        "broodstock",
        "ultra",
        "premium",
        "super",
        "select",
        "selected",
        "grade",
        "a",
        "b",
        "aa",
        "aaa",
        "s",
        "m",
        "l",
        "xl",
        "xs",
    }
    | {"small", "medium", "large", "extra", "mini", "jumbo", "tiny", "nano", "show", "male", "female", "pair"}
    | {"frag", "frags", "fragment", "fragments", "colony", "colonies", "piece", "pieces", "pc", "pcs", "head", "heads"}
    | {"polyp", "polyps", "plug", "plugs", "rock", "rocks", "on", "in", "with", "of", "the", "live", "wild", "adult"}
    | {"cultured", "maricultured", "aquacultured", "farmed", "captive", "bred", "tank", "raised", "mariculture"}
    | {"juvenile", "sub"}
)
_DESCRIPTIVE = _COLOURS | _SORTS
_EPITHET = re.compile(r"[a-z]{4,}")
_LONGEST_NAME = 200  # characters: what follows them names nothing
_CLOSE = 70.0
"""Lowest likeness (0 to 100, weighted ratio) of a proposal; an unlisted genus scored 47 against its nearest."""


@dataclass(frozen=True, slots=True)
class Match:
    """A name that is settled.

    Attributes
    ----------
    name
        Name the ledger keeps.
    taxon
        Entry of the library it rests on; ``None`` when an answer names only a group.
    group
        Group given by an answer; empty: the taxon's rule decides.
    why
        How it was settled.
    exact
        Whether the name stood in the library word for word.
    """

    name: str
    taxon: Taxon | None
    group: str = ""
    why: str = ""
    exact: bool = False


@dataclass(frozen=True, slots=True)
class Open:
    """A name that a person must settle; ``closest`` are names of the library, best first."""

    written: str
    closest: tuple[str, ...]
    why: str


def match(written: str, names: Names) -> Match | Open:
    """Settle a written name, or say what it could be.

    Word for word is settled.  ``sp.``, ``spp.``, ``cf.``, ``aff.`` and mixtures are settled at the level of the genus,
    never at a species.  A genus whose species all share one group takes any species.  All else is a proposal.
    """
    written = written[:_LONGEST_NAME]
    found = names.exact(written)
    if len(found) == 1:
        return _settled(written, found[0], exact=True)
    if len(found) > 1:
        return Open(written, tuple(dict.fromkeys(_label(taxon) for taxon in found)), "several animals bear this name")
    bare = _AUTHOR.sub(" ", _SIZE.sub(" ", written))
    words = folded(bare).split()
    if _OPEN_NAMES & set(words):
        return _open_name(written, words, names)
    by_parts = _by_parts(written, bare, names)
    if by_parts is not None:
        return by_parts
    return _described(written, words, names)


def set_on_rock(*texts: str) -> bool:
    """Whether a line says that its animals sit on rock or other substrate."""
    return any(_ROCK.search(text) for text in texts)


def answered(value: str, written: str, names: Names, library: Library) -> Match | None:
    """What an answer makes of a written name: a name of the library, a group id, or ``NAME / GROUP``; else ``None``."""
    name, slash, group = (part.strip() for part in value.partition(" / "))
    if slash and group in library.groups and name:
        found = names.exact(name)
        return Match(name, found[0] if len(found) == 1 else None, group, "answered: name and group")
    if value in library.groups:
        return Match(written, None, value, "answered: group only")
    genus = re.fullmatch(r"(\w+) spp?\.?", value)
    found = (taxon,) if genus and (taxon := names.genus(genus[1])) else names.exact(value)
    if len(found) >= 1 and len({_label(each) for each in found}) == 1:
        return Match(_label(found[0]), found[0], "", f"answered for {quoted(written)}")
    alike = [taxon for taxon in found if folded(taxon.accepted) == folded(value)]
    return Match(_label(alike[0]), alike[0], "", f"answered for {quoted(written)}") if len(alike) == 1 else None


def _label(taxon: Taxon) -> str:
    return f"{taxon.accepted} sp." if taxon.rank == "genus" else taxon.accepted


def _settled(written: str, taxon: Taxon, *, exact: bool, why: str = "") -> Match:
    name = _label(taxon)
    if not why:
        why = "as written" if folded(written) in (folded(taxon.accepted), folded(name)) else "another of its names"
    return Match(name, taxon, "", why, exact)


def _open_name(written: str, words: list[str], names: Names) -> Match | Open:
    """``Tridacna sp.``, ``Tridacna cf. maxima``: the genus decides, and the species named is not believed."""
    kept = [word for word in words if word not in _OPEN_NAMES | _MIXTURES | _DESCRIPTIVE]
    for word in kept:
        genus = names.genus(word)
        if genus is not None:
            doubtful = re.search(r"\b(cf|aff)\b\.?\s+([a-z]+)", written)
            name = f"{genus.accepted} {doubtful[1]}. {doubtful[2]}" if doubtful else _label(genus)
            return Match(name, genus, "", "named to the genus only; grouped by the genus")
    genera = _alike(" ".join(kept[:1]), (taxon.accepted for taxon in names.taxa.values() if taxon.rank == "genus"))
    return Open(written, tuple(f"{genus} sp." for genus in genera), "named to a genus that is not listed")


def _by_parts(written: str, bare: str, names: Names) -> Match | Open | None:
    """``Tridacna maxima (small giant clam)``: parts that each name something must not name different animals."""
    found: list[Taxon] = []
    unread: list[str] = []
    for part in filter(None, map(str.strip, _PARTS.split(bare))):
        taxa = names.exact(part)
        if len(taxa) == 1 and taxa[0] not in found:
            found.append(taxa[0])
        elif not taxa:
            unread.extend(word for word in folded(part).split() if word not in _DESCRIPTIVE | _MIXTURES)
    if not found:
        return None
    if unread:
        return Open(
            written,
            tuple(_label(taxon) for taxon in found),
            f"known, but {quoted(unread[0])} beside it is not understood",
        )
    species = [taxon for taxon in found if taxon.rank == "species"] or found
    if len(species) > 1 or any(taxon.genus != species[0].genus for taxon in found):
        return Open(written, tuple(_label(taxon) for taxon in found), "its parts name different animals")
    return _settled(written, species[0], exact=False)


def _described(written: str, words: list[str], names: Names) -> Match | Open:
    kept = [word for word in words if word not in _DESCRIPTIVE | _MIXTURES]
    found = names.exact(" ".join(kept))
    if len(found) == 1:
        return _settled(written, found[0], exact=False, why="descriptive words set aside")
    if len(found) > 1:
        return Open(written, tuple(_label(taxon) for taxon in found), "several animals bear this name")
    genus = names.genus(kept[0]) if kept else None
    takes_any = genus is not None and folded(genus.accepted) not in names.with_species
    if genus is not None and takes_any and len(kept) == 2 and _EPITHET.fullmatch(kept[1]):
        why = "species not listed; all of its genus share one group"
        return Match(f"{kept[0].capitalize()} {kept[1]}", genus, "", why)
    if genus is not None and _MIXTURES & set(words):
        return Match(_label(genus), genus, "", "a mixture; grouped by the genus")
    return Open(written, _proposals(written, kept or words, names), "not a known name")


def _proposals(written: str, words: list[str], names: Names) -> tuple[str, ...]:
    spelled = names.spelled
    first: list[str] = []
    if len(words) == 2 and len(words[0]) == 1:
        first = [
            taxon.accepted
            for name, taxon in spelled.items()
            if name in taxon.scientific
            and folded(name).split()[0][0] == words[0]
            and folded(name).split()[-1] == words[1]
        ]
    close = _alike(" ".join(words) or folded(written), spelled)
    return tuple(dict.fromkeys([*first, *(_label(spelled[name]) for name in close)]))[:5]


def _alike(text: str, among: Iterable[str]) -> list[str]:
    from rapidfuzz import fuzz, process

    if not text:
        return []
    found = process.extract(text, list(among), scorer=fuzz.WRatio, processor=folded, limit=8, score_cutoff=_CLOSE)
    return [name for name, _, _ in found]
