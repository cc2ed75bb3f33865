"""A project from what stands on the command line: artwork with flags, or a project file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options

if TYPE_CHECKING:
    from marquee.project import Project


def project_from(source: str, flags: dict[str, Any]) -> Project:
    """Return the project of an artwork or a project file (by its ending .toml), flags taking precedence.

    Raises
    ------
    MarqueeError
        Something stated cannot be used.
    """
    from marquee.project import make_project, read_project

    tables = options.nested(flags)
    if source.endswith(".toml"):
        return read_project(Path(source), tables)
    tables.setdefault("artwork", {})["file"] = source
    if "width" not in tables["artwork"]:
        raise click.UsageError("the picture's width on the cabinet is missing: add --width 380mm")
    return make_project(tables, "options")
