"""The one place that writes output files, whole or not at all: any bytes, charts, and tables as CSV, XLSX or Parquet."""

from __future__ import annotations

import hashlib
import importlib.util
import io
import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime, tzinfo
from pathlib import Path

from intake.errors import BadInput, Finding, StoreTrouble

__all__ = [
    "TABLE_ENDINGS",
    "Cell",
    "has_parquet",
    "keep_file",
    "kept_file",
    "replace_if",
    "save",
    "write_chart",
    "write_table",
]

_KEPT = "claims"

TABLE_ENDINGS = (".csv", ".xlsx", ".parquet")
"""Kinds of table file, by the ending of their name."""

Cell = str | int | float | bool | date | datetime | None


def save(path: Path, data: bytes, *, own: bool = False) -> Path:
    """Write a file whole or not at all: beside it first, then renamed.

    Parameters
    ----------
    own
        The farm itself keeps this file (its inbox, its photos): its own folders are open to it.

    Raises
    ------
    BadInput
        A device or folder, the farm's own files, or a file of another kind than the one being written.
    StoreTrouble
        The folder cannot be written.
    """
    _may_replace(path, data, own=own)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            mask = os.umask(0)
            os.umask(mask)
            Path(name).chmod(0o666 & ~mask)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise StoreTrouble(
            Finding(str(path), error.strerror or str(error), "a folder that can be written", "Nothing was changed.")
        ) from error
    return path


def _may_replace(path: Path, data: bytes, *, own: bool) -> None:
    """Refuse to write over what is not of the kind being written; nothing a farm lives by is ever replaced so."""
    words = "Choose another name."
    farms_own = (
        path.name == "farm.toml" or path.name.startswith("farm.db") or (path.parent / path.name / "farm.toml").exists()
    )
    inside = path.resolve().parent
    kept = inside.name in _FARM_FOLDERS and (inside.parent / "farm.toml").is_file()
    if not own and (farms_own or kept or _is_for_a_folder(path.resolve())):
        raise BadInput(Finding(str(path), "the farm's own file or folder", "another place", words))
    if not path.exists():
        return
    if not path.is_file():
        raise BadInput(Finding(str(path), "no ordinary file", "a file name", words))
    with path.open("rb") as file:
        head = file.read(_LINE)
    before, kind = _kind(head), _kind(data[:_HEAD])
    other = before if before != kind else ""
    if kind == "text" and before == "text" and path.suffix == ".csv" and _columns(head) != _columns(data[:_LINE]):
        other = "a table with other columns"
    if other and not _ANSWER.get()(f"{path} is a file of another kind ({other})."):
        do = f"{words[:-1]}, or replace it with --force."
        raise BadInput(Finding(str(path), f"a file of another kind ({other})", "a file of the kind being written", do))


_ANSWER: ContextVar[Callable[[str], bool]] = ContextVar("answer", default=lambda _: False)


@contextmanager
def replace_if(answer: Callable[[str], bool]) -> Iterator[None]:
    """While it lasts, ``answer`` says whether a file of another kind, named in a sentence, may be replaced."""
    token = _ANSWER.set(answer)
    try:
        yield
    finally:
        _ANSWER.reset(token)


def _columns(head: bytes) -> bytes:
    """The first line of a table."""
    return head.removeprefix(b"\xef\xbb\xbf").partition(b"\n")[0].strip()


def _is_for_a_folder(path: Path) -> bool:
    """Whether the farm keeps, or will keep, a folder of this name there: a file would stand in its way."""
    folder = path.parent.parent if path.parts[-2:] == ("out", "feeds") else path.parent
    return (folder / "farm.toml").is_file() and (folder != path.parent or path.name in _FARM_FOLDERS | {"out"})


_FARM_FOLDERS = frozenset({"library", "inbox", "backups", "claims", "photos", "tls"})
_HEAD = 64
_LINE = 4096
_KINDS = (
    (b"SQLite format 3", "database"),
    (b"%PDF", "PDF"),
    (b"\x89PNG", "PNG"),
    (b"\xff\xd8\xff", "JPEG"),
    (b"PK\x03\x04", "workbook or archive"),
    (b"BEGIN:VCALENDAR", "calendar"),
    (b"PAR1", "Parquet"),
    (b"<svg", "SVG"),
    (b"\x1f\x8b", "archive"),
)


def _kind(head: bytes) -> str:
    """What bytes begin as; ``text`` for plain text, empty for an empty file."""
    if not head:
        return ""
    return next((name for magic, name in _KINDS if head.startswith(magic)), "text")


def keep_file(folder: Path, data: bytes, name: str) -> dict[str, object]:
    """Keep bytes for ever under the name of their SHA-256; gives what the entry about them says.

    Raises
    ------
    StoreTrouble
        The folder cannot be written.
    """
    digest = hashlib.sha256(data).hexdigest()
    path = folder / _KEPT / _name(digest, name)
    if not path.is_file() or path.read_bytes() != data:
        save(path, data, own=True)
    return {"name": name, "sha256": digest, "bytes": len(data)}


def kept_file(folder: Path, digest: str, name: str) -> bytes:
    """Bytes of a kept file.

    Raises
    ------
    StoreTrouble
        It is gone, or its bytes are not those that were kept.
    """
    path = folder / _KEPT / _name(digest, name)
    where = f"{_KEPT}/{path.name} ({name})"
    if not path.is_file():
        raise StoreTrouble(Finding(where, "gone", "the file that was sent", "Restore it from a backup."))
    data = path.read_bytes()
    if hashlib.sha256(data).hexdigest() != digest:
        raise StoreTrouble(
            Finding(where, "changed since it was kept", f"SHA-256 {digest}", "Restore it from a backup.")
        )
    return data


def _name(digest: str, name: str) -> str:
    return f"{digest}{Path(name).suffix}"


def has_parquet() -> bool:
    """Whether the package that writes Parquet is installed."""
    return importlib.util.find_spec("pyarrow") is not None


def write_table(path: Path, columns: Sequence[str], rows: Sequence[Sequence[Cell]], zone: tzinfo) -> Path:
    """Write a table by the ending of its name: ``.csv``, ``.xlsx`` or ``.parquet``; gives its path.

    Notes
    -----
    CSV is UTF-8 with a mark, for spreadsheets; a text they would take for a formula has an apostrophe put before it, and
    times keep their offset.  XLSX has typed cells, a frozen header and times in the farm's own ``zone``, named in the
    header.  Parquet has typed columns and times in UTC.

    Raises
    ------
    BadInput
        Another ending, or Parquet without its package.
    StoreTrouble
        The folder cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in TABLE_ENDINGS:
        raise BadInput(Finding("--out", str(path), f"a file ending in {', '.join(TABLE_ENDINGS)}"))
    if ending == ".parquet" and not has_parquet():
        raise BadInput(
            Finding("--out", str(path), ".csv or .xlsx, as pyarrow is not installed", "Or install vatside[parquet].")
        )
    makers = {".csv": _csv, ".xlsx": _workbook, ".parquet": _parquet}
    return save(path, makers[ending](columns, rows, zone))


def _csv(columns: Sequence[str], rows: Sequence[Sequence[Cell]], _zone: tzinfo) -> bytes:
    import pandas as pd

    told = [[_told(cell) for cell in row] for row in rows]
    text = pd.DataFrame(told, columns=list(columns), dtype=object).to_csv(index=False, lineterminator="\r\n")
    return text.encode("utf-8-sig")


def _told(cell: Cell) -> Cell:
    if isinstance(cell, (date, datetime)):
        return cell.isoformat()
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t", "\r"} else cell


def _workbook(columns: Sequence[str], rows: Sequence[Sequence[Cell]], zone: tzinfo) -> bytes:
    import pandas as pd
    from openpyxl.utils import get_column_letter

    timed = [any(isinstance(row[at], datetime) for row in rows) for at in range(len(columns))]
    heads = [f"{name} ({zone})" if at_times else name for name, at_times in zip(columns, timed, strict=True)]
    local = [
        [cell.astimezone(zone).replace(tzinfo=None) if isinstance(cell, datetime) else cell for cell in row]
        for row in rows
    ]
    out = io.BytesIO()
    days, moments = "yyyy-mm-dd", "yyyy-mm-dd hh:mm"
    with pd.ExcelWriter(out, engine="openpyxl", date_format=days, datetime_format=moments) as writer:
        frame = pd.DataFrame(local, columns=heads, dtype=object)
        frame.to_excel(writer, index=False, freeze_panes=(1, 0), sheet_name="report")
        sheet = writer.sheets["report"]
        for line in sheet.iter_rows(min_row=2):
            for cell in line:
                if isinstance(cell.value, str):
                    cell.data_type = "s"  # a name that begins with = is a name
        for at, head in enumerate(heads, start=1):
            widest = max([len(head), *(len(str(row[at - 1])) for row in local)], default=8)
            sheet.column_dimensions[get_column_letter(at)].width = min(60, widest + 2)
    return out.getvalue()


def _parquet(columns: Sequence[str], rows: Sequence[Sequence[Cell]], _zone: tzinfo) -> bytes:
    import pandas as pd

    frame = pd.DataFrame([list(row) for row in rows], columns=list(columns), dtype=object)
    for at, name in enumerate(columns):
        kinds = {type(row[at]) for row in rows if row[at] is not None}
        if kinds == {datetime}:
            frame[name] = pd.to_datetime(frame[name], utc=True)
        elif kinds != {date}:
            frame[name] = frame[name].convert_dtypes()
    out = io.BytesIO()
    frame.to_parquet(out, engine="pyarrow", index=False)
    return out.getvalue()


def write_chart(stem: Path, svg: str, kind: str) -> Path:
    """Write a chart beside ``stem`` as ``svg``, ``png`` or ``pdf``; gives its path."""
    import forms as page
    from intake.report.chart_frame import titled

    data = page.chart_png(svg) if kind == "png" else page.chart_pdf(svg) if kind == "pdf" else titled(svg).encode()
    return save(stem.with_name(f"{stem.name}.{kind}"), data)
