"""Written names: exact ones are taken, open ones stay at the genus, all else is proposed and answered by a person."""

from __future__ import annotations

import pytest

from intake.errors import BadInput
from intake.library import load
from intake.library.names import COLUMNS, load_names
from intake.packing.list_names import Match, Open, match
from intake.packing.understanding import Understanding
from tests.packing.books import keys, understood

NAMES = load_names()


def line_of(name: str, answers: dict[str, str] | None = None, common: str = "", size: str = "4") -> Understanding:
    """A list of one line with this name."""
    text = f"Species;Common name;Size (cm);Qty\n{name};{common};{size};10\n"
    return understood(text, answers)


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Tridacna maxima", "Tridacna maxima"),
        ("TRIDACNA  MAXIMA ", "Tridacna maxima"),
        ("Trochus niloticus", "Rochia nilotica"),
        ("Trochus niloticus Linnaeus, 1767", "Rochia nilotica"),
        ("Euphyllia ancora", "Fimbriaphyllia ancora"),
        ("Hammer coral (green)", "Fimbriaphyllia ancora"),
        ("Tridacna maxima (small giant clam)", "Tridacna maxima"),
        ("Tridacna maxima 4-5cm ultra blue", "Tridacna maxima"),
        ("Acropora", "Acropora sp."),
        ("Acropora tenuis", "Acropora tenuis"),
        ("organ pipe coral", "Tubipora musica"),
    ],
)
def test_names_word_for_word_are_taken(written: str, name: str) -> None:
    """Accepted names, synonyms, unshared common names, with author, size or colour beside them."""
    found = match(written, NAMES)
    assert isinstance(found, Match)
    assert found.name == name


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Tridacna sp.", "Tridacna sp."),
        ("Tridacna spp", "Tridacna sp."),
        ("tridacna SP", "Tridacna sp."),
        ("Tridacna cf. maxima", "Tridacna cf. maxima"),
        ("Tridacna aff. squamosa", "Tridacna aff. squamosa"),
        ("Assorted Tridacna", "Tridacna sp."),
        ("Acropora (mixed)", "Acropora sp."),
        ("Mixed Euphyllia", "Euphyllia sp."),
    ],
)
def test_open_names_stay_at_the_genus(written: str, name: str) -> None:
    """'Tridacna sp.' must never become T. squamosa, which is what likeness alone makes of it (86 of 100)."""
    found = match(written, NAMES)
    assert isinstance(found, Match)
    assert found.name == name
    assert found.taxon is not None
    assert found.taxon.rank == "genus"


@pytest.mark.parametrize(
    ("written", "first"),
    [
        ("Trochus niloticuss", "Rochia nilotica"),
        ("tridacna maximus", "Tridacna maxima"),
        ("T. crocea", "Tridacna crocea"),
        ("Tridachna sp.", "Tridacna sp."),
        ("Fimbriaphylia ancora", "Fimbriaphyllia ancora"),
    ],
)
def test_a_likely_name_is_proposed_first_and_never_chosen(written: str, first: str) -> None:
    """Likeness only proposes: the line has no group until a person says so."""
    shipment = line_of(written)
    question = next(question for question in shipment.questions if question.key.startswith("name:"))
    assert question.choices[0] == first
    assert shipment.lines[0].group == ""
    answered = line_of(written, {question.key: first})
    assert answered.ready
    assert answered.lines[0].name == first
    assert answered.lines[0].written == written


def test_an_unlisted_genus_is_not_pressed_into_a_listed_one() -> None:
    """Without Hippopus in the list, 'Hippopus' is unknown, not the nearest (Trochus, 47 of 100)."""
    header = ",".join(COLUMNS)
    without = {name: taxon for name, taxon in NAMES.taxa.items() if taxon.genus != "Hippopus"}
    assert load_names(f"{header}\n".encode()).taxa == NAMES.taxa
    from intake.library.names import _index

    found = match("Hippopus", _index(without.values()))
    assert isinstance(found, Open)
    assert "Trochus sp." not in found.closest
    assert not any(name.startswith(("Rochia", "Tectus")) for name in found.closest)


@pytest.mark.parametrize("written", ["Qwertia asdfia", "鹿角珊瑚", "???", "12 pcs green", "x" * 5000])
def test_an_unknown_name_is_asked_and_takes_a_group(written: str) -> None:
    """An animal the list of names does not hold can still be taken in under a husbandry group."""
    asked = line_of(written)
    (key,) = keys(asked)
    assert key.startswith("name:")
    assert len(key) > len("name:")
    by_group = line_of(written, {key: "zoanthid"})
    assert by_group.ready
    assert by_group.lines[0].group == "zoanthid"
    both = line_of(written, {key: "House polyp / soft_polyp"})
    assert (both.lines[0].name, both.lines[0].group) == ("House polyp", "soft_polyp")
    assert line_of(written, {key: "nonsense"}).problems


def test_a_shared_common_name_is_asked() -> None:
    """'button coral' is two animals."""
    asked = line_of("button coral")
    assert asked.questions[0].choices == ("Homophyllia australis", "Cynarina lacrymalis")


def test_name_and_common_name_that_contradict_each_other_are_asked() -> None:
    """A slip of a row in the supplier's sheet shows like this."""
    asked = line_of("Tridacna maxima", common="crocea clam")
    assert keys(asked) == ["name:tridacna-maxima-crocea-clam"]
    assert line_of("Tridacna maxima", common="maxima clam").ready
    assert line_of("Tridacna maxima", common="giant clam").ready
    assert isinstance(match("Tridacna maxima / crocea clam", NAMES), Open)


def test_words_nobody_understands_beside_a_name_are_asked() -> None:
    """'Tridacna maxima (crocea)' is not quietly a maxima."""
    assert isinstance(match("Tridacna maxima (crocea)", NAMES), Open)


@pytest.mark.parametrize(
    ("name", "size", "group"),
    [
        ("Tridacna gigas", "4.9", "clam_small"),
        ("Tridacna gigas", "5", "clam_medium"),
        ("Tridacna gigas", "10", "clam_medium"),
        ("Tridacna gigas", "10.1", "clam_large"),
        ("Tridacna crocea", "12", "clam_burrowing"),
        ("Tridacna maxima", "4", "clam_small"),
        ("Tridacna maxima on rock", "4", "clam_burrowing"),
        ("Tridacna maxima on rock", "6", "clam_medium"),
        ("Tridacna sp.", "4", "clam_small"),
    ],
)
def test_clams_are_grouped_by_shell_length_and_habit(name: str, size: str, group: str) -> None:
    """Under 50 mm small, to 100 medium, above large; T. crocea and small rock-set T. maxima burrow."""
    shipment = line_of(name, size=size)
    assert shipment.ready, keys(shipment)
    assert shipment.lines[0].group == group


def test_every_listed_name_leads_to_a_group_of_the_library() -> None:
    """No name may end in a group that does not exist, at any size."""
    groups = load().groups
    for taxon in NAMES.taxa.values():
        for size_mm in (10.0, 50.0, 100.0, 300.0):
            assert taxon.group_for(size_mm) in groups, taxon.accepted
            assert taxon.group_for(size_mm, on_rock=True) in groups, taxon.accepted
        assert taxon.source


def test_a_farm_lays_its_own_names_over_the_shipped_ones() -> None:
    """A row of the same accepted name replaces, a new one adds, a bad one is refused by row."""
    header = ",".join(COLUMNS)
    own = load_names(f"{header}\nSpongia,genus,soft_polyp,,bath sponge,farm's own,2026-01-31\n".encode())
    assert own.exact("Bath sponge")[0].accepted == "Spongia"
    assert own.exact("Tridacna maxima")
    with pytest.raises(BadInput, match="row 2"):
        load_names(f"{header}\nSpongia,tribe,soft_polyp,,,farm,\n".encode())
    with pytest.raises(BadInput, match="row 1"):
        load_names(b"name,group\na,b\n")
    with pytest.raises(BadInput, match="UTF-8"):
        load_names(b"\xff\xfe\xfa")


@pytest.mark.parametrize(
    ("written", "code", "asked"),
    [("W", "W", []), ("f", "F", []), ("wild", "W", []), ("", "", []), ("farm", "", ["source:farm"])],
)
def test_source_codes_are_those_of_the_permit(written: str, code: str, asked: list[str]) -> None:
    """Only the letters of the permit form are kept; a word that is none of them is asked."""
    shipment = understood(f"Species;Size (cm);Qty;Source;Appendix;Permit\nTridacna maxima;4;10;{written};II;XX-1\n")
    assert (shipment.lines[0].source_code, keys(shipment)) == (code, asked)
    assert (shipment.lines[0].listing, shipment.lines[0].permit) == ("II", "XX-1")
