"""The reference of ``farm.toml`` and ``stock.csv``, from the models that read them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from making.docstrings import attributes_of, summary_of
from making.markdown import cell, page, table
from making.wording import KEYS

__all__ = ["Key", "farm_keys", "farm_page", "stale_words", "unit_of"]

_UNITS = {
    "_mg_per_h": "mg/h", "_per_h": "1/h", "_meq_per_l": "meq/L", "_m2": "m²", "_ft2": "ft²", "_cm2": "cm²", "_mm": "mm",
    "_in": "in", "_m": "m", "_l": "L", "_gal": "US gal", "_kg": "kg", "_c": "°C", "_f": "°F", "_psu": "PSU",
    "_percent": "%", "_h": "h", "_days": "days", "_umol": "µmol m⁻² s⁻¹", "_nbs": "NBS scale", "_d": "days",
}  # fmt: skip


class Key(tuple[str, str, str, str, str, str]):
    """A key: table, name, what it takes, unit, default, meaning."""

    __slots__ = ()


def unit_of(name: str) -> str:
    """The unit a key's name carries, longest ending first; empty when it carries none."""
    ending = next((end for end in sorted(_UNITS, key=len, reverse=True) if name.endswith(end)), "")
    return _UNITS.get(ending, "")


def _tables() -> list[tuple[str, type[BaseModel]]]:
    from intake.farm import site

    return [
        ("farm", site.Farm), ("receiving", site.Receiving), ("planning", site.Planning), ("mixing", site.Mixing),
        ("mail", site.Mail), ("supplier.ID", site.Supplier), ("supplier.ID.terms", site.Agreed),
        ("person.ID", site.Person), ("person.ID.also", site.Recurs), ("person.ID.leave", site.Leave),
        ("station.ID", site.Station),
        ("system.ID", site.System), ("vat.ID", site.Vat), ("vat.ID.closed", site.Closed),
        ("routine.ID", site.Routine),
    ]  # fmt: skip


def farm_keys() -> Iterator[Key]:
    """Every key of every table."""
    for name, model in _tables():
        told = attributes_of(model)
        for key, info in model.model_fields.items():
            if key == "id":
                continue
            meaning = told.get(key) or KEYS.get((name, key)) or KEYS.get(("*", key), "")
            yield Key((name, key, takes(info), unit_of(key), default_of(info), meaning))


def stale_words() -> list[tuple[str, str]]:
    """Meanings of the word list that no key needs any more: gone from the model, or described by its docstring."""
    needed = set()
    for name, model in _tables():
        told = attributes_of(model)
        for key in model.model_fields:
            if key not in told and key != "id":
                needed.add((name, key) if (name, key) in KEYS else ("*", key))
    return sorted(set(KEYS) - needed)


def takes(info: FieldInfo) -> str:
    """What a field takes, in words, with its range."""
    words = kind_words(info.annotation)
    limits = "; ".join(filter(None, (_limit(mark) for mark in info.metadata)))
    return f"{words}, {limits}" if limits else words


def kind_words(kind: Any) -> str:  # one return for each kind of field
    """A type as the writer of a file would say it."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin is Annotated:
        return kind_words(inner[0])
    if origin is Literal:
        return " or ".join(f'`"{choice}"`' for choice in inner)
    if origin is tuple and len(inner) == 2 and inner[1] is not Ellipsis:
        return f"[lowest, highest]: two {kind_words(inner[0])}s"
    if origin is tuple:
        return f"list of {kind_words(inner[0])}"
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return f"table of name = {kind_words(inner[1])}"
    if len(inner) > 1 and type(None) in inner:
        return kind_words(next(one for one in inner if one is not type(None)))
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return f"table ({', '.join(kind.model_fields)})"
    plain = {str: "text", int: "whole number", float: "number", bool: "true or false"}
    return plain.get(
        kind, {"time": 'clock time `"HH:MM"`', "date": "date"}.get(getattr(kind, "__name__", ""), str(kind))
    )


def _limit(mark: Any) -> str:
    signs = (("ge", "at least"), ("gt", "above"), ("le", "at most"), ("lt", "below"))
    words = [f"{word} {getattr(mark, sign):g}" for sign, word in signs if getattr(mark, sign, None) is not None]
    if getattr(mark, "min_length", None):
        words.append(f"at least {mark.min_length} long")
    if getattr(mark, "max_length", None):
        words.append(f"at most {mark.max_length} characters")
    pattern = next((found for held in (mark, *getattr(mark, "_general_metadata", ())) if (found := _pattern(held))), "")
    return " and ".join([*words, *([pattern] if pattern else [])])


def _pattern(held: Any) -> str:
    text = getattr(held, "pattern", None)
    known = {
        r"^(postgresql://.+)?$": "beginning `postgresql://`, or empty",
        r"^([A-Za-z0-9][A-Za-z0-9_.-]{0,39})?$": "letters, digits, `_`, `.` and `-`, or empty",
        r"^[A-Z]{3}$": "three capital letters (ISO 4217)",
        r"^([A-Z]{2})?$": "two capital letters (ISO 3166) or empty",
    }
    return "" if text is None else known.get(text, f"of the form `{cell(text)}`")


def default_of(info: FieldInfo) -> str:
    """The default as it would be written; ``required`` without one."""
    if info.is_required():
        return "required"
    value = info.get_default(call_default_factory=True)
    if value is None or value in ("", ()):
        return ""
    if isinstance(value, tuple):
        return f"`[{', '.join(_toml(one) for one in value)}]`"
    return f"`{_toml(value)}`"


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return f"{value:g}"
    text = value.strftime("%H:%M") if hasattr(value, "strftime") else str(value)
    return f'"{text}"'


def farm_page() -> str:
    """The page of ``farm.toml``, with the stocktake's columns and the US keys."""
    from intake.farm import site

    keys = list(farm_keys())
    parts = [
        (
            "One file describes the farm. `vatside init` writes it with notes; `vatside check` names every fault in it. Keys it "
            "does not know are refused, so that a misspelt key is never silently ignored. `ID` in a table's name is yours to "
            "choose: up to 40 letters, digits, `_`, `.` and `-`, beginning with a letter or a digit; it is what you type and "
            "what labels show."
        ),
    ]
    for name, model in _tables():
        rows = [(f"`{key[1]}`", key[2], key[3], key[4], key[5]) for key in keys if key[0] == name]
        parts += [f"## [{name}]", summary_of(model), table(("key", "takes", "unit", "default", "what for"), rows)]
    us_rows = [(f"`{us}`", f"`{si}`", unit_of(us), unit_of(si)) for us, (si, _) in site.US_KEYS.items()]
    parts += [
        "## Keys in US units",
        "A quantity may be typed under a key that says so instead; never both. Inside everything is SI and °C.",
        table(("key", "instead of", "unit", "becomes"), us_rows),
    ]
    return page("farm.toml", *parts)
