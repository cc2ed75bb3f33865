"""What the maker should know of the walls: where they must taper, where they are tight, what they cover."""

from __future__ import annotations

from typing import Any

import numpy as np

from marquee.artwork.adjacency import outline_points_mm
from marquee.box.cells import cell_shape
from marquee.box.ground import Floats, Ground
from marquee.errors import Finding
from marquee.project import BoxSettings
from marquee.values import Cell, Gap, Wall, ZoneMap

_MOST_PLACES = 4
# From here on another design is cheaper than the work (common practice, no source).
_MANY_WALLS = 150
# Side of a 5050 package (from memory).
_LED_MM = 5.0
# Stretches nearer to each other than this along a wall are told as one [mm].
_JOIN_MM = 10.0


def box_findings(
    zone_map: ZoneMap,
    ground: Ground,
    walls: tuple[Wall, ...],
    cells: tuple[Cell, ...],
    settings: BoxSettings,
) -> tuple[tuple[Finding, ...], tuple[Gap, ...]]:
    """Return remarks on touching colours, tight walls and apertures that walls cover wholly, and every narrow gap."""
    found: list[Finding] = []
    gaps: list[Gap] = []
    pairs = sorted({wall.zones for wall in walls})
    room = _Room(ground, zone_map)
    for pair in pairs:
        own = [wall for wall in walls if wall.zones == pair]
        told, narrow = _pair_findings(zone_map, room, own, settings)
        found += told
        gaps += narrow
    found += _covered(zone_map, ground, cells)
    if len(walls) > _MANY_WALLS:
        found.append(_many(walls, cells, settings))
    return tuple(found), tuple(gaps)


def _many(walls: tuple[Wall, ...], cells: tuple[Cell, ...], settings: BoxSettings) -> Finding:
    """Return the remark on more walls than anybody cuts, with how far the artwork is from being built."""
    import shapely

    shapes = [cell_shape(cell) for cell in cells]
    circles = shapely.maximum_inscribed_circle(shapes, tolerance=0.2)
    wide = 2 * np.asarray(shapely.length(circles), float)
    narrow = int((wide < _LED_MM).sum())
    wall = settings.wall_thickness_mm
    # Walls stay as thick when the artwork grows.
    factor = (_LED_MM + wall) / (float(np.median(wide)) + wall)
    larger = (
        f", make the artwork {np.ceil(10 * factor) / 10:.1f} times as wide" if factor > 1 else ""
    )
    return Finding(
        code="barriers.many",
        where="face",
        message=f"{len(walls)} walls are more than anybody cuts, and {narrow} of {len(cells)} cells are narrower than "
        f"an LED of {_LED_MM:g} mm: leave out specks (--min-area), merge colours (--merge){larger}, or light the finest "
        "part as one zone with a hue cycle (an override)",
    )


class _Room:
    """How far the walls are from apertures."""

    def __init__(self, ground: Ground, zone_map: ZoneMap) -> None:
        import cv2

        self.ground, self._zone_map = ground, zone_map
        far = cv2.distanceTransform(
            (ground.aperture < 0).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE
        )
        self.off_mm = far * ground.step_mm
        self._trees: dict[int, Any] = {}

    def around_mm(self, places: Floats) -> Floats:
        """Return the distance from each place to the nearest aperture's edge, less than 0 inside [mm]."""
        step = self.ground.step_mm
        height, width = self.off_mm.shape
        x = np.clip((places[:, 0] / step).astype(int), 0, width - 1)
        y = np.clip((places[:, 1] / step).astype(int), 0, height - 1)
        return np.asarray(self.off_mm[y, x] - step / 2, float)

    def gap_mm(self, place: Floats, pair: tuple[int, int]) -> float:
        """Return the width of the gap between two zones' apertures at a place between them [mm]."""
        gaps = []
        for one, other in (pair, pair[::-1]):
            near = self._finder(one).data[self._finder(one).query(place)[1]]
            gaps.append(float(self._finder(other).query(near)[0]))
        return min(gaps)

    def _finder(self, zone: int) -> Any:  # noqa: ANN401 -- scipy's tree has no precise type
        from scipy.spatial import cKDTree

        if zone not in self._trees:
            self._trees[zone] = cKDTree(outline_points_mm(self._zone_map, zone))
        return self._trees[zone]


def _pair_findings(
    zone_map: ZoneMap, room: _Room, walls: list[Wall], settings: BoxSettings
) -> tuple[list[Finding], list[Gap]]:
    half, clear = settings.wall_thickness_mm / 2, settings.clearance_mm
    step = room.ground.step_mm
    knife: list[tuple[float, Floats, float]] = []
    tight: list[tuple[float, Floats, float]] = []
    for wall in walls:
        places = _samples(np.array(wall.path_mm), step)
        off = room.around_mm(places)
        knife += _stretches(places, off, half - step / 2, step)
        tight += _stretches(places, off, half + clear - 1.5 * step, step)
    names = " and ".join(f"'{zone_map.zones[z].name}'" for z in walls[0].zones)
    if knife:
        gaps = _gaps(zone_map, room, walls[0].zones, knife, settings)
        return [_touching(gaps, names, settings)], gaps
    return ([_tight(tight, names, settings)] if tight else []), []


def _samples(path: Floats, step_mm: float) -> Floats:
    import shapely

    line = shapely.LineString(path)
    n = max(2, int(line.length / max(step_mm, 0.25)))
    at = np.linspace(0, line.length, n)
    return shapely.get_coordinates(shapely.line_interpolate_point(line, at))


def _stretches(
    places: Floats, off_mm: Floats, limit_mm: float, step_mm: float
) -> list[tuple[float, Floats, float]]:
    """Return (least distance, where, length) of each stretch nearer to apertures than the limit."""
    near = np.flatnonzero(off_mm < limit_mm)
    if not len(near):
        return []
    spacing = float(np.hypot(*(places[1] - places[0]))) if len(places) > 1 else step_mm
    breaks = np.flatnonzero(np.diff(near) * spacing > _JOIN_MM) + 1
    found = []
    for group in np.split(near, breaks):
        worst = group[int(np.argmin(off_mm[group]))]
        found.append((float(off_mm[worst]), places[worst], float(len(group) * spacing)))
    return found


def _gaps(
    zone_map: ZoneMap,
    room: _Room,
    pair: tuple[int, int],
    stretches: list[tuple[float, Floats, float]],
    settings: BoxSettings,
) -> list[Gap]:
    """Return the narrow gaps between two zones, the narrowest first."""
    stretches = sorted(stretches, key=lambda s: (s[0], s[1].tolist()))
    known = [a.gap_mm for a in zone_map.adjacent if tuple(sorted(a.zones)) == pair]
    wall, clear = settings.wall_thickness_mm, settings.clearance_mm
    found = []
    for number, (_, place, length) in enumerate(stretches):
        gap = room.gap_mm(place, pair)
        if number == 0:
            gap = min([gap, *known])
        found.append(
            Gap(
                zones=pair,
                at_mm=(float(place[0]), float(place[1])),
                gap_mm=gap,
                length_mm=length,
                add_mm=_wider(wall - gap),
                add_clear_mm=_wider(wall + 2 * clear - gap),
            )
        )
    return found


def _wider(lacking_mm: float) -> float:
    """Return what to add, up to the next tenth and at least that [mm]."""
    return max(float(np.ceil(10 * lacking_mm - 0.01)), 1.0) / 10


def _touching(gaps: list[Gap], names: str, settings: BoxSettings) -> Finding:
    worst = gaps[0]
    length = sum(gap.length_mm for gap in gaps)
    more = "; ".join(
        f"{g.gap_mm:.1f} mm at {_at(np.array(g.at_mm))}" for g in gaps[1:_MOST_PLACES]
    )
    rest = len(gaps) - _MOST_PLACES
    others = f" and {rest} more place{'s' * (rest > 1)}" if rest > 0 else ""
    also = f" Also {more}{others}." if more else ""
    return Finding(
        code="barriers.touching",
        where=f"{names}, {_at(np.array(worst.at_mm))}",
        message=f"gap {worst.gap_mm:.1f} mm, wall {settings.wall_thickness_mm:g} mm: over {length:.0f} mm of wall taper its "
        f"top to a knife edge in the middle of the gap, or widen the opaque bridge on the face by {worst.add_mm:.1f} mm "
        f"({worst.add_clear_mm:.1f} mm for full clearance).{also}",
    )


def _tight(
    stretches: list[tuple[float, Floats, float]], names: str, settings: BoxSettings
) -> Finding:
    least, place, _ = min(stretches, key=lambda s: (s[0], s[1].tolist()))
    length = sum(s[2] for s in stretches)
    clearance = max(least - settings.wall_thickness_mm / 2, 0.0)
    return Finding(
        code="barriers.tight",
        where=f"{names}, {_at(place)}",
        message=f"the wall fits but keeps only {clearance:.1f} mm from apertures over {length:.0f} mm, "
        f"{settings.clearance_mm:g} mm was asked; cut and glue it exactly, or use a thinner sheet",
    )


def _at(place: Floats) -> str:
    return f"{place[0]:.0f}, {place[1]:.0f} mm"


def _covered(zone_map: ZoneMap, ground: Ground, cells: tuple[Cell, ...]) -> list[Finding]:
    """Return a remark for every zone with apertures that lie wholly on walls."""
    import cv2

    open_px = np.zeros(ground.aperture.shape, np.uint8)
    for cell in cells:
        mask = np.zeros_like(open_px)
        rings = [np.array(cell.outline_mm), *(np.array(h) for h in cell.holes_mm)]
        scaled = [np.round((r / ground.step_mm - 0.5) * 16).astype(np.int32) for r in rings]
        cv2.fillPoly(mask, scaled, 1, shift=4)
        open_px |= mask * (ground.aperture == cell.zone).astype(np.uint8)
    found = []
    for zone in zone_map.zones:
        own = (ground.aperture == zone.id).astype(np.uint8)
        count, part = cv2.connectedComponents(own)
        lit = np.zeros(count, bool)
        lit[np.unique(part[open_px > 0])] = True
        dark = np.flatnonzero(~lit[1:]) + 1
        if not len(dark):
            continue
        y, x = np.nonzero(part == dark[0])
        place = np.array([x.mean() + 0.5, y.mean() + 0.5]) * ground.step_mm
        found.append(
            Finding(
                code="barriers.covered",
                where=f"'{zone.name}', {_at(place)}",
                message=f"{len(dark)} aperture(s) are narrower than the walls beside them and get light only past a "
                "knife edge; use a thinner sheet, part the colours on the face, or light them with a neighbour "
                "(an override with the neighbour's zone name)",
            )
        )
    return found
