"""The one place that writes output files, whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from intake.errors import Finding, StoreTrouble

__all__ = ["save", "write_chart"]


def save(path: Path, data: bytes) -> Path:
    """Write a file whole or not at all: beside it first, then renamed.

    Raises
    ------
    StoreTrouble
        The folder cannot be written.
    """
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


def write_chart(stem: Path, svg: str, kind: str) -> Path:
    """Write a chart beside ``stem`` as ``svg``, ``png`` or ``pdf``; gives its path."""
    import forms as page

    data = page.chart_png(svg) if kind == "png" else page.chart_pdf(svg) if kind == "pdf" else svg.encode()
    return save(stem.with_name(f"{stem.name}.{kind}"), data)
