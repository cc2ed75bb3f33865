"""Cubic Bézier curves through many paths of points at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.complex128]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

_ROUNDS = 4
# A curve that misses by more than this many times what it may is divided without trying to better it.
_HOPELESS = 8.0
# Points fitted together: some 30 MB are at work.
_MOST_POINTS = 100_000


def fit_paths(paths: list[Floats], smooth: list[bool], within_mm: float) -> list[Floats]:
    """Return (n, 4, 2) cubic pieces through each path.

    A path is one piece if that comes near enough, else it is divided where the piece is furthest off, with a common
    direction there (P. Schneider, An algorithm for automatically fitting digitized curves, Graphics Gems, 1990). All
    pieces of all paths are fitted together, one generation after another.

    Parameters
    ----------
    paths : list of (n, 2)
        Points of each path [mm].
    smooth : list of bool
        Whether a path is closed without a corner at its start.
    within_mm : float
        How far the curves may leave the points [mm].
    """
    places = [_distinct(path) for path in paths]
    curved = [k for k, z in enumerate(places) if len(z) > 2]
    found: list[Floats] = [np.zeros((0, 4, 2))] * len(paths)
    for k, z in enumerate(places):
        if len(z) < 3:
            a, b = z[0], z[-1]
            found[k] = _as_points(np.array([[a, a + (b - a) / 3, b - (b - a) / 3, b]]))
    for group in _groups(curved, places):
        edges = np.cumsum([0, *(len(places[k]) for k in group)])
        z = np.concatenate([places[k] for k in group])
        ways = np.array([_ways(places[k], smooth=smooth[k]) for k in group])
        spans = _Spans(z, edges[:-1], edges[1:] - 1, ways[:, 0], ways[:, 1])
        starts, pieces = _divided(spans, within_mm)
        of_path = np.searchsorted(starts, edges)
        for k, a, b in zip(group, of_path[:-1].tolist(), of_path[1:].tolist(), strict=True):
            found[k] = _as_points(pieces[a:b])
    return found


def _groups(curved: list[int], places: list[Places]) -> list[list[int]]:
    """Return paths in groups of so many points that what is computed of them stays small."""
    groups: list[list[int]] = []
    count = _MOST_POINTS
    for k in curved:
        count += len(places[k])
        if count > _MOST_POINTS:
            groups.append([])
            count = len(places[k])
        groups[-1].append(k)
    return groups


def chords(curves: Floats, within_mm: float) -> Floats:
    """Return (n, 2) ends of chords within `within_mm` of consecutive (m, 4, 2) curves, each curve's end left out."""
    z = curves[..., 0] + 1j * curves[..., 1]
    most = np.abs(z[:, :-2] - 2 * z[:, 1:-1] + z[:, 2:]).max(axis=1)
    # A cubic leaves n equal chords by at most 6 d / (8 n²), d being its largest second difference.
    counts = np.maximum(np.ceil(np.sqrt(0.75 * most / within_mm)), 1).astype(np.intp)
    which, local = _numbered(counts)
    return _as_points(_at(z[which], local / counts[which]))


@dataclass(slots=True, eq=False)
class _Spans:
    """Stretches of `z` from point `a` to point `b`, with the directions (unit) in which their curves start and end."""

    z: Places
    a: Indices
    b: Indices
    first: Places
    last: Places


def _divided(spans: _Spans, within_mm: float) -> tuple[Indices, Places]:
    """Return where curves near enough begin in the points, in rising order, and the curves (n, 4)."""
    z = spans.z
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))])
    starts, pieces = [], []
    while len(spans.a):
        curve, worst, split = _fitted(spans, along, within_mm)
        done = (worst <= within_mm) | (spans.b - spans.a < 2)
        starts.append(spans.a[done])
        pieces.append(curve[done])
        a, b, middle = spans.a[~done], spans.b[~done], (spans.a + split)[~done]
        way = _unit(z[np.maximum(middle - 2, a)] - z[np.minimum(middle + 2, b)])
        spans = _Spans(
            z,
            np.concatenate([a, middle]),
            np.concatenate([middle, b]),
            np.concatenate([spans.first[~done], -way]),
            np.concatenate([way, spans.last[~done]]),
        )
    at = np.concatenate(starts)
    order = np.argsort(at, kind="stable")
    return at[order], np.concatenate(pieces)[order]


def _fitted(spans: _Spans, along: Floats, within_mm: float) -> tuple[Places, Floats, Indices]:
    """Return for each span the cubic nearest to its points, its worst miss, and at which of its points.

    Least squares for the handles' lengths, with Newton's method for the points' places on the curve.
    """
    a, b = spans.a, spans.b
    which, local = _numbered(b - a + 1)
    z = spans.z[a[which] + local]
    u = (along[a[which] + local] - along[a][which]) / (along[b] - along[a])[which]
    curve = _handles(spans, along, z, u, which)
    off = _at(curve[which], u) - z
    worst, split = _miss(off, which, local)
    for _ in range(_ROUNDS):
        again = (worst > within_mm) & (worst <= _HOPELESS * within_mm)
        if not again.any():
            break
        kept = again[which]
        new = np.cumsum(again) - 1
        z, u, off, local, own = z[kept], u[kept], off[kept], local[kept], new[which[kept]]
        some = _Spans(spans.z, a[again], b[again], spans.first[again], spans.last[again])
        u = _nearer(off, curve[again][own], u, own)
        better = _handles(some, along, z, u, own)
        off = _at(better[own], u) - z
        curve[again] = better
        worst[again], split[again] = _miss(off, own, local)
        which = np.flatnonzero(again)[own]
    return curve, worst, split


def _handles(spans: _Spans, along: Floats, z: Places, u: Floats, which: Indices) -> Places:
    """Return (m, 4) cubics with given ends and end directions nearest to the points `z` at places `u` on them."""
    p, q, first, last = spans.z[spans.a], spans.z[spans.b], spans.first, spans.last
    length, span = along[spans.b] - along[spans.a], np.abs(q - p)
    v = 1 - u
    b1, b2 = 3 * u * v * v, 3 * u * u * v
    # p and q stand for the inner corners too: b0 + b1 and b2 + b3, which are 1 together.
    rest = (z - p[which]) - (u * u * u + b2) * (q - p)[which]
    begin = np.flatnonzero(np.diff(which, prepend=-1))

    def total(values: Floats | Places) -> Any:  # noqa: ANN401 -- of the same kind
        return np.add.reduceat(values, begin)

    # Sums over the points of products of b1 first and b2 last: the two directions stand before the sums.
    c11, c22 = total(b1 * b1), total(b2 * b2)
    c12 = total(b1 * b2) * _dot(first, last)
    x1, x2 = _dot(first, total(b1 * rest)), _dot(last, total(b2 * rest))
    det = c11 * c22 - c12 * c12
    solved = np.abs(det) > 1e-12 * np.maximum(c11 * c22, 1e-30)
    det = np.where(solved, det, np.inf)
    alpha, beta = (x1 * c22 - x2 * c12) / det, (c11 * x2 - c12 * x1) / det
    least = 1e-3 * np.maximum(span, 1e-6)
    good = (least < alpha) & (alpha < length) & (least < beta) & (beta < length)
    third = np.where(span > 1e-6, span, length) / 3
    alpha, beta = np.where(good, alpha, third), np.where(good, beta, third)
    return np.stack([p, p + alpha * first, q + beta * last, q], axis=1)


def _at(curve: Places, u: Floats) -> Places:
    """Return the place at `u` (n,) on each of (n, 4) cubics."""
    v = 1 - u
    ends = v * v * v * curve[:, 0] + u * u * u * curve[:, 3]
    return np.asarray(ends + 3 * u * v * (v * curve[:, 1] + u * curve[:, 2]))


def _miss(off: Places, which: Indices, local: Indices) -> tuple[Floats, Indices]:
    """Return the furthest miss of each span's inner points, and the first of its points that misses as far."""
    begin = np.flatnonzero(np.diff(which, prepend=-1))
    end = np.append(begin[1:], len(which)) - 1
    square = off.real**2 + off.imag**2
    square[begin] = square[end] = 0.0
    worst = np.maximum.reduceat(square, begin)
    count = end - begin + 1
    there = square == np.repeat(worst, count)
    there[begin] = False
    split = np.minimum.reduceat(np.where(there, local, np.repeat(count - 1, count)), begin)
    return np.sqrt(worst), split


def _nearer(off: Places, curve: Places, u: Floats, which: Indices) -> Floats:
    """Return places on the curves nearer to the points, which lie `off` those at `u`: one step of Newton's method."""
    d = 3 * np.diff(curve, axis=1)
    dd = 2 * np.diff(d, axis=1)
    # The curves' first and second derivative as polynomials of u.
    slope = (u * ((dd[:, 1] - dd[:, 0]) / 2) + dd[:, 0]) * u + d[:, 0]
    bend = u * (dd[:, 1] - dd[:, 0]) + dd[:, 0]
    bottom = slope.real**2 + slope.imag**2 + _dot(off, bend)
    step = np.divide(_dot(off, slope), bottom, out=np.zeros_like(u), where=np.abs(bottom) > 1e-12)
    # Points stay in their order on each curve: spans are held apart by twice the range of u.
    apart = 2.0 * which
    ahead = np.maximum.accumulate(np.clip(u - step, 0, 1) + apart) - apart
    return np.asarray(np.clip(ahead, 0, 1), np.float64)


def _numbered(counts: Indices) -> tuple[Indices, Indices]:
    """Return for `counts` things of each kind their kind and their number among it."""
    which = np.repeat(np.arange(len(counts)), counts)
    return which, np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)


def _distinct(path: Floats) -> Places:
    z = path[:, 0] + 1j * path[:, 1]
    kept = np.flatnonzero(np.abs(np.diff(z)) > 1e-9) + 1
    return np.asarray(z[np.append(0, kept)], np.complex128)


def _ways(z: Places, *, smooth: bool) -> tuple[complex, complex]:
    """Return the directions from the ends into a path."""
    if smooth:
        reach = min(3, len(z) // 2 - 1) or 1
        way = complex(_unit(z[reach] - z[-1 - reach]))
        return way, -way
    reach = min(3, len(z) - 1)
    return complex(_unit(z[reach] - z[0])), complex(_unit(z[-1 - reach] - z[-1]))


def _unit(way: Places) -> Places:
    return np.asarray(way / np.maximum(np.abs(way), 1e-12))


def _dot(a: Places, b: Places) -> Floats:
    return np.asarray(a.real * b.real + a.imag * b.imag)


def _as_points(z: Places) -> Floats:
    return np.stack([z.real, z.imag], axis=-1)
