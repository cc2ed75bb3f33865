"""`marquee plan` and `marquee demo`: everything at once, into a folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options
from marquee.cli.make import default_folder, make, remembering, written
from marquee.cli.progress import Progress
from marquee.cli.source import project_from

if TYPE_CHECKING:
    from marquee.project import Project


def _schema(context: click.Context, _option: click.Parameter, wanted: bool) -> None:
    """Print the schema of plan.json, whatever else is asked for."""
    if wanted and not context.resilient_parsing:
        from marquee.outputs.write import schema_text

        click.echo(schema_text(), nl=False)
        context.exit()


@click.command(
    epilog="Example: marquee plan sign.png --width 380mm --palette venue.toml --depth 40mm"
)
@click.argument("sources", metavar="ARTWORK|PROJECT.toml …", nargs=-1, required=True)
@options.artwork_options
@options.box_options
@options.colour_options
@options.luminance_option
@options.cycle_option
@options.power_options
@click.option(
    "--out",
    metavar="DIR",
    help="Folder to write [<artwork name>-plan]; of several projects, where their folders go [.].",
)
@click.option(
    "--joint",
    metavar="DIR",
    help="Folder of the joint parts list and running cost of several projects [row-plan].",
)
@click.option(
    "--watch",
    is_flag=True,
    help="Plan again whenever a file it is made from is saved; Ctrl-C ends.",
)
@options.cache_option
@options.json_option
@click.option("--strict", is_flag=True, help="Exit with status 1 if there is a warning.")
@click.option(
    "--json-schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_schema,
    help="Print the JSON Schema of plan.json and stop.",
)
def plan(
    sources: tuple[str, ...],
    out: str | None,
    joint: str | None,
    watch: bool,
    cache: bool,
    as_json: bool,
    strict: bool,
    **flags: Any,  # noqa: ANN401 -- click hands over every shared option by name
) -> int:
    """Plan a marquee from artwork and flags, or from a project file (flags win); several at once, too."""
    if watch and (len(sources) > 1 or as_json or strict):
        raise click.UsageError("--watch takes one project, and neither --json nor --strict")
    if len(sources) > 1:
        from marquee.cli.row import JOINT_FOLDER, Row, plan_row

        row = Row(
            out=out,
            joint=JOINT_FOLDER if joint is None else joint,
            is_remembered=cache,
            as_json=as_json,
            strict=strict,
        )
        return plan_row(sources, flags, row)
    if joint is not None:
        raise click.UsageError("--joint is for several projects: name them all")
    project = project_from(sources[0], flags)
    target = Path(out if out is not None else default_folder(project))
    if watch:
        from marquee.cli.watch import watch as keep_watching

        return keep_watching(sources[0], flags, target, cache)
    return _plan_and_write(project, target, as_json, strict, cache)


@click.command(epilog="Example: marquee demo --out demo-plan")
@click.option("--out", metavar="DIR", default="demo-plan", help="Folder to write [demo-plan].")
@options.json_option
@click.option("--strict", is_flag=True, help="Exit with status 1 if there is a warning.")
def demo(out: str, as_json: bool, strict: bool) -> int:
    """Plan the packaged demo, the marquee of an invented venue."""
    from marquee.demo import demo_folder
    from marquee.project import read_project

    with demo_folder() as folder:
        project = read_project(folder / "project.toml")
        # A trial of the installation: nothing is taken from earlier runs.
        return _plan_and_write(project, Path(out), as_json, strict, is_remembered=False)


def _plan_and_write(
    project: Project, target: Path, as_json: bool, strict: bool, is_remembered: bool
) -> int:
    from marquee.outputs.summary import summary_text

    with Progress() as progress:
        finished, files = make(project, target, remembering(is_remembered), progress)
    if as_json:
        click.echo(files["plan.json"].decode(), nl=False)
    else:
        click.echo(summary_text(finished, written(target, files)), nl=False)
    return int(strict and bool(finished.findings))
