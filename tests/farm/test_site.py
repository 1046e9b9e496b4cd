"""``farm.toml``: what is read, converted and refused."""

from pathlib import Path

import pytest

from intake.errors import BadInput
from intake.farm.reading import read_site

DEMO = Path(__file__).parents[2] / "demo" / "farm.toml"
TEMPLATE = Path(__file__).parents[2] / "intake" / "app" / "new_farm" / "farm_template.toml"
SMALL = """
[farm]
name = "Invented"
time_zone = "Europe/Lisbon"
[system.q]
role = "quarantine"
temperature_c = 26
salinity_psu = 34
[vat.Q1]
system = "q"
length_m = 2
width_m = 1
water_depth_mm = 300
volume_l = 500
"""


def test_the_invented_farm_and_the_template_are_sound() -> None:
    """What we ship must pass our own check."""
    demo = read_site(DEMO.read_bytes())
    assert len(demo.vats) == 24
    assert read_site(TEMPLATE.read_bytes()).vats["Q1"].area_m2 == pytest.approx(1.6)


def test_us_units_are_converted_by_their_keys() -> None:
    """°F, gallons and inches may be typed where the key says so."""
    text = SMALL.replace("temperature_c = 26", "temperature_f = 79.5").replace("volume_l = 500", "volume_gal = 100")
    text = text.replace("length_m = 2", "length_in = 100")
    site = read_site(text.encode())
    assert site.systems["q"].temperature_c == pytest.approx((79.5 - 32) / 1.8)
    assert site.vats["Q1"].volume_l == pytest.approx(378.5411784)
    assert site.vats["Q1"].length_m == pytest.approx(2.54)


def test_filter_budget_follows_the_published_surface_rate() -> None:
    """0.28 g NH4-N per m² and day in seawater (Nijhof & Bovendeur 1990, abstract): 35.7 m² carry 10 g a day."""
    text = SMALL.replace("salinity_psu = 34", "salinity_psu = 34\nfilter_area_m2 = 35.714286")
    assert read_site(text.encode()).systems["q"].nitrogen_budget_mg_per_h * 24 == pytest.approx(10_000, rel=1e-6)


@pytest.mark.parametrize(
    ("was", "becomes", "says"),
    [
        ("length_m = 2", "length_m = -2", "length_m"),
        ('system = "q"', 'system = "nowhere"', "nowhere"),
        ("salinity_psu = 34", "salinity_psu = 340", "salinity_psu"),
        ('role = "quarantine"', 'role = "spare"', "role"),
        ('time_zone = "Europe/Lisbon"', 'time_zone = "Lisbon"', "IANA"),
        ("volume_l = 500", "volume_l = 500\nvolume_gal = 100", "not both"),
        ("volume_l = 500", "volumes = 500", "volumes"),
        ("length_m = 2\n", "", "bench_area_m2"),
        ("volume_l = 500", 'volume_l = "many"', "volume_l"),
        ("volume_l = 500", "volume_l = nan", "volume_l"),
        ("volume_l = 500", "volume_l = 500\nlight_umol = [300, 100]", "light_umol"),
        ("volume_l = 500", "volume_l = 500\nclosed = [{ first = 2027-02-10, last = 2027-02-01 }]", "closed"),
        ("[vat.Q1]", "[vat]\nQ9 = 3\n[vat.Q1]", "vat.Q9"),
        ("[vat.Q1]", "[vat.'Q 1']", "id"),
    ],
)
def test_a_faulty_farm_file_names_file_table_key_and_value(was: str, becomes: str, says: str) -> None:
    """Everything a person needs to mend the line is in the message."""
    assert was in SMALL
    with pytest.raises(BadInput) as caught:
        read_site(SMALL.replace(was, becomes).encode(), "farm.toml")
    assert "farm.toml" in str(caught.value)
    assert says in str(caught.value)


def test_all_faults_are_told_at_once() -> None:
    """Nine faults, one run."""
    text = SMALL.replace("length_m = 2", "length_m = -2").replace("salinity_psu = 34", "salinity_psu = -1")
    with pytest.raises(BadInput) as caught:
        read_site(text.encode())
    assert len(caught.value.findings) >= 2


def test_a_vat_like_another_takes_what_it_does_not_say() -> None:
    """Forty vats of one make are forty short tables; what is this vat's own (name, reserve, closed days) is not shared."""
    first = (
        SMALL + 'name = "First"\nreserve = true\nshelves = 2\nclosed = [{ first = 2027-02-01, last = 2027-02-02 }]\n'
    )
    site = read_site((first + '[vat.Q2]\nlike = "Q1"\n[vat.Q3]\nlike = "Q1"\nvolume_gal = 100\nshelves = 1\n').encode())
    twin, third = site.vats["Q2"], site.vats["Q3"]
    assert (twin.system, twin.area_m2, twin.volume_l) == ("q", 4.0, 500.0)
    assert (twin.name, twin.reserve, twin.closed) == ("Q2", False, ())
    assert third.area_m2 == 2.0
    assert third.volume_l == pytest.approx(378.5411784)


@pytest.mark.parametrize(
    ("own", "area"), [("bench_area_m2 = 5", 5.0), ("bench_area_ft2 = 10", 0.929), ("width_m = 3", 6.0)]
)
def test_a_vat_like_another_may_say_its_bench_either_way(own: str, area: float) -> None:
    """An area of its own is not overruled by length and width taken over, nor the other way round."""
    site = read_site((SMALL + f'[vat.Q2]\nlike = "Q1"\n{own}\n').encode())
    assert site.vats["Q2"].area_m2 == pytest.approx(area, rel=1e-3)
    turned = (
        SMALL.replace("length_m = 2\nwidth_m = 1", "bench_area_m2 = 9")
        + '[vat.Q2]\nlike = "Q1"\nlength_m = 1\nwidth_m = 1\n'
    )
    assert read_site(turned.encode()).vats["Q2"].area_m2 == pytest.approx(1.0)


@pytest.mark.parametrize("base", ['"Q7"', '"Q2"', "3"])
def test_a_vat_like_no_vat_is_refused_by_table_and_key(base: str) -> None:
    """Unknown, like itself, or no name at all."""
    with pytest.raises(BadInput, match=r"vat\.Q2, like"):
        read_site((SMALL + f"[vat.Q2]\nlike = {base}\n").encode())


def test_vats_that_differ_only_in_case_are_refused() -> None:
    """A1 and a1 would be one label on a wet vat."""
    twin = SMALL + SMALL[SMALL.index("[vat.Q1]") :].replace("[vat.Q1]", "[vat.q1]")
    with pytest.raises(BadInput, match="case"):
        read_site(twin.encode())
