"""Smooth paths as straight lines and circular arcs, which every machine that reads DXF follows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from marquee.values import Point
from marquee.values_cut import Ring

# Arcs leave the curve by no more than this [mm]; a curve flatter than the next is a straight line [mm].
WITHIN_MM, _FLAT_MM = 0.005, 0.0005
_MOST_HALVINGS = 8
_SHARES = (0.15, 0.3, 0.45, 0.6, 0.75, 0.9)
# x, y and the bulge to the next vertex: the tangent of a quarter of the arc's angle, positive counter-clockwise
# with y up (DXF reference, LWPOLYLINE, group code 42).
Vertex = tuple[float, float, float]
_Cubic = tuple[complex, complex, complex, complex]


def arc_path(ring: Ring) -> list[Vertex]:
    """Return a ring as the vertices of a closed polyline with bulges, y up.

    Each cubic becomes two arcs that share their tangent (a biarc), halved until it is followed closely enough.
    """
    vertices: list[Vertex] = []
    at = _up(ring.start)
    for x1, y1, x2, y2, x3, y3 in ring.curves:
        end = _up((x3, y3))
        vertices += _arcs((at, _up((x1, y1)), _up((x2, y2)), end), _MOST_HALVINGS)
        at = end
    return vertices


def _up(point: Point) -> complex:
    return complex(point[0], -point[1])


def _arcs(cubic: _Cubic, halvings: int) -> list[Vertex]:
    p, a, b, q = cubic
    if abs(q - p) < 1e-9 and max(abs(a - p), abs(b - p)) < 1e-9:
        return []
    if _is_straight(cubic):
        return [(p.real, p.imag, 0.0)]
    middle = _biarc(cubic)
    if middle is not None and _miss(cubic, middle) <= WITHIN_MM:
        return [(p.real, p.imag, middle.first), (middle.at.real, middle.at.imag, middle.last)]
    if halvings == 0:
        return [(p.real, p.imag, 0.0)]
    left, right = _halves(cubic)
    return _arcs(left, halvings - 1) + _arcs(right, halvings - 1)


def _is_straight(cubic: _Cubic) -> bool:
    p, a, b, q = cubic
    way = q - p
    if abs(way) < 1e-9:
        return False
    off = [((c - p) * way.conjugate() / abs(way)) for c in (a, b)]
    inside = all(-1e-9 <= o.real <= abs(way) + 1e-9 for o in off)
    return inside and max(abs(o.imag) for o in off) <= _FLAT_MM


def _halves(cubic: _Cubic) -> tuple[_Cubic, _Cubic]:
    """Return both halves (de Casteljau)."""
    p, a, b, q = cubic
    pa, ab, bq = (p + a) / 2, (a + b) / 2, (b + q) / 2
    left, right = (pa + ab) / 2, (ab + bq) / 2
    middle = (left + right) / 2
    return (p, pa, left, middle), (middle, right, bq, q)


@dataclass(frozen=True, slots=True)
class _Middle:
    """Where two arcs meet, and their bulges."""

    at: complex
    first: float
    last: float


def _biarc(cubic: _Cubic) -> _Middle | None:
    """Return the biarc with equal tangent lengths (Bolton, Biarc curves, Comput.-Aided Des. 7(2), 1975)."""
    p, _, _, q = cubic
    ways = _tangents(cubic)
    if ways is None:
        return None
    start, end = ways
    chord, both = q - p, start + end
    lean = 2 * (1 - _dot(start, end))
    along = _dot(chord, both)
    if lean > 1e-9:
        reach = (-along + math.sqrt(along * along + lean * abs(chord) ** 2)) / lean
    else:
        ahead = 4 * _dot(chord, end)
        reach = abs(chord) ** 2 / ahead if ahead > 1e-12 else 0.0
    if reach <= 1e-12:
        return None
    meet = (p + q + reach * (start - end)) / 2
    first, last = meet - p, q - meet
    if min(abs(first), abs(last)) < 1e-9:
        return None
    # Half of an arc's angle lies between its end's tangent and its chord.
    return _Middle(meet, math.tan(_angle(start, first) / 2), math.tan(_angle(last, end) / 2))


def _tangents(cubic: _Cubic) -> tuple[complex, complex] | None:
    p, a, b, q = cubic
    start = next((d for d in (a - p, b - p, q - p) if abs(d) > 1e-9), None)
    end = next((d for d in (q - b, q - a, q - p) if abs(d) > 1e-9), None)
    if start is None or end is None:
        return None
    return start / abs(start), end / abs(end)


def _dot(a: complex, b: complex) -> float:
    return (a.conjugate() * b).real


def _angle(a: complex, b: complex) -> float:
    turned = a.conjugate() * b
    return math.atan2(turned.imag, turned.real)


def _miss(cubic: _Cubic, middle: _Middle) -> float:
    """Return how far the curve leaves the two arcs at a few places [mm]."""
    p, a, b, q = cubic
    worst = 0.0
    for u in _SHARES:
        v = 1 - u
        place = v**3 * p + 3 * u * v * v * a + 3 * u * u * v * b + u**3 * q
        worst = max(
            worst,
            min(_off(place, p, middle.at, middle.first), _off(place, middle.at, q, middle.last)),
        )
    return worst


def _off(place: complex, start: complex, end: complex, bulge: float) -> float:
    """Return the distance of a place from an arc of less than a half turn, or from a chord."""
    chord = end - start
    along = _dot(chord, place - start) / abs(chord) ** 2
    if not 0 <= along <= 1 and abs(bulge) <= 1:
        return min(abs(place - start), abs(place - end))
    if abs(bulge) < 1e-9:
        return abs(((place - start) * chord.conjugate()).imag) / abs(chord)
    radius = abs(chord) * (1 + bulge * bulge) / (4 * abs(bulge))
    centre = (start + end) / 2 + 1j * chord * (1 - bulge * bulge) / (4 * bulge)
    return abs(abs(place - centre) - radius)
