"""Which zones are neighbours on the face, and how near they come."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.nearest import Nearest
from marquee.values import Adjacency, ZoneMap
from marquee.values_pixels import coarse_of

_SQUARE_PX = 16
_SQUARES_AT_ONCE = 64
_MOST_COMPARED = 4_000_000
# Distances on the nearest map are off by its grid and by its 5 × 5 steps (Borgefors, Computer Vision, Graphics
# and Image Processing 34, 1986: 2 %); twice that is allowed for.
_MAP_ERROR, _MAP_ERROR_PX = 1.04, 4.0
_KEY = 1 << 16  # zone ids are int16
_OTHER = 32767  # any other zone


def find_adjacent(
    zone_of_px: NDArray[np.int16],
    lit_8bit: NDArray[np.uint8],
    nearest: Nearest,
    zone_of: NDArray[np.int16],
    mm_per_px: float,
    wall_thickness_mm: float,
) -> tuple[Adjacency, ...]:
    """Return every pair of zones whose nearest-zone regions share a border, with the gap between them.

    Parameters
    ----------
    zone_of_px : (height_px, width_px) int16
        Zone ids, -1 on the face.
    lit_8bit : (height_px, width_px) uint8
        Lit share of each pixel, 255 being all, for edges finer than a pixel.
    nearest : Nearest
        Of the apertures.
    zone_of : (apertures + 1,) int16
        Zone of each of the nearest map's apertures, -1 last.
    mm_per_px, wall_thickness_mm : float
        A gap below the wall's thickness counts as touching.
    """
    reach = _least_across(nearest, zone_of)
    if not reach:
        return ()
    outlines = _find_outlines(zone_of_px, lit_8bit)
    found = []
    for i, j in sorted(reach):
        gap_mm = 0.0
        if (i, j) not in outlines.touching:
            most = reach[i, j] / mm_per_px * _MAP_ERROR + _MAP_ERROR_PX * nearest.step
            gap_mm = _least_distance(outlines.of(i), outlines.of(j), most) * mm_per_px
        found.append(Adjacency(zones=(i, j), gap_mm=gap_mm, touching=gap_mm < wall_thickness_mm))
    return tuple(found)


def outline_points_mm(zone_map: ZoneMap, zone: int) -> NDArray[np.float64]:
    """Return (n, 2) x, y [mm] where a zone's outline crosses between pixel centres, by the pixels' lit shares."""
    mm, lit = zone_map.mm_per_px, zone_map.lit_8bit
    if lit is None:
        ids = zone_map.zone_of_px
        lit = (ids >= 0).astype(np.uint8) * np.uint8(255)
    else:
        ids, held = coarse_of(zone_map, "zone_of_px")
        factor = round(zone_map.lit_mm_per_px / mm) // held
        ids, mm = ids[factor // 2 :: factor, factor // 2 :: factor], zone_map.lit_mm_per_px
    height, width = min(ids.shape[0], lit.shape[0]), min(ids.shape[1], lit.shape[1])
    ids, lit = ids[:height, :width], lit[:height, :width]
    only = np.where(ids == zone, ids, np.where(ids >= 0, _OTHER, ids)).astype(np.int16)
    points = _find_outlines(np.ascontiguousarray(only), np.ascontiguousarray(lit)).of(zone)
    return np.asarray((points + 0.5) * mm)


def _least_across(nearest: Nearest, zone_of: NDArray[np.int16]) -> dict[tuple[int, int], float]:
    """Return the pairs of zones whose regions have a common border, and the least gap [mm] across it."""
    a, b = (zone_of[v].astype(np.int64) for v in (nearest.first, nearest.second))
    other = (a != b) & (a >= 0) & (b >= 0)
    a, b, gap = a[other], b[other], nearest.gap_mm[other]
    key = np.minimum(a, b) * _KEY + np.maximum(a, b)
    order = np.argsort(key, kind="stable")
    keys, starts = np.unique(key[order], return_index=True)
    if not keys.size:
        return {}
    least = np.minimum.reduceat(gap[order], starts)
    pairs = [divmod(k, _KEY) for k in keys.tolist()]
    return dict(zip(pairs, least.tolist(), strict=True))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Outlines:
    """Points x, y [px] where zones' outlines cross between pixel centres, sorted by zone, and what touches."""

    points: NDArray[np.float64]
    zone: NDArray[np.int64]
    touching: set[tuple[int, int]]

    def of(self, zone: int) -> NDArray[np.float64]:
        """Return one zone's points."""
        low, high = np.searchsorted(self.zone, [zone, zone + 1])
        return self.points[low:high]


def _find_outlines(zone_of_px: NDArray[np.int16], lit_8bit: NDArray[np.uint8]) -> _Outlines:
    touching: set[tuple[int, int]] = set()
    points, zones = [], []
    width = zone_of_px.shape[1]
    ids, lit = zone_of_px.ravel(), lit_8bit.ravel()
    for dy, dx, a, b in (
        (0, 1, zone_of_px[:, :-1], zone_of_px[:, 1:]),
        (1, 0, zone_of_px[:-1], zone_of_px[1:]),
        (1, 1, zone_of_px[:-1, :-1], zone_of_px[1:, 1:]),
        (1, -1, zone_of_px[:-1, 1:], zone_of_px[1:, :-1]),
    ):
        y, x = np.divmod(np.flatnonzero(a != b), a.shape[1])
        x += int(dx < 0)
        here = y * width + x
        there = here + dy * width + dx
        own, other = ids[here].astype(np.int64), ids[there].astype(np.int64)
        both = (own >= 0) & (other >= 0)
        keys = np.sort(np.minimum(own, other)[both] * _KEY + np.maximum(own, other)[both])
        touching.update(divmod(k, _KEY) for k in keys[np.diff(keys, prepend=-1) > 0].tolist())
        if dy and dx:
            continue  # corners touch, but outlines cross between pixels side by side
        share = lit[here].astype(float) / 255, lit[there].astype(float) / 255
        for zone, near, far, to_y, to_x, sign in (
            (own, share[0], share[1], y, x, 1),
            (other, share[1], share[0], y + dy, x + dx, -1),
        ):
            part = np.clip((near - 0.5) / np.maximum(near - far, 1e-3), 0, 1)
            part = np.where(far >= 0.5, 0.5, part)  # another lit zone begins there
            inside = zone >= 0
            place = np.stack([to_x + sign * dx * part, to_y + sign * dy * part], axis=1)
            points.append(place[inside])
            zones.append(zone[inside])
    zone = np.concatenate(zones)
    order = np.argsort(zone, kind="stable")
    return _Outlines(points=np.vstack(points)[order], zone=zone[order], touching=touching)


def _least_distance(first: NDArray[np.float64], second: NDArray[np.float64], most: float) -> float:
    """Return the least distance [px] between two sets of points (n, 2), known to be at most `most`.

    Points are put into squares; only those of squares that may hold the least distance are compared.
    """
    first, second = _within(first, second, most), _within(second, first, most)
    if not len(first) or not len(second):
        return 0.0
    size = _SQUARE_PX
    while True:
        one, other = _squares(first, size), _squares(second, size)
        if len(one.start) * len(other.start) <= _MOST_COMPARED:
            break
        size *= 2
    least = _least_between(one, other)
    best = np.inf
    places = np.flatnonzero(least <= most)
    places = places[np.argsort(least.ravel()[places], kind="stable")]
    for start in range(0, len(places), _SQUARES_AT_ONCE):
        some = places[start : start + _SQUARES_AT_ONCE]
        some = some[least.ravel()[some] < best]
        if not some.size:
            break
        best = min(best, _least_of(one, other, *np.divmod(some, len(other.start))))
    return best


def _least_between(one: _Squares, other: _Squares) -> NDArray[np.float32]:
    """Return (squares, squares) how near the points of each two can be at all.

    By the boxes round the points themselves, which are often far smaller than the squares.
    """
    squared = np.zeros((len(one.start), len(other.start)), np.float32)
    for axis in (0, 1):
        low, high = (v[:, axis].astype(np.float32) for v in (one.low, one.high))
        from_low, from_high = (v[:, axis].astype(np.float32) for v in (other.low, other.high))
        apart = np.maximum(low[:, None] - from_high, from_low - high[:, None])
        np.maximum(apart, 0, out=apart)
        squared += np.square(apart, out=apart)
    # Single precision rounds places by up to 0.01 px; no pair may be passed over for that.
    return np.asarray(np.maximum(np.sqrt(squared) - np.float32(0.02), 0), np.float32)


def _least_of(one: _Squares, other: _Squares, i: NDArray[np.int64], j: NDArray[np.int64]) -> float:
    """Return the least distance between points of squares `i` of the one and `j` of the other, pair by pair."""
    rows, columns = one.count[i], other.count[j]
    total = rows * columns
    pair = np.repeat(np.arange(len(i)), total)
    row, column = np.divmod(np.arange(len(pair)) - (np.cumsum(total) - total)[pair], columns[pair])
    off = one.points[one.start[i][pair] + row] - other.points[other.start[j][pair] + column]
    return float(np.sqrt(np.einsum("ij,ij->i", off, off).min()))


def _within(
    points: NDArray[np.float64], others: NDArray[np.float64], most: float
) -> NDArray[np.float64]:
    """Return the points that lie no farther than `most` outside the box round the others."""
    if not len(others):
        return points
    low, high = others.min(axis=0) - most, others.max(axis=0) + most
    return np.asarray(points[((points >= low) & (points <= high)).all(axis=1)], float)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Squares:
    """Points (n, 2) sorted by square: where each begins, how many it has, and the box `low`, `high` round them."""

    points: NDArray[np.float64]
    start: NDArray[np.int64]
    count: NDArray[np.int64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


def _squares(points: NDArray[np.float64], size: int) -> _Squares:
    place = (points // size).astype(np.int64) + 1
    key = place[:, 0] * (1 << 32) + place[:, 1]
    order = np.argsort(key, kind="stable")
    _, start, count = np.unique(key[order], return_index=True, return_counts=True)
    ordered = points[order]
    return _Squares(
        points=ordered,
        start=start,
        count=count,
        low=np.minimum.reduceat(ordered, start),
        high=np.maximum.reduceat(ordered, start),
    )
