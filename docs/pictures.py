"""Make the book's pictures: the demo walked on fixed days, its paper drawn by poppler and its board by Chromium, in greys.

::

    python docs/pictures.py              walk the demo (some minutes) and write docs/pictures/
    python docs/pictures.py FOLDER       from a demo farm that was walked before
"""

# ruff: noqa: TID251  # the book's own tools may open files and speak

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

DOCS = Path(__file__).resolve().parent
sys.path[:0] = [str(DOCS), str(DOCS.parent)]

NOW = datetime(2027, 3, 18, 17, tzinfo=UTC)
"""The demo's present, fixed so that the same code makes the same pictures."""

DRAWN = {"plan": "plan-P2.pdf", "sheet": "sheet-S1-01.pdf", "runsheet": "runsheet-S1.pdf"}
"""Picture → the printed file whose first page it shows."""

MOST_BYTES = 80_000
_WIDTHS = (1000, 900, 800, 700, 600)
_LEVELS = 16


def draw(pdf: Path, target: Path) -> None:
    """Draw the first page as a PNG in 16 greys, as wide as keeps it under the size allowed."""
    from PIL import Image

    for width in _WIDTHS:
        with tempfile.TemporaryDirectory() as folder:
            page = Path(folder) / "page"
            words = ["pdftoppm", "-png", "-gray", "-singlefile", "-scale-to-x", str(width), "-scale-to-y", "-1"]
            subprocess.run([*words, str(pdf), str(page)], check=True)  # noqa: S603  # our own words
            with Image.open(page.with_suffix(".png")) as picture:
                picture.quantize(_LEVELS).save(target, optimize=True)
        if target.stat().st_size <= MOST_BYTES:
            return


def main() -> None:
    """Walk the demo where no folder is given, and draw."""
    parser = argparse.ArgumentParser(description="Make the book's pictures.")
    parser.add_argument("folder", type=Path, nargs="?", help="a demo farm walked before")
    given = parser.parse_args().folder
    with tempfile.TemporaryDirectory() as fresh:
        folder = given or Path(fresh) / "demo"
        if given is None:
            from intake.demo.walkthrough import walk

            walk(folder, tell=print, working=lambda _: None, now=NOW)
        pictures = DOCS / "pictures"
        pictures.mkdir(exist_ok=True)
        for name, file in DRAWN.items():
            draw(folder / "out" / file, pictures / f"{name}.png")
        from intake.app.documents.contact_trace_picture import trace_picture
        from intake.app.session import open_house

        met = trace_picture(open_house(folder, now=NOW), "S1-06")
        (pictures / "contacts.svg").write_text(met, encoding="utf-8")
        survival = (folder / "out" / "survival-S1.svg").read_text(encoding="utf-8")
        (pictures / "survival.svg").write_text(survival, encoding="utf-8")
        from making.board_pictures import draw_board

        draw_board(folder, pictures)
        for path in sorted(pictures.iterdir()):
            print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
