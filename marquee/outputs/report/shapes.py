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

if TYPE_CHECKING:
    from contourpy import ContourGenerator

# Outlines are taken from the artwork at no more than this many pixels across.
_MOST_PX = 1600
# How far an outline may lie beside the pixels' edges [px].
_TOLERANCE_PX = 0.6


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


def zone_paths(zone_map: ZoneMap) -> dict[int, str]:
    """Return each zone's outline, holes included, for the even-odd rule; empty where no pixel is left of it."""
    view = _view(zone_map)
    labels = np.pad(
        sample(zone_map.zone_of_px, zone_map.mm_per_px, view, 1), 1, constant_values=-1
    )
    return {
        zone.id: path_data(_rings(labels, zone.id, zone.bbox_mm, view)) for zone in zone_map.zones
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
    rings = [(_simpler(line, _TOLERANCE_PX) + shift) / view.px_per_mm for line in lines]
    return [_points(ring[:-1]) for ring in rings if len(ring) > 3]


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
