"""Smooth closed paths through contour points: corners kept sharp, cubic Bézier pieces between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.values import Path_mm
from marquee.values_cut import Curve, Ring

Floats = NDArray[np.float64]

# Corners are looked for between arms that run from `_NEAR` to `_FAR` pixels either side of a place: nearer, the
# pixel itself rounds the contour.
_NEAR, _FAR = 1.0, 4.0
_CORNER_DEGREES = 40.0
# Arms that sag more than this are parts of a curve [px]; a corner lies no further from the contour than that [px].
_SAG, _REACH = 0.12, 2.5
# Curves are followed by chords to within this where paths are needed [mm].
FLAT_MM = 0.01
_ROUNDS = 4


def smooth_ring(xy_mm: Floats, px_mm: float, within_mm: float) -> Ring:
    """Return a closed contour as a smooth ring.

    Parameters
    ----------
    xy_mm : (n, 2)
        Contour points, first not repeated, about a pixel apart.
    px_mm : float
        Size of a pixel [mm].
    within_mm : float
        How far the curves may leave the points [mm].
    """
    corners, keep = _corners(xy_mm, px_mm)
    if not len(corners):
        return _ring([_as_curves(_closed(xy_mm), within_mm, smooth=True)])
    pieces = []
    for k, (place, corner) in enumerate(corners):
        after, next_corner = corners[(k + 1) % len(corners)]
        between = _between(len(xy_mm), place, after)
        inner = xy_mm[between[keep[between]]]
        points = np.vstack([corner, inner, next_corner])
        pieces.append(_as_curves(points, within_mm, smooth=False))
    return _ring(pieces)


def polygon_ring(xy_mm: Floats) -> Ring:
    """Return a closed polygon (first point not repeated) as a ring of straight pieces."""
    ends = np.roll(xy_mm, -1, axis=0)
    pieces = np.stack([xy_mm, xy_mm + (ends - xy_mm) / 3, ends - (ends - xy_mm) / 3, ends], axis=1)
    return _ring([pieces])


def _closed(xy: Floats) -> Floats:
    return np.vstack([xy, xy[:1]])


def _between(count: int, start: int, end: int) -> NDArray[np.intp]:
    span = (end - start) % count or count
    return (start + np.arange(1, span)) % count


def _corners(xy_mm: Floats, px_mm: float) -> tuple[list[tuple[int, Floats]], NDArray[np.bool_]]:
    """Return (index, place) of sharp corners, and which points are far enough from them to be kept."""
    count = len(xy_mm)
    keep = np.ones(count, bool)
    steps = np.hypot(*(np.roll(xy_mm, -1, axis=0) - xy_mm).T)
    total = float(steps.sum())
    if total < 6 * _FAR * px_mm / 2:
        return [], keep
    at = np.concatenate([[0.0], np.cumsum(steps)[:-1]])

    def along(offset_px: float) -> Floats:
        where = (at + offset_px * px_mm) % total
        grid, ring = np.append(at, total), _closed(xy_mm)
        return np.stack([np.interp(where, grid, ring[:, k]) for k in (0, 1)], axis=1)

    middle = (_NEAR + _FAR) / 2
    far_a, mid_a, near_a = along(-_FAR), along(-middle), along(-_NEAR)
    near_b, mid_b, far_b = along(_NEAR), along(middle), along(_FAR)
    into, out = near_a - far_a, far_b - near_b
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    turn = np.abs(np.degrees(np.arctan2(cross, (into * out).sum(axis=1))))
    sag = np.maximum(
        np.hypot(*(mid_a - (far_a + near_a) / 2).T), np.hypot(*(mid_b - (far_b + near_b) / 2).T)
    )
    sharp = np.flatnonzero((turn > _CORNER_DEGREES) & (sag < _SAG * px_mm))
    corners: list[tuple[int, Floats]] = []
    taken: list[float] = []
    # Sharpest first; ties go to the place where the arms are straightest.
    for k in sharp[np.lexsort((sharp, sag[sharp].round(6), -turn[sharp].round(1)))].tolist():
        place = float(at[k])
        if any(_apart(place, t, total) < _FAR * px_mm for t in taken):
            continue
        size = cross[k]
        shift = near_b[k] - near_a[k]
        share = (shift[0] * out[k, 1] - shift[1] * out[k, 0]) / size
        corner = near_a[k] + share * into[k]
        if share < 0 or np.hypot(*(corner - xy_mm[k])) > _REACH * px_mm:
            continue
        corners.append((k, corner))
        taken.append(place)
        gone = np.abs((at - place + total / 2) % total - total / 2) < _NEAR * px_mm
        keep &= ~gone
    return sorted(corners, key=lambda c: c[0]), keep


def _apart(a: float, b: float, total: float) -> float:
    return abs((a - b + total / 2) % total - total / 2)


def _as_curves(points: Floats, within_mm: float, *, smooth: bool) -> Floats:
    """Return (n, 4, 2) Bézier pieces through points; a `smooth` one is closed without a corner at its start."""
    gap = np.hypot(*np.diff(points, axis=0).T)
    points = points[np.concatenate([[True], gap > 1e-9])]
    if len(points) < 3:
        a, b = points[0], points[-1]
        return np.array([[a, a + (b - a) / 3, b - (b - a) / 3, b]])
    if smooth:
        reach = min(3, len(points) // 2 - 1) or 1
        way = _unit(points[reach] - points[-1 - reach])
        starts, ends = way, -way
    else:
        reach = min(3, len(points) - 1)
        starts, ends = _unit(points[reach] - points[0]), _unit(points[-1 - reach] - points[-1])
    pieces: list[Floats] = []
    todo = [(0, len(points) - 1, starts, ends)]
    while todo:
        a, b, first, last = todo.pop()
        piece, worst, split = _fit(points[a : b + 1], first, last, within_mm)
        if worst <= within_mm or b - a < 2:
            pieces.append(piece)
            continue
        middle = a + split
        low, high = max(middle - 2, a), min(middle + 2, b)
        way = _unit(points[low] - points[high])
        todo += [(middle, b, -way, last), (a, middle, first, way)]
    return np.array(pieces)


def _fit(
    points: Floats, first: Floats, last: Floats, within_mm: float
) -> tuple[Floats, float, int]:
    """Return the cubic with given end directions nearest to points, its worst miss and where.

    Least squares for the handles' lengths with Newton's method for the points' places on the curve (P. Schneider,
    An algorithm for automatically fitting digitized curves, Graphics Gems, 1990).
    """
    chord = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    u = chord / chord[-1]
    curve = _handles(points, first, last, u, chord[-1])
    worst, split = _miss(points, curve, u)
    for _ in range(_ROUNDS):
        if worst <= within_mm or worst > 8 * within_mm or len(points) < 3:
            break
        u = _nearer(points, curve, u)
        curve = _handles(points, first, last, u, chord[-1])
        worst, split = _miss(points, curve, u)
    return curve, worst, split


def _handles(points: Floats, first: Floats, last: Floats, u: Floats, length: float) -> Floats:
    p, q = points[0], points[-1]
    v = 1 - u
    b1, b2 = 3 * u * v * v, 3 * u * u * v
    a1, a2 = b1[:, None] * first, b2[:, None] * last
    rest = points - ((v**3 + b1)[:, None] * p + (u**3 + b2)[:, None] * q)
    c11, c12, c22 = (a1 * a1).sum(), (a1 * a2).sum(), (a2 * a2).sum()
    x1, x2 = (a1 * rest).sum(), (a2 * rest).sum()
    det = c11 * c22 - c12 * c12
    span = float(np.hypot(*(q - p)))
    if abs(det) > 1e-12 * max(c11 * c22, 1e-30):
        alpha, beta = (x1 * c22 - x2 * c12) / det, (c11 * x2 - c12 * x1) / det
    else:
        alpha = beta = 0.0
    least = 1e-3 * max(span, 1e-6)
    if not (least < alpha < length and least < beta < length):
        alpha = beta = (span if span > 1e-6 else length) / 3
    return np.array([p, p + alpha * first, q + beta * last, q])


def _at(curve: Floats, u: Floats) -> Floats:
    v = 1 - u
    weights = np.stack([v**3, 3 * u * v * v, 3 * u * u * v, u**3], axis=1)
    return np.asarray(weights @ curve)


def _miss(points: Floats, curve: Floats, u: Floats) -> tuple[float, int]:
    off = np.hypot(*(points - _at(curve, u)).T)
    if len(off) < 3:
        return 0.0, 0
    worst = int(off[1:-1].argmax()) + 1
    return float(off[worst]), worst


def _nearer(points: Floats, curve: Floats, u: Floats) -> Floats:
    v = 1 - u
    d = np.diff(curve, axis=0) * 3
    dd = np.diff(d, axis=0) * 2
    off = _at(curve, u) - points
    slope = np.stack([v * v, 2 * u * v, u * u], axis=1) @ d
    bend = np.stack([v, u], axis=1) @ dd
    top = (off * slope).sum(axis=1)
    bottom = (slope * slope).sum(axis=1) + (off * bend).sum(axis=1)
    step = np.divide(top, bottom, out=np.zeros_like(top), where=np.abs(bottom) > 1e-12)
    return np.clip(np.maximum.accumulate(np.clip(u - step, 0, 1)), 0, 1)


def _unit(way: Floats) -> Floats:
    return np.asarray(way / max(float(np.hypot(*way)), 1e-12))


def _ring(parts: list[Floats]) -> Ring:
    curves = np.concatenate(parts)
    tail: list[Curve] = [
        (
            float(c[1, 0]),
            float(c[1, 1]),
            float(c[2, 0]),
            float(c[2, 1]),
            float(c[3, 0]),
            float(c[3, 1]),
        )
        for c in curves
    ]
    start = (float(curves[0, 0, 0]), float(curves[0, 0, 1]))
    return Ring(start=start, curves=tuple(tail), flat_mm=_flattened(curves))


def _flattened(curves: Floats) -> Path_mm:
    """Return chords within FLAT_MM of the curves; first point not repeated."""
    bends = curves[:, :-2] - 2 * curves[:, 1:-1] + curves[:, 2:]
    most = np.hypot(bends[..., 0], bends[..., 1]).max(axis=1)
    # A cubic leaves n equal chords by at most 6 d / (8 n²), d being its largest second difference.
    counts = np.maximum(np.ceil(np.sqrt(0.75 * most / FLAT_MM)), 1).astype(int)
    path = [_at(curve, np.arange(n) / n) for curve, n in zip(curves, counts.tolist(), strict=True)]
    xy = np.concatenate(path)
    return tuple((float(x), float(y)) for x, y in xy)
