"""``--force`` for every command that writes to ``--out``: a file of another kind is replaced on a word, never silently."""

from __future__ import annotations

import sys

import click

__all__ = ["forcible"]


def forcible(command: click.Command) -> click.Command:
    """Give a command with ``--out``, and those of its own commands that have it, the flag ``--force``."""
    names = [param.name for param in command.params]
    if "out" in names and "force" not in names:
        words = "Replace a file of another kind at --out."
        flag = click.Option(["--force"], is_flag=True, expose_value=False, callback=_chosen, help=words)
        command.params.insert(names.index("out") + 1, flag)
    if isinstance(command, click.Group):
        for inner in command.commands.values():
            forcible(inner)
    return command


def _chosen(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    from intake.app.output_files import replace_if

    del param
    answers = bool(value) or (sys.stdin.isatty() and sys.stderr.isatty())
    if ctx.resilient_parsing or not answers:
        return
    ctx.with_resource(replace_if((lambda _: True) if value else _asked))


def _asked(words: str) -> bool:
    return click.confirm(f"{words} Replace it?", default=False, err=True)
