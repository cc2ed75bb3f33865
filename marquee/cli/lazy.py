"""A group whose commands are imported only when one is run, so that the program starts at once."""

from __future__ import annotations

import os
from importlib import import_module
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Mapping


class LazyGroup(click.Group):
    """A click group that knows of each command where it is and what its first line of help says.

    Parameters
    ----------
    places : mapping of str to (str, str)
        Command name → module that holds the command under its name, and its short help.
    """

    def __init__(self, *, places: Mapping[str, tuple[str, str]], **settings: Any) -> None:  # noqa: ANN401 -- click's own
        super().__init__(**settings)
        self._places = places
        # The listing needs no more than a name and a line; `get_command` puts the real one in its place.
        self.commands = {
            name: click.Command(name, help=short) for name, (_, short) in places.items()
        }

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # type: ignore[explicit-override]  # typing.override came with 3.12
        """Return the command, its module imported now, or None where there is none of that name."""
        if cmd_name in self._places:
            real: click.Command = getattr(import_module(self._places[cmd_name][0]), cmd_name)
            if any(name.endswith("_COMPLETE") for name in os.environ):
                from marquee.cli.completing import offer_names

                offer_names(real)
            self.commands[cmd_name] = real
        return super().get_command(ctx, cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # type: ignore[explicit-override]
        """Write the listing of the group's help from the lines known without any import."""
        listing = click.Group(self.name, commands=self.commands)
        listing.format_commands(ctx, formatter)
