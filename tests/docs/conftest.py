"""The book's own tools, and the tutorial carried out once for all tests that go on from it."""

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture(scope="session")
def build() -> Iterator[ModuleType]:
    """``docs/build.py`` as a module; its folder is on the path only while these tests run."""
    before = list(sys.path)
    spec = importlib.util.spec_from_file_location("book_build", DOCS / "build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    yield module
    sys.path[:] = before


@pytest.fixture(scope="session")
def tutorial(build: ModuleType, tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """The tutorial as its reader ends it."""
    return build.examples.run_page(DOCS / build.TUTORIAL, tmp_path_factory.mktemp("tutorial"))
