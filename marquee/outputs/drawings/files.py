"""All cut drawings of a finished plan as bytes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marquee.outputs.drawings.dxf import dxf_bytes
from marquee.outputs.drawings.face import face_drawing
from marquee.outputs.drawings.floor import ZoneName, barriers_drawing
from marquee.outputs.drawings.pdf import template_pdf
from marquee.outputs.drawings.stl import stl_files
from marquee.outputs.drawings.svg import svg_bytes
from marquee.outputs.drawings.walls import walls_drawing
from marquee.outputs.names import base_name
from marquee.values import Box, ZoneMap
from marquee.values_cut import CutPlan

if TYPE_CHECKING:
    from marquee.plan import Plan


def drawing_files(plan: Plan) -> dict[str, bytes]:
    """Return file name → content of the cut drawings; those of walls only where there are any."""
    if not plan.cut.width_mm:
        return {}
    names = zone_names(plan.box, plan.zone_map)
    return cut_files(plan.cut, names, base_name(plan.artwork.file))


def cut_files(cut: CutPlan, zones: tuple[ZoneName, ...], title: str) -> dict[str, bytes]:
    """Return the drawings of a cut plan; `zones` are names and places for the floor plan."""
    drawings = {"barriers": barriers_drawing(cut, zones, title), "face": face_drawing(cut, title)}
    if cut.flat_parts:
        drawings["walls"] = walls_drawing(cut, title)
    files = {"barriers.pdf": template_pdf(cut, zones, title)}
    if cut.strips:
        files |= stl_files(cut)
    for name, drawing in drawings.items():
        files[f"{name}.svg"] = svg_bytes(drawing)
        files[f"{name}.dxf"] = dxf_bytes(drawing)
    return dict(sorted(files.items()))


def zone_names(box: Box, zone_map: ZoneMap) -> tuple[ZoneName, ...]:
    """Return each cell's zone, number and name, and a place well inside the cell."""
    import shapely

    names = {zone.id: zone.name for zone in zone_map.zones}
    found = []
    for cell in box.cells:
        shape = shapely.Polygon(cell.outline_mm, cell.holes_mm)
        if shape.area < 1e-6 or not shape.is_valid:
            continue
        middle = shapely.maximum_inscribed_circle(shape, tolerance=1.0)
        (x, y), (edge_x, edge_y) = shapely.get_coordinates(middle)
        name = f"{cell.zone} {names.get(cell.zone, '')}".strip()
        found.append((name, (float(x), float(y)), math.hypot(edge_x - x, edge_y - y)))
    return tuple(found)
