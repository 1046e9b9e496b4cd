"""Writes the software bill of materials that the wheel carries (PEP 770): what runs with it, pinned, and what it bundles.

CycloneDX 1.6, without time or serial number, so that the same pins give the same bytes.  Run it where the run-time
dependencies are installed; ``--check`` says whether the file on disk still fits pyproject and pins.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[1]
FILE = ROOT / ".ci" / "vatside.cdx.json"
#: The pins are told for this interpreter; others may take another release of numpy and scipy.
MARKERS = {
    "python_version": "3.11", "python_full_version": "3.11.0", "sys_platform": "linux", "platform_system": "Linux",
    "platform_machine": "x86_64", "os_name": "posix", "implementation_name": "cpython",
    "platform_python_implementation": "CPython", "extra": "",
}  # fmt: skip


def pins() -> dict[str, str]:
    """Name → version of every pin that holds for :data:`MARKERS`."""
    found = {}
    for line in (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines():
        wanted = Requirement(line)
        if wanted.marker is None or wanted.marker.evaluate(MARKERS):
            found[canonicalize_name(wanted.name)] = str(wanted.specifier).removeprefix("==")
    return found


def direct() -> list[str]:
    """Names of the run-time dependencies of pyproject."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return sorted(canonicalize_name(Requirement(one).name) for one in project["dependencies"])


def _needs(name: str, known: dict[str, str]) -> list[str]:
    asked = [Requirement(one) for one in distribution(name).requires or []]
    kept = {canonicalize_name(one.name) for one in asked if one.marker is None or one.marker.evaluate(MARKERS)}
    return sorted(kept & set(known))


def _licence(name: str) -> list[dict[str, Any]]:
    told = distribution(name).metadata
    if expression := told.get("License-Expression"):
        return [{"expression": expression}]
    words = [line for line in told.get_all("Classifier") or [] if line.startswith("License :: OSI Approved :: ")]
    return [{"license": {"name": words[0].rsplit(" :: ", 1)[1]}}] if words else []


def _ref(name: str, version: str) -> str:
    return f"pkg:pypi/{name}@{version}"


def bill() -> dict[str, Any]:
    """The whole document."""
    known, version = pins(), _version()
    graph: dict[str, list[str]] = {}
    open_ = direct()
    while open_:
        name = open_.pop()
        if name not in graph:
            graph[name] = _needs(name, known)
            open_ += graph[name]
    me = _ref("vatside", version)
    components: list[dict[str, Any]] = [
        {
            "bom-ref": _ref(name, known[name]), "type": "library", "name": name, "version": known[name],
            "purl": _ref(name, known[name]), **({"licenses": told} if (told := _licence(name)) else {}),
        }
        for name in sorted(graph)
    ]  # fmt: skip
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {
            "component": {
                "bom-ref": me, "type": "application", "name": "vatside", "version": version, "purl": me,
                "licenses": [{"expression": "MIT"}],
            }
        },
        "components": [*components, *_bundled()],
        "dependencies": [
            {"ref": me, "dependsOn": [_ref(name, known[name]) for name in direct()]},
            *({"ref": _ref(name, known[name]), "dependsOn": [_ref(one, known[one]) for one in needs]}
              for name, needs in sorted(graph.items())),
        ],
    }  # fmt: skip


def _version() -> str:
    text = (ROOT / "intake" / "__init__.py").read_text(encoding="utf-8")
    return next(line.split('"')[1] for line in text.splitlines() if line.startswith("__version__"))


def _bundled() -> list[dict[str, Any]]:
    """Files of others that lie in the wheel itself: the fonts."""
    return [
        {
            "bom-ref": f"file:{font.name}", "type": "file", "name": f"forms/fonts/{font.name}",
            "hashes": [{"alg": "SHA-256", "content": hashlib.sha256(font.read_bytes()).hexdigest()}],
            "licenses": [{"license": {"name": "Bitstream Vera and DejaVu fonts (forms/fonts/LICENSE-DejaVu.txt)"}}],
        }
        for font in sorted((ROOT / "forms" / "fonts").glob("*.ttf"))
    ]  # fmt: skip


def main() -> int:
    """Write the file, or compare it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--check", action="store_true", help="Compare only; exit 1 if the file is stale.")
    check = parser.parse_args().check
    try:
        text = json.dumps(bill(), indent=1, ensure_ascii=False) + "\n"
    except PackageNotFoundError as error:
        print(f"{error.name} is not installed: install the project first", file=sys.stderr)
        return 2
    if check:
        fresh = FILE.exists() and FILE.read_text(encoding="utf-8") == text
        print("the bill of materials is current" if fresh else f"{FILE.name} is stale: run .ci/sbom.py")
        return 0 if fresh else 1
    FILE.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
