"""The reference of the command line, from the commands themselves."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator

import click

from making.markdown import page, table

__all__ = ["command_page", "every_command"]

_WIDTH = 100


def every_command() -> Iterator[tuple[str, click.Command]]:
    """Each command with the words that call it, groups before what is in them, in the order of the path."""
    from intake.cli.command_table import vatside

    yield from _below("vatside", vatside)


def _below(words: str, command: click.Command) -> Iterator[tuple[str, click.Command]]:
    yield words, command
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            inner = command.get_command(context, name)
            assert inner is not None  # noqa: S101  # a name listed is a name known
            yield from _below(f"{words} {name}", inner)


def command_page() -> str:
    """The whole page."""
    parts = [
        (
            "Every command with all it takes. `vatside COMMAND --help` says the same at the terminal. Times without a zone "
            "are farm time; what happened may be recorded late with `--at`, and a `--key` makes an act count once however often "
            "it is sent."
        ),
    ]
    parts += [_section(words, command) for words, command in every_command()]
    return page("Commands", *parts)


def _section(words: str, command: click.Command) -> str:
    context = click.Context(command, info_name=words)
    usage = " ".join([words, *command.collect_usage_pieces(context)])
    parts = [f"## {words}", f"`{usage}`"]
    parts += [_paragraph(text) for text in inspect.cleandoc(command.help or "").split("\n\n")]
    rows = [_row(parameter, context) for parameter in command.params]
    if rows:
        parts.append(table(("argument or option", "takes", "default", "what for"), rows))
    return "\n\n".join(part for part in parts if part)


def _paragraph(text: str) -> str:
    line = " ".join(text.replace("\b", "").split())
    example = re.match(r"Examples?: ", line)
    if example:
        told = re.split(r"[;·]", line[example.end() :])
        # words before a command ("every hour: vatside …") say when, and stand as a comment
        lines = [re.sub(r"^(.+): (?=vatside)", r"# \1\n", one.strip()) for one in told]
        return "\n".join(["```sh", *lines, "```"])
    return line


def _row(parameter: click.Parameter, context: click.Context) -> tuple[str, str, str, str]:
    takes = _takes(parameter)
    if isinstance(parameter, click.Option):
        names = ", ".join(f"`{name}`" for name in (*parameter.opts, *parameter.secondary_opts))
        default = "required" if parameter.required else _default(parameter, context)
        variable = f" (variable `{parameter.envvar}`)" if parameter.envvar else ""
        again = "; may be repeated" if parameter.multiple and "repeated" not in (parameter.help or "") else ""
        return names, takes, default, f"{(parameter.help or '').rstrip('.')}{variable}{again}"
    need = "required" if parameter.required else "may be left out"
    return f"`{(parameter.name or '').upper()}`", takes, need, ""


def _takes(parameter: click.Parameter) -> str:
    kind = parameter.type
    if isinstance(parameter, click.Option) and parameter.is_flag:
        return "nothing"
    if isinstance(kind, click.Choice):
        return ", ".join(str(choice) for choice in kind.choices)
    if isinstance(kind, click.Path):
        return "folder" if not kind.file_okay else "file" if not kind.dir_okay else "path"
    words = {"text": "text", "integer": "whole number", "float": "number", "boolean": "yes or no"}
    if isinstance(kind, click.IntRange):
        low = "" if kind.min is None else f" from {kind.min}"
        high = "" if kind.max is None else f" to {kind.max}"
        return f"whole number{low}{high}"
    return words.get(kind.name, kind.name)


def _default(option: click.Option, context: click.Context) -> str:
    if option.is_flag:
        return ""
    value = option.get_default(context)
    return "" if value in (None, "", (), []) or "Sentinel" in type(value).__name__ else f"`{value}`"
