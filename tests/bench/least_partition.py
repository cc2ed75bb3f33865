"""A length no partition of a face falls below, by convex relaxation on a grid.

Every pixel gets shares of the zones (Călinescu, Karloff, Rabani, An improved approximation algorithm for multiway
cut, J. Comput. Syst. Sci. 60(3), 2000); the linear program is solved by the primal-dual method of Chambolle and Pock
(J. Math. Imaging Vis. 40, 2011) with their diagonal steps (ICCV 2011). Any dual values, converged or not, give a true
lower bound; for two zones it is the minimum cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Labels = NDArray[np.int32]

# Neighbours this many pixels off are linked; the more, the nearer to true lengths.
_REACH_PX = 3
_MOST_ROUNDS, _EVERY, _CLOSE = 6000, 100, 0.002


@dataclass(frozen=True, slots=True)
class Bound:
    """The bound, a partition's length by the same measure not yet rounded to one zone a pixel, and the measure's least share of true length."""

    least_mm: float
    reached_mm: float
    metric_share: float


def links(reach_px: int) -> tuple[list[tuple[int, int]], Floats, float]:
    """Return steps to half of the neighbours, what cutting each link counts [px], and the least share of true length.

    The weights are those of Boykov and Kolmogorov (ICCV 2003, equation 2) divided by what they overstate the worst
    direction by, so that no straight line is measured longer than it is.
    """
    reach = range(-reach_px, reach_px + 1)
    steps = [(x, y) for x in reach for y in range(reach_px + 1) if math.gcd(x, y) == 1]
    steps = sorted(
        (s for s in steps if s[1] > 0 or s[0] > 0), key=lambda s: math.atan2(s[1], s[0])
    )
    angle = np.array([math.atan2(y, x) for x, y in steps])
    gap = np.diff(np.concatenate([[angle[-1] - np.pi], angle, [np.pi]]))
    way = np.array(steps, float)
    weight = (gap[:-1] + gap[1:]) / 4 / np.hypot(*way.T)
    turn = np.linspace(0, np.pi, 3600, endpoint=False)[:, None]
    measured = np.abs(np.cos(turn) * way[:, 1] - np.sin(turn) * way[:, 0]) @ weight
    most = float(measured.max())
    return steps, weight / most, float(measured.min()) / most


def least_partition(land: Labels, start: Labels, step_mm: float) -> Bound:
    """Return the bound for partitions that give every zone its land.

    Parameters
    ----------
    land : (ny, nx) int32
        Zone ids that stay, -1 where free.
    start : (ny, nx) int32
        A partition to begin from; a good one saves time, the bound holds from any.
    step_mm : float
        Size of a pixel [mm].
    """
    a, b, weight, share = all_links(land.shape)
    kept = np.unique(land[land >= 0])
    zone = np.searchsorted(kept, land.ravel())
    fixed = land.ravel() >= 0
    free = np.flatnonzero(~fixed)
    n, count = len(free), len(kept)
    number = np.empty(land.size, np.int64)
    number[free] = np.arange(n)
    number[fixed] = n + zone[fixed]
    graph = csr_array((weight, (number[a], number[b])), shape=(n + count,) * 2)
    both = (graph + graph.T).tocoo()
    upper = both.row < both.col
    low, high, weight = both.row[upper], both.col[upper], both.data[upper]
    x = np.zeros((n + count, count), np.float32)
    x[np.arange(n), np.searchsorted(kept, start.ravel()[free])] = 1
    x[n + np.arange(count), np.arange(count)] = 1
    dual, primal = _solved(low, high, weight.astype(np.float32)[:, None], x, n)
    return Bound(dual * step_mm, primal * step_mm, share)


def all_links(shape: tuple[int, ...]) -> tuple[Labels, Labels, Floats, float]:
    """Return links between pixels; the face is continued by its mirror image, so that walls at the rim count whole."""
    height, width = shape
    steps, weights, share = links(_REACH_PX)
    y, x = np.mgrid[0:height, 0:width]
    starts, ends, weight = [], [], []
    for (dx, dy), w in zip(steps, weights.tolist(), strict=True):
        for sign in (1, -1):
            qx, qy = x + sign * dx, y + sign * dy
            outside = (qx < 0) | (qx >= width) | (qy < 0) | (qy >= height)
            taken = np.ones_like(outside) if sign == 1 else outside
            starts.append((y * width + x)[taken])
            ends.append((_mirrored(qy, height) * width + _mirrored(qx, width))[taken])
            weight.append(np.where(outside[taken], w / 2, w))
    return np.concatenate(starts), np.concatenate(ends), np.concatenate(weight), share


def _mirrored(place: NDArray[np.intp], size: int) -> NDArray[np.intp]:
    place = np.where(place < 0, -1 - place, place)
    return np.where(place >= size, 2 * size - 1 - place, place)


def _solved(
    low: Labels, high: Labels, weight: Singles, x: Singles, free: int
) -> tuple[float, float]:
    """Return the best dual and the last primal value; rows of `x` from `free` on are terminals."""
    size, zones = len(low), x.shape[1]
    ends = np.stack([low, high], axis=1).ravel()
    signs = np.tile(np.array([1, -1], np.float32), size)
    across = csr_array((signs, ends, np.arange(0, 2 * size + 1, 2)), shape=(size, len(x)))
    back = csr_array(across.T)
    tau = 1 / np.maximum(abs(back) @ weight, 1e-9)
    p = np.clip(10 * (across @ x), -0.5, 0.5).astype(np.float32)
    ahead, dual, primal = x, 0.0, np.inf
    for turn in range(1, _MOST_ROUNDS + 1):
        p = np.clip(p + (across @ ahead) / 2, -0.5, 0.5)
        slope = back @ (weight * p)
        new = x - tau * slope
        new[:free] = _on_simplex(new[:free])
        new[free:] = x[free:]
        ahead, x = 2 * new - x, new
        if turn % _EVERY == 0:
            held = float(slope[free + np.arange(zones), np.arange(zones)].sum(dtype=float))
            dual = max(dual, float(slope[:free].min(axis=1).sum(dtype=float)) + held)
            primal = float((weight * np.abs(across @ x)).sum(dtype=float)) / 2
            if primal - dual < _CLOSE * dual:
                break
    return dual, primal


def _on_simplex(v: Singles) -> Singles:
    """Return the nearest shares that are not negative and add up to one (Held, Wolfe, Crowder, Math. Program. 6, 1974)."""
    falling = -np.sort(-v, axis=1)
    over = np.cumsum(falling, axis=1) - 1
    rank = np.arange(1, v.shape[1] + 1, dtype=np.float32)
    last = (falling > over / rank).sum(axis=1) - 1
    shift = over[np.arange(len(v)), last] / rank[last]
    return np.asarray(np.maximum(v - shift[:, None], 0), np.float32)
