"""Taxa of the trade: older names on permits, families, and what was read of their listing, taxon by taxon and dated.

Not legal advice.  *Not listed* means: no row in the list that was read, at its date; it never means that no permit is
needed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from intake.library.library_values import Sourced
from intake.library.names import folded, load_names

__all__ = ["Listing", "Taxa", "TaxonListing"]


class TaxonListing(Sourced):
    """One taxon.

    Attributes
    ----------
    formerly
        Older names under which permits still carry it.
    appendix
        ``I``, ``II``, ``III``; ``not listed`` in the list read; ``by species`` where it differs within the genus; empty
        where only the family is known.
    as_of
        Date of the list read, or from which the listing counts (ISO, or year and month).
    """

    name: str
    formerly: tuple[str, ...] = ()
    common: tuple[str, ...] = ()
    group: str = ""
    family: str = ""
    appendix: str = ""
    as_of: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Listing:
    """What is known of the listing of one animal: ``by`` says whether its taxon or only its group was looked up."""

    appendix: str
    as_of: str
    source: str
    evidence: str
    by: str

    @property
    def ask(self) -> bool:
        """Whether a permit is to be asked for: listed, or differing within its genus."""
        return self.appendix not in {"", "not listed"} and not self.appendix.startswith("no")


@dataclass(frozen=True, slots=True)
class Taxa:
    """All taxa, found by accepted, older or trade name, then by genus."""

    rows: tuple[TaxonListing, ...]
    by_name: Mapping[str, TaxonListing]

    @classmethod
    def of(cls, rows: Iterable[TaxonListing]) -> Taxa:
        """Index the rows; a name that is someone's own comes before one that is only an older or a trade name."""
        kept = tuple(rows)
        found: dict[str, TaxonListing] = {}
        for names in (lambda one: (one.name,), lambda one: one.formerly, lambda one: one.common):
            for one in kept:
                for name in names(one):
                    found.setdefault(folded(name), one)
        return cls(kept, found)

    def exact(self, name: str) -> TaxonListing | None:
        """The taxon of this name, or of a name the library's table of names takes for the same."""
        plain = name.removesuffix(" sp.").removesuffix(" spp.").strip()
        hit = self.by_name.get(folded(plain))
        if hit is None:
            spelled = load_names().exact(plain)
            if len(spelled) == 1:
                hits = [self.by_name.get(folded(other)) for other in spelled[0].scientific]
                hit = next((one for one in hits if one is not None), None)
        return hit

    def genus(self, name: str) -> str:
        """Genus of an animal, whether named by its scientific or its trade name; the first word when no one knows."""
        spelled = load_names().exact(name)
        if len(spelled) == 1 and spelled[0].genus:
            return spelled[0].genus
        hit = self.exact(name)
        words = (hit.name if hit is not None else name).split()
        return words[0] if words else ""

    def scopes(self, name: str) -> frozenset[str]:
        """Genus and family of an animal, as rules for some genera or families ask for them."""
        genus = self.genus(name)
        hit = self.by_name.get(folded(genus)) or self.exact(name)
        return frozenset(filter(None, (genus, hit.family if hit is not None else "")))

    def listing(self, name: str) -> Listing | None:
        """What the table says of a name: by species, else by genus; ``None`` when it says nothing."""
        for asked in (name, self.genus(name)):
            hit = self.exact(asked)
            if hit is not None and hit.appendix:
                return Listing(hit.appendix, hit.as_of, hit.source, hit.evidence, hit.name)
        return None

    def sibling(self, name: str) -> Listing | None:
        """A listed species of the same genus, so that a name the table lacks is asked about and not guessed."""
        genus = self.genus(name)
        listed = [one for one in self.rows if one.name.split()[0] == genus and one.appendix not in {"", "not listed"}]
        if listed:
            one = listed[0]
            return Listing("by species", one.as_of, one.source, one.evidence, one.name)
        return None
