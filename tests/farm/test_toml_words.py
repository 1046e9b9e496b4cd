"""What a farm file that is no TOML is told: the line, what stands there, and no reader's own words."""

from __future__ import annotations

import pytest

from intake.errors import BadInput
from intake.library.library_reading import toml_of


@pytest.mark.parametrize(
    ("text", "where", "met"),
    [
        ('[farm]\nname = "a"\nname = "b"\n', "line 3", "'name = \"b\"' is written twice"),
        ("[vat.Q1]\nx = 1\n[vat.Q1]\ny = 2\n", "line 3", "'[vat.Q1]' is written twice"),
        ("[farm]\nname = a\n", "line 2", "'name = a' cannot be read from column 8 on"),
        ("[farm]\nname = [1,\n", "farm.toml", "the file ends within a value"),
        ("x = " + "[" * 5_000, "farm.toml", "brackets within brackets"),
        ("x = " + "9" * 5_000, "farm.toml", "a number or date that is none"),
    ],
)
def test_a_line_that_is_no_toml_is_shown(text: str, where: str, met: str) -> None:
    """Its number, its text and the next step."""
    with pytest.raises(BadInput) as caught:
        toml_of(text.encode(), "farm.toml")
    (fault,) = caught.value.findings
    assert where in fault.where
    assert met in fault.value.replace('"', '"')
    assert fault.expected
    assert fault.do.endswith("try again.")


def test_bytes_that_are_no_utf_8_are_told_by_line() -> None:
    """Not by their number in the file."""
    with pytest.raises(BadInput) as caught:
        toml_of('[farm]\nname = "Muñoz"\n'.encode("cp1252"), "farm.toml")
    assert str(caught.value) == (
        "farm.toml, line 2: bytes f1 6f 7a 22 that no UTF-8 text has. Expected UTF-8 text. Save the file as UTF-8."
    )
