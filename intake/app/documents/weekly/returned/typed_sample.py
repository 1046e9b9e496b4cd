"""The fields of a returned sampling list: all clean, or which pest was found in how many of the animals examined."""

from __future__ import annotations

import re

from intake.app.documents.weekly.returned.typed_form import TypedForm, pest_of
from intake.app.documents.weekly.returned.typed_sheet import Line
from intake.ledger import records

__all__ = ["sample_lines"]

_FIELD = re.compile(r"1/(.+)/(\d+)/(looked|clean|found)")


def sample_lines(form: TypedForm) -> list[Line]:
    """A finding for each place: clean where every animal on the list is ticked clean, a pest where one is named."""
    batch = form.origin.about[0] if form.origin.about else ""
    form.used.add("1/emergency")
    if batch not in form.house.floor().batches:
        form.fault("1/found", "a batch of this farm")
        return []
    places: dict[str, dict[int, str]] = {}
    for name in form.found.names:
        found = _FIELD.fullmatch(name)
        if found is not None:
            places.setdefault(found[1], {})[int(found[2])] = f"1/{found[1]}/{found[2]}"
    how = "; ".join(part for part in (form.text("1/method"), form.text("1/by")) if part)
    lines: list[Line] = []
    carriers = 0
    for place, animals in sorted(places.items()):
        seen = {number: words for number, name in sorted(animals.items()) if (words := form.text(f"{name}/found"))}
        carriers += len(seen)
        lines += _place(form, batch, place, animals, seen, how)
    told = form.whole("1/found")
    if told is not None and told != carriers:
        form.fault("1/found", f"{carriers}, the animals with a finding on the list")
    return lines


def _place(
    form: TypedForm, batch: str, place: str, animals: dict[int, str], seen: dict[int, str], how: str
) -> list[Line]:
    """Findings of one vat or box."""
    pests: dict[str, list[int]] = {}
    for number, words in seen.items():
        pest = pest_of(form.house, words)
        if pest is None:
            do = "Name a pest of the library first, or leave it out and record it with `vatside finding`."
            form.fault(f"{animals[number]}/found", "a pest of the library, such as white-spot 3", do)
        else:
            pests.setdefault(pest, []).append(number)
    every = all(form.ticked(f"{name}/clean") for name in animals.values())
    if not seen and not every:
        return []
    note = f"sample of {len(animals)}" + (f"; {how}" if how else "")
    if not seen:
        return [_finding(form, batch, place, "", f"{note}; none found")]
    return [
        _finding(form, batch, place, pest, f"{note}; no. {', '.join(map(str, numbers))}")
        for pest, numbers in sorted(pests.items())
    ]


def _finding(form: TypedForm, batch: str, place: str, pest: str, note: str) -> Line:
    vat = place.removeprefix("vat ") if place.startswith("vat ") else ""
    key, entries = form.key(f"{batch}|{place}|{pest}")
    others = [one for one in records(form.house.stream(batch), "finding") if one.payload.get("vat") in ("", None, vat)]
    own = {one.key for told in (pest, "") for one in form.key(f"{batch}|{place}|{told}")[1]}
    others = [one for one in others if one.key not in own]
    return Line(
        f"1/{place}", "finding", batch, vat, key, quantity=pest, at=form.day_moment(), before=bool(entries), note=note,
        since=form.since(others, key),
    )  # fmt: skip
