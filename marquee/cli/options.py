"""Options several commands share; their names are those of `marquee.keywords`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any, TypeVar

import click

from marquee.cli.completing import a_part, a_row_of

Command = TypeVar("Command", bound=Callable[..., Any])


def _stack(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


artwork_options = _stack(
    click.option("--width", metavar="LENGTH", help="Width of the whole picture: 380mm, 15in."),
    click.option(
        "--max-megapixels", type=float, metavar="N", help="Refuse larger pictures [100]."
    ),
    click.option("--palette", metavar="FILE", help="Palette with the exact brand colours."),
    click.option(
        "--face",
        metavar="auto|alpha|COLOUR",
        help="What stays opaque: guess, transparency, a colour.",
    ),
    click.option("--min-area", metavar="AREA", help="Leave smaller specks opaque [1mm2]."),
    click.option(
        "--merge", type=float, metavar="N", help="Join colours nearer than N CIEDE2000 [5]."
    ),
)

box_options = _stack(
    click.option("--depth", metavar="LENGTH", help="LED plane to diffuser [40mm]."),
    click.option("--wall", metavar="LENGTH", help="Thickness of the barrier sheet [3mm]."),
    click.option("--wall-gap", metavar="LENGTH", help="Gap from wall top to diffuser [0mm]."),
    click.option(
        "--diffuser",
        metavar="NAME",
        shell_complete=a_row_of("materials.toml", "diffuser"),
        help="Diffuser sheet, a row of the materials.",
    ),
    click.option(
        "--paint",
        metavar="NAME",
        shell_complete=a_row_of("materials.toml", "surface"),
        help="Surface inside, a row of the materials.",
    ),
    click.option("--transmittance", metavar="SHARE", help="Your diffuser's, if measured: 45%."),
    click.option("--reflectance", metavar="SHARE", help="Your paint's, if measured: 85%."),
    click.option(
        "--part",
        metavar="NAME|FILE",
        shell_complete=a_part,
        help="LED part [ws2812b]; see 'marquee parts'.",
    ),
    click.option("--pitch", metavar="LENGTH", help="LED spacing [16.67mm, 60 a metre]."),
    click.option(
        "--arrangement",
        type=click.Choice(["strip", "board"]),
        help="Strip rows or a board [strip].",
    ),
    click.option(
        "--half-angle",
        type=float,
        metavar="DEGREES",
        help="Of lenses or caps over the LEDs [the part's].",
    ),
)

colour_options = _stack(
    click.option(
        "--white", metavar="WHITE", help="The sign's white: D65, D50, 5000K or x,y [D65]."
    ),
    click.option(
        "--policy",
        type=click.Choice(["keep", "fill", "blend"]),
        help="Keep mutual lightness, fill each zone, or between [keep].",
    ),
    click.option("--brightness", metavar="SHARE", help="Of what the LEDs can give: 30% [100%]."),
    click.option(
        "--observer",
        type=click.Choice(["cie-1931-2", "cie-2015-2", "cie-2015-10"]),
        help="Standard observer [cie-1931-2].",
    ),
    click.option(
        "--calibration",
        metavar="FILE",
        help="What a bench told about these LEDs ('marquee bench').",
    ),
    click.option(
        "--adaptation",
        type=click.Choice(["bradford", "cat16"]),
        help="Chromatic adaptation to the sign's white [bradford].",
    ),
    click.option(
        "--out-of-gamut",
        type=click.Choice(["hue", "nearest"]),
        help="Colours too pure: keep the hue, or least CIEDE2000 [hue].",
    ),
)

cycle_option = click.option(
    "--cycle-period", type=float, metavar="SECONDS", help="One turn of the hue cycle [12]."
)

luminance_option = click.option(
    "--luminance", type=float, metavar="CD/M2", help="Of white, instead of --brightness: 100."
)

power_options = _stack(
    click.option("--supply", metavar="V/A", help="A supply you own: 5V/4A."),
    click.option("--feed-length", metavar="LENGTH", help="Wire from supply to LEDs [1m]."),
    click.option("--tariff", type=float, metavar="PRICE", help="Price of a kWh."),
    click.option(
        "--controller",
        metavar="NAME",
        shell_complete=a_row_of("controllers.toml", "controller"),
        help="Controller chip [atmega328p].",
    ),
    click.option("--prefix", metavar="WORD", help="First word of every constant [MARQUEE]."),
)

cache_option = click.option(
    "--cache/--no-cache",
    default=True,
    help="Compute all anew, or take what has not changed from earlier runs [--cache].",
)

json_option = click.option(
    "--json", "as_json", is_flag=True, help="Machine-readable result on stdout."
)


def note(text: str) -> None:
    """Say a remark on stderr, only where a person is watching."""
    if sys.stderr.isatty():
        click.echo(text, err=True)
