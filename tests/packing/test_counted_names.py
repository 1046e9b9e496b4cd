"""Counts beside names in one cell: parted only where it is plain which figure counts."""

from __future__ import annotations

import pytest

from intake.packing.counted_names import _splits


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("60 pcs Tridacna maxima", ("60 pcs", "Tridacna maxima")),
        ("Tridacna maxima 5 120 pcs", ("120 pcs", "Tridacna maxima 5")),
        ("Tridacna maxima 1,200 pcs", ("1,200 pcs", "Tridacna maxima")),
        ("Tridacna maxima - 2 doz", ("2 doz", "Tridacna maxima")),
        ("Tridacna maxima (40 pcs)", ("40 pcs", "Tridacna maxima")),
        ("24 x Zoanthus sp.", ("24", "Zoanthus sp.")),
    ],
)
def test_a_count_is_parted_from_its_name(text: str, parts: tuple[str, str]) -> None:
    """A figure with a unit of measure or a sign of multiplication; a size before it stays with the name."""
    assert _splits(text)[0] == parts


@pytest.mark.parametrize(
    "text",
    [
        "Tridacna maxima 4-5 pcs",
        "10 x 5 Tridacna maxima",
        "Tridacna maxima 5-6 cm",
        "12 Tridacna maxima",
        "60 pcs",
        "4 cm",
    ],
)
def test_what_may_mean_two_things_is_left_whole(text: str) -> None:
    """A range, a product, a size, a bare figure that may be a code."""
    assert _splits(text) == []
