"""Shapes of the face as SVG path data, in millimetres of the face."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.outputs.pictures.canvas import View
from marquee.outputs.pictures.face import sample
from marquee.values import Path_mm, ZoneMap
from marquee.values_cut import Curve, Opening, Ring

if TYPE_CHECKING:
    from contourpy import ContourGenerator

# Outlines are taken from the artwork at no more than this many pixels across.
_MOST_PX = 1600
# How far a simplified outline may lie beside the one along the pixels' edges [px].
_TOLERANCE_PX = 0.3
# Steps of that one are evened out over so many points on each side, unless it is too short to have any to spare.
_EVENED, _SHORT = 3, 24
# A curve whose handles lie nearer to its chord than this is written as a line [mm].
_STRAIGHT_MM = 0.005


def number(value: float) -> str:
    """Return a length to a hundredth of a millimetre without trailing zeros or a negative zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def path_data(rings: Iterable[Sequence[tuple[float, float]]], *, closed: bool = True) -> str:
    """Return SVG path data of rings or lines."""
    end = "Z" if closed else ""
    return "".join(
        "M" + "L".join(f"{number(x)} {number(y)}" for x, y in ring) + end for ring in rings
    )


def smooth_data(ring: Ring) -> str:
    """Return SVG path data of a smooth ring: relative, in hundredths of a millimetre; what is straight as a line."""
    at = _hundredths(ring.start)
    start = ring.start
    parts = ["M" + _numbers(at)]
    for curve in ring.curves:
        points = [_hundredths(curve[k : k + 2]) for k in (0, 2, 4)]
        straight = _is_straight(start, curve)
        kept = points[-1:] if straight else points
        offsets = [v - o for point in kept for v, o in zip(point, at, strict=True)]
        parts.append(("l" if straight else "c") + _numbers(offsets))
        at, start = points[-1], (curve[4], curve[5])
    return "".join(parts) + "Z"


def _hundredths(point: Sequence[float]) -> tuple[int, int]:
    return round(100 * point[0]), round(100 * point[1])


def _numbers(values: Iterable[int]) -> str:
    """Return hundredths as numbers, a sign standing for the space before it where there is one."""
    texts = (
        number(value / 100).replace("0.", ".", 1) if abs(value) < 100 else number(value / 100)
        for value in values
    )
    return " ".join(texts).replace(" -", "-")


def _is_straight(start: tuple[float, float], curve: Curve) -> bool:
    """Tell whether a cubic's handles lie beside its chord by less than what is written down."""
    dx, dy = curve[4] - start[0], curve[5] - start[1]
    length = float(np.hypot(dx, dy))
    if length < _STRAIGHT_MM:
        return True
    for x, y in (curve[:2], curve[2:4]):
        along = ((x - start[0]) * dx + (y - start[1]) * dy) / length
        aside = ((x - start[0]) * dy - (y - start[1]) * dx) / length
        if abs(aside) > _STRAIGHT_MM or not -_STRAIGHT_MM <= along <= length + _STRAIGHT_MM:
            return False
    return True


def zone_paths(zone_map: ZoneMap, openings: Sequence[Opening] = ()) -> dict[int, str]:
    """Return each zone's outline, holes included, for the even-odd rule; empty where no pixel is left of it.

    Parameters
    ----------
    zone_map : ZoneMap
        The zones.
    openings : sequence of Opening
        What is cut out of the face. An opening all of one zone gives its smooth edge; where zones share one, and where
        there is none, the outline follows the pixels.
    """
    zone_of = {aperture.id: aperture.zone for aperture in zone_map.apertures}
    paths = {zone.id: "" for zone in zone_map.zones}
    followed: set[int] = set()
    for opening in openings:
        zones = {zone_of[k] for k in opening.apertures}
        if len(zones) == 1:
            paths[zones.pop()] += "".join(map(smooth_data, (opening.outline, *opening.holes)))
            followed |= set(opening.apertures)
    left = [k for k in zone_of if k not in followed]
    if left:
        for zone, path in _pixel_paths(zone_map, left).items():
            paths[zone] += path
    return paths


def _pixel_paths(zone_map: ZoneMap, apertures: Sequence[int]) -> dict[int, str]:
    """Return the outlines of some apertures, by zone, along their pixels' edges."""
    view = _view(zone_map)
    # The last place answers for −1, the opaque face.
    wanted = np.zeros(max(apertures) + int(zone_map.aperture_of_px.max(initial=-1)) + 2, np.bool_)
    wanted[list(apertures)] = True
    labels = np.where(wanted[zone_map.aperture_of_px], zone_map.zone_of_px, np.int16(-1))
    sampled = np.pad(sample(labels, zone_map.mm_per_px, view, 1), 1, constant_values=-1)
    zones = {zone_map.apertures[k].zone for k in apertures}
    return {
        zone.id: path_data(_rings(sampled, zone.id, zone.bbox_mm, view))
        for zone in zone_map.zones
        if zone.id in zones
    }


def contour_paths(
    values: NDArray[np.float32], levels: Sequence[float], view: View
) -> list[tuple[float, str, list[tuple[float, float]]]]:
    """Return (level, path data, places for its label) of the contours of a map over a view."""
    from contourpy import contour_generator

    xs, ys = ((np.arange(n) + 0.5) / view.px_per_mm for n in reversed(values.shape))
    made = contour_generator(x=xs, y=ys, z=values, name="serial")
    found = []
    for level in levels:
        lines = [_simpler(line, 0.4 / view.px_per_mm) for line in _lines(made, level)]
        longest = sorted(lines, key=lambda line: (-_length(line), line[0].tolist()))
        places = [tuple(line[len(line) // 2].tolist()) for line in longest[:3]]
        found.append((level, path_data(map(_points, lines), closed=False), places))
    return found


def wall_outline(path_mm: Path_mm, thickness_mm: float) -> str:
    """Return a wall in its true thickness."""
    import shapely

    area = shapely.buffer(shapely.LineString(path_mm), thickness_mm / 2, cap_style="flat")
    parts = [p for p in shapely.get_parts(area) if isinstance(p, shapely.Polygon)]
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    return path_data(_points(shapely.get_coordinates(ring)[:-1]) for ring in rings)


def _view(zone_map: ZoneMap) -> View:
    height_px, width_px = zone_map.zone_of_px.shape
    scale = min(1.0, _MOST_PX / max(height_px, width_px))
    return View(
        x=0,
        y=0,
        width_px=max(1, round(width_px * scale)),
        height_px=max(1, round(height_px * scale)),
        px_per_mm=scale / zone_map.mm_per_px,
    )


def _rings(
    labels: NDArray[Any], wanted: int, bbox_mm: tuple[float, float, float, float], view: View
) -> list[list[tuple[float, float]]]:
    """Return closed outlines of one label; `labels` has a margin of one pixel."""
    from contourpy import contour_generator

    # One pixel of the margin and one of caution on each side; in coordinates of the padded map.
    left, top = (max(0, int(v * view.px_per_mm) - 1) for v in bbox_mm[:2])
    right, bottom = (int(np.ceil(v * view.px_per_mm)) + 3 for v in bbox_mm[2:])
    inside = (labels[top:bottom, left:right] == wanted).astype(np.float32)
    if min(inside.shape) < 2 or not inside.any():
        return []
    lines = _lines(contour_generator(z=np.pad(inside, 1), name="serial"), 0.5)
    # The padding takes one more pixel off; pixel centres lie on halves.
    shift = np.array([left - 1.5, top - 1.5])
    rings = [(_simpler(_evened(line), _TOLERANCE_PX) + shift) / view.px_per_mm for line in lines]
    return [_points(ring[:-1]) for ring in rings if len(ring) > 3]


def _evened(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a closed line with the pixels' steps taken out: each point the mean of its neighbours and itself."""
    points = line[:-1]
    if len(points) < _SHORT:
        return line
    around = np.concatenate([points[-_EVENED:], points, points[:_EVENED]])
    sums = np.cumsum(np.pad(around, ((1, 0), (0, 0))), axis=0)
    width = 2 * _EVENED + 1
    means = (sums[width:] - sums[:-width]) / width
    return np.concatenate([means, means[:1]])


def _lines(made: ContourGenerator, level: float) -> list[NDArray[np.float64]]:
    # Of the forms contourpy can return, the default is one array a line.
    return [np.asarray(line, np.float64) for line in made.lines(level)]


def _simpler(line: NDArray[np.float64], tolerance: float) -> NDArray[np.float64]:
    """Return a line with the points left out that hardly bend it; a closed one stays closed."""
    closed = bool((line[0] == line[-1]).all())
    points = line[:-1] if closed else line
    found = cv2.approxPolyDP(points.astype(np.float32)[:, None], tolerance, closed)[:, 0]
    kept = np.asarray(found, np.float64)
    return np.concatenate([kept, kept[:1]]) if closed else kept


def _length(line: NDArray[np.float64]) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def _points(line: NDArray[np.float64]) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in line]
