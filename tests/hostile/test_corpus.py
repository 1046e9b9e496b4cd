"""Two thousand spoiled packing lists and farm files: each is understood or refused in words, within time and memory."""

from __future__ import annotations

import io
import random
import re
import signal
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from intake.errors import IntakeError
from intake.farm.reading import read_site
from tests.hostile.plain_words import finding_in_words, understanding_in_words
from tests.packing.books import CLEAN, ods_of, repacked, understood, xlsx_of

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
FARMS = [(ROOT / name).read_bytes() for name in ("demo/farm.toml", "intake/app/new_farm/farm_template.toml")]
LISTS = [(ROOT / "demo" / name).read_bytes() for name in ("lagoon.csv", "atoll.csv")]
ROWS: list[list[object]] = [
    ["Box No", "Scientific name", "Size (cm)", "Qty", "Unit price (EUR)", "Amount", "Packed", "Source"],
    ["1-3", "Tridacna maxima", "4-5", 1250, 4.5, 5625, "03/04/2026 14:30", "F"],
    [4, "T. crocea", "3-4", 60, 3.85, 231, "2026-04-03", "W"],
    ["", "Assorted Acropora", 6, 10, "€ 12", "", "", "?"],
    ["", "Total", "", 1320, "", "", "", ""],
]

TOKENS = [
    *(
        "",
        "-1",
        "0",
        "1e999",
        "-1e-999",
        "NaN",
        "inf",
        "99999999999999999999999",
        "0x10",
        "1_000",
        "1.250,00",
        "½",
        "٣",
    ),
    *(
        "=A1",
        "@x",
        "\u202e",
        "\u200b",
        "\x00",
        "\x07",
        "\ud7ff",
        "\ufeff",
        "'",
        '"',
        '""',
        "\\",
        "\r",
        "\n\n",
        "\t",
        ";",
    ),
    *("true", "null", "[]", "{}", "[[[[", "]]", "13/13/2026", "2026-02-30", "24:00", "9999-12-31", "0000-00-00"),
    *(
        "../../x",
        "x" * 5_000,
        "(" * 500,
        "[" * 3_000,
        "9" * 5_000,
        "鹿角",
        "🐚",
        "Total",
        "cm",
        "in",
        "4-",
        "-4",
        "4–5",
        "1/0",
        "%n",
        "{0}",
    ),
]
"""What people, programs and enemies put into a cell."""

LONGEST_S = 30
"""After so long a file counts as hanging; a guard against no end, not a measure of speed."""
MOST_MB = 400
"""Memory the whole corpus may add at its peak."""


@contextmanager
def no_hanging(what: str) -> Iterator[None]:
    """Break off a file that never ends."""

    def stop(*_: object) -> None:
        pytest.fail(f"{what} hangs")

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, LONGEST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def peak_mb() -> float:
    """Most memory this process has held, in MB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    pytest.skip("no /proc to read the memory from")


def bent(chance: random.Random, data: bytes) -> bytes:
    """Bytes changed, cut out, doubled, moved, or replaced by a token."""
    out = bytearray(data)
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(out) + 1)
        size = min(chance.choice((1, 2, 8, 64, 500)), len(out) - at)
        match chance.randrange(6):
            case 0 if out:
                out[at % len(out)] = chance.randrange(256)
            case 1:
                del out[at : at + size]
            case 2:
                out[at:at] = out[at : at + size]
            case 3:
                out[at : at + size] = chance.choice(TOKENS).encode("utf-8", "surrogatepass")
            case 4:
                part = out[at : at + size]
                del out[at : at + size]
                where = chance.randrange(len(out) + 1)
                out[where:where] = part
            case _:
                if chance.random() < 0.3:
                    del out[at:]
    return bytes(out)


def lines_bent(chance: random.Random, data: bytes) -> bytes:
    """Lines dropped, doubled, swapped; delimiters, ends of lines and encoding changed."""
    lines = data.decode().splitlines()
    for _ in range(chance.randint(1, 5)):
        at, other = chance.randrange(len(lines)), chance.randrange(len(lines))
        match chance.randrange(5):
            case 0 if len(lines) > 1:
                lines.pop(at)
            case 1:
                lines.insert(other, lines[at])
            case 2:
                lines[at], lines[other] = lines[other], lines[at]
            case 3:
                lines[at] = re.sub(r"[0-9.]+", lambda _: chance.choice(TOKENS), lines[at], count=chance.randint(1, 3))
            case _:
                cells = lines[at].split(",")
                cells[chance.randrange(len(cells))] = chance.choice(TOKENS)
                lines[at] = ",".join(cells)
    text = chance.choice(("\n", "\r\n", "\r")).join(lines)
    if chance.random() < 0.3:
        text = text.replace(",", chance.choice((";", "\t", "|", ",,")))
    return text.encode(chance.choice(("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252")), "replace")


def inside_bent(chance: random.Random, workbook: bytes) -> bytes:
    """A workbook that is a sound archive around a spoiled part."""
    parts = [name for name in zipfile.ZipFile(io.BytesIO(workbook)).namelist() if name.endswith((".xml", ".rels"))]
    part = chance.choice(parts)
    content = zipfile.ZipFile(io.BytesIO(workbook)).read(part)
    if chance.random() < 0.5:
        return repacked(workbook, part, bent(chance, content))
    text = re.sub(
        r">[^<>]+<|\"[^\"]*\"",
        lambda met: met[0][0] + chance.choice(TOKENS) + met[0][-1] if chance.random() < 0.1 else met[0],
        content.decode(),
    )
    return repacked(workbook, part, text.encode("utf-8", "surrogatepass"))


def values_bent(chance: random.Random, farm: bytes) -> bytes:
    """A farm file whose values, keys and table names are replaced, doubled or dropped."""
    lines = farm.decode().splitlines()
    kept = [at for at, line in enumerate(lines) if line.strip() and not line.startswith("#")]
    for at in chance.sample(kept, chance.randint(1, 6)):
        name, equals, value = lines[at].partition("=")
        match chance.randrange(6):
            case 0:
                lines[at] = ""
            case 1:
                lines[at] = f"{lines[at]}\n{lines[at]}"
            case 2 if equals:
                lines[at] = f"{name}= {chance.choice(TOKENS)}"
            case 3 if equals:
                quoted = chance.choice(TOKENS).replace("\\", "\\\\").replace('"', "'").replace("\n", " ")
                lines[at] = f'{name}= "{quoted}"'
            case 4 if equals:
                other = lines[chance.choice(kept)].partition("=")[2]
                lines[at] = f"{name}={other}"
            case _:
                lines[at] = name.replace(name.strip()[:3], chance.choice(TOKENS)[:20]) + equals + value
    return "\n".join(lines).encode("utf-8", "surrogatepass")


def in_words(refused: IntakeError) -> None:
    """A refusal says where, what was met, what would have been accepted and what to do, in plain words."""
    assert refused.findings
    for finding in refused.findings:
        finding_in_words(finding)


def a_list(data: bytes) -> None:
    """Understood, and then shown and written out; or refused with findings."""
    try:
        shipment = understood(data)
    except IntakeError as refused:
        in_words(refused)
        return
    assert shipment.table()
    assert shipment.as_dict()
    understanding_in_words(shipment)
    if shipment.ready:
        assert sum(batch.announced for batch in shipment.batches()) == shipment.totals.animals


def a_farm(data: bytes) -> None:
    """Read whole, every vat in a system there is; or refused with findings."""
    try:
        site = read_site(data)
    except IntakeError as refused:
        in_words(refused)
        return
    assert all(vat.system in site.systems and vat.area_m2 > 0 for vat in site.vats.values())


XLSX, ODS = xlsx_of(ROWS), ods_of(ROWS)
CORPUS: dict[str, tuple[list[bytes], Callable[[random.Random, bytes], bytes], Callable[[bytes], None], int]] = {
    "bytes of lists": ([CLEAN.encode(), *LISTS], bent, a_list, 420),
    "bytes of UTF-16 lists": ([CLEAN.encode("utf-16")], bent, a_list, 120),
    "lines of lists": ([CLEAN.encode(), *LISTS], lines_bent, a_list, 420),
    "bytes of workbooks": ([XLSX, ODS], bent, a_list, 300),
    "parts of workbooks": ([XLSX, ODS], inside_bent, a_list, 330),
    "bytes of farm files": (FARMS, bent, a_farm, 260),
    "values of farm files": (FARMS, values_bent, a_farm, 420),
}


def test_the_corpus_is_as_large_as_it_says() -> None:
    """At least two thousand different files."""
    different = 0
    for name, (sources, spoil, _, many) in CORPUS.items():
        chance = random.Random(name)  # a fixed seed
        different += len({spoil(chance, sources[number % len(sources)]) for number in range(many)})
    assert different >= 2_000


@pytest.mark.parametrize("name", CORPUS)
def test_every_spoiled_file_is_understood_or_refused(name: str) -> None:
    """No exception but a refusal with findings, no file without end, memory within bounds."""
    sources, spoil, look, many = CORPUS[name]
    chance = random.Random(name)  # a fixed seed
    look(sources[0])
    before = peak_mb()
    for number in range(many):
        data = spoil(chance, sources[number % len(sources)])
        with no_hanging(f"{name}, number {number}"):
            try:
                look(data)
            except Exception as error:
                error.add_note(f"{name}, number {number}: {data[:300]!r}")
                raise
    assert peak_mb() - before < MOST_MB
