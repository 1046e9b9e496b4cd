"""Names of animals: accepted names, synonyms and common names, and the husbandry group each of them belongs to.

The shipped table is general taxonomy written down from memory and is not checked against a list of names: its
``checked`` column is empty until someone does.  A farm lays its own ``names.csv`` over it.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal

from pydantic import Field

from intake.errors import BadInput, Finding
from intake.library.library_reading import model_of
from intake.library.library_values import Strict

__all__ = ["CLAM_MEDIUM_FROM_MM", "CLAM_MEDIUM_TO_MM", "Names", "Taxon", "folded", "load_names"]

CLAM_MEDIUM_FROM_MM = 50.0
CLAM_MEDIUM_TO_MM = 100.0
"""Shell lengths that part small, medium and large clams: the ``includes`` of the clam groups (common practice)."""

COLUMNS = ("accepted", "rank", "group", "synonyms", "common", "source", "checked")

_NOT_A_WORD = re.compile(r"[\W_]+")


class Taxon(Strict):
    """One species or genus, or a trade kind wider than a genus.

    Attributes
    ----------
    accepted
        The name the ledger keeps.
    group
        A group id; or ``clam_by_size``: small, medium or large by shell length; or ``clam_maxima``: the same, but
        burrowing when small and set on rock.
    source, checked
        Where the entry comes from, and when it was last compared with a list of names (ISO date, empty: never).
    """

    accepted: str = Field(min_length=3, max_length=80)
    rank: Literal["species", "genus", "kind"]
    group: str = Field(min_length=1)
    synonyms: tuple[str, ...] = ()
    common: tuple[str, ...] = ()
    source: str = Field(min_length=1)
    checked: str = Field(default="", pattern=r"^(\d{4}-\d{2}-\d{2})?$")

    @property
    def genus(self) -> str:
        """First word of the accepted name, empty for a trade kind."""
        return "" if self.rank == "kind" else self.accepted.split()[0]

    @property
    def scientific(self) -> tuple[str, ...]:
        """Accepted name and synonyms."""
        return (self.accepted, *self.synonyms)

    def group_for(self, size_mm: float | None, on_rock: bool = False) -> str:
        """Husbandry group of an animal of this taxon.

        Parameters
        ----------
        size_mm
            Shell length in mm; ``None`` when unknown, and then the answer is empty wherever size decides.
        on_rock
            Set on rock or other substrate rather than free-standing.
        """
        if self.group not in {"clam_by_size", "clam_maxima"}:
            return self.group
        if size_mm is None:
            return ""
        if self.group == "clam_maxima" and on_rock and size_mm < CLAM_MEDIUM_FROM_MM:
            return "clam_burrowing"
        if size_mm < CLAM_MEDIUM_FROM_MM:
            return "clam_small"
        return "clam_medium" if size_mm <= CLAM_MEDIUM_TO_MM else "clam_large"


def folded(text: str) -> str:
    """A name as it is compared: without accents, punctuation, capitals and doubled spaces."""
    plain = unicodedata.normalize("NFKD", text.casefold().replace("'", "").replace("’", ""))
    return _NOT_A_WORD.sub(" ", "".join(sign for sign in plain if not unicodedata.combining(sign))).strip()


@dataclass(frozen=True, slots=True)
class Names:
    """All names known to one farm, looked up by their folded form."""

    taxa: Mapping[str, Taxon]
    by_name: Mapping[str, tuple[Taxon, ...]]
    genera: Mapping[str, Taxon]
    with_species: frozenset[str]
    """Folded genera of which the table lists species: an unknown species of these is never taken as it stands."""
    spelled: Mapping[str, Taxon]
    """Every spelling that stands for one taxon only, for finding close ones."""

    def exact(self, written: str) -> tuple[Taxon, ...]:
        """Taxa that bear exactly this name; several when a common name is shared."""
        return self.by_name.get(folded(written), ())

    def genus(self, word: str) -> Taxon | None:
        """The genus of this name or synonym, if the table lists it."""
        return self.genera.get(folded(word))


def load_names(own: bytes | None = None) -> Names:
    """Read the shipped names and lay a farm's own ``names.csv`` over them.

    Parameters
    ----------
    own
        A CSV file in UTF-8 with the shipped columns; ``synonyms`` and ``common`` are parted by ``;``.  A row replaces
        the shipped one of the same accepted name.

    Raises
    ------
    BadInput
        With a finding per fault: row, column, value, what was expected.
    """
    return _shipped() if own is None else _index([*_shipped().taxa.values(), *_rows(own, "library/names.csv")])


@cache
def _shipped() -> Names:
    data = resources.files("intake.library").joinpath("data", "names.csv").read_bytes()
    return _index(_rows(data, "names.csv"))


def _rows(data: bytes, file: str) -> list[Taxon]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput(Finding(file, f"byte {error.start}", "UTF-8 text", "Save the file as UTF-8.")) from error
    reader = csv.DictReader(io.StringIO(text, newline=""))
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise BadInput(Finding(f"{file}, row 1", ", ".join(reader.fieldnames or ()), ", ".join(COLUMNS)))
    taxa: list[Taxon] = []
    faults: list[Finding] = []
    for number, row in enumerate(reader, start=2):
        cells = {column: (row.get(column) or "").strip() for column in COLUMNS}
        lists = {
            column: tuple(filter(None, map(str.strip, cells[column].split(";")))) for column in ("synonyms", "common")
        }
        try:
            taxa.append(model_of(Taxon, {**cells, **lists}, f"{file}, row {number}"))
        except BadInput as error:
            faults.extend(error.findings)
    if faults:
        raise BadInput(faults)
    return taxa


def _parted(cell: str) -> tuple[str, ...]:
    return tuple(name for part in cell.split(";") if (name := part.strip()))


def _index(taxa: Iterable[Taxon]) -> Names:
    named = {taxon.accepted: taxon for taxon in taxa}
    by_name: dict[str, list[Taxon]] = {}
    genera: dict[str, Taxon] = {}
    for taxon in named.values():
        for spelling in dict.fromkeys(folded(name) for name in (*taxon.scientific, *taxon.common)):
            by_name.setdefault(spelling, []).append(taxon)
        if taxon.rank == "genus":
            genera.update((folded(name), taxon) for name in taxon.scientific)
    spelled = {
        name: taxon
        for taxon in named.values()
        for name in (*taxon.scientific, *taxon.common)
        if len(by_name[folded(name)]) == 1
    }
    return Names(
        taxa=named,
        spelled=spelled,
        by_name={spelling: tuple(found) for spelling, found in by_name.items()},
        genera=genera,
        with_species=frozenset(folded(taxon.genus) for taxon in named.values() if taxon.rank == "species"),
    )
