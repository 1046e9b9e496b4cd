"""The husbandry library: complete, sourced, and refusing what cannot be used."""

import pytest

from intake.errors import BadInput, UnknownName
from intake.library import load


def test_twenty_groups_twenty_dips_and_the_pests_are_shipped() -> None:
    """The starter library is the one the reference tables give."""
    library = load()
    assert (len(library.groups), len(library.dips)) == (20, 20)
    assert "acropora-flatworm" in library.pests


def test_every_source_tag_is_resolved() -> None:
    """A sheet that cites S27 must be able to say what S27 is."""
    import re

    library = load()
    for group in library.groups.values():
        for name in type(group).model_fields:
            value = getattr(group, name)
            for tag in re.findall(r"\bS\d{2,3}\b", getattr(value, "source", "")):
                assert tag in library.sources, f"{group.id}.{name} cites {tag}"


@pytest.mark.parametrize("fahrenheit", [79.0, 80.0])
def test_clams_and_stony_corals_live_at_79_to_80_fahrenheit(fahrenheit: float) -> None:
    """A farm of this kind keeps its water at 79–80 °F all year (common practice, no source)."""
    celsius = (fahrenheit - 32.0) / 1.8
    kept = [group for group in load().groups.values() if group.kind in {"clam", "stony coral"}]
    assert len(kept) == 10
    assert all(group.temperature_c.holds(celsius) for group in kept)


def test_clam_footprint_agrees_with_the_published_nursery_density() -> None:
    """55,000 seed of 10 mm in 8 × 1.5 m (Perron et al. 1985, abstract) is 2.18 cm² each; the rule gives 2.25."""
    published = 8.0 * 1.5 * 1e4 / 55_000
    assert load().groups["clam_small"].footprint.of(10.0) == pytest.approx(published, rel=0.04)


@pytest.mark.parametrize(
    ("size_mm", "cell_cm2"), [(20, 9.0), (30, 20.25), (40, 36.0), (50, 56.25), (60, 81.0), (80, 144.0), (150, 506.25)]
)
def test_clam_cells_follow_the_table(size_mm: float, cell_cm2: float) -> None:
    """Cells at 1.5 × shell length, as tabled in the husbandry reference, section 1.3."""
    assert load().groups["clam_medium"].footprint.of(size_mm) == pytest.approx(cell_cm2)


def test_pairs_are_read_both_ways_and_the_strictest_counts() -> None:
    """Predators of clams need their own water and vat whichever is named first."""
    library = load()
    assert library.apart("fish_predatory", "clam_small") == library.apart("clam_small", "fish_predatory") == "water"
    assert library.apart("clam_small", "stony_lps_long_tentacle") == "touch"
    assert library.apart("clam_small", "clam_medium") == ""


def test_prescription_baths_ship_without_strength_or_minutes() -> None:
    """No default dose: the prescriber states it."""
    baths = [dip for dip in load().dips.values() if dip.prescription]
    assert {"coral-flatworm-bath", "coral-copepod-bath", "fish-copper-bath", "fish-chloroquine-bath"} <= {
        dip.id for dip in baths
    }
    for dip in baths:
        assert (dip.strength, dip.contact_min, dip.contact_max, dip.mode) == ("", None, None, "off")


def test_a_farm_cannot_give_a_prescription_bath_a_default_dose() -> None:
    """Overriding the library is no way round the prescriber."""
    with pytest.raises(BadInput, match="prescriber"):
        load({"dips.toml": b'[coral-flatworm-bath]\nstrength = "8 mg/L"\n'})


def test_a_farm_file_replaces_only_the_keys_it_names() -> None:
    """An override of one value keeps the others with their provenance."""
    own = b'[clam_small]\nfootprint = { rule = "cell", factor = 2.0, source = "own trial", evidence = "practice" }\n'
    changed, shipped = load({"groups.toml": own}).groups["clam_small"], load().groups["clam_small"]
    assert changed.footprint.of(20.0) == pytest.approx(16.0)
    assert changed.temperature_c == shipped.temperature_c


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"[clam_small]\nfootprint = 3\n", "clam_small"),
        (b'[clam_small]\ncolour = "blue"\n', "colour"),
        (b'[clam_small]\nquarantine = { days = -1, restart = "", source = "x", evidence = "practice" }\n', "days"),
        (b'[clam_small]\nquarantine = { days = 42, restart = "", source = "", evidence = "practice" }\n', "source"),
        (b'[clam_small]\ndips = ["moonlight"]\n', "moonlight"),
        (b"[clam_small\n", "TOML"),
        (b"\xff\xfe[", "UTF-8"),
    ],
)
def test_a_faulty_override_is_refused_with_its_place(text: bytes, says: str) -> None:
    """File, table, key and value are named, and nothing is guessed."""
    with pytest.raises(BadInput) as caught:
        load({"groups.toml": text})
    assert says in str(caught.value)
    assert "groups.toml" in str(caught.value)


def test_an_unknown_group_offers_the_closest() -> None:
    """A misspelt id is answered with the id that was meant."""
    with pytest.raises(UnknownName) as caught:
        load().group("clam_smal")
    assert "clam_small" in caught.value.closest
