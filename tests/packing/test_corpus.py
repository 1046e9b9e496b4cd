"""Lists of many layouts and languages against their true reading: right, or asked and then right, never silently wrong."""

from __future__ import annotations

from decimal import Decimal
from statistics import median

import pytest

from intake.packing import Understanding
from tests.packing.books import understood
from tests.packing.corpus import bare, files, layouts, odd, tricky
from tests.packing.corpus.layouts import Case

CASES: dict[str, Case] = {**layouts.cases(), **files.cases(), **tricky.cases(), **odd.cases(), **bare.cases()}
_LEAST_LISTS = 80


def reading(found: Understanding) -> list[tuple[object, ...]]:
    """Lines as they were understood, to compare."""
    return [
        (line.name, round(line.size_min_mm, 1), round(line.size_max_mm, 1), line.count, ",".join(line.boxes),
         None if line.unit_price is None else Decimal(line.unit_price), line.currency)
        for line in found.lines
    ]  # fmt: skip


def truth(case: Case) -> list[tuple[object, ...]]:
    """Lines as they truly are."""
    return [
        (one.name, one.low, one.high, one.count, one.box, Decimal(one.price) if one.price else None,
         case.currency if one.price else "")
        for one in case.lines
    ]  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_a_list_is_read_rightly_or_asked_about(name: str) -> None:
    """Without answers: right or asked.  With the answers the sender gave: right."""
    case = CASES[name]
    if case.refused:
        first = understood(case.data)
        assert not first.ready
        assert any(case.refused in f"{each.where}: {each.value}" for each in first.problems), first.problems
        return
    told: dict[str, str] = {}
    for _ in range(4):
        found = understood(case.data, told)
        assert not found.problems, found.problems
        if not found.questions:
            break
        for question in found.questions:
            assert question.key in case.answers, f"no honest answer to: {question.what} ({question.key})"
            told[question.key] = case.answers[question.key]
    assert found.ready, found.questions
    assert reading(found) == truth(case)
    assert set(told) == set(case.answers), "asked for everything the list leaves open, and for nothing else"


def test_the_corpus_as_a_whole() -> None:
    """At least eighty lists; none silently wrong; half of them ask nothing or one thing."""
    assert len(CASES) >= _LEAST_LISTS
    asked = []
    for name, case in CASES.items():
        found = understood(case.data)
        asked.append(len(found.questions))
        assert not (found.ready and reading(found) != truth(case)), name
    assert median(asked) <= 1
