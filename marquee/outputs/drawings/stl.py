"""Printable walls: all barriers as one watertight solid in binary STL, notches at its foot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from marquee.outputs.drawings.floor import wall_area
from marquee.values_cut import CutPlan

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
# Corners are put on a grid this fine, so that faces share them exactly [mm].
_GRID_MM = 0.001
# Facets of the layout: 12 floats and an attribute of two bytes (StereoLithography interface specification, 1989).
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def stl_files(cut: CutPlan) -> dict[str, bytes]:
    """Return file name → solid: all walls in one, or a numbered file for each piece the printer makes."""
    if not cut.print_pieces_mm:
        return {"barriers.stl": barriers_stl(cut)}
    return {f"barriers-{k + 1}.stl": barriers_stl(cut, k) for k in range(len(cut.print_pieces_mm))}


def barriers_stl(cut: CutPlan, piece: int | None = None) -> bytes:
    """Return the walls, or those of one piece, as a solid in the box's place.

    x runs right and y up as seen from the front, z from the floor up; units mm.
    """
    foot, over = _areas(cut, piece)
    triangles = _solid(foot, over, cut.notch_height_mm, cut.wall_height_mm)
    # y runs down on the face and up in the solid: flip it, and turn the corners to keep the outside out.
    triangles[..., 1] = cut.height_mm - triangles[..., 1]
    triangles = triangles[:, ::-1]
    facets = np.zeros(len(triangles), _FACET)
    facets["corners"] = triangles
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    facets["normal"] = normal / np.where(size > 0, size, 1)
    head = b"marquee barriers, mm".ljust(80, b" ")
    return head + np.uint32(len(facets)).tobytes() + facets.tobytes()


def _areas(cut: CutPlan, piece: int | None) -> tuple[list[Floats], list[Floats]]:
    """Return triangles of the walls' plan that reach the floor, and of those over LED rows."""
    import shapely

    whole = wall_area(cut) if piece is None else piece_area(cut, piece)
    plan = shapely.set_precision(whole, _GRID_MM)
    bands = shapely.union_all([shapely.Polygon(a) for a in cut.notch_areas_mm])
    bands = shapely.set_precision(bands, _GRID_MM)
    passes = 0 < cut.notch_height_mm < cut.wall_height_mm
    over = shapely.intersection(plan, bands, grid_size=_GRID_MM) if passes else shapely.Polygon()
    foot = shapely.difference(plan, bands, grid_size=_GRID_MM) if passes else plan
    # Noded together, so that both have the same corners where they touch.
    lines = shapely.union_all([shapely.boundary(foot), shapely.boundary(over)], grid_size=_GRID_MM)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    sorted_faces: tuple[list[Floats], list[Floats]] = ([], [])
    for face in shapely.normalize(faces).tolist():
        inside = face.representative_point()
        for where, area in zip(sorted_faces, (foot, over), strict=True):
            if area.intersects(inside):
                where.extend(_triangles(face))
                break
    return sorted_faces


def piece_area(cut: CutPlan, number: int) -> BaseGeometry:
    """Return what the walls of one printed piece cover."""
    import shapely

    area = shapely.intersection(wall_area(cut), shapely.box(*cut.print_pieces_mm[number]))
    given = [shapely.Polygon(lap.room_mm) for lap in cut.print_laps if lap.beyond == number]
    kept = [shapely.Polygon(lap.outline_mm) for lap in cut.print_laps if lap.piece == number]
    return shapely.union_all([shapely.difference(area, shapely.union_all(given)), *kept])


def _triangles(face: object) -> list[Floats]:
    import shapely

    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(face))  # type: ignore[call-overload]
    return [shapely.get_coordinates(shapely.orient_polygons(p))[:3] for p in parts]


def _solid(foot: list[Floats], over: list[Floats], low: float, high: float) -> Floats:
    """Return triangles, outside seen counter-clockwise when y is taken as up."""
    pieces: list[Floats] = []
    a = np.array(foot).reshape(-1, 3, 2)
    b = np.array(over).reshape(-1, 3, 2)
    both = np.concatenate([a, b])
    pieces += [_flat(both, high), _flat(a[:, ::-1], 0.0), _flat(b[:, ::-1], low)]
    if not len(b):
        pieces.append(_sides(a, 0.0, high))
        return np.concatenate(pieces)
    pieces += [_sides(a, 0.0, low), _sides(both, low, high)]
    return np.concatenate(pieces)


def _flat(triangles: Floats, z: float) -> Floats:
    return np.concatenate([triangles, np.full((*triangles.shape[:2], 1), z)], axis=2)


def _sides(triangles: Floats, low: float, high: float) -> Floats:
    """Return the upright faces over the edges that only one triangle has."""
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2, 2)
    keys = np.rint(edges / _GRID_MM).astype(np.int64).reshape(-1, 4)
    forward = {tuple(k): n for n, k in enumerate(keys.tolist())}
    lone = [n for k, n in forward.items() if (k[2], k[3], k[0], k[1]) not in forward]
    p, q = edges[lone, 0], edges[lone, 1]

    def at(xy: Floats, z: float) -> Floats:
        return np.concatenate([xy, np.full((len(xy), 1), z)], axis=1)

    first = np.stack([at(p, low), at(q, low), at(q, high)], axis=1)
    second = np.stack([at(p, low), at(q, high), at(p, high)], axis=1)
    return np.concatenate([first, second])
