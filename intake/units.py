"""Quantities as people write and read them: parsing into SI and °C, and showing with the unit always beside the value.

Nothing else in the project converts units.  Every factor is exact by definition unless it says otherwise.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Literal

from intake.errors import BadInput, Finding

__all__ = [
    "LENGTH_UNITS",
    "alkalinity_meq_per_l",
    "celsius",
    "decimal_of",
    "fahrenheit",
    "length_mm",
    "length_range_mm",
    "length_unit_in",
    "mass_kg",
    "percent",
    "show_area",
    "show_flow",
    "show_length",
    "show_length_range",
    "show_mass",
    "show_percent",
    "show_temperature",
    "show_temperature_change",
    "show_volume",
    "temperature_c",
    "volume_l",
]

DecimalMark = Literal[".", ","]
System = Literal["si", "us"]

# International yard and pound agreement of 1959; exact values in NIST Special Publication 811 (2008), appendix B
# (figures from memory).
MM_PER_INCH = Decimal("25.4")
KG_PER_POUND = Decimal("0.45359237")
M2_PER_SQUARE_FOOT = Decimal("0.09290304")
# 231 cubic inches, the US liquid gallon; NIST Handbook 44, appendix C (from memory).
L_PER_US_GALLON = Decimal("3.785411784")
# One degree of carbonate hardness is 10 mg CaO per liter; CaO weighs 56.077 g/mol and neutralises two equivalents
# (standard atomic weights, from memory).
MEQ_PER_L_PER_DKH = Decimal(20) / Decimal("56.077")

LENGTH_UNITS: Mapping[str, Decimal] = {
    "mm": Decimal(1),
    "cm": Decimal(10),
    "m": Decimal(1000),
    "in": MM_PER_INCH,
    "ft": MM_PER_INCH * 12,
}
_LENGTH_WORDS = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("см",), "cm"),
    **dict.fromkeys(("мм",), "mm"),
    **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("in", "ins", "inch", "inches", '"', "″", "''", "”", "“"), "in"),
    **dict.fromkeys(("ft", "foot", "feet", "'", "′", "’"), "ft"),
}
_VOLUME_WORDS: Mapping[str, Decimal] = {
    **dict.fromkeys(("l", "litre", "litres", "liter", "liters"), Decimal(1)),
    **dict.fromkeys(("ml", "millilitre", "millilitres", "milliliter", "milliliters"), Decimal("0.001")),
    **dict.fromkeys(("m3", "m³"), Decimal(1000)),
    **dict.fromkeys(("gal", "us gal", "gallon", "gallons", "us gallon", "us gallons"), L_PER_US_GALLON),
}
_MASS_WORDS: Mapping[str, Decimal] = {
    **dict.fromkeys(("kg", "kilogram", "kilograms"), Decimal(1)),
    **dict.fromkeys(("g", "gram", "grams"), Decimal("0.001")),
    **dict.fromkeys(("mg", "milligram", "milligrams"), Decimal("0.000001")),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), KG_PER_POUND),
    **dict.fromkeys(("oz", "ounce", "ounces"), KG_PER_POUND / 16),
}
_ALKALINITY_WORDS: Mapping[str, Decimal] = {
    **dict.fromkeys(("meq/l", "meq", "mmol/l"), Decimal(1)),
    **dict.fromkeys(("dkh", "°dkh", "kh"), MEQ_PER_L_PER_DKH),
}
_FRACTIONS = {
    "¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅓": "1/3", "⅔": "2/3",
}  # fmt: skip
_GROUPED = {
    ".": re.compile(r"[+-]?(\d+|\d{1,3}([,' \u202f’]\d{3})+)(\.\d+)?|[+-]?\.\d+", re.ASCII),
    ",": re.compile(r"[+-]?(\d+|\d{1,3}([.' \u202f’]\d{3})+)(,\d+)?|[+-]?,\d+", re.ASCII),
}
_MIXED = re.compile(r"(?:(\d+)[ -])?(\d{1,2})/(2|3|4|5|8|16|32)", re.ASCII)
_AMOUNT = re.compile(r"^(?P<number>[+-]?[\d.,'’ \u202f/½¼¾⅛⅜⅝⅞⅓⅔]*[\d½¼¾⅛⅜⅝⅞⅓⅔.,])\s*(?P<unit>\D.*)?$", re.ASCII)
_BETWEEN = re.compile(r"\s*(?:[-–—~÷]|\bto\b|\bbis\b)\s*", re.IGNORECASE)
_EXPECTED = {
    "temperature": "a number with °C or °F",
    "length": "a number with mm, cm, m, in or ft",
    "volume": "a number with L, mL, m³ or US gal",
    "mass": "a number with kg, g, mg, lb or oz",
    "alkalinity": "a number with meq/L or dKH",
}
_HYPHENED = re.compile(r"(?<![\d/])(\d+)-(\d{1,2}/\d{1,2})(?!\d)", re.ASCII)  # 1-1/2 in: a fraction, not a range
_LONGEST = 80  # characters: no quantity is written longer


def decimal_of(text: str, decimal: DecimalMark = ".") -> Decimal:
    """Read a number written with a known decimal mark.

    Parameters
    ----------
    text
        Digits, optionally grouped by threes with the other mark, an apostrophe or a space.
    decimal
        The decimal mark, ``.`` or ``,``; never guessed here.

    Raises
    ------
    BadInput
        The text is no number under that mark: ``4,50`` under ``.`` is refused, not read as 450.

    Examples
    --------
    >>> decimal_of("5.625,00", ",")
    Decimal('5625.00')
    """
    bare = text.strip().replace("\u00a0", " ").replace("−", "-")
    if len(bare) > _LONGEST or not _GROUPED[decimal].fullmatch(bare):
        raise BadInput(Finding("number", text[:_LONGEST], f"a number with {decimal!r} as decimal mark"))
    group = "," if decimal == "." else "."
    for mark in (group, "'", "’", " ", "\u202f"):
        bare = bare.replace(mark, "")
    return Decimal(bare.replace(decimal, "."))


def length_mm(text: str, unit: str = "", decimal: DecimalMark = ".") -> float:
    """Read one length in mm.

    Parameters
    ----------
    text
        A number with mm, cm, m, in, ``"``, ft or ``'``; fractions such as ``1 1/2"`` and ``2½ in`` are read.
    unit
        Unit of a bare number (``mm``, ``cm``, ``m``, ``in``, ``ft``); empty: a bare number is refused.
    decimal
        Decimal mark of the text.

    Raises
    ------
    BadInput
        No number, no unit, an unknown unit, or not above zero.

    Examples
    --------
    >>> length_mm("2.5 in")
    63.5
    """
    low, high = length_range_mm(text, unit, decimal)
    if low != high:
        raise BadInput(Finding("length", text, "one length, not a range"))
    return high


def length_range_mm(text: str, unit: str = "", decimal: DecimalMark = ".") -> tuple[float, float]:
    """Read a length or a range of lengths in mm; both ends are kept.

    Parameters
    ----------
    text
        ``4-5 cm``, ``4 cm to 5 cm``, ``1.5"-2"``; one unit at the end serves both ends.
    unit, decimal
        As for :func:`length_mm`.

    Raises
    ------
    BadInput
        As for :func:`length_mm`; also when the range runs backwards or has an open end.

    Examples
    --------
    >>> length_range_mm("4-5 cm")
    (40.0, 50.0)
    """
    if len(text) > _LONGEST:
        raise BadInput(Finding("length", text[:_LONGEST], "a length with its unit, such as 4-5 cm"))
    ends = _BETWEEN.split(_HYPHENED.sub(r"\1 \2", text.strip()))
    if len(ends) not in (1, 2) or not all(ends):
        raise BadInput(Finding("length", text, "one length or two joined by '-', such as 4-5 cm"))
    read = [_split(end, "length", text) for end in ends]
    last = read[-1][1] or unit
    lengths = [_number(number, "length", text, decimal) * _length_factor(own or last, text) for number, own in read]
    if min(lengths) <= 0:
        raise BadInput(Finding("length", text, "a length above zero"))
    if lengths[0] > lengths[-1]:
        raise BadInput(Finding("length", text, "the smaller end first, such as 4-5 cm"))
    return float(lengths[0]), float(lengths[-1])


def length_unit_in(text: str) -> str:
    """The length unit a heading names (``Size (cm)`` → ``cm``), or empty when it names none or several."""
    bare = re.sub(r"\bin (?=(?:mm|cm|m|inch|inches|ft)\b)", " ", text.lower())  # "Größe in cm" is no inch
    named = {_LENGTH_WORDS[word] for word in re.findall(r"[a-zа-я]+|[\"″]", bare) if word in _LENGTH_WORDS}
    return named.pop() if len(named) == 1 else ""


def temperature_c(text: str, unit: str = "", decimal: DecimalMark = ".") -> float:
    """Read a temperature in °C from ``25.5 C``, ``78 °F``.

    Raises
    ------
    BadInput
        No number, no unit and none given, or below absolute zero.
    """
    number, own = _split(text, "temperature", text)
    scale = (own or unit).lower().replace("°", "").replace("º", "").replace("deg", "").strip(" .")
    value = float(_number(number, "temperature", text, decimal))
    if scale in {"f", "fahrenheit"}:
        value = celsius(value)
    elif scale not in {"c", "celsius"}:
        raise BadInput(Finding("temperature", text, "a number with °C or °F"))
    if value < -273.15:
        raise BadInput(Finding("temperature", text, "a temperature above absolute zero"))
    return value


def celsius(fahrenheit_degrees: float) -> float:
    """°F to °C; exact by definition of the Fahrenheit scale (32 °F = 0 °C, 1.8 °F per °C)."""
    return (fahrenheit_degrees - 32.0) / 1.8


def fahrenheit(celsius_degrees: float) -> float:
    """°C to °F; exact by definition of the Fahrenheit scale (32 °F = 0 °C, 1.8 °F per °C)."""
    return celsius_degrees * 1.8 + 32.0


def volume_l(text: str, unit: str = "", decimal: DecimalMark = ".") -> float:
    """Read a volume in liters from L, mL, m³ or US gal.

    Raises
    ------
    BadInput
        No number, an unknown unit (an imperial gallon is one), or not above zero.
    """
    return _measure(text, unit, decimal, "volume", _VOLUME_WORDS)


def mass_kg(text: str, unit: str = "", decimal: DecimalMark = ".") -> float:
    """Read a mass in kg from kg, g, mg, lb or oz.

    Raises
    ------
    BadInput
        No number, an unknown unit, or not above zero.
    """
    return _measure(text, unit, decimal, "mass", _MASS_WORDS)


def alkalinity_meq_per_l(text: str, unit: str = "", decimal: DecimalMark = ".") -> float:
    """Read an alkalinity in meq/L from meq/L or dKH.

    Raises
    ------
    BadInput
        No number, an unknown unit, or not above zero.

    References
    ----------
    1 dKH = 10 mg CaO per liter (definition of the German degree, from memory), hence 0.3567 meq/L.
    """
    return _measure(text, unit, decimal, "alkalinity", _ALKALINITY_WORDS)


def percent(text: str, decimal: DecimalMark = ".") -> float:
    """Read a percentage from ``5 %``; the sign is required, so that 0.05 is never taken for 5 %.

    Raises
    ------
    BadInput
        No number, no ``%``, or outside 0 to 100.
    """
    number, own = _split(text, "percentage", text)
    if own != "%":
        raise BadInput(Finding("percentage", text, "a number with %"))
    value = float(_number(number, "percentage", text, decimal))
    if not 0.0 <= value <= 100.0:
        raise BadInput(Finding("percentage", text, "0 to 100 %"))
    return value


def show_length(length_in_mm: float, system: System = "si") -> str:
    """A length for people: mm below 1 m, m above; inches or feet in US units."""
    if system == "us":
        inches = length_in_mm / float(MM_PER_INCH)
        return f"{_trim(inches, 1)} in" if inches < 36.0 else f"{_trim(inches / 12.0, 1)} ft"
    return f"{_trim(length_in_mm, 0)} mm" if length_in_mm < 1000.0 else f"{_trim(length_in_mm / 1000.0, 2)} m"


def show_length_range(low_mm: float, high_mm: float, system: System = "si") -> str:
    """A size class for people, both ends with one unit: ``40–50 mm`` or ``1.6–2 in``."""
    if low_mm == high_mm:
        return show_length(high_mm, system)
    if system == "us":
        return f"{_trim(low_mm / float(MM_PER_INCH), 1)}–{_trim(high_mm / float(MM_PER_INCH), 1)} in"
    return f"{_trim(low_mm, 0)}–{_trim(high_mm, 0)} mm"


def show_area(area_m2: float, system: System = "si") -> str:
    """A bench area for people, in m² or ft²."""
    if system == "us":
        feet = area_m2 / float(M2_PER_SQUARE_FOOT)
        return f"{_trim(feet, 1 if feet >= 1.0 else 2)} ft²"
    return f"{_trim(area_m2, 2)} m²"


def show_temperature(celsius_degrees: float, system: System = "si") -> str:
    """A temperature for people, to a tenth of a degree."""
    return f"{fahrenheit(celsius_degrees):.1f} °F" if system == "us" else f"{celsius_degrees:.1f} °C"


def show_temperature_change(celsius_degrees: float, system: System = "si") -> str:
    """A difference of temperatures for people: scaled, without the 32 degrees of offset."""
    return f"{celsius_degrees * 1.8:.1f} °F" if system == "us" else f"{celsius_degrees:.1f} °C"


def show_volume(litres: float, system: System = "si") -> str:
    """A volume for people, in L (mL below one liter) or US gal."""
    if system == "us":
        gallons = litres / float(L_PER_US_GALLON)
        return f"{_trim(gallons, 2 if gallons < 10.0 else 0)} US gal"
    return f"{_trim(litres * 1000.0, 0)} mL" if litres < 1.0 else f"{_trim(litres, 1 if litres < 100.0 else 0)} L"


def show_flow(litres_per_hour: float, system: System = "si") -> str:
    """A drip or flow for people, in L/h or US gal/h."""
    if system == "us":
        return f"{_trim(litres_per_hour / float(L_PER_US_GALLON), 2)} US gal/h"
    return f"{_trim(litres_per_hour, 2)} L/h"


def show_mass(kilograms: float, system: System = "si") -> str:
    """A mass for people: kg or g, lb or oz."""
    if system == "us":
        pounds = kilograms / float(KG_PER_POUND)
        return f"{_trim(pounds, 2)} lb" if pounds >= 1.0 else f"{_trim(pounds * 16.0, 2)} oz"
    return f"{_trim(kilograms, 2)} kg" if kilograms >= 1.0 else f"{_trim(kilograms * 1000.0, 1)} g"


def show_percent(value: float) -> str:
    """A percentage for people, to a tenth; 5.0 means 5 %."""
    return f"{_trim(value, 1)} %"


def _trim(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _split(text: str, kind: str, whole: str) -> tuple[str, str]:
    found = _AMOUNT.match(text.strip().replace("\u00a0", " ")) if len(text) <= _LONGEST else None
    if found is None:
        raise BadInput(Finding(kind, whole[:_LONGEST], _EXPECTED.get(kind, "a number with its unit")))
    return found["number"].strip(), (found["unit"] or "").strip()


def _number(number: str, kind: str, whole: str, decimal: DecimalMark) -> Decimal:
    for sign, fraction in _FRACTIONS.items():
        number = number.replace(sign, f" {fraction}")
    number = number.strip()
    mixed = _MIXED.fullmatch(number)
    if mixed:
        above, below = Decimal(mixed[2]), Decimal(mixed[3])
        if not below or above >= below:
            raise BadInput(Finding(kind, whole, "a proper fraction, such as 1 1/2"))
        return Decimal(mixed[1] or 0) + above / below
    try:
        return decimal_of(number, decimal)
    except BadInput as error:
        raise BadInput(Finding(kind, whole, error.findings[0].expected)) from error


def _length_factor(unit: str, whole: str) -> Decimal:
    word = unit.strip().lower().rstrip(".")
    if word not in _LENGTH_WORDS:
        raise BadInput(Finding("length", whole, "a unit: mm, cm, m, in, ft", "Write the unit beside the number."))
    return LENGTH_UNITS[_LENGTH_WORDS[word]]


def _measure(text: str, unit: str, decimal: DecimalMark, kind: str, factors: Mapping[str, Decimal]) -> float:
    expected = _EXPECTED[kind]
    number, own = _split(text, kind, text)
    word = (own or unit).lower().rstrip(".")
    if word not in factors:
        raise BadInput(Finding(kind, text, expected, "Write the unit beside the number."))
    value = _number(number, kind, text, decimal) * factors[word]
    if value <= 0:
        raise BadInput(Finding(kind, text, f"{expected}, above zero"))
    return float(value)
