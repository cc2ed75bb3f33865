"""What the printed walls cover, and the pieces they are split into for a printer's bed."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

from marquee.project_cut import CutSettings
from marquee.values import BBox
from marquee.values_cut import CutPlan

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

# Cuts are tried this far apart [mm].
_TRY_MM = 1.0


def wall_area(cut: CutPlan) -> BaseGeometry:
    """Return what all walls cover, inside the box."""
    import shapely

    if not cut.strips:
        return shapely.Polygon()
    lines = [shapely.LineString(s.path_mm) for s in cut.strips]
    bands = shapely.buffer(
        lines, cut.wall_thickness_mm / 2, cap_style="flat", join_style="mitre", mitre_limit=2.0
    )
    # Flat ends that meet at an angle leave a wedge open; round ends close it within the walls' width.
    nodes = shapely.points([p for s in cut.strips for p in (s.path_mm[0], s.path_mm[-1])])
    knots = shapely.buffer(nodes, cut.wall_thickness_mm / 2)
    box = shapely.box(0, 0, cut.width_mm, cut.height_mm)
    return shapely.intersection(shapely.union_all([*bands, *knots]), box)


def print_pieces(cut: CutPlan, settings: CutSettings) -> tuple[BBox, ...]:
    """Return the areas whose walls are printed as one piece each, left to right and down; none where all fit the bed.

    The bed is taken whichever way round needs fewer pieces. Straight cuts run where they meet least wall, so that the
    butt joints are short; a piece without wall is left out.
    """
    if not cut.strips or not settings.print_width_mm:
        return ()
    area = wall_area(cut)
    bed = (settings.print_width_mm, settings.print_depth_mm or settings.print_width_mm)
    x0, y0, x1, y1 = area.bounds
    size = (x1 - x0, y1 - y0)
    if any(size[0] <= w and size[1] <= d for w, d in (bed, bed[::-1])):
        return ()
    ways = [(math.ceil(size[0] / w) * math.ceil(size[1] / d), w, d) for w, d in (bed, bed[::-1])]
    _, wide, deep = min(ways, key=lambda way: way[0])
    columns = [x0, *_cuts(area, 0, (x0, x1), wide), x1]
    rows = [y0, *_cuts(area, 1, (y0, y1), deep), y1]
    tiles = [
        (left, top, right, bottom)
        for top, bottom in itertools.pairwise(rows)
        for left, right in itertools.pairwise(columns)
    ]
    return tuple(tile for tile in tiles if _holds_wall(area, tile))


def _cuts(area: BaseGeometry, axis: int, span: tuple[float, float], most_mm: float) -> list[float]:
    """Return places across which the area is divided into as few pieces as `most_mm` allows."""
    start, end = span
    count = math.ceil((end - start) / most_mm - 1e-9)
    cuts: list[float] = []
    for left in range(count - 1, 0, -1):
        last = cuts[-1] if cuts else start
        # What remains must still fit on the pieces left.
        low, high = max(end - left * most_mm, last + 0.5 * most_mm), last + most_mm
        low = min(low, high)
        places = np.append(np.arange(low, high, _TRY_MM), high)
        middle = last + (end - last) / (left + 1)
        met = [round(_met_mm(area, axis, float(p)), 1) for p in places]
        best = min(zip(met, np.abs(places - middle).tolist(), places.tolist(), strict=True))
        cuts.append(float(best[2]))
    return cuts


def _met_mm(area: BaseGeometry, axis: int, place: float) -> float:
    import shapely

    x0, y0, x1, y1 = area.bounds
    ends = [(place, y0 - 1), (place, y1 + 1)] if axis == 0 else [(x0 - 1, place), (x1 + 1, place)]
    return float(shapely.intersection(area, shapely.LineString(ends)).length)


def _holds_wall(area: BaseGeometry, tile: BBox) -> bool:
    import shapely

    return bool(shapely.intersection(area, shapely.box(*tile)).area > 0)
