"""What the printed walls cover, and the pieces they are split into for a printer's bed."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

from marquee.box.cut_tapers import path_points
from marquee.project_cut import CutSettings
from marquee.values import BBox
from marquee.values_cut import CutPlan, Lap

if TYPE_CHECKING:
    import shapely
    from shapely.geometry.base import BaseGeometry

# Cuts are tried this far apart [mm].
_TRY_MM = 1.0
# Half a wall must be so thick to be printed: two lines of the usual 0.4 mm nozzle (common practice, no source).
_LEAST_HALF_MM = 0.8
# Walls are lapped where they cross a cut at this angle or more: cosine of 60 degrees off square.
_SQUARE = 0.5


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
    joints are short, away from the walls' own joints; a piece without wall is left out.
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
    lap_mm = _lap_mm(cut, settings)
    columns = [x0, *_cuts(cut, area, 0, wide, lap_mm), x1]
    rows = [y0, *_cuts(cut, area, 1, deep, lap_mm), y1]
    tiles = [
        (left, top, right, bottom)
        for top, bottom in itertools.pairwise(rows)
        for left, right in itertools.pairwise(columns)
    ]
    return tuple(tile for tile in tiles if _holds_wall(area, tile))


def _lap_mm(cut: CutPlan, settings: CutSettings) -> float:
    """Return how far pieces reach past a cut where they are lapped [mm], 0 where they are butted."""
    return settings.print_lap_mm if cut.wall_thickness_mm / 2 >= _LEAST_HALF_MM else 0.0


def _fitting_lap_mm(size_mm: float, bed_mm: float, lap_mm: float) -> float:
    """Return the lap if as few pieces as without it still fit the bed with it, else 0 [mm]."""
    count = math.ceil(size_mm / bed_mm - 1e-9)
    return lap_mm if count > 1 and size_mm <= count * bed_mm - 2 * lap_mm * (count - 1) else 0.0


def _cuts(
    cut: CutPlan, area: BaseGeometry, axis: int, bed_mm: float, lap_mm: float
) -> list[float]:
    """Return places across which the area is divided into as few pieces as the bed allows."""
    start, end = area.bounds[axis], area.bounds[axis + 2]
    lap_mm = _fitting_lap_mm(end - start, bed_mm, lap_mm)
    # The first and last piece reach past one cut only, those between past two.
    start, end, most_mm = start + lap_mm, end - lap_mm, bed_mm - 2 * lap_mm
    joints = np.array([strip.path_mm[k][axis] for strip in cut.strips for k in (0, -1)])
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
        # Joints beside a cut leave no room for laps.
        near = (np.abs(places[:, None] - joints) < lap_mm + 2 * cut.wall_thickness_mm).sum(axis=1)
        off = np.abs(places - middle)
        best = min(zip(met, near.tolist(), off.tolist(), places.tolist(), strict=True))
        cuts.append(float(best[3]))
    return cuts


def _met_mm(area: BaseGeometry, axis: int, place: float) -> float:
    import shapely

    x0, y0, x1, y1 = area.bounds
    ends = [(place, y0 - 1), (place, y1 + 1)] if axis == 0 else [(x0 - 1, place), (x1 + 1, place)]
    return float(shapely.intersection(area, shapely.LineString(ends)).length)


def _holds_wall(area: BaseGeometry, tile: BBox) -> bool:
    import shapely

    return bool(shapely.intersection(area, shapely.box(*tile)).area > 0)


def print_laps(cut: CutPlan, settings: CutSettings) -> tuple[Lap, ...]:
    """Return where printed pieces overlap: each keeps one half of a wall's thickness past the cut between them.

    Walls that run along a cut, or have a joint beside it, stay butted; so do all across cuts whose pieces would no
    longer fit the bed.
    """
    import shapely

    lap_mm = _lap_mm(cut, settings)
    if not lap_mm or not cut.print_pieces_mm:
        return ()
    bed = (settings.print_width_mm, settings.print_depth_mm or settings.print_width_mm)
    tiles = shapely.box(*np.array(cut.print_pieces_mm).T)
    lines = [shapely.LineString(strip.path_mm) for strip in cut.strips]
    tree = shapely.STRtree(lines)
    found: list[Lap] = []
    for i, j in itertools.combinations(range(len(tiles)), 2):
        border = shapely.intersection(tiles[i], tiles[j])
        if border.length == 0 or not _room_on_bed(cut.print_pieces_mm, (i, j), bed, lap_mm):
            continue
        for k in sorted(tree.query(border, "intersects").tolist()):
            for place in shapely.get_parts(shapely.intersection(lines[k], border)):
                if not isinstance(place, shapely.Point):
                    continue
                crossing = _Crossing(lines, k, float(lines[k].project(place)), lap_mm, cut)
                if crossing.is_clear(tree, border):
                    found += crossing.laps((i, j), (tiles[i], tiles[j]), settings)
    return tuple(found)


def _room_on_bed(
    pieces: tuple[BBox, ...], pair: tuple[int, int], bed: tuple[float, float], lap_mm: float
) -> bool:
    """Return whether two pieces fit the bed with a lap on both sides of them, or as many as they have neighbours."""
    left, top, right, bottom = np.array(pieces).T
    for k in pair:
        wide = (
            right[k] - left[k] + lap_mm * (int(left[k] > left.min()) + int(right[k] < right.max()))
        )
        deep = (
            bottom[k] - top[k] + lap_mm * (int(top[k] > top.min()) + int(bottom[k] < bottom.max()))
        )
        if not any(wide <= w + 1e-6 and deep <= d + 1e-6 for w, d in (bed, bed[::-1])):
            return False
    return True


class _Crossing:
    """A place `at_mm` along wall strip `number` where a cut crosses it."""

    def __init__(
        self,
        lines: list[shapely.LineString],
        number: int,
        at_mm: float,
        lap_mm: float,
        cut: CutPlan,
    ) -> None:
        from shapely.ops import substring

        self.lines, self.number, self.at_mm, self.reach_mm = lines, number, at_mm, lap_mm
        self.half_mm = cut.wall_thickness_mm / 2
        self.line = lines[number]
        self.near = substring(self.line, at_mm - lap_mm, at_mm + lap_mm)

    def is_clear(self, tree: shapely.STRtree, border: BaseGeometry) -> bool:
        """Return whether the wall crosses the cut near to square, away from other walls and its own ends."""
        room = self.reach_mm + 2 * self.half_mm
        if not room < self.at_mm < self.line.length - room:
            return False
        beside = tree.query(self.near, "dwithin", distance=3 * self.half_mm)
        if any(int(k) != self.number for k in beside):
            return False
        way = np.subtract(self.near.coords[-1], self.near.coords[0])
        (x0, y0), (x1, y1) = border.coords[0], border.coords[-1]
        normal = np.array([y1 - y0, x0 - x1]) / border.length
        return bool(abs(way @ normal) >= _SQUARE * np.hypot(*way))

    def laps(
        self,
        pair: tuple[int, int],
        tiles: tuple[BaseGeometry, BaseGeometry],
        settings: CutSettings,
    ) -> list[Lap]:
        """Return both pieces' laps, none where one would leave the other piece's area."""
        import shapely

        start = shapely.Point(self.near.coords[0])
        first = 0 if tiles[0].distance(start) < tiles[1].distance(start) else 1
        found = []
        for side, keeps in ((1, first), (-1, 1 - first)):
            half = self.near.buffer(side * self.half_mm, single_sided=True)
            lap = shapely.intersection(half, tiles[1 - keeps])
            inside = tiles[0].union(tiles[1]).buffer(1e-6).covers(half)
            if not inside or not isinstance(lap, shapely.Polygon) or lap.is_empty:
                return []
            room = lap.buffer(settings.joint_clearance_mm, join_style="mitre")
            found.append(
                Lap(
                    piece=pair[keeps],
                    beyond=pair[1 - keeps],
                    outline_mm=path_points(shapely.get_coordinates(lap.exterior)[:-1]),
                    room_mm=path_points(shapely.get_coordinates(room.exterior)[:-1]),
                )
            )
        return found
