"""`marquee zones`: only the question which colours, apertures and zones an artwork has."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options
from marquee.cli.make import runner
from marquee.cli.source import project_from

if TYPE_CHECKING:
    from marquee.values import Zone, ZoneMap


@click.command(epilog="Example: marquee zones sign.png --width 380mm --face '#101014'")
@click.argument("artwork", metavar="ARTWORK|PROJECT.toml")
@options.artwork_options
@click.option("--wall", metavar="LENGTH", help="Thickness of the barrier sheet [3mm].")
@click.option(
    "--apertures", "each", is_flag=True, help="List every aperture with a point inside it."
)
@options.cache_option
@options.json_option
@click.option("--strict", is_flag=True, help="Exit with status 1 if there is a warning.")
def zones(
    artwork: str,
    each: bool,
    cache: bool,
    as_json: bool,
    strict: bool,
    **flags: Any,  # noqa: ANN401 -- click hands over every shared option by name
) -> int:
    """Show the zones of an artwork: what shares a colour, and what is too near what."""
    from marquee.artwork.palette import read_palette
    from marquee.artwork.read import read_artwork
    from marquee.artwork.zones import find_zones

    project = project_from(artwork, flags)
    picture = read_artwork(Path(project.artwork.file), project.artwork)
    palette = () if project.zones.palette is None else read_palette(project.zones.palette)
    with runner(cache) as run:
        found = run(find_zones, picture, project.zones, palette, project.box.wall_thickness_mm)
    findings = picture.findings + found.findings
    if as_json:
        click.echo(json.dumps(_as_dict(found), indent=1))
    else:
        click.echo(_as_text(found))
        if each:
            click.echo(_apertures_text(found))
    for number, finding in enumerate(findings, 1):
        click.echo(f"{number}. {finding.where}: {finding.message} [{finding.code}]", err=True)
    return int(strict and bool(findings))


def _as_text(found: ZoneMap) -> str:
    from marquee.errors import printable

    lines = [
        f"face {found.face_srgb}, {found.width_mm:.1f} × {found.height_mm:.1f} mm",
        f"{'zone':>4}  {'colour':<9} {'area mm²':>10} {'apertures':>9}  {'lit':<9} name",
    ]
    for zone in found.zones:
        colour = found.colours[zone.colours[0]].srgb if len(zone.colours) == 1 else "several"
        lines.append(
            f"{zone.id:>4}  {colour:<9} {zone.area_mm2:>10.1f} {len(zone.apertures):>9}  "
            f"{zone.mode:<9} {printable(zone.name)[:60]}{_from_palette(found, zone)}"
        )
        if zone.reason:
            lines.append(f"{'':>4}  because: {printable(zone.reason)}")
    for pair in found.adjacent:
        verdict = "touching: nearer than a wall is thick" if pair.touching else "room for a wall"
        lines.append(
            f"zones {pair.zones[0]} and {pair.zones[1]}: gap {pair.gap_mm:.2f} mm, {verdict}"
        )
    return "\n".join(lines)


def _from_palette(found: ZoneMap, zone: Zone) -> str:
    """Return a mark where the zone is lit in a palette's exact colour."""
    palette = [c for c in zone.colours if found.colours[c].origin == "palette"]
    return " (palette)" if palette and len(palette) == len(zone.colours) else ""


def _apertures_text(found: ZoneMap) -> str:
    lines = [f"{'aperture':>8} {'zone':>5} {'area mm²':>10}  a point inside it, for an override"]
    points = points_inside(found)
    for aperture in found.apertures:
        x, y = points[aperture.id]
        lines.append(
            f'{aperture.id:>8} {aperture.zone:>5} {aperture.area_mm2:>10.1f}  at = ["{x:.1f}mm", "{y:.1f}mm"]'
        )
    return "\n".join(lines)


def points_inside(found: ZoneMap) -> list[tuple[float, float]]:
    """Return for each aperture the point [mm] deepest inside it."""
    import cv2
    import numpy as np

    from marquee.values_pixels import coarse_of

    points = []
    # As coarse as overrides look at it; the full map of a large picture is not needed.
    of_px, factor = coarse_of(found, "aperture_of_px")
    mm = found.mm_per_px * factor
    for aperture in found.apertures:
        x0, y0, x1, y1 = (round(v / mm) for v in aperture.bbox_mm)
        part = of_px[max(0, y0 - 1) : y1 + 1, max(0, x0 - 1) : x1 + 1]
        own = np.pad((part == aperture.id).astype(np.uint8), 1)
        depth = cv2.distanceTransform(own, cv2.DIST_L2, 5)
        y, x = np.unravel_index(int(depth.argmax()), depth.shape)
        points.append(
            (float((max(0, x0 - 1) + x - 0.5) * mm), float((max(0, y0 - 1) + y - 0.5) * mm))
        )
    return points


def _as_dict(found: ZoneMap) -> dict[str, Any]:
    from marquee.errors import printable

    return {
        "face": found.face_srgb,
        "width_mm": round(found.width_mm, 4),
        "height_mm": round(found.height_mm, 4),
        "colours": [
            {"name": printable(c.name), "srgb": c.srgb, "area_mm2": round(c.area_mm2, 4)}
            for c in found.colours
        ],
        "zones": [
            {
                "id": z.id,
                "name": printable(z.name),
                "kind": z.kind,
                "mode": z.mode,
                "reason": printable(z.reason) or None,
                "colours": [printable(found.colours[i].name) for i in z.colours],
                "apertures": len(z.apertures),
                "area_mm2": round(z.area_mm2, 4),
                "bbox_mm": [round(v, 4) for v in z.bbox_mm],
            }
            for z in found.zones
        ],
        "apertures": [
            {
                "id": a.id,
                "zone": a.zone,
                "area_mm2": round(a.area_mm2, 4),
                "bbox_mm": [round(v, 4) for v in a.bbox_mm],
                "at_mm": [round(v, 4) for v in point],
            }
            for a, point in zip(found.apertures, points_inside(found), strict=True)
        ],
        "adjacent": [
            {"zones": a.zones, "gap_mm": round(a.gap_mm, 4), "touching": a.touching}
            for a in found.adjacent
        ],
        "warnings": [
            {"code": f.code, "where": printable(f.where), "message": printable(f.message)}
            for f in found.findings
        ],
    }
