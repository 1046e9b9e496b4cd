"""A revision kept as changes gives back, with one other entry, exactly what was published; anything else is found."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.ledger import Record, check, stream_of
from intake.ledger.entries import canonical
from intake.ledger.kept_revisions import base_of, fingerprint_of, kept, whole_of, wrong_base

NOW = datetime(2026, 3, 1, tzinfo=UTC)
WORDS = st.text(st.sampled_from("ab\n é"), max_size=12)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | WORDS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS, inner, max_size=4),
    max_leaves=12,
)
FIELDS = st.dictionaries(st.sampled_from(["end", "summary", "description", "told", "free", "is", "of"]), JSON)


def payload(fields: dict[str, Any], sequence: int = 0) -> dict[str, Any]:
    """All that a revision says, whole."""
    stamp = NOW.isoformat()
    return {"sequence": sequence, "stamp": stamp, "fingerprint": fingerprint_of(fields), "fields": fields}


def record(told: dict[str, Any], key: str) -> Record:
    """The record a revision of one event is kept in."""
    return Record("published", "dip@farm", told, NOW, NOW, "Ada", key)


LONG = payload({"end": "2026-03-02", "description": "\n".join(f"line {n} of many" for n in range(30)), "free": True})
WHOLE = record(LONG, "one")


def changed(**fields: Any) -> dict[str, Any]:
    """The next revision of the long one."""
    return payload({name: value for name, value in {**LONG["fields"], **fields}.items() if value is not None}, 1)


@given(FIELDS, FIELDS)
def test_whatever_changes_comes_back_as_it_was(before: dict[str, Any], after: dict[str, Any]) -> None:
    """Texts, lists and names added, changed and taken away; never longer than the whole."""
    base, wanted = record(payload(before), "one"), payload(after, 1)
    stored = record(kept(wanted, base), "two")
    assert whole_of(stored, base if base_of(stored) else None) == wanted
    assert len(canonical(stored.payload)) <= len(canonical(wanted))
    assert wrong_base(stored, base) is None


@given(st.lists(WORDS, max_size=30), st.lists(WORDS, max_size=30))
def test_a_text_is_kept_by_its_lines(before: list[str], after: list[str]) -> None:
    """One line of thirty changed costs a line, and every text comes back."""
    long = [f"this line stays as it was, number {n}" for n in range(20)]
    old = {"description": "\n".join([*long, *before])}
    new = {"description": "\n".join([*long[:10], *after, *long[10:]])}
    base, wanted = record(payload(old), "one"), payload(new, 1)
    stored = record(kept(wanted, base), "two")
    assert whole_of(stored, base) == wanted


def test_a_changed_line_costs_a_line_and_another_text_is_kept_whole() -> None:
    """So a reader never needs more than one entry beside the last."""
    moved = kept(changed(description=LONG["fields"]["description"].replace("line 7", "line seven")), WHOLE)
    assert base_of(record(moved, "two")) == "one"
    assert "fields" not in moved
    assert len(canonical(moved)) < 0.5 * len(canonical(LONG))
    other = kept(changed(description="\n".join(f"{n} quite other words" for n in range(30))), WHOLE)
    assert "fields" in other


def test_it_is_looked_up_by_the_end_of_the_event_either_way() -> None:
    """The topic of a record kept as changes is that of the whole."""
    later = changed(end="2026-04-01", free=None)
    assert "base" in kept(later, WHOLE)
    assert stream_of(record(kept(later, WHOLE), "two")) == stream_of(record(later, "two"))


@pytest.mark.parametrize(
    "base",
    [
        None,
        replace(WHOLE, subject="other@farm"),
        replace(WHOLE, payload={**LONG, "fields": {**LONG["fields"], "free": False}}),
        replace(WHOLE, payload={**LONG, "fields": {"end": "", "description": "short"}}),
        replace(WHOLE, payload={"sequence": 0}),
    ],
)
def test_another_past_is_found(base: Record | None) -> None:
    """The whole one is gone, of another event, altered, or no whole one: the check says so."""
    stored = record(kept(changed(summary="moved"), WHOLE), "two")
    assert check([WHOLE, stored]) == []
    found = check([*([] if base is None else [base]), stored])
    assert [finding.where for finding in found] == ["record two, kept as changes"]


@pytest.mark.parametrize(("key", "kept_as"), [("act~published/dip@farm/77", "act~*/77"), ("one.2", "one.2")])
def test_the_key_of_the_whole_one_is_kept_short_and_found_again(key: str, kept_as: str) -> None:
    """The event's name is not written twice; a key that has the sign itself is not shortened, the whole is kept."""
    stored = record(kept(changed(summary="moved"), replace(WHOLE, key=key)), "two")
    assert stored.payload["base"] == kept_as
    assert base_of(stored) == key
    assert "fields" in kept(changed(summary="moved"), replace(WHOLE, key=f"*{key}"))


def test_a_whole_one_written_later_is_no_base() -> None:
    """What is kept as changes is readable from the moment it is written."""
    stored = record(kept(changed(summary="moved"), WHOLE), "two")
    assert check([stored, WHOLE]) != []
