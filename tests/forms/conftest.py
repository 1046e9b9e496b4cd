"""Tools for looking at printed pages."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

Raster = Callable[[bytes, int], list[np.ndarray]]


@pytest.fixture
def raster(tmp_path: Path) -> Raster:
    """Grey pages of a PDF at some dots per inch; 0 is black, 255 white."""
    tool = shutil.which("pdftoppm")
    if tool is None:
        pytest.skip("pdftoppm (poppler-utils) is not installed, so the pages cannot be looked at")

    def look(data: bytes, dpi: int) -> list[np.ndarray]:
        (tmp_path / "page.pdf").write_bytes(data)
        for old in tmp_path.glob("page-*.png"):
            old.unlink()
        subprocess.run([tool, "-r", str(dpi), "-gray", "-png", "page.pdf", "page"], cwd=tmp_path, check=True)
        return [np.asarray(Image.open(path).convert("L")) for path in sorted(tmp_path.glob("page-*.png"))]

    return look
