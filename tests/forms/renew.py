"""Writes the golden texts anew; read the difference before keeping it: ``python -m tests.forms.renew``."""

from __future__ import annotations

from pathlib import Path

import forms
from tests.forms.reading import lines_of
from tests.forms.samples import claim_content, sheet_content

if __name__ == "__main__":
    for name, data in (("sheet", forms.sheet(sheet_content())), ("claim", forms.claim(claim_content()))):
        path = Path(__file__).parent / "goldens" / f"{name}.txt"
        path.write_text("\n".join(lines_of(data)) + "\n", encoding="utf-8")
