"""`marquee colour`: the bytes for single colours on a part."""

from __future__ import annotations

import json
import os
import sys
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options

if TYPE_CHECKING:
    from marquee.colour.drive import Solution
    from marquee.values import Part, TargetColour, ZoneDrive


@click.command(
    epilog="Example: marquee colour 'lab(48% 62 43)' '#1f7a8c' --part sk6812 --brightness 30%"
)
@click.argument("colours", metavar="COLOUR...", nargs=-1, required=True)
@click.option("--part", metavar="NAME|FILE", help="LED part [ws2812b]; see 'marquee parts'.")
@options.colour_options
@options.json_option
def colour(colours: tuple[str, ...], as_json: bool, **flags: Any) -> None:  # noqa: ANN401 -- shared options by name
    """Show the bytes that come closest to colours (CSS Color 4: #rrggbb, rgb(), lab(), oklch(), color()).

    Every colour is taken as on a sign whose white is as bright as the part allows, times --brightness.
    """
    from marquee.colour.drive import drive_for
    from marquee.colour.emission import emission
    from marquee.colour.parts import load_part
    from marquee.colour.target import target_from_text
    from marquee.project import make_project

    tables = {"artwork": {"file": "-", "width": "1mm"}, **options.nested(flags)}
    project = make_project(tables, "options")
    settings = project.colour
    part = load_part(project.leds.part)
    targets = [target_from_text(text, text, f"colour '{text}'") for text in colours]
    solution = drive_for(
        targets, part, emission(part, settings.observer), settings, limited_by="white"
    )
    if as_json:
        click.echo(json.dumps(_as_dict(part, solution, settings.brightness), indent=1))
        return
    click.echo(
        f"{part.title}; white {settings.white}, brightness {settings.brightness:.0%}, {settings.policy}; "
        f"ΔE is CIEDE2000 of the model, band what the part's own spread may add (95 %)"
    )
    swatches = _has_colour()
    click.echo(_row("colour", "".join(part.channels) + " bytes", "ΔE", "band", "in gamut", "mA"))
    for target, drive in zip(targets, solution.zones, strict=True):
        click.echo(_colour_row(target, drive, part, swatches))


def _colour_row(target: TargetColour, drive: ZoneDrive, part: Part, swatches: bool) -> str:
    from marquee.errors import printable

    codes = ",".join(str(code) for code in drive.codes)
    if drive.global_code is not None:
        codes += f" at {drive.global_code}/31"
    band = "unknown" if drive.band_delta_e_2000 is None else f"{drive.band_delta_e_2000:.1f}"
    current = _current_ma(part, drive)
    row = _row(
        printable(target.name)[:34],
        codes,
        f"{drive.delta_e_2000:.2f}",
        band,
        "yes" if drive.in_gamut else "NO",
        "unknown" if current is None else f"{current:.1f}",
    )
    if not swatches:
        return row
    return f"{row}  {_swatch(target.xyz)} {_swatch(drive.predicted_xyz)} wanted, got"


def _row(name: str, codes: str, delta_e: str, band: str, gamut: str, current: str) -> str:
    return f"{name:<34} {codes:>20} {delta_e:>6} {band:>8} {gamut:>9} {current:>8}"


def _swatch(xyz: tuple[float, float, float]) -> str:
    from marquee.colour.spaces import xyz_to_srgb_8bit

    red, green, blue = (int(v) for v in xyz_to_srgb_8bit(xyz))
    return f"\x1b[48;2;{red};{green};{blue}m    \x1b[0m"


def _has_colour() -> bool:
    """Whether the terminal takes 24-bit colour; NO_COLOR (no-color.org) always wins."""
    return (
        sys.stdout.isatty()
        and not os.environ.get("NO_COLOR")
        and os.environ.get("COLORTERM", "") in {"truecolor", "24bit"}
    )


def _current_ma(part: Part, drive: ZoneDrive) -> float | None:
    from marquee.power.load import driven_current_a

    if part.channel_current_a is None:
        return None
    lit_a = driven_current_a(part, part.channel_current_a, drive.codes, drive.global_code)
    return 1000 * (lit_a + (part.dark_current_a or 0.0))


def _as_dict(part: Part, solution: Solution, brightness: float) -> dict[str, Any]:
    def rounded(values: tuple[float, ...], digits: int) -> list[float]:
        return [round(float(v), digits) + 0.0 for v in values]

    return {
        "part": part.name,
        "channels": part.channels,
        "brightness": brightness,
        "colours": [
            {
                "name": d.target.name,
                "srgb": d.target.srgb,
                "lab_d65": rounded(d.target.lab_d65, 4),
                "exact": rounded(d.exact, 6),
                "codes": d.codes,
                "global_current": d.global_code,
                "predicted_lab_d65": rounded(d.predicted_lab_d65, 4),
                "delta_e_2000": round(d.delta_e_2000, 4),
                "band_delta_e_2000": None
                if d.band_delta_e_2000 is None
                else round(d.band_delta_e_2000, 4),
                "in_gamut": d.in_gamut,
                "current_ma": _rounded_or_none(_current_ma(part, d)),
            }
            for d in solution.zones
        ],
    }


def _rounded_or_none(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
