"""Smooth closed paths through contour points: corners kept sharp, cubic Bézier pieces between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from marquee.box.cut_fit import chords, fit_paths
from marquee.values import Point
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


def smooth_rings(contours: list[Floats], px_mm: float, within_mm: float) -> list[Ring]:
    """Return closed contours as smooth rings.

    Parameters
    ----------
    contours : list of (n, 2)
        Contour points, first not repeated, about a pixel apart.
    px_mm : float
        Size of a pixel [mm].
    within_mm : float
        How far the curves may leave the points [mm].
    """
    paths = [_parted(xy, px_mm) for xy in contours]
    smooth = [one and len(own) == 1 for own, one in paths for _ in own]
    fitted = iter(fit_paths([path for own, _ in paths for path in own], smooth, within_mm))
    return [_ring([next(fitted) for _ in own]) for own, _ in paths]


def _parted(xy_mm: Floats, px_mm: float) -> tuple[list[Floats], bool]:
    """Return a contour's paths from corner to corner, and whether it has no corner at all."""
    corners, keep = _corners(xy_mm, px_mm)
    if not corners:
        return [_closed(xy_mm)], True
    paths = []
    for k, (place, corner) in enumerate(corners):
        after, next_corner = corners[(k + 1) % len(corners)]
        between = _between(len(xy_mm), place, after)
        paths.append(np.vstack([corner, xy_mm[between[keep[between]]], next_corner]))
    return paths, False


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


def _ring(parts: list[Floats]) -> Ring:
    curves = np.concatenate(parts)
    tail = cast("list[Curve]", [tuple(row) for row in curves[:, 1:].reshape(-1, 6).tolist()])
    flat = cast("list[Point]", [tuple(row) for row in chords(curves, FLAT_MM).tolist()])
    start = cast("Point", tuple(curves[0, 0].tolist()))
    return Ring(start=start, curves=tuple(tail), flat_mm=tuple(flat))
