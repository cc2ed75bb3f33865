"""`marquee parts`: the LED parts there are, and every figure of one with its source."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options

if TYPE_CHECKING:
    from marquee.values import Part


@click.command(epilog="Example: marquee parts ws2812b")
@click.argument("name", metavar="[NAME|FILE]", required=False)
@click.option("--picture", metavar="FILE.png", help="Draw the part: gamut, response, sources.")
@click.option("--materials", is_flag=True, help="List paints and diffusers, with their sources.")
@options.json_option
def parts(name: str | None, picture: str | None, materials: bool, as_json: bool) -> None:
    """List the LED parts, or show all figures of one with their sources; or the box's materials."""
    if materials:
        if name is not None or picture is not None:
            raise click.UsageError(
                "--materials lists all of them: leave the part and --picture out"
            )
        _list_materials(as_json)
        return
    from marquee.colour.parts import load_part, part_names

    if name is None and picture is not None:
        raise click.UsageError("say which part to draw: marquee parts ws2812b --picture part.png")
    if name is not None:
        part = load_part(name)
        if picture is not None:
            _draw(part, picture)
        click.echo(json.dumps(_as_dict(part), indent=1) if as_json else _figures(part))
        return
    loaded = [load_part(n) for n in part_names()]
    if as_json:
        click.echo(json.dumps([_as_dict(p) for p in loaded], indent=1))
        return
    click.echo(f"{'name':<18} {'channels':<9} {'volts':>5} {'mA full':>8}  what it is")
    for part in loaded:
        full = "unknown" if part.channel_current_max_a is None else f"{_full_ma(part):.0f}"
        click.echo(
            f"{part.name:<18} {''.join(part.channels):<9} {part.supply_v:>5g} {full:>8}  {part.title}"
        )


def _list_materials(as_json: bool) -> None:
    from marquee.box.materials import load_materials
    from marquee.outputs.materials_text import materials_dict, materials_text

    rows = load_materials()
    click.echo(json.dumps(materials_dict(rows), indent=1) if as_json else materials_text(rows))


def _draw(part: Part, picture: str) -> None:
    from marquee.colour.emission import emission, missing_for_emission
    from marquee.outputs.pictures.part import part_picture
    from marquee.outputs.single_file import write_file

    light = None if missing_for_emission(part) else emission(part)
    write_file(picture, part_picture(part, light))


def _full_ma(part: Part) -> float:
    from marquee.power.load import full_current_a

    assert part.channel_current_max_a is not None  # noqa: S101 -- the caller asked first
    return 1000 * full_current_a(part, part.channel_current_max_a)


def _figures(part: Part) -> str:
    from marquee.errors import printable

    lines = [f"{part.name}: {part.title}", ""]
    for key, figure in part.figures.items():
        value = figure.value
        if isinstance(value, list | tuple):
            value = " ".join(str(v) for v in value)
        lines.append(printable(f"{key} = {value} {figure.unit}".rstrip()))
        lines.append(printable(f"    {figure.status}: {figure.source}"))
        if figure.note:
            lines.append(printable(f"    note: {figure.note}"))
    return "\n".join(lines)


def _as_dict(part: Part) -> dict[str, Any]:
    return {
        "name": part.name,
        "title": part.title,
        "channels": part.channels,
        "byte_order": part.byte_order,
        "protocol": part.protocol,
        "supply_v": part.supply_v,
        "current_law": part.current_law,
        "channel_current_a": part.channel_current_a,
        "channel_current_max_a": part.channel_current_max_a,
        "dark_current_a": part.dark_current_a,
        "intensity_cd": part.intensity_cd,
        "dominant_nm": part.dominant_nm,
        "response_measured": part.response_measured,
        "figures": {
            key: {
                "value": f.value,
                "unit": f.unit,
                "status": f.status,
                "source": f.source,
                "note": f.note or None,
            }
            for key, f in part.figures.items()
        },
    }
