"""Where LED rows pass under walls."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from marquee.box.cut_runs import Floats, Run
from marquee.values import Box, Chain, Point

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

# Body of a 5050 LED [mm] (edge length as its package code says), and room about it (common practice, no source).
_BODY_MM, _ROOM_MM = 5.0, 0.5
# Openings nearer than this are one: the tooth between them would break off [mm] (common practice, no source).
_JOIN_MM = 3.0
# A wall nearer than this to a row's own direction stands on the strip's bare edge; only the LEDs stop it [degrees].
_ALONG_DEGREES = 20.0
# Corners that overlap by less are no reason for a notch [mm²].
_TOUCH_MM2 = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """What must stay free under walls for a row: `area` under those that cross it, `core` under those along it.

    `way` is the row's direction (x, y), (0, 0) for a single LED of a board.
    """

    row: int
    area: BaseGeometry
    core: BaseGeometry
    way: tuple[float, float]


Bands = tuple[Band, ...]


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


def row_bands(
    chain: Chain, rows: tuple[tuple[int, Floats], ...], notch_width_mm: float, box: Box
) -> Bands:
    """Return what must stay free under the walls: each strip row's band, or each LED's body on a board."""
    import shapely

    half = _BODY_MM / 2 + _ROOM_MM
    if chain.arrangement == "strip":
        bands = (_strip_band(row, xy, notch_width_mm / 2, _BODY_MM / 2) for row, xy in rows)
        inside = shapely.box(0, 0, box.width_mm, box.height_mm)
        return tuple(
            dataclasses.replace(b, area=shapely.intersection(b.area, inside))
            for b in bands
            if shapely.intersects(b.area, inside)
        )
    x, y = chain.x_mm, chain.y_mm
    bodies = np.atleast_1d(shapely.box(x - half, y - half, x + half, y + half))
    return tuple(
        Band(int(r), b, b, (0.0, 0.0)) for r, b in zip(chain.row.tolist(), bodies, strict=True)
    )


def _strip_band(row: int, xy: Floats, half_mm: float, core_half_mm: float) -> Band:
    import shapely

    line = shapely.LineString(xy)
    area, core = (
        shapely.buffer(line, half, cap_style="flat", join_style="mitre")
        for half in (half_mm, min(core_half_mm, half_mm))
    )
    way = _unit(xy[-1] - xy[0])
    return Band(row, area, core, (float(way[0]), float(way[1])))


def openings_along(run: Run, bands: Bands, thickness_mm: float) -> list[tuple[float, float, int]]:
    """Return (from, to, row) along a run where its thickness stands over a band [mm]."""
    import shapely

    if not bands:
        return []
    at, xy = run.stations_mm, run.xy_mm
    segments = [shapely.LineString(pair) for pair in np.stack([xy[:-1], xy[1:]], axis=1)]
    sheet = [segment.buffer(thickness_mm / 2, cap_style="flat") for segment in segments]
    which, band = shapely.STRtree([b.area for b in bands]).query(sheet, predicate="intersects")
    spans: list[tuple[float, float, int]] = []
    for k, number in sorted(zip(which.tolist(), band.tolist(), strict=True)):
        way = _unit(xy[k + 1] - xy[k])
        hit = bands[number]
        along_row = abs(float(way @ np.array(hit.way))) > np.cos(np.radians(_ALONG_DEGREES))
        common = shapely.intersection(sheet[k], hit.core if along_row else hit.area)
        if common.area < _TOUCH_MM2:
            continue
        for part in shapely.get_parts(common):
            along = (shapely.get_coordinates(part) - xy[k]) @ way
            low, high = np.clip([along.min(), along.max()], 0, at[k + 1] - at[k]) + at[k]
            spans.append((float(low), float(high), hit.row))
    return _joined(spans)


def _joined(spans: list[tuple[float, float, int]]) -> list[tuple[float, float, int]]:
    joined: list[tuple[float, float, int]] = []
    for low, high, row in sorted(spans):
        if joined and low - joined[-1][1] < _JOIN_MM:
            before = joined[-1]
            joined[-1] = (before[0], max(high, before[1]), before[2])
        else:
            joined.append((low, high, row))
    return joined
