"""Which zones are neighbours on the face, and how near they come."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.mixed import nearest_owner
from marquee.values import Adjacency

_GRID_PX = 1_500_000
_SQUARE_PX = 32
_MOST_COMPARED = 4_000_000


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
    nearest, _ = nearest_owner(grid, mm_per_px * step)
    pairs = sorted(_neighbours(nearest))
    outlines = {
        zone: _outline(zone_of_px, cover, zone) for zone in sorted({z for p in pairs for z in p})
    }
    touching = _touching(zone_of_px)
    found = []
    for i, j in pairs:
        gap_mm = 0.0
        if (i, j) not in touching:
            gap_mm = _least_distance(outlines[i], outlines[j]) * mm_per_px
        found.append(Adjacency(zones=(i, j), gap_mm=gap_mm, touching=gap_mm < wall_thickness_mm))
    return tuple(found)


def _neighbours(nearest: NDArray[np.int32]) -> set[tuple[int, int]]:
    """Return the pairs of zones whose nearest-zone regions have a common border."""
    pairs: set[tuple[int, int]] = set()
    for a, b in ((nearest[:, :-1], nearest[:, 1:]), (nearest[:-1], nearest[1:])):
        meet = a != b
        low, high = np.minimum(a, b)[meet], np.maximum(a, b)[meet]
        keys = np.unique(low.astype(np.int64) * 65536 + high)
        pairs.update(divmod(key, 65536) for key in keys.tolist())
    return pairs


def _touching(zone_of_px: NDArray[np.int16]) -> set[tuple[int, int]]:
    """Return the pairs of zones with pixels side by side or corner to corner."""
    pairs: set[tuple[int, int]] = set()
    for a, b in (
        (zone_of_px[:, :-1], zone_of_px[:, 1:]),
        (zone_of_px[:-1], zone_of_px[1:]),
        (zone_of_px[:-1, :-1], zone_of_px[1:, 1:]),
        (zone_of_px[:-1, 1:], zone_of_px[1:, :-1]),
    ):
        place = np.flatnonzero(((a != b) & (np.minimum(a, b) >= 0)).ravel())
        y, x = np.divmod(place, a.shape[1])
        first, second = a[y, x].astype(np.int64), b[y, x].astype(np.int64)
        keys = np.unique(np.minimum(first, second) * 65536 + np.maximum(first, second))
        pairs.update(divmod(key, 65536) for key in keys.tolist())
    return pairs


def _least_distance(first: NDArray[np.float64], second: NDArray[np.float64]) -> float:
    """Return the least distance [px] between two sets of points (n, 2).

    Points are put into squares; only those of squares that may hold the least distance are compared.
    """
    if not len(first) or not len(second):
        return 0.0
    size = _SQUARE_PX
    while True:
        squares = [np.unique((p // size).astype(np.int64), axis=0) for p in (first, second)]
        if len(squares[0]) * len(squares[1]) <= _MOST_COMPARED:
            break
        size *= 2
    apart = np.abs(squares[0][:, None] - squares[1][None]).astype(float)
    least = np.hypot(*np.moveaxis(np.maximum(apart - 1, 0) * size, -1, 0))
    most = np.hypot(*np.moveaxis((apart + 1) * size, -1, 0)).min()
    best = np.inf
    keys = [(p // size).astype(np.int64) @ np.array([1 << 32, 1]) for p in (first, second)]
    names = [s @ np.array([1 << 32, 1]) for s in squares]
    order = np.argsort(least, axis=None, kind="stable")
    for place in order.tolist():
        i, j = divmod(place, len(squares[1]))
        if least[i, j] >= min(best, most):
            break
        a, b = first[keys[0] == names[0][i]], second[keys[1] == names[1][j]]
        best = min(best, float(np.hypot(*np.moveaxis(a[:, None] - b[None], -1, 0)).min()))
    return best


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
