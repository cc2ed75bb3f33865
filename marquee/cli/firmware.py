"""`marquee firmware`: a small program to read, build and change, with the plan's constants beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from marquee.cli import options
from marquee.cli.make import runner
from marquee.cli.source import project_from


@click.command(epilog="Example: marquee firmware sketch project.toml")
@click.argument("folder", metavar="DIR")
@click.argument("source", metavar="[ARTWORK|PROJECT.toml]", required=False)
@options.artwork_options
@options.box_options
@options.colour_options
@options.luminance_option
@options.cycle_option
@options.power_options
@options.cache_option
def firmware(folder: str, source: str | None, cache: bool, **flags: Any) -> None:  # noqa: ANN401 -- shared options by name
    """Write DIR with an example program in plain C, its Makefile and the plan's constants.

    An example to read in ten minutes, not a library. It holds the brightness and milliamp limits of the
    plan, but software is no protection: fit the fuses. Without artwork or project it holds the demo's constants.
    """
    from marquee.demo import demo_folder
    from marquee.outputs.firmware_example import firmware_files
    from marquee.outputs.folder import check_folder, write_folder
    from marquee.plan import make_plan

    check_folder(Path(folder))
    with demo_folder() as demo, runner(cache) as run:
        project = project_from(source or str(demo / "project.toml"), flags)
        files = firmware_files(make_plan(project, run))
    write_folder(Path(folder), files)
    whose = "" if source else " for the packaged demo, to read and try"
    click.echo(f"{folder}/ with {', '.join(files)}{whose}; the wiring is described in sign.c")
