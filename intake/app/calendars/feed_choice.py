"""Which events a subscriber sees, and how: the day's list or every task, and what went to someone else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from hashlib import sha256
from typing import Any

from intake.feed import Published
from intake.language import ENGLISH, Language

__all__ = ["shown_to"]


def shown_to(
    published: Iterable[Published], who: str, *, digest: bool, todos: bool = False, language: Language = ENGLISH
) -> list[Published]:
    """The events of one subscriber, each as that subscriber reads it.

    Parameters
    ----------
    who
        Person, role, system or ``farm``.
    digest
        A list each morning and only what has a moment of its own beside it, instead of an event for each task.
    todos
        Tasks of this reader alone, each of them: for a list of to-dos.
    language
        The language in which this subscriber reads.
    """
    published = [_said(row, language) for row in published]
    rows = [one for one in published if _is_task(one)] if todos else published
    chosen = [row for one in rows for row in _as_read(one, who, digest=digest and not todos)]
    shown = {row.uid for row in chosen}
    return [_within(row, shown) for row in chosen]


def _is_task(row: Published) -> bool:
    """Something to be done; a landing or a deadline is not, nor is the list of a day."""
    return not {"digest", "landing", "claim"} & set(row.fields.get("categories", ()))


def _as_read(row: Published, who: str, *, digest: bool) -> Iterator[Published]:
    fields = row.fields
    listed = bool(fields.get("digest")) or fields.get("timed", True)
    if (digest and not listed) or (not digest and fields.get("digest")):
        return
    if who in fields.get("categories", ()):
        yield row
        return
    for former, mark in fields.get("former", ()):
        if former == who:
            yield _told(
                row, dict(fields) | {"summary": f"{mark} {fields['summary']}", "free": True, "alarms_minutes": []}
            )


def _said(row: Published, language: Language) -> Published:
    """The same revision in a reader's language; in the farm's where it was published before that language was wanted."""
    if language.english and "told" not in row.fields:
        return row
    told = row.fields.get("told", {}).get(language.code) or [row.fields["summary"], row.fields["description"]]
    title, words = map(language.figures, told)
    if [title, words] == [row.fields["summary"], row.fields["description"]]:
        return row
    return _told(row, dict(row.fields) | {"summary": title, "description": words})


def _within(row: Published, shown: set[str]) -> Published:
    """Relations lead to events of this calendar only: a reader cannot follow others."""
    kept = [pair for pair in row.fields["precedes"] if pair[0] in shown]
    return row if len(kept) == len(row.fields["precedes"]) else _told(row, dict(row.fields) | {"precedes": kept})


def _told(row: Published, fields: Mapping[str, Any]) -> Published:
    """The same revision with other words: known by a fingerprint of its own, so that no kept bytes are mistaken for it."""
    mark = sha256(repr(sorted(fields.items())).encode()).hexdigest()[:16]
    return replace(row, fields=dict(fields), fingerprint=f"{row.fingerprint}-{mark}")
