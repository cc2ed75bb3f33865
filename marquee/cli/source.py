"""A project from what stands on the command line: artwork with flags, or a project file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from marquee.keywords import is_project, laid_out, project_of
from marquee.units import states_size

if TYPE_CHECKING:
    from marquee.project import Project


def project_from(source: str, flags: dict[str, Any]) -> Project:
    """Return the project of an artwork or a project file (by its ending .toml), flags taking precedence.

    Raises
    ------
    MarqueeError
        Something stated cannot be used.
    """
    tables = laid_out(flags)
    sized = is_project(source) or states_size(source)
    if not sized and "width" not in tables.get("artwork", {}):
        raise click.UsageError("the picture's width on the cabinet is missing: add --width 380mm")
    return project_of(source, tables, "options")
