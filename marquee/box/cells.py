"""Cells: what is left of the face once the walls have their thickness."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marquee.box.ground import Ground
from marquee.box.network import Network, faces_of, owners_of
from marquee.values import Cell, Path_mm

if TYPE_CHECKING:
    import shapely

# Pockets left between walls that are smaller than this and hold no aperture count as wall [mm²].
_POCKET_MM2 = 0.5


def cut_cells(network: Network, ground: Ground, thickness_mm: float) -> tuple[Cell, ...]:
    """Return the cells, ordered by zone and then from top left.

    Parameters
    ----------
    network : Network
        Walls' centre lines.
    ground : Ground
        Where each zone's apertures are.
    thickness_mm : float
        Wall thickness [mm]; half of it is taken off on either side of a centre line.
    """
    import shapely

    face = shapely.box(0, 0, ground.width_mm, ground.height_mm)
    if not network.lines:
        zone = int(ground.aperture.max())
        return (_cell(0, zone, face),)
    faces = faces_of(network, ground)
    owner = owners_of(faces, ground)
    tree = shapely.STRtree(faces)
    pieces = []
    left = shapely.difference(face, wall_area(network, thickness_mm))
    for part in shapely.get_parts(left):
        inside = tree.query(shapely.point_on_surface(part), "intersects")
        zone = owner[int(inside[0])] if len(inside) else -1
        if zone >= 0 and (part.area >= _POCKET_MM2 or _holds_aperture(part, ground, zone)):
            pieces.append((zone, part))
    pieces.sort(key=lambda p: (p[0], round(p[1].bounds[1], 6), round(p[1].bounds[0], 6)))
    return tuple(_cell(k, zone, part) for k, (zone, part) in enumerate(pieces))


def wall_area(network: Network, thickness_mm: float) -> shapely.Geometry:
    """Return the plan of all walls at their full thickness, joints and rim ends filled."""
    import shapely

    lines = [shapely.LineString(line.path_mm) for line in network.lines]
    return shapely.buffer(
        shapely.unary_union(lines),
        thickness_mm / 2,
        cap_style="square",
        join_style="mitre",
        mitre_limit=2.0,
    )


def cell_shape(cell: Cell) -> shapely.Polygon:
    """Return a cell as a polygon."""
    import shapely

    return shapely.Polygon(cell.outline_mm, cell.holes_mm)


def _cell(number: int, zone: int, shape: shapely.Polygon) -> Cell:
    import shapely

    shape = shapely.orient_polygons(shape)
    return Cell(
        id=number,
        zone=zone,
        outline_mm=_path(shape.exterior),
        holes_mm=tuple(_path(ring) for ring in shape.interiors),
        area_mm2=float(shape.area),
    )


def _path(ring: shapely.LinearRing) -> Path_mm:
    return tuple((float(x), float(y)) for x, y in ring.coords)


def _holds_aperture(part: shapely.Polygon, ground: Ground, zone: int) -> bool:
    import shapely

    x0, y0, x1, y1 = (np.array(part.bounds) / ground.step_mm).astype(int)
    window = ground.aperture[y0 : y1 + 1, x0 : x1 + 1]
    y, x = np.nonzero(window == zone)
    step = ground.step_mm
    inside = shapely.contains_xy(part, (x + x0 + 0.5) * step, (y + y0 + 0.5) * step)
    return bool(inside.any())
