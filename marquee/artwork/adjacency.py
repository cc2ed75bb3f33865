"""Which zones are neighbours on the face, and how near they come."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.mixed import nearest_owner
from marquee.values import Adjacency

_GRID_PX = 1_500_000


def find_adjacent(
    zone_of_px: NDArray[np.int16],
    cover: NDArray[np.float32] | None,
    mm_per_px: float,
    wall_thickness_mm: float,
) -> tuple[Adjacency, ...]:
    """Return every pair of zones whose nearest-zone regions share a border, with the gap between them.

    Parameters
    ----------
    zone_of_px : (height_px, width_px) int16
        Zone ids, -1 on the face.
    cover : (height_px, width_px) float32 or None
        Lit share of each pixel, for edges finer than a pixel.
    mm_per_px, wall_thickness_mm : float
        A gap below the wall's thickness counts as touching.
    """
    step = max(1, int(np.sqrt(zone_of_px.size / _GRID_PX)))
    grid = np.ascontiguousarray(zone_of_px[::step, ::step]).astype(np.int32)
    nearest, off_mm = nearest_owner(grid, mm_per_px * step)
    pairs = _border_gaps(nearest, off_mm)
    found = []
    for (i, j), rough_mm in sorted(pairs.items()):
        near_mm = rough_mm + 3 * step * mm_per_px
        gap_mm = _gap_mm(zone_of_px, cover, (i, j), near_mm, mm_per_px)
        found.append(Adjacency(zones=(i, j), gap_mm=gap_mm, touching=gap_mm < wall_thickness_mm))
    return tuple(found)


def _border_gaps(
    nearest: NDArray[np.int32], off_mm: NDArray[np.float32]
) -> dict[tuple[int, int], float]:
    """Return for each pair of zones with a common border its rough gap [mm]."""
    gaps: dict[tuple[int, int], float] = {}
    for a, b, d_a, d_b in (
        (nearest[:, :-1], nearest[:, 1:], off_mm[:, :-1], off_mm[:, 1:]),
        (nearest[:-1], nearest[1:], off_mm[:-1], off_mm[1:]),
    ):
        meet = a != b
        low, high = np.minimum(a, b)[meet], np.maximum(a, b)[meet]
        gap = (d_a + d_b)[meet]
        code = low.astype(np.int64) * 65536 + high
        keys, place = np.unique(code, return_inverse=True)
        least = np.full(len(keys), np.inf)
        np.minimum.at(least, place, gap)
        for key, value in zip(keys.tolist(), least.tolist(), strict=True):
            pair = divmod(key, 65536)
            gaps[pair] = min(value, gaps.get(pair, np.inf))
    return gaps


def _gap_mm(
    zone_of_px: NDArray[np.int16],
    cover: NDArray[np.float32] | None,
    pair: tuple[int, int],
    near_mm: float,
    mm_per_px: float,
) -> float:
    """Return the distance [mm] between two zones' outlines, 0 where their pixels touch."""
    from scipy.spatial import cKDTree

    if _touch(zone_of_px, *pair):
        return 0.0
    outlines = [_outline(zone_of_px, cover, zone) for zone in pair]
    first, second = sorted(outlines, key=len)
    if not len(first):
        return near_mm
    tree = cKDTree(second)
    distance, _ = tree.query(first, k=1)
    return float(np.min(distance) * mm_per_px)


def _touch(zone_of_px: NDArray[np.int16], i: int, j: int) -> bool:
    for a, b in (
        (zone_of_px[:, :-1], zone_of_px[:, 1:]),
        (zone_of_px[:-1], zone_of_px[1:]),
        (zone_of_px[:-1, :-1], zone_of_px[1:, 1:]),
        (zone_of_px[:-1, 1:], zone_of_px[1:, :-1]),
    ):
        if (((a == i) & (b == j)) | ((a == j) & (b == i))).any():
            return True
    return False


def _outline(
    zone_of_px: NDArray[np.int16], cover: NDArray[np.float32] | None, zone: int
) -> NDArray[np.float64]:
    """Return points x, y [px] where the zone's outline crosses between pixel centres."""
    own = zone_of_px == zone
    rows, columns = np.flatnonzero(own.any(axis=1)), np.flatnonzero(own.any(axis=0))
    y0, y1 = max(rows[0] - 1, 0), rows[-1] + 2
    x0, x1 = max(columns[0] - 1, 0), columns[-1] + 2
    own = own[y0:y1, x0:x1]
    lit = own.astype(np.float32) if cover is None else cover[y0:y1, x0:x1]
    points = []
    for dy, dx in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        inner = own & ~_shifted(own, dy, dx)
        beyond = _shifted(lit, dy, dx)
        y, x = np.nonzero(inner)
        here, there = lit[y, x], beyond[y, x]
        part = np.clip((here - 0.5) / np.maximum(here - there, 1e-3), 0, 1)
        part = np.where(there >= 0.5, 0.5, part)  # another lit zone begins there
        points.append(np.stack([x + x0 + dx * part, y + y0 + dy * part], axis=1))
    return np.vstack(points).astype(float)


_Pixel = TypeVar("_Pixel", np.bool_, np.float32)


def _shifted(array: NDArray[_Pixel], dy: int, dx: int) -> NDArray[_Pixel]:
    """Return the array whose element is the neighbour at (dy, dx), 0 beyond the border."""
    out = np.zeros_like(array)
    height, width = array.shape
    to_y, to_x = slice(max(-dy, 0), height - max(dy, 0)), slice(max(-dx, 0), width - max(dx, 0))
    from_y, from_x = (
        slice(max(dy, 0), height - max(-dy, 0)),
        slice(max(dx, 0), width - max(-dx, 0)),
    )
    out[to_y, to_x] = array[from_y, from_x]
    return out
