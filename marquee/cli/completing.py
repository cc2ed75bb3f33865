"""What a shell offers after Tab: files, folders, and the names of packaged parts and tables' rows."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem


def a_file(
    _context: click.Context, _parameter: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Let the shell complete a file name."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(incomplete, type="file")]


def a_folder(
    _context: click.Context, _parameter: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Let the shell complete a folder's name."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(incomplete, type="dir")]


def a_part(
    _context: click.Context, _parameter: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Offer the packaged LED parts, or files where none begins like that."""
    from importlib.resources import files

    from click.shell_completion import CompletionItem

    folder = files("marquee").joinpath("tables/parts")
    names = sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir())
    found = [CompletionItem(name) for name in names if name.startswith(incomplete)]
    return found or a_file(_context, _parameter, incomplete)


def a_row_of(table: str, kind: str) -> Callable[..., list[CompletionItem]]:
    """Return what offers the names in a packaged table, such as the diffusers of ``materials.toml``."""

    def names(
        _context: click.Context, _parameter: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        import tomllib
        from importlib.resources import files

        from click.shell_completion import CompletionItem

        with files("marquee").joinpath(f"tables/{table}").open("rb") as stream:
            rows = tomllib.load(stream)[kind]
        return [CompletionItem(r["name"]) for r in rows if r["name"].startswith(incomplete)]

    return names


def offer_names(command: click.Command) -> None:
    """Let the shell complete file and folder names wherever a command's own help says FILE, ARTWORK or DIR."""
    for parameter in command.params:
        shown = parameter.metavar or ""
        offered = a_folder if re.search("DIR", shown) else a_file
        # What offers something of its own keeps it: that is tried first.
        if re.search("FILE|ARTWORK|DIR|CSV", shown):
            own = parameter.shell_complete
            vars(parameter)["shell_complete"] = partial(_own_or, own, offered, parameter)
    if isinstance(command, click.Group):
        for below in command.commands.values():
            offer_names(below)


def _own_or(
    own: Callable[[click.Context, str], list[CompletionItem]],
    offered: Callable[[click.Context, click.Parameter, str], list[CompletionItem]],
    parameter: click.Parameter,
    context: click.Context,
    incomplete: str,
) -> list[CompletionItem]:
    return own(context, incomplete) or offered(context, parameter, incomplete)
