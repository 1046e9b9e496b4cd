"""The house keeps its plan: import directions, quick help, whole documentation, no path of a machine."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "intake", "forms", "tests", "demo", "docs"}


def tracked() -> list[str]:
    """Files git tracks, or all files where there is no git."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    return listed.stdout.split("\n")[:-1]


def test_rooms_import_only_what_comes_before_them() -> None:
    """A contract broken is a wall moved: the message names the import."""
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()", "--no-cache"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_contract_check_can_fail(tmp_path: Path) -> None:
    """A guard that cannot fail guards nothing: the same contracts refuse a package that breaks them."""
    for name, text in {"__init__": "", "water": "import intake_copy.desk", "desk": ""}.items():
        package = tmp_path / "intake_copy"
        package.mkdir(exist_ok=True)
        (package / f"{name}.py").write_text(text)
    (tmp_path / "contract.toml").write_text(
        '[tool.importlinter]\nroot_packages=["intake_copy"]\n[[tool.importlinter.contracts]]\nname="x"\ntype="layers"\n'
        'containers=["intake_copy"]\nlayers=["desk","water"]\n'
    )
    code = "import sys; sys.path.insert(0, '.'); from importlinter.cli import lint_imports_command as c; c()"
    command = [sys.executable, "-c", code, "--config", "contract.toml", "--no-cache"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stdout + done.stderr


def test_help_imports_nothing_heavy() -> None:
    """`vatside --help` must answer at once; the exact guard is what it imports, not how long it took."""
    code = (
        "import sys\nfrom intake.cli.command_table import vatside\n"
        "try:\n    vatside(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'pandas','numpy','ortools','sqlalchemy','reportlab','pydantic','icalendar','scipy','gsw'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "Before a shipment lands:" in done.stdout


def test_every_command_of_the_table_exists_and_shows_an_example() -> None:
    """A name in the lazy table that does not import would only fail in a user's hands."""
    import click

    from intake.cli.command_table import COMMANDS, vatside

    ctx = click.Context(vatside)
    for name in COMMANDS:
        command = vatside.get_command(ctx, name)
        assert command is not None, name
        assert "Example" in (command.help or ""), f"{name} --help shows no example"


def test_top_level_is_fixed() -> None:
    """Everything a newcomer looks for is in the seven known places."""
    extra = {path.split("/")[0] for path in tracked()} - TOP
    assert not [name for name in extra if not name.startswith(".")]


def test_no_tracked_file_names_a_machine_or_a_registry() -> None:
    """Paths of a machine and registry hosts do not belong in the project."""
    machine = re.compile(r"(?<![\w.\"|])/(work|root)/|files\.pythonhosted|pypi\.org/simple")
    faulty = []
    for path in tracked():
        file = ROOT / path
        if file.suffix in {".py", ".md", ".toml", ".txt", ".csv", ".sh", ".yaml", ".mjs", ".c"} or path == ".ci/run":
            text = file.read_text(encoding="utf-8")
            if machine.search(text) and "test_contracts" not in path:
                faulty.append(path)
    assert not faulty


def test_pins_carry_no_addresses() -> None:
    """`.ci/constraints.txt` holds names and versions only."""
    text = (ROOT / ".ci" / "constraints.txt").read_text()
    assert "==" in text
    assert "://" not in text


def test_wheel_ships_the_demo_farm() -> None:
    """An installed `vatside demo` must find the invented farm."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())
    shipped = settings["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert shipped["demo"] == "intake/_demo_files"


@pytest.mark.parametrize("word", ["utils", "helpers", "common", "misc"])
def test_no_module_is_a_drawer(word: str) -> None:
    """A line whose place has no name belongs somewhere else."""
    assert not [path for path in tracked() if Path(path).stem == word and path.endswith(".py")]
