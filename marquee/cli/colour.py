"""`marquee colour`: the bytes for single colours on a part."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options
from marquee.keywords import laid_out

if TYPE_CHECKING:
    from marquee.colour.singles import Singles
    from marquee.project import Project
    from marquee.values import TargetColour


@click.command(
    epilog="Example: marquee colour 'lab(48% 62 43)' '#1f7a8c' --part sk6812 --brightness 30%"
)
@click.argument("colours", metavar="[COLOUR]...", nargs=-1)
@click.option("--palette", metavar="FILE", help="All colours of a palette file.")
@click.option("--part", metavar="NAME|FILE", help="LED part [ws2812b]; see 'marquee parts'.")
@options.colour_options
@click.option(
    "--leds",
    type=click.IntRange(1, 100_000),
    default=1,
    metavar="N",
    help="LEDs of a zone, to share neighbouring codes out over [1].",
)
@click.option("--picture", metavar="FILE.png", help="Draw wanted, emitted and raw side by side.")
@options.json_option
def colour(
    colours: tuple[str, ...],
    leds: int,
    picture: str | None,
    as_json: bool,
    **flags: Any,  # noqa: ANN401 -- shared options by name
) -> None:
    """Show the bytes that come closest to colours (CSS Color 4: #rrggbb, rgb(), lab(), oklch(), color()).

    Every colour is taken as on a sign whose white is as bright as the part allows, times --brightness.
    """
    from marquee.colour.parts import load_part
    from marquee.colour.singles import solve_singles
    from marquee.outputs.colours import as_dict
    from marquee.project import make_project

    tables = {"artwork": {"file": "-", "width": "1mm"}, **laid_out(flags)}
    project = make_project(tables, "options")
    targets = _targets(colours, project)
    settings = project.colour
    part = load_part(project.leds.part)
    if settings.calibration is not None:
        from marquee.bench.calibration_file import part_as_measured

        part = part_as_measured(part, settings.calibration, settings.observer)
    found = solve_singles(targets, part, settings, leds)
    if picture is not None:
        from marquee.outputs.pictures.swatches import swatches_picture
        from marquee.outputs.single_file import write_file

        write_file(picture, swatches_picture(found))
    if as_json:
        click.echo(json.dumps(as_dict(found), indent=1, ensure_ascii=False))
        return
    click.echo("\n".join(_lines(found)))


def _targets(colours: tuple[str, ...], project: Project) -> list[TargetColour]:
    from marquee.artwork.palette import read_palette
    from marquee.colour.target import target_from_text

    targets = [target_from_text(text, text, f"colour '{text}'") for text in colours]
    if project.zones.palette is not None:
        targets += read_palette(project.zones.palette)
    if not targets:
        raise click.UsageError("say which colours: marquee colour '#d6402b', or --palette FILE")
    return targets


def _lines(found: Singles) -> list[str]:
    from marquee.cli import columns
    from marquee.outputs.colours import colour_rows, heading, notes, screens

    head, rows = colour_rows(found)
    widths = [max(columns.cells(row[i]) for row in (head, *rows)) for i in range(len(head))]
    widths[0] = min(widths[0], 34)
    show = columns.has_colour()
    lines = [*heading(found), ""]
    for number, row in enumerate((head, *rows)):
        line = "  ".join(
            columns.fit(cell, width, right=i > 0)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        if show and number == 0:
            line += "  wanted, emitted, raw"
        if show and number > 0:
            line += "  " + "".join(columns.swatch(rgb) for rgb in screens(found, number - 1))
        lines.append(line.rstrip() if not show else line)
    return [*lines, "", *notes(found)]
