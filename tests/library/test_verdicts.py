"""The table of verdicts: whole, strict where it is empty, and not to be loosened where nobody may."""

import pytest

from intake.errors import BadInput
from intake.library import load
from intake.library.treatments import COPPER

LIBRARY = load()
TREATMENTS = LIBRARY.treatments
PROPOSED = (
    *("cephalopod", "sponge", "macroalga", "gorgonian_or_azooxanthellate_coral", "tube_worm", "bivalve_other"),
    *("live_rock", "fish_elasmobranch", "fish_syngnathid", "fish_scaleless", "fish_sensitive_scaled"),
)
"""Groups of the study that the library does not keep yet; their verdicts are here before them."""
GROUPS = (*LIBRARY.groups, *PROPOSED)
FISH = tuple(group for group in GROUPS if group.startswith("fish_"))
LIVING_ROCK_AND_INVERTEBRATES = tuple(group for group in GROUPS if group not in FISH)


def test_there_are_thirty_six_treatments_of_twenty_seven_agents() -> None:
    """The study's counts, so that a lost row is seen."""
    assert (len(TREATMENTS.by_id), len(TREATMENTS.agents)) == (36, 27)


@pytest.mark.parametrize("agent", TREATMENTS.agents)
@pytest.mark.parametrize("group", GROUPS)
def test_every_agent_has_one_verdict_for_every_whole_group(agent: str, group: str) -> None:
    """The whole matrix: one row each, and the override fits the verdict."""
    rows = [one for one in TREATMENTS.shipped if one.agent == agent and group in one.groups and not one.taxa]
    assert len(rows) == 1
    fits = {
        "allowed": {""},
        "unknown": {"test piece"},
        "prescriber": {"prescriber"},
        "forbidden": {"never", "veterinarian"},
    }
    assert rows[0].override in fits[rows[0].verdict]
    assert TREATMENTS.verdict(agent, group) == rows[0]


@pytest.mark.parametrize("agent", sorted(COPPER))
@pytest.mark.parametrize("group", LIVING_ROCK_AND_INVERTEBRATES)
def test_copper_near_anything_but_fish_is_never_lifted(agent: str, group: str) -> None:
    """33 µg/L killed a mixed group of 441 invertebrates (Z02)."""
    assert (TREATMENTS.verdict(agent, group).verdict, TREATMENTS.verdict(agent, group).override) == (
        "forbidden",
        "never",
    )


def test_families_count_where_they_are_stricter() -> None:
    """Fresh water is open to predatory fish, but a boxfish may poison the bath."""
    assert LIBRARY.verdict("fresh-water", "fish_predatory", "Balistes").verdict == "allowed"
    assert LIBRARY.verdict("fresh-water", "fish_predatory", "Ostracion cubicus").verdict == "unknown"


@pytest.mark.parametrize(
    ("agent", "group", "verdict"),
    [
        ("potion", "clam_small", "forbidden"),
        ("iodine-ki", "unheard_of", "forbidden"),
        ("mechanical-brush", "unheard_of", "unknown"),
        ("inspection", "unheard_of", "unknown"),
    ],
)
def test_an_empty_cell_never_means_allowed(agent: str, group: str, verdict: str) -> None:
    """A group or an agent nobody wrote about is not taken for a safe one."""
    assert TREATMENTS.verdict(agent, group).verdict == verdict


@pytest.mark.parametrize(
    ("text", "agents"),
    [
        ("Cu 0.2", {"copper-ionic", "copper-chelated"}),
        ("cupric", {"copper-ionic", "copper-chelated"}),
        ("COPPER(II) sulfate pentahydrate", {"copper-ionic", "copper-chelated"}),
        ("coppersafe mix", {"copper-ionic", "copper-chelated"}),
        ("formaldehyde 37%", {"formalin"}),
        ("Lugol 10 ml", {"iodine-ki"}),
        ("povidone-iodine", {"iodine-ki", "povidone-iodine"}),
        ("fresh water, same pH", {"fresh-water"}),
        ("cucumber", set()),
        ("as prescribed", set()),
    ],
)
def test_free_text_maps_to_every_agent_it_may_mean(text: str, agents: set[str]) -> None:
    """The strictest of them is judged; a sea cucumber is no copper."""
    assert set(TREATMENTS.meant(text)) == agents


HEAD = b"agent,groups,taxa,verdict,override,reason,source,evidence\n"


def test_a_farm_may_say_what_it_has_tried() -> None:
    """Unknown becomes allowed where the farm tested a piece and says so."""
    own = HEAD + b"fresh-water,stony_montipora,,allowed,,one piece tried,own trial,practice\n"
    library = load({"verdicts.csv": own})
    assert library.verdict("fresh-water", "stony_montipora").verdict == "allowed"
    assert library.verdict("fresh-water", "stony_branching_acropora").verdict == "unknown"


@pytest.mark.parametrize(
    "verdict", ["allowed,", "prescriber,prescriber", "unknown,test piece", "forbidden,veterinarian"]
)
def test_a_farm_may_not_lift_what_nobody_may(verdict: str) -> None:
    """Overriding the library is no way round the copper ban."""
    own = HEAD + f"copper-ionic,clam_small,,{verdict},we always did,own,practice\n".encode()
    with pytest.raises(BadInput, match=r"verdicts.csv, row 2, copper-ionic"):
        load({"verdicts.csv": own})


@pytest.mark.parametrize(
    ("group", "name", "ask", "by"),
    [
        ("soft_polyp", "Tubipora musica", True, "Tubipora musica"),
        ("soft_polyp", "Tubipora sp.", True, "Tubipora musica"),
        ("stony_massive_porites", "Heliopora coerulea", True, "Heliopora coerulea"),
        ("stony_lps_long_tentacle", "Euphyllia ancora", True, "Fimbriaphyllia ancora"),
        ("grazing_snail", "queen conch", True, "Aliger gigas"),
        ("grazing_snail", "Strombus alatus", False, "Strombus alatus"),
        ("grazing_snail", "Strombus sp.", True, "Strombus"),
        ("clam_small", "Tridacna derasa", True, "group clam_small"),
        ("fish_reef_safe", "Amphiprion ocellaris", False, "group fish_reef_safe"),
    ],
)
def test_the_permit_is_asked_of_the_taxon_before_the_group(group: str, name: str, ask: bool, by: str) -> None:
    """Tubipora stands in a group that is not listed and is listed itself; older names on permits lead to it too."""
    listing = LIBRARY.listing(group, name)
    assert (listing.ask, listing.by) == (ask, by)


def test_company_knows_the_shrimp_from_the_crab() -> None:
    """Cleaner shrimps may stand with clams; a group without a name is taken for its worst."""
    assert LIBRARY.apart("clam_small", LIBRARY.kin("decapod_crustacean", "Lysmata amboinensis")) == ""
    assert LIBRARY.apart("clam_small", LIBRARY.kin("decapod_crustacean", "Alpheus sp.")) == "vat"
    assert LIBRARY.apart("clam_small", "decapod_crustacean") == "vat"


def test_cautions_are_told_but_keep_nobody_apart() -> None:
    """Goniopora beside other stony corals in one water is a caution."""
    kin = LIBRARY.kin("stony_massive_porites", "Goniopora stokesi")
    assert any(pair.caution and pair.kind == "water" for pair in LIBRARY.pairs(kin, "stony_montipora"))
    assert LIBRARY.apart(kin, "stony_montipora") == ""


def test_shipped_dips_stay_inside_the_limits_of_their_treatment() -> None:
    """A dip of the library that its own rules would refuse helps nobody."""
    for dip in LIBRARY.dips.values():
        limits = TREATMENTS.by_id[dip.id]
        if dip.contact_min is not None and dip.contact_max is not None:
            assert (limits.contact_min or 0) <= dip.contact_min <= dip.contact_max <= (limits.contact_max or 1e9), (
                dip.id
            )


def test_no_strength_of_the_library_is_counted_in_drops_or_leaves_a_choice() -> None:
    """Drop size and stock strength vary, so drops per liter is not a dose."""
    import re

    for dip in LIBRARY.dips.values():
        assert not re.search(r"\d+ drops|\bor about\b", dip.strength), dip.id
