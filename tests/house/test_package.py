"""What is handed to a stranger: an sdist without litter, a wheel with its bill of materials, the same bytes each time."""

from __future__ import annotations

import json
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from email.parser import BytesParser
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
BILL = ROOT / ".ci" / "vatside.cdx.json"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def _build(out: Path, *words: str) -> None:
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), *words, str(ROOT)]
    made = subprocess.run(command, capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stdout + made.stderr


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The sdist, and the wheel made from it."""
    out = tmp_path_factory.mktemp("dist")
    _build(out)
    return next(out.glob("*.tar.gz")), next(out.glob("*.whl"))


def test_sdist_holds_what_the_wheel_is_made_of_and_nothing_else(built: tuple[Path, Path]) -> None:
    """No tests, caches, benches or helpers; everything the wheel needs, since the wheel was made from it."""
    with tarfile.open(built[0]) as sdist:
        names = {name.partition("/")[2] for name in sdist.getnames()}
    assert {name.split("/")[0] for name in names} == {
        ".ci", ".gitignore", "PKG-INFO", "README.md", "demo", "docs", "forms", "intake", "pyproject.toml",
    }  # fmt: skip
    assert not [name for name in names if "__pycache__" in name or name.endswith((".pyc", ".db"))]
    beside = {name for name in names if name.startswith(("docs/", ".ci/"))}
    assert beside - {"docs", ".ci"} == {".ci/vatside.cdx.json", "docs/license.md"}


def test_wheel_is_the_same_bytes_at_each_build(built: tuple[Path, Path], tmp_path: Path) -> None:
    """Made from the tree and from the sdist: whoever builds it again can compare."""
    _build(tmp_path, "--wheel")
    again = next(tmp_path.glob("*.whl"))
    assert again.read_bytes() == built[1].read_bytes()


def test_wheel_says_who_made_it_for_whom(built: tuple[Path, Path]) -> None:
    """Authors, licence, classifiers, and an entry point; nothing asks for a GPL library to run."""
    with zipfile.ZipFile(built[1]) as wheel:
        names = wheel.namelist()
        told = BytesParser().parsebytes(wheel.read(next(name for name in names if name.endswith("/METADATA"))))
        entry = wheel.read(next(name for name in names if name.endswith("/entry_points.txt"))).decode()
    assert told["Author"] == "the Vatside contributors"
    assert told["License-Expression"] == "MIT"
    kinds = told.get_all("Classifier") or []
    assert {f"Programming Language :: Python :: 3.{minor}" for minor in (11, 12, 13, 14)} <= set(kinds)
    assert "vatside = intake.main:main" in entry
    runs = [one for one in told.get_all("Requires-Dist") or [] if "extra ==" not in one]
    assert not [one for one in runs if canonicalize_name(Requirement(one).name) in {"pyco2sys", "autograd"}]
    assert {name.split("/")[0] for name in names} == {
        "intake",
        "forms",
        next(n for n in names if "dist-info" in n).split("/")[0],
    }
    assert "intake/_demo_files/farm.toml" in names


def test_bill_of_materials_lies_in_the_wheel_and_fits_the_pins(built: tuple[Path, Path]) -> None:
    """PEP 770: ``.dist-info/sboms/``, unchanged; each direct dependency stands there with its pin."""
    with zipfile.ZipFile(built[1]) as wheel:
        inside = next(name for name in wheel.namelist() if name.endswith(".dist-info/sboms/vatside.cdx.json"))
        assert wheel.read(inside) == BILL.read_bytes()
    bill: dict[str, Any] = json.loads(BILL.read_text(encoding="utf-8"))
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert not {"serialNumber", "timestamp"} & {*bill, *bill["metadata"]}, "two builds would differ"
    named = {one["name"]: one.get("version") for one in bill["components"]}
    pins: dict[str, set[str]] = {}
    for line in (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines():
        pin = Requirement(line)
        pins.setdefault(canonicalize_name(pin.name), set()).add(str(pin.specifier).removeprefix("=="))
    for wanted in PROJECT["dependencies"]:
        name = canonicalize_name(Requirement(wanted).name)
        assert named.get(name) in pins[name], f"{name}: renew with .ci/sbom.py"
    refs = {one["bom-ref"] for one in bill["components"]} | {bill["metadata"]["component"]["bom-ref"]}
    for link in bill["dependencies"]:
        assert {link["ref"], *link["dependsOn"]} <= refs
    licences = json.dumps([one.get("licenses") for one in bill["components"]])
    assert "GPL" not in licences
    assert {one["name"] for one in bill["components"] if one["type"] == "file"} == {
        f"forms/fonts/{font.name}" for font in (ROOT / "forms" / "fonts").glob("*.ttf")
    }
