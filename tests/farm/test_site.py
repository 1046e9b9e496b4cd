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


FIFTEEN = """
[farm]
name = ""
time_zone = "Europe/Lisboa"
[planning]
min_portion = 0
[supplier.one]
allowance_percent = 300
[person]
eva = 3
[system.q]
role = "hospital"
temperature_c = true
salinity_psu = 1e308
[vat.Q1]
system = "qq"
length_m = -2
width_m = 1
water_depth_mm = 300
volume_l = 500
colour = "blue"
[vat.q1]
like = "Q1"
light_umol = [true, 300]
[vat.Q2]
like = "Q9"
[vat.Q3]
like = "Q1"
volume_l = "many"
[routine.skim]
system = "growth"
"""
FOUND = (
    "farm, name", "time_zone", "min_portion", "allowance_percent", "person.eva", "role", "temperature_c", "salinity_psu",
    "vat.Q1, system", "vat.Q1, length_m", "colour", "vat.q1", "light_umol", "vat.Q2, like", "vat.Q3, volume_l",
    "routine.skim, system",
)  # fmt: skip


def test_all_faults_are_told_at_once() -> None:
    """Faults of one table, of names between tables, of likenesses and of numbers: one run, each by its place."""
    with pytest.raises(BadInput) as caught:
        read_site(FIFTEEN.encode())
    places = [fault.where for fault in caught.value.findings]
    for place in FOUND:
        assert any(place in where for where in places), place


def test_a_fault_is_told_once_though_other_vats_are_like_it() -> None:
    """A wrong length of one vat is one finding, not one for each vat of its make; its own wrong key is reported."""
    text = (
        SMALL.replace("length_m = 2", "length_m = -2") + '[vat.Q2]\nlike = "Q1"\n[vat.Q3]\nlike = "Q1"\nlength_m = -2\n'
    )
    with pytest.raises(BadInput) as caught:
        read_site(text.encode())
    assert [fault.where for fault in caught.value.findings] == [
        "farm.toml, vat.Q1, length_m",
        "farm.toml, vat.Q3, length_m",
    ]


@pytest.mark.parametrize("value", ["1e308", "-1e308", "1e400", "true", '"a\\u0000b"', "99999999999999999999999", "[]"])
@pytest.mark.parametrize(
    "line", ["volume_l = 500", "water_depth_mm = 300", "length_m = 2", "temperature_c = 26", 'name = "Invented"']
)
def test_numbers_and_texts_beyond_reason_are_refused_by_key(line: str, value: str) -> None:
    """Met here by their key, not later as a sum that loses animals or a traceback."""
    key = line.partition(" ")[0]
    with pytest.raises(BadInput, match=key):
        read_site(SMALL.replace(line, f"{key} = {value}").encode())


@pytest.mark.parametrize("value", ["1e308", "true", "-3"])
@pytest.mark.parametrize(("line", "key"), [("volume_l = 500", "volume_gal"), ("length_m = 2", "length_in")])
def test_us_numbers_beyond_reason_are_refused_too(line: str, key: str, value: str) -> None:
    """The same in inches and gallons: by the key and with the figure typed, not by the metric one."""
    with pytest.raises(BadInput) as caught:
        read_site(SMALL.replace(line, f"{key} = {value}").encode())
    (fault,) = caught.value.findings
    assert fault.where == f"farm.toml, vat.Q1, {key}"
    assert fault.value == {"1e308": "1e+308"}.get(value, value)


def test_bounds_are_told_in_the_unit_typed() -> None:
    """104 °F is 40 °C, and a text in a US key is no metric figure; a missing key names its US one."""
    text = SMALL.replace("temperature_c = 26", "temperature_f = 300").replace("volume_l = 500", 'volume_gal = "12"')
    with pytest.raises(BadInput) as caught:
        read_site((text + '[vat.Q2]\nsystem = "q"\nvolume_gals = 3\n').encode())
    words = str(caught.value)
    assert "temperature_f: 300. Expected a number of at most 104. Correct the value." in words
    assert "vat.Q1, volume_gal: 12. Expected a number" in words
    assert "Did you mean volume_gal" in words
    assert "vat.Q2, water_depth_mm: missing. Expected a value, or water_depth_in in its place. Add the key." in words


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
