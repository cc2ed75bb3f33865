"""`marquee plan` and `marquee demo`: everything at once, into a folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options
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
@click.argument("source", metavar="ARTWORK|PROJECT.toml")
@options.artwork_options
@options.box_options
@options.colour_options
@options.luminance_option
@options.cycle_option
@options.power_options
@click.option("--out", metavar="DIR", help="Folder to write [<artwork name>-plan].")
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
    source: str,
    out: str | None,
    as_json: bool,
    strict: bool,
    **flags: Any,  # noqa: ANN401 -- click hands over every shared option by name
) -> int:
    """Plan a marquee from artwork and flags, or from a project file (flags win)."""
    project = project_from(source, flags)
    default = f"{Path(project.artwork.file).stem or 'marquee'}-plan"
    return _plan_and_write(project, Path(out if out is not None else default), as_json, strict)


@click.command(epilog="Example: marquee demo --out demo-plan")
@click.option("--out", metavar="DIR", default="demo-plan", help="Folder to write [demo-plan].")
@options.json_option
@click.option("--strict", is_flag=True, help="Exit with status 1 if there is a warning.")
def demo(out: str, as_json: bool, strict: bool) -> int:
    """Plan the packaged demo, the marquee of an invented venue."""
    from marquee.demo import demo_folder
    from marquee.project import read_project

    with demo_folder() as folder:
        return _plan_and_write(read_project(folder / "project.toml"), Path(out), as_json, strict)


def _plan_and_write(project: Project, target: Path, as_json: bool, strict: bool) -> int:
    from marquee.outputs.folder import check_folder, write_folder
    from marquee.outputs.plan_files import plan_files
    from marquee.outputs.summary import summary_text
    from marquee.plan import make_plan

    check_folder(target)
    options.note("planning …")
    finished = make_plan(project)
    options.note("drawing …")
    files = plan_files(finished)
    write_folder(target, files)
    if as_json:
        click.echo(files["plan.json"].decode(), nl=False)
    else:
        click.echo(summary_text(finished, f"{target}/ with {', '.join(files)}"), nl=False)
    return int(strict and bool(finished.findings))
