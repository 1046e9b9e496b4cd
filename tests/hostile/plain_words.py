"""What every message about a spoiled file must be: printable, with a place and a next step, and free of programmers' words."""

from __future__ import annotations

import re

from intake.errors import Finding
from intake.packing import Question, Understanding

_QUOTES = re.compile(r"'[^']*'|\"[^\"]*\"")
_FOREIGN = re.compile(
    r"\\x[0-9a-f]{2}|\\u[0-9a-f]{4}|\bNone\b|\bnan\b|<class|object at|pydantic|unable to parse|valid (?:integer|tuple)"
)
_DOUBLED = re.compile(r"\b([A-Za-z]{3,}) \1\b")
_PLACE = re.compile(
    r"(?:[^,]+, )?(?:row \d+|line \d+|column|the list|--answer)|list|farm\.toml|[A-Z]+\d+ and [A-Z]+\d+"
)
_LONGEST = 1_500


def plain(words: str) -> None:
    """No escapes, no names of Python, nothing that cannot be printed, no word twice; cells are quoted, not judged."""
    assert words.isprintable(), words
    assert len(words) <= _LONGEST, words[:200]
    bare = _QUOTES.sub("", words)
    assert not _FOREIGN.search(bare), words


def finding_in_words(fault: Finding) -> None:
    """Where, what was met, what would do, and the next step as a sentence."""
    assert _PLACE.match(fault.where), fault
    assert fault.expected, fault
    assert re.match(r"[A-Z].*\.$", fault.do), fault
    for words in (fault.expected, fault.do):
        assert not _DOUBLED.search(_QUOTES.sub("", words)), fault
    plain(str(fault))


def question_in_words(question: Question) -> None:
    """A question is a finding too; each choice that is a key says what it means."""
    finding_in_words(question.finding())
    for choice in question.choices:
        if "-" in choice and question.key.split(":")[0] not in {"name", "sheet", "count-column", "encoding"}:
            assert question.meaning(choice), (question.key, choice)


def understanding_in_words(found: Understanding) -> None:
    """Everything a person is shown of a list that was read."""
    for fault in found.problems:
        finding_in_words(fault)
    for question in found.questions:
        question_in_words(question)
    for sentence in found.evidence:
        plain(sentence)
