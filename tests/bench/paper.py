"""Measures every form on both papers: pages, smallest type, smallest tick, codes read at 150 dpi grey with noise; seconds.

``python -m tests.bench.paper`` prints the table of ``docs/decisions/paper.md``; ``--sheets N`` times N intake sheets.
"""

from __future__ import annotations

import argparse
import io
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import zxingcpp
from PIL import Image
from pypdf import PdfReader

import forms
from tests.forms import samples
from tests.forms.measuring import fields, least_tick, type_sizes

NOISE = 30.0
"""Standard deviation of the noise added to a page of 0 (black) to 255 (white): a worn copy on a cheap scanner."""


def _forms(paper: str) -> dict[str, tuple[bytes, bytes | None]]:
    """Name → the form as printed, and as a form to fill in where there is one."""

    def both(make: object, content: object) -> tuple[bytes, bytes | None]:
        return make(content, paper), make(content, paper, fillable=True)  # type: ignore[operator]

    plain = samples.every_form(paper)
    found: dict[str, tuple[bytes, bytes | None]] = {
        "intake sheet": both(forms.sheet, samples.sheet_content()),
        **{f"intake sheet, {name}": both(forms.sheet, one) for name, one in samples.stress_sheets().items()},
        "checklist": both(forms.checklist, [samples.checklist_content(20)]),
        "round, 40 lots": both(forms.round_sheet, samples.round_content(10)),
        "dip log": both(forms.dip_log, samples.log_content(30)),
        "sampling list": both(forms.sampling_list, samples.sampling_content()),
        "claim": both(forms.claim, samples.claim_content(30)),
    }
    for name in ("runsheet", "plan", "history", "supplier"):
        found[name] = (plain[name], None)
    lots = tuple(forms.VatLot(700 - n, f"S1-{n:02d}", "Tridacna maxima") for n in range(3))
    label = forms.VatLabel("A3", "Quarantine A", "2,097 animals", lots, "32", "days to release", "http://192.168.4.20:8080/vats/A3",
                           ("not before Sun 29 Nov",), samples.palytoxin())  # fmt: skip
    found["vat label"] = (forms.vat_labels([label], "a4-2x4" if paper == "a4" else "letter-2x5"), None)
    return found


def _codes(data: bytes) -> str:
    """Pages whose code reads, of the first three that have one at 200 dpi without noise."""
    clean, noisy = (_read(data, dpi, noise) for dpi, noise in ((200, 0.0), (150, NOISE)))
    wanted = [bool(codes) for codes in clean]
    return (
        f"{sum(noisy[n] == clean[n] for n, has in enumerate(wanted) if has)} of {sum(wanted)}" if any(wanted) else "–"
    )


def _read(data: bytes, dpi: int, noise: float) -> list[set[str]]:
    chance = np.random.default_rng(7)
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "page.pdf").write_bytes(data)
        subprocess.run(
            ["pdftoppm", "-l", "3", "-r", str(dpi), "-gray", "-png", "page.pdf", "page"], cwd=folder, check=True
        )
        found = []
        for path in sorted(Path(folder).glob("page-*.png")):
            page = np.asarray(Image.open(path).convert("L")).astype(float)
            dirty = np.clip(page * 0.85 + 20 + chance.normal(0, noise, page.shape), 0, 255) if noise else page
            found.append({code.text for code in zxingcpp.read_barcodes(dirty.astype(np.uint8))})
    return found


def table(paper: str) -> Iterator[str]:
    """Rows of the table for one paper, as they are measured."""
    for name, (data, filled) in _forms(paper).items():
        pages = len(PdfReader(io.BytesIO(data)).pages)
        has_tick = filled is not None and any(one["kind"] != "text" for one in fields(filled))
        tick = f"{least_tick(filled):.1f}" if filled is not None and has_tick else "–"
        yield (f"| {name} | {paper} | {pages} | {min(type_sizes(data)):.1f} | {tick} | {_codes(data)} |")


def main() -> None:
    """Print the table, or the time of some sheets."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sheets", type=int, default=0)
    parser.add_argument("--paper", nargs="+", default=["a4", "letter"], choices=["a4", "letter"])
    told = parser.parse_args()
    if told.sheets:
        start = time.perf_counter()
        forms.sheets([samples.sheet_content(batch=f"B-{n:03d}") for n in range(told.sheets)])
        sys.stdout.write(f"{told.sheets} sheets: {(time.perf_counter() - start) / told.sheets * 1000:.0f} ms each\n")
        return
    head = [
        "| form | paper | pages | smallest type, pt | smallest tick, mm | codes read |",
        "|---|---|---|---|---|---|",
    ]
    for row in head:
        sys.stdout.write(f"{row}\n")
    for paper in told.paper:
        for row in table(paper):
            sys.stdout.write(f"{row}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
