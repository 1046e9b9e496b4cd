"""Renew the catalogues from the code and the library, then compile them: ``python -m tests.language.renew [MORE.json]``.

Translations already there are kept; phrases no one says any more go.  MORE.json adds translations by their phrase.
"""

from __future__ import annotations

import io
import json
import sys
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

import intake
from tests.language.phrases import Phrase, library_words, phrases_of_code

__all__ = ["main"]

LOCALE = Path(intake.__file__).parent / "language" / "locale"
_HEADER = """# Spanish words of Vatside's papers and calendars.
# Made WITHOUT A NATIVE READER: no one whose first language is Spanish has read them yet.
# Have someone at the farm read every safety sentence before the papers are used.
#"""
_DATED = datetime(2026, 11, 30, tzinfo=UTC)


def main(more: str = "") -> int:
    """Write ``vatside.po`` and ``vatside.mo`` of every language; gives the number of phrases without a translation."""
    added = json.loads(Path(more).read_text(encoding="utf-8")) if more else {}
    missing = 0
    for folder in sorted(LOCALE.iterdir()):
        file = folder / "LC_MESSAGES" / "vatside.po"
        old = read_po(io.BytesIO(file.read_bytes()), locale=folder.name) if file.is_file() else Catalog(folder.name)
        fresh = Catalog(
            folder.name, project="Vatside", version="1", header_comment=_HEADER, fuzzy=False, charset="utf-8",
            creation_date=_DATED, revision_date=_DATED, last_translator="nobody whose first language it is",
            language_team="none", copyright_holder="the Vatside contributors", msgid_bugs_address="none",
        )  # fmt: skip
        said: dict[Phrase, str] = {**phrases_of_code()}
        said.update((word, "library") for word in library_words())
        for key, where in sorted(said.items(), key=lambda pair: (pair[1], str(pair[0]))):
            one = key if isinstance(key, str) else key[0]
            known = old.get(one) or old.get(key)
            told = added.get(one) or (known.string if known is not None else None)
            flags = ["python-brace-format"] if "{" in one else []
            if isinstance(told, list):  # a language with more plurals than two says the last for all that are left
                told = (*told, *([told[-1]] * (fresh.num_plurals - len(told))))
            fresh.add(key, told, auto_comments=[where], flags=flags)
            missing += not (all(told) if isinstance(told, tuple) else told)
        with file.open("wb") as out:
            write_po(out, fresh, width=110, sort_output=False)
        with file.with_suffix(".mo").open("wb") as out:
            write_mo(out, fresh)
    return missing


if __name__ == "__main__":
    print(f"{main(*sys.argv[1:])} phrases without a translation")
