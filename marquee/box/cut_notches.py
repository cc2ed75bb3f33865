"""Where LED rows pass under walls."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marquee.box.cut_runs import Floats, Run
from marquee.values import Chain, Point

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

# Row number and what must stay free for it.
Bands = tuple[tuple[int, "BaseGeometry"], ...]

# Body of a 5050 LED on a board [mm] (edge length as its package code says), and room about it
# (common practice, no source).
_BODY_MM, _ROOM_MM = 5.0, 0.5
# Openings of one row nearer than this are one [mm].
_JOIN_MM = 0.5


def led_rows(chain: Chain, width_mm: float, height_mm: float) -> tuple[tuple[int, Floats], ...]:
    """Return each straight row of strip with its path, half a pitch longer than its LEDs at both ends."""
    found = []
    for row in np.unique(chain.row).tolist():
        own = chain.row == row
        xy = np.stack([chain.x_mm[own], chain.y_mm[own]], axis=1)
        first = xy[1] - xy[0] if len(xy) > 1 else np.array([1.0, 0.0])
        last = xy[-1] - xy[-2] if len(xy) > 1 else first
        half = chain.pitch_mm / 2
        ends = (xy[0] - half * _unit(first), xy[-1] + half * _unit(last))
        path = np.vstack([ends[0], xy[1:-1], ends[1]])
        found.append((int(row), np.clip(path, 0, (width_mm, height_mm))))
    return tuple(found)


def _unit(way: Floats) -> Floats:
    size = float(np.hypot(*way))
    return way / size if size > 1e-9 else np.array([1.0, 0.0])


def row_ends(rows: tuple[tuple[int, Floats], ...]) -> tuple[tuple[Point, Point], ...]:
    """Return the first and last place of each row."""
    return tuple(
        ((float(xy[0, 0]), float(xy[0, 1])), (float(xy[-1, 0]), float(xy[-1, 1])))
        for _, xy in rows
    )


def row_bands(chain: Chain, rows: tuple[tuple[int, Floats], ...], notch_width_mm: float) -> Bands:
    """Return what must stay free under the walls: each strip row's band, or each LED's body on a board."""
    import shapely

    if chain.arrangement == "strip":
        half = notch_width_mm / 2
        return tuple(
            (
                row,
                shapely.buffer(shapely.LineString(xy), half, cap_style="flat", join_style="mitre"),
            )
            for row, xy in rows
        )
    half = _BODY_MM / 2 + _ROOM_MM
    x, y = chain.x_mm, chain.y_mm
    bodies = shapely.box(x - half, y - half, x + half, y + half)
    return tuple((int(r), b) for r, b in zip(chain.row.tolist(), bodies, strict=True))


def openings_along(run: Run, bands: Bands, thickness_mm: float) -> list[tuple[float, float, int]]:
    """Return (from, to, row) along a run where its thickness stands over a band [mm]."""
    import shapely

    if not bands:
        return []
    at, xy = run.stations_mm, run.xy_mm
    segments = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    sheet = np.atleast_1d(shapely.buffer(segments, thickness_mm / 2, cap_style="flat"))
    shapes = [band for _, band in bands]
    which, band = shapely.STRtree(shapes).query(sheet, predicate="intersects")
    found: dict[int, list[tuple[float, float]]] = {}
    for k, b in sorted(zip(which.tolist(), band.tolist(), strict=True)):
        common = shapely.intersection(sheet[k], shapes[b])
        if common.area < 1e-6:
            continue
        way = _unit(xy[k + 1] - xy[k])
        for part in shapely.get_parts(common):
            along = (shapely.get_coordinates(part) - xy[k]) @ way
            low, high = np.clip([along.min(), along.max()], 0, at[k + 1] - at[k]) + at[k]
            found.setdefault(bands[b][0], []).append((float(low), float(high)))
    return sorted((a, b, row) for row, spans in found.items() for a, b in _joined(spans))


def _joined(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if joined and low - joined[-1][1] < _JOIN_MM:
            joined[-1] = (joined[-1][0], max(high, joined[-1][1]))
        else:
            joined.append((low, high))
    return joined
