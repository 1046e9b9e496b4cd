"""The book's examples: a page's files and commands carried out in an empty folder, and what was printed compared.

A page is one session.  Blocks fenced as ``console`` hold commands (``$ vatside …``) with what they print; blocks with
``file=NAME`` or ``append=NAME`` after their language are files the reader writes.  ``<!-- clock: 2027-03-01T09:00Z -->``
turns the clock; ``<!-- mark: NAME -->`` keeps the farm as it is there, and a page with ``<!-- after: NAME -->`` begins
with a copy of it; ``end`` is where the tutorial ends.  A line ``[…]`` stands for any lines, ``[…]`` inside a line for
any text; everything else must be printed, in this order, and nothing beside it.  ``# exit 1`` after a command is the
exit code expected, 0 without it.
"""

# ruff: noqa: TID251  # the book's own tools may open files

from __future__ import annotations

import contextlib
import os
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from unittest import mock

from click.testing import CliRunner

__all__ = ["ANY", "Command", "Mismatch", "Session", "matches", "renew", "run_page", "steps_of"]

ANY = "[…]"
_FENCE = re.compile(r"^```(?P<language>\w+)(?: (?P<act>file|append)=(?P<name>[\w./-]+))?$")
_CLOCK = re.compile(r"^<!-- clock: (?P<moment>\S+) -->$")
_AFTER = re.compile(r"^<!-- after: (?P<name>\w+) -->$", re.MULTILINE)
_MARK = re.compile(r"^<!-- mark: (?P<name>\w+) -->$")
_EXIT = re.compile(r"\s+# exit (?P<code>\d)$")
_HEAD = re.compile(r"\b\d+-\d+-[0-9a-f]{20}\b")
_FIRST = datetime.fromisoformat("2027-03-01T09:00:00+00:00")


@dataclass(frozen=True, slots=True)
class Command:
    """One command of a console block: its line in the page, the words typed, the lines shown, the exit code."""

    line: int
    typed: str
    shown: tuple[str, ...]
    code: int


@dataclass(frozen=True, slots=True)
class Mismatch:
    """A command that printed something else than the page shows, or left with another exit code."""

    page: str
    command: Command
    printed: tuple[str, ...]
    code: int

    def __str__(self) -> str:
        shown, printed = "\n".join(self.command.shown), "\n".join(self.printed)
        head = f"{self.page}, line {self.command.line}: $ {self.command.typed}  (exit {self.code})"
        return f"{head}\n--- the page shows\n{shown}\n--- the command printed\n{printed}"


@dataclass(frozen=True, slots=True)
class _File:
    name: str
    text: str
    append: bool


@dataclass(frozen=True, slots=True)
class _Mark:
    name: str


Step = Command | _File | _Mark | datetime


def steps_of(text: str) -> list[Step]:
    """What a page asks its reader to do, in order."""
    steps: list[Step] = []
    for number, head, body in _blocks(text):
        clock, mark, fence = _CLOCK.match(head), _MARK.match(head), _FENCE.match(head)
        if clock:
            steps.append(datetime.fromisoformat(clock["moment"]))
        elif mark:
            steps.append(_Mark(mark["name"]))
        elif fence and fence["act"]:
            steps.append(_File(fence["name"], "".join(f"{line}\n" for line in body), fence["act"] == "append"))
        elif fence and fence["language"] == "console":
            steps += _commands(number, body)
    return steps


def _blocks(text: str) -> Iterator[tuple[int, str, list[str]]]:
    """Line number (of the first line inside), head and body of every fenced block and every mark."""
    lines = text.split("\n")
    number = 0
    while number < len(lines):
        head = lines[number]
        number += 1
        if head.startswith("```"):
            start = number
            while number < len(lines) and lines[number] != "```":
                number += 1
            yield start, head, lines[start:number]
            number += 1
        elif _CLOCK.match(head) or _MARK.match(head):
            yield number, head, []


def _commands(first: int, body: list[str]) -> list[Command]:
    marks = [number for number, line in enumerate(body) if line.startswith("$ ")]
    if marks[:1] != [0]:
        msg = f"line {first + 1}: a console block begins with a command"
        raise ValueError(msg)
    found = []
    for start, end in zip(marks, [*marks[1:], len(body)], strict=True):
        typed = body[start][2:]
        code = _EXIT.search(typed)
        shown = tuple(body[start + 1 : end])
        found.append(Command(first + start + 1, _EXIT.sub("", typed), shown, int(code["code"]) if code else 0))
    return found


def matches(shown: tuple[str, ...], printed: tuple[str, ...]) -> bool:
    """Whether what was printed is what the page shows; runs of spaces and of rules count as one."""
    pattern = "\n".join(_plain(shown))
    wild = re.escape(pattern).replace(re.escape(ANY), ".*?")
    return re.fullmatch(wild, "\n".join(_plain(printed)), re.DOTALL) is not None


def _plain(lines: tuple[str, ...]) -> list[str]:
    # a head covers the seconds a solver took, which differ each time the page is carried out
    plain = (_HEAD.sub("HEAD", re.sub("─+", "─", " ".join(each.split()))) for each in lines)
    return [line for line in plain if line]


@dataclass
class Session:
    """Where a page's reader stands: folder, clock, and what did not match."""

    page: str
    folder: Path
    root: Path
    now: datetime = _FIRST
    mismatches: list[Mismatch] = field(default_factory=list)
    ran: list[str] = field(default_factory=list)
    marks: dict[str, Session] = field(default_factory=dict)
    keys: int = 0

    def copied(self, page: str, folder: Path) -> Session:
        """Another session in a copy of this one's folder, at the same moment."""
        return Session(page, Path(shutil.copytree(self.folder, folder / self.folder.name)), folder, self.now)

    def do(self, step: Step) -> None:
        """Carry out one step."""
        if isinstance(step, datetime):
            self.now = step
        elif isinstance(step, _Mark):
            beside = Path(tempfile.mkdtemp(dir=self.root))
            self.marks[step.name] = self.copied(step.name, beside)
        elif isinstance(step, _File):
            self.write(step.name, step.text, append=step.append)
        else:
            self._command(step)

    def write(self, name: str, text: str, *, append: bool = False) -> None:
        """Write a file as the reader would, or go on at its end."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a" if append else "w", encoding="utf-8", newline="\n") as file:
            file.write(text)

    def _command(self, command: Command) -> None:
        words = shlex.split(command.typed)
        self.now += timedelta(seconds=1)
        if words[0] == "cd":
            self.folder = (self.folder / words[1]).resolve()
            return
        if words[0] != "vatside":
            msg = f"{self.page}, line {command.line}: only cd and vatside are run, not {words[0]!r}"
            raise ValueError(msg)
        printed, code = self.run(words[1:])
        self.ran.append(command.typed)
        if code != command.code or not matches(command.shown, printed):
            self.mismatches.append(Mismatch(self.page, command, printed, code))

    def _fresh_key(self) -> str:
        """A key as the app draws them, but the same each time the page is carried out."""
        self.keys += 1
        return sha256(f"{self.page} {self.keys}".encode()).hexdigest()[:32]

    def run(self, words: list[str]) -> tuple[tuple[str, ...], int]:
        """Run ``vatside`` with these words; gives the lines printed (both streams as they came) and the exit code."""
        from intake.app import system_clock as clock
        from intake.cli.command_table import vatside

        alone = {name: None for name in os.environ if name.startswith("VATSIDE_")}
        with contextlib.ExitStack() as stack:
            stack.enter_context(contextlib.chdir(self.folder))
            stack.enter_context(mock.patch.object(clock, "now", return_value=self.now))
            stack.enter_context(mock.patch.object(clock, "fresh_key", self._fresh_key))
            stack.enter_context(mock.patch.object(sys, "argv", ["vatside", *words]))
            result = CliRunner(env=alone).invoke(vatside, words, prog_name="vatside")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return tuple(result.output.rstrip("\n").split("\n")) if result.output else (), result.exit_code


def run_page(page: Path, folder: Path, tutorial: Session | None = None) -> Session:
    """Carry out a whole page in an empty folder, or in a copy of the tutorial's farm at the mark the page names."""
    text = page.read_text(encoding="utf-8")
    session = Session(page.name, folder, folder)
    after = _AFTER.search(text)
    if after:
        assert tutorial is not None, f"{page.name} goes on after the tutorial"  # noqa: S101  # the caller's mistake
        session = tutorial.marks.get(after["name"], tutorial).copied(page.name, folder)
    for step in steps_of(text):
        session.do(step)
    return session


def renew(page: Path, session: Session) -> list[Mismatch]:
    """Write what a page's commands printed in a session into it; those shown with ``[…]`` are left to a person."""
    lines = page.read_text(encoding="utf-8").split("\n")
    left = [one for one in session.mismatches if any(ANY in line for line in one.command.shown)]
    for one in reversed(session.mismatches):
        if one not in left:
            start = one.command.line
            lines[start : start + len(one.command.shown)] = one.printed
            mark = f"  # exit {one.code}" if one.code else ""
            lines[start - 1] = f"$ {one.command.typed}{mark}"
    page.write_text("\n".join(lines), encoding="utf-8")
    return left
