"""The floor plan: walls where they stand, each part's number beside it, and the LED rows that pass under."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from marquee.box.cut_print import wall_area as wall_area  # noqa: PLC0414 -- handed on
from marquee.outputs.drawings.drawing import (
    CENTRE,
    LABEL,
    LASER_NOTES,
    LED_ROW,
    PART_END,
    PRINT,
    RIM,
    TAPERED,
    WALL,
    Drawing,
    fitted,
    width_mm,
)
from marquee.values import Path_mm, Point
from marquee.values_cut import CutPlan, Strip

if TYPE_CHECKING:
    import shapely
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
# A zone's number and name, the widest place of its cell and how wide it is there (radius) [mm].
ZoneName = tuple[str, Point, float]

_SIZE_MM, _ZONE_SIZE_MM, _LEAST_SIZE_MM = 3.2, 3.6, 2.4
_BESIDE_MM = 1.2
_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9)


def barriers_drawing(cut: CutPlan, zones: tuple[ZoneName, ...], title: str) -> Drawing:
    """Return the floor plan seen from the front, with notes."""
    drawing = floor_plan(cut, zones, title, back=False)
    drawing.heading("FRONT VIEW", f"{title}: floor plan of the walls, 1:1, mm")
    drawing.legend()
    drawing.notes([*floor_notes(cut), *LASER_NOTES])
    return drawing


def floor_notes(cut: CutPlan) -> list[str]:
    """Return what to know when setting the walls up."""
    count = len(cut.strips)
    total = sum(s.run_mm for s in cut.strips)
    files = "; the flat parts are in walls.svg and walls.dxf under the same numbers"
    notes = [
        f"{count} part{'' if count == 1 else 's'}, {total:.0f} mm in all, {cut.wall_thickness_mm:g} mm thick, "
        f"{cut.wall_height_mm:g} mm high{files if cut.flat_parts else ''}.",
        "Transfer the walls' outlines to the box's floor (score or mark them, do not cut them), stand each part on its "
        "outline with its notches over the LED rows, glue, and close every seam: light passes through any gap.",
    ]
    if not count:
        notes = ["One cell: no walls are needed. Mark the LED rows on the box's floor."]
    if cut.sides:
        notes.append(
            "The box's sides (S-top …, in walls.svg) stand outside of the line marked RIM."
        )
    if cut.print_pieces_mm:
        last = len(cut.print_pieces_mm)
        joined = "lap them" if cut.print_laps else "butt them along the lines marked PRINT"
        joined += (
            " where half walls overlap, butt them elsewhere along the lines marked PRINT"
            * bool(cut.print_laps)
        )
        notes.append(
            f"Printed, the walls are {last} pieces, barriers-1.stl to barriers-{last}.stl, left to right and down: {joined}, "
            "glue, and close the seams with opaque tape or filler."
        )
    return notes


def floor_plan(cut: CutPlan, zones: tuple[ZoneName, ...], title: str, *, back: bool) -> Drawing:
    """Return the plan alone; `back` mirrors it as seen from behind."""
    drawing = Drawing(title=title, right_mm=cut.width_mm, bottom_mm=cut.height_mm)
    turned = _turner(cut.width_mm, back=back)
    drawing.rectangle(RIM, 0, 0, cut.width_mm, cut.height_mm)
    solid = wall_area(cut)
    for ring in rings_of(solid):
        drawing.stroke(WALL, turned(ring))
    for strip in cut.strips:
        drawing.stroke(CENTRE, turned(strip.path_mm), closed=False)
        for tick in _part_ends(strip, cut.wall_thickness_mm):
            drawing.stroke(PART_END, turned(tick), closed=False)
    for area in cut.notch_areas_mm:
        drawing.stroke(LED_ROW, turned(area))
    for x0, y0, x1, y1 in cut.print_pieces_mm:
        drawing.stroke(PRINT, turned(((x0, y0), (x1, y0), (x1, y1), (x0, y1))))
    for lap in cut.print_laps:
        drawing.stroke(PRINT, turned(lap.outline_mm))
    for path in cut.tapers_mm:
        drawing.stroke(TAPERED, turned(path), closed=False)
    _label_parts(drawing, cut, solid, zones, back=back)
    return drawing


def _turner(width: float, *, back: bool) -> Callable[[Path_mm], Path_mm]:
    def turned(path: Path_mm) -> Path_mm:
        return tuple((width - x, y) for x, y in path) if back else path

    return turned


def rings_of(shape: BaseGeometry) -> list[Path_mm]:
    """Return every outline and hole of an area."""
    import shapely

    rings = []
    for part in shapely.get_parts(shapely.normalize(shape)):
        if isinstance(part, shapely.Polygon) and not part.is_empty:
            rings += [part.exterior, *part.interiors]
    return [tuple((float(x), float(y)) for x, y in r.coords[:-1]) for r in rings]


def _part_ends(strip: Strip, thickness_mm: float) -> list[Path_mm]:
    """Return a tick across the wall at each end of a part that goes on as another part."""
    ticks: list[Path_mm] = []
    xy = np.array(strip.path_mm)
    for end, at, beside in ((strip.start, xy[0], xy[1]), (strip.end, xy[-1], xy[-2])):
        if end.kind in {"in-line", "seam", "mitre"}:
            way = (beside - at) / max(float(np.hypot(*(beside - at))), 1e-9)
            across = np.array([-way[1], way[0]]) * thickness_mm
            ticks.append((_point(at - across), _point(at + across)))
    return ticks


def _point(xy: Floats) -> Point:
    return float(xy[0]), float(xy[1])


def _label_parts(
    drawing: Drawing,
    cut: CutPlan,
    solid: BaseGeometry,
    zones: tuple[ZoneName, ...],
    *,
    back: bool,
) -> None:
    import shapely

    shapely.prepare(solid)
    taken: list[shapely.Polygon] = []
    leaders: list[tuple[tuple[Point, Point], float]] = []
    inside = shapely.box(0.5, 0.5, cut.width_mm - 0.5, cut.height_mm - 0.5)

    rows = shapely.union_all([shapely.LinearRing(a) for a in cut.notch_areas_mm])
    shapely.prepare(rows)

    def put(text: str, middle: Point, size: float, *, walls: bool, lines: bool = False) -> bool:
        w, h = width_mm(text, size) / 2 + 0.4, 0.5 * size + 0.2
        x, y = middle
        area = shapely.box(x - w, y - h, x + w, y + h)
        free = inside.contains(area) and not any(area.intersects(t) for t in taken)
        if not free or (walls and solid.intersects(area)) or (lines and rows.intersects(area)):
            return False
        taken.append(area)
        shown = cut.width_mm - x if back else x
        drawing.label(LABEL, text, (shown, y + 0.36 * size), size, anchor="middle")
        return True

    for strip in sorted(cut.strips, key=lambda s: (-s.run_mm, s.part)):
        places = [
            (size, place)
            for size in (_SIZE_MM, _LEAST_SIZE_MM)
            for place in _beside(strip, cut.wall_thickness_mm, size)
        ]
        done = any(
            put(strip.part, place, size, walls=True, lines=clear)
            for clear in (True, False)
            for size, place in places
        )
        if not done:
            # Crowded: further off, with a line that leads to the part.
            middle = _middle(strip.path_mm)
            for place in _around(middle):
                if put(strip.part, place, _LEAST_SIZE_MM, walls=True):
                    ends = (middle, (place[0], place[1]))
                    leaders.append((ends, width_mm(strip.part, _LEAST_SIZE_MM) / 2 + 0.4))
                    break
    for (start, place), half in leaders:
        stop = _edge_of(start, place, half, 0.5 * _LEAST_SIZE_MM + 0.2)
        line = [(cut.width_mm - x, y) if back else (x, y) for x, y in (start, stop)]
        drawing.stroke(LABEL, line, closed=False)
    for name, place, radius in zones:
        options = _zone_spots(name, place, radius, 0.3 * cut.width_mm)
        _ = any(
            put(text, spot, size, walls=True, lines=clear)
            for clear in (True, False)
            for text, spot, size in options
        )


def _zone_spots(
    name: str, place: Point, radius_mm: float, most_mm: float
) -> list[tuple[str, Point, float]]:
    """Return texts with places inside the cell and sizes: the whole name first, else the number alone."""
    x, y = place
    whole = fitted(name, _ZONE_SIZE_MM, most_mm)
    number = name.split(" ", 1)[0]
    options = []
    for text, size in ((whole, _ZONE_SIZE_MM), (number, _ZONE_SIZE_MM), (number, _LEAST_SIZE_MM)):
        room = radius_mm - 0.6 * size
        steps = [0.0, *(side * d for d in (3.0, 6.0, 9.0, 12.0) if d <= room for side in (-1, 1))]
        options += [(text, (x, y + dy), size) for dy in steps if room > 0]
    return options


def _middle(path: Path_mm) -> Point:
    import shapely

    line = shapely.LineString(path)
    return _point(np.array(line.interpolate(0.5, normalized=True).coords[0]))


def _around(middle: Point) -> list[Point]:
    """Return places round a point, the nearest first [mm]."""
    x, y = middle
    turns = np.arange(16) * np.pi / 8 + 0.2
    return [
        (x + float(r * np.cos(t)), y + float(r * np.sin(t)))
        for r in np.arange(6.0, 90.0, 3.0)
        for t in turns
    ]


def _edge_of(start: Point, place: Point, half_w: float, half_h: float) -> Point:
    """Return where a line from `start` to the middle of a label meets the label's edge."""
    dx, dy = start[0] - place[0], start[1] - place[1]
    share = min(half_w / max(abs(dx), 1e-9), half_h / max(abs(dy), 1e-9), 1.0)
    return place[0] + share * dx, place[1] + share * dy


def _beside(strip: Strip, thickness_mm: float, size_mm: float) -> list[Point]:
    """Return places for the part's number close beside it, the middle of its length first."""
    import shapely

    line = shapely.LineString(strip.path_mm)
    half_w, half_h = width_mm(strip.part, size_mm) / 2 + 0.4, 0.5 * size_mm + 0.2
    places = []
    for share in _SHARES:
        at = share * line.length
        a = np.array(line.interpolate(max(at - 0.5, 0)).coords[0])
        b = np.array(line.interpolate(min(at + 0.5, line.length)).coords[0])
        way = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        normal = np.array([way[1], -way[0]])
        off = thickness_mm / 2 + _BESIDE_MM + abs(normal[0]) * half_w + abs(normal[1]) * half_h
        places += [_point((a + b) / 2 + side * off * normal) for side in (1, -1)]
    return places
