"""Smooth closed paths through contour points: corners kept sharp, cubic Bézier pieces between them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.values import Path_mm
from marquee.values_cut import Curve, Ring

Floats = NDArray[np.float64]

# Corners are looked for between arms that run from `_NEAR` to `_FAR` pixels either side of a place: nearer, the
# pixel itself rounds the contour.
_NEAR, _FAR = 1.0, 4.0
_CORNER_DEGREES = 40.0
# Tips sharper than this are rounded further up: their sides are taken further out, as parabolas [degrees, px].
_TIP_DEGREES, _TIP_NEAR, _TIP_FAR = 120.0, 3.5, 12.0
# Sides straighter than this are taken as straight; arms that sag more than the next are parts of a curve; a corner lies no further from the contour than that [px].
_STRAIGHT, _SAG, _REACH = 0.11, 0.12, 3.5
# Curves are followed by chords to within this where paths are needed [mm].
FLAT_MM = 0.003
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


@dataclass(slots=True, eq=False)
class _Arms:
    """Straight arms either side of every contour point, from `near` to `far` pixels away."""

    from_mm: Floats
    into: Floats
    to_mm: Floats
    out: Floats
    turn: Floats
    sag: Floats

    def meeting(self, k: int) -> Floats | None:
        """Return where the arms of a point meet, None where they do not meet ahead."""
        into, out = self.into[k], self.out[k]
        cross = into[0] * out[1] - into[1] * out[0]
        if cross == 0:  # parallel
            return None
        shift = self.to_mm[k] - self.from_mm[k]
        share = (shift[0] * out[1] - shift[1] * out[0]) / cross
        return np.asarray(self.from_mm[k] + share * into) if share >= 0 else None


def _arms(xy_mm: Floats, at: Floats, total: float, near_mm: float, far_mm: float) -> _Arms:
    def along(offset_mm: float) -> Floats:
        where = (at + offset_mm) % total
        grid, ring = np.append(at, total), _closed(xy_mm)
        return np.stack([np.interp(where, grid, ring[:, k]) for k in (0, 1)], axis=1)

    middle = (near_mm + far_mm) / 2
    far_a, mid_a, near_a = along(-far_mm), along(-middle), along(-near_mm)
    near_b, mid_b, far_b = along(near_mm), along(middle), along(far_mm)
    into, out = near_a - far_a, far_b - near_b
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    turn = np.abs(np.degrees(np.arctan2(cross, (into * out).sum(axis=1))))
    sag = np.maximum(
        np.hypot(*(mid_a - (far_a + near_a) / 2).T), np.hypot(*(mid_b - (far_b + near_b) / 2).T)
    )
    return _Arms(near_a, into, near_b, out, turn, sag)


def _corners(xy_mm: Floats, px_mm: float) -> tuple[list[tuple[int, Floats]], NDArray[np.bool_]]:
    """Return (index, place) of sharp corners, and which points are far enough from them to be kept."""
    keep = np.ones(len(xy_mm), bool)
    steps = np.hypot(*(np.roll(xy_mm, -1, axis=0) - xy_mm).T)
    total = float(steps.sum())
    if total < 3 * _FAR * px_mm:
        return [], keep
    at = np.concatenate([[0.0], np.cumsum(steps)[:-1]])
    close = _arms(xy_mm, at, total, _NEAR * px_mm, _FAR * px_mm)
    sharp = np.flatnonzero((close.turn > _CORNER_DEGREES) & (close.sag < _SAG * px_mm))
    tips = np.flatnonzero(close.turn > _TIP_DEGREES)
    sharp = np.union1d(sharp, tips)
    corners: list[tuple[int, Floats]] = []
    taken: list[float] = []
    # Sharpest first; ties go to the place where the arms are straightest.
    order = np.lexsort((sharp, close.sag[sharp].round(6), -close.turn[sharp].round(1)))
    for k in sharp[order].tolist():
        place = float(at[k])
        if any(_apart(place, t, total) < _FAR * px_mm for t in taken):
            continue
        corner = None
        if close.turn[k] > _TIP_DEGREES:
            apex = _apex(xy_mm, at, total, place, close.meeting(k), px_mm)
            corner = _tip(xy_mm, at, total, apex, px_mm)
        tip = corner is not None
        if corner is None and close.sag[k] < _SAG * px_mm:
            corner = close.meeting(k)
        if corner is None or np.hypot(*(corner - xy_mm[k])) > _REACH * px_mm:
            continue
        corners.append((k, corner))
        taken.append(place)
        rounded = (_TIP_NEAR if tip else _NEAR) * px_mm
        keep &= np.abs((at - place + total / 2) % total - total / 2) >= rounded
    return sorted(corners, key=lambda c: c[0]), keep


def _apex(
    xy_mm: Floats, at: Floats, total: float, place_mm: float, guess: Floats | None, px_mm: float
) -> float:
    """Return the place along the contour that comes nearest to where a tip is first thought to be [mm]."""
    if guess is None:
        return place_mm
    off = np.linspace(-_REACH, _REACH, 57) * px_mm
    grid, ring = np.append(at, total), _closed(xy_mm)
    where = (place_mm + off) % total
    points = np.stack([np.interp(where, grid, ring[:, k]) for k in (0, 1)], axis=1)
    return float(place_mm + off[np.hypot(*(points - guess).T).argmin()])


def _tip(xy_mm: Floats, at: Floats, total: float, place_mm: float, px_mm: float) -> Floats | None:
    """Return where parabolas through the two sides of a sharp tip meet, None where the sides are no such curves."""
    if total < 4 * _TIP_FAR * px_mm:
        return None
    off = np.linspace(_TIP_NEAR, _TIP_FAR, 12)
    grid, ring = np.append(at, total), _closed(xy_mm)
    sides = []
    for sign in (-1.0, 1.0):
        where = (place_mm + sign * off * px_mm) % total
        points = np.stack([np.interp(where, grid, ring[:, k]) for k in (0, 1)], axis=1)
        bent = _side(off, points, px_mm)
        if bent is None:
            return None
        sides.append(bent)
    return _crossing(sides[0], sides[1])


def _side(off: Floats, points: Floats, px_mm: float) -> Floats | None:
    """Return a straight side if it is one, else a parabola (constants, slopes, bends), None if neither fits."""
    fit = np.polynomial.polynomial
    for degree, most_px in ((1, _STRAIGHT), (2, _SAG)):
        bent = np.asarray(fit.polyfit(off, points, degree), float)
        if np.abs(points - fit.polyval(off, bent).T).max() <= most_px * px_mm:
            return np.vstack([bent, np.zeros((3 - len(bent), 2))])
    return None


def _crossing(a: Floats, b: Floats) -> Floats | None:
    """Return where two parabolas (constants, slopes, bends of x and y) cross near their start."""
    u = np.zeros(2)
    for _ in range(6):
        here = [c[0] + c[1] * v + c[2] * v * v for c, v in ((a, u[0]), (b, u[1]))]
        slope = np.stack([a[1] + 2 * a[2] * u[0], -(b[1] + 2 * b[2] * u[1])], axis=1)
        if abs(np.linalg.det(slope)) < 1e-12:
            return None
        u = np.clip(u - np.linalg.solve(slope, here[0] - here[1]), -_REACH, _TIP_NEAR)
    here = [c[0] + c[1] * v + c[2] * v * v for c, v in ((a, u[0]), (b, u[1]))]
    met = float(np.hypot(*(here[0] - here[1]))) < 1e-3
    return np.asarray(here[0]) if met else None


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
    off = _at(curve, u) - points
    worst, split = _miss(off)
    for _ in range(_ROUNDS):
        if worst <= within_mm or worst > 8 * within_mm or len(points) < 3:
            break
        u = _nearer(off, curve, u)
        curve = _handles(points, first, last, u, chord[-1])
        off = _at(curve, u) - points
        worst, split = _miss(off)
    return curve, worst, split


def _handles(points: Floats, first: Floats, last: Floats, u: Floats, length: float) -> Floats:
    p, q = points[0], points[-1]
    v = 1 - u
    uv3 = 3 * u * v
    b1, b2 = uv3 * v, uv3 * u
    # p and q stand for the inner corners too: b0 + b1 and b2 + b3, which are 1 together.
    to_q = u * u * u + b2
    rest = (points - p) - to_q[:, None] * (q - p)
    # Sums over the points of products of b1 first and b2 last: the two directions stand before the sums.
    c11, c12, c22 = (
        float((b1 @ b1) * (first @ first)),
        float((b1 @ b2) * (first @ last)),
        float((b2 @ b2) * (last @ last)),
    )
    x1, x2 = float(first @ (b1 @ rest)), float(last @ (b2 @ rest))
    det = c11 * c22 - c12 * c12
    span = math.hypot(q[0] - p[0], q[1] - p[1])
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
    weights = np.empty((len(u), 4))
    square, other = u * u, v * v
    weights[:, 0], weights[:, 3] = other * v, square * u
    weights[:, 1], weights[:, 2] = 3 * u * other, 3 * square * v
    return np.asarray(weights @ curve)


def _miss(off: Floats) -> tuple[float, int]:
    if len(off) < 3:
        return 0.0, 0
    square = off[:, 0] * off[:, 0] + off[:, 1] * off[:, 1]
    worst = int(square[1:-1].argmax()) + 1
    return math.sqrt(square[worst]), worst


def _nearer(off: Floats, curve: Floats, u: Floats) -> Floats:
    """Return places on the curve nearer to the points, which lie `off` those at `u`: one step of Newton's method."""
    d = 3 * (curve[1:] - curve[:-1])
    dd = 2 * (d[1:] - d[:-1])
    # The curve's first and second derivative as polynomials of u.
    at = u[:, None]
    slope = (at * ((dd[1] - dd[0]) / 2) + dd[0]) * at + d[0]
    bend = at * (dd[1] - dd[0]) + dd[0]
    top = off[:, 0] * slope[:, 0] + off[:, 1] * slope[:, 1]
    bottom = slope[:, 0] ** 2 + slope[:, 1] ** 2 + off[:, 0] * bend[:, 0] + off[:, 1] * bend[:, 1]
    step = np.divide(top, bottom, out=np.zeros_like(top), where=np.abs(bottom) > 1e-12)
    return np.maximum.accumulate(np.minimum(np.maximum(u - step, 0), 1))


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
