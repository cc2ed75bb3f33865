"""Where light can go on the box's plan: open regions between barriers, their edges, and which a point sees."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_scene import Floats, Scene

if TYPE_CHECKING:
    from shapely import Polygon

# Cracks narrower than twice this between two barriers are drawing inaccuracy, not openings.
_CRACK_MM = 0.05
# Pieces of plan smaller than this hold no light worth computing.
_LEAST_REGION_MM2 = 0.5
_ON_RIM_MM = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """Faces of barriers and box on the plan, the open side to the left of a → b.

    `a`, `b` (edges, 2) mm; `region` the open region in front; `top_mm` the face's height above the back;
    `barrier` False for the box's own sides.
    """

    a: Floats
    b: Floats
    region: NDArray[np.intp]
    top_mm: Floats
    barrier: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan2D:
    """The box from above: open regions as polygons, which of them are convex, and all faces."""

    regions: tuple[Polygon, ...]
    convex: tuple[bool, ...]
    footprint: Any  # shapely geometry of all barriers
    edges: Edges


def plan_of(scene: Scene) -> Plan2D:
    """Return the open regions and faces of a scene; barriers that touch are joined, outlines simplified.

    Outlines are simplified by at most a sixtieth of the depth and a sixth of the thinnest barrier, which
    moves a shadow by less than an element and keeps curved walls affordable.
    """
    import shapely

    rim = shapely.box(0, 0, scene.width_mm, scene.height_mm)
    shapes = [
        shapely.union_all([shapely.Polygon(r) for r in b.footprints_mm]) for b in scene.barriers
    ]
    footprint = shapely.union_all(shapes) if shapes else shapely.Polygon()
    footprint = _close_cracks(footprint).intersection(rim)
    tolerance = min([scene.depth_mm / 60, *(_thickness(s) / 6 for s in shapes)])
    footprint = footprint.simplify(tolerance, preserve_topology=True)
    regions = tuple(
        shapely.orient_polygons(piece)
        for piece in shapely.get_parts(rim.difference(footprint))
        if isinstance(piece, shapely.Polygon) and piece.area > _LEAST_REGION_MM2
    )
    return Plan2D(
        regions=regions,
        convex=tuple(p.area > p.convex_hull.area * (1 - 1e-6) for p in regions),
        footprint=footprint,
        edges=_edges(scene, regions, shapes),
    )


def _thickness(shape: Any) -> float:  # noqa: ANN401 -- shapely's base geometry is untyped here
    # A long strip of thickness t and length L has area tL and circumference 2L.
    return float(2 * shape.area / max(shape.length, 1e-9))


def _close_cracks(footprint: Any) -> Any:  # noqa: ANN401
    grown = footprint.buffer(_CRACK_MM, join_style="mitre")
    return grown.buffer(-_CRACK_MM, join_style="mitre")


def _edges(scene: Scene, regions: tuple[Polygon, ...], shapes: list[Any]) -> Edges:
    import shapely

    starts, ends, owner = [], [], []
    for number, region in enumerate(regions):
        for ring in (region.exterior, *region.interiors):
            corners = np.asarray(ring.coords)[:, :2]
            starts.append(corners[:-1])
            ends.append(corners[1:])
            owner.append(np.full(len(corners) - 1, number))
    a, b, region_id = np.concatenate(starts), np.concatenate(ends), np.concatenate(owner)
    size = np.array([scene.width_mm, scene.height_mm])
    low = (abs(a) < _ON_RIM_MM) & (abs(b) < _ON_RIM_MM)
    high = (abs(a - size) < _ON_RIM_MM) & (abs(b - size) < _ON_RIM_MM)
    barrier = ~(low | high).any(axis=1)
    top_mm = np.full(len(a), float(scene.depth_mm))
    if shapes and barrier.any():
        nearest = shapely.STRtree(shapes).nearest(shapely.points((a + b)[barrier] / 2))
        gaps = np.array([b.gap_mm for b in scene.barriers])
        top_mm[barrier] -= gaps[nearest]
    return Edges(a=a, b=b, region=region_id, top_mm=top_mm, barrier=barrier)


# --- what a point sees -----------------------------------------------------------------------------

# Pairs of origin and face handled at once, so that the arrays stay small.
_AT_ONCE = 200_000
_TINY = float(np.finfo(float).tiny)


def turn(vectors: Floats) -> Floats:
    """Return a number 0 to 4 that grows with the direction of each vector as its angle from the negative x axis does."""
    return _turn(vectors[..., 0], vectors[..., 1])


def _turn(x: Floats, y: Floats) -> Floats:
    # The least number there is keeps directions of nothing from being divided by it.
    share = x / (np.abs(x) + np.abs(y) + _TINY)
    return np.asarray(np.copysign(1 - share, y) + 2)


def direction(turns: Floats) -> Floats:
    """Return a vector (…, 2) in the direction that `turn` gives these numbers."""
    x = 1 - np.abs(turns - 2)
    return np.stack([x, np.copysign(1 - np.abs(x), turns - 2)], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Star:
    """What one point sees: in each interval of direction the nearest face, if any.

    A point at offset v is hidden if cross(v, face) ≥ limit for the face of its interval.
    """

    origin: Floats
    breaks: Floats
    face: Floats  # (intervals, 2), b - a
    limit: Floats  # (intervals,), inf where nothing stands
    index: NDArray[np.intp]  # (intervals,), place of that face in what `stars` was given

    def meets(self, ways: Floats) -> tuple[NDArray[np.intp], Floats]:
        """Return which face each of `ways` (n, 2) meets first and after how many lengths of itself (inf: none)."""
        at = self._interval(ways[:, 0], ways[:, 1])
        face = self.face[at]
        sine = ways[:, 0] * face[:, 1] - ways[:, 1] * face[:, 0]
        return self.index[at], self.limit[at] / np.maximum(sine, 1e-12)

    def _interval(self, x: Floats, y: Floats) -> NDArray[np.intp]:
        return np.asarray(self.breaks.searchsorted(_turn(x, y), side="right") - 1, np.intp)

    def sees(self, points: Floats) -> NDArray[np.bool_]:
        """Return whether each of `points` (n, 2) is in sight."""
        return self.sees_at(points[:, 0] - self.origin[0], points[:, 1] - self.origin[1])

    def sees_at(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Return whether points at these offsets (n,) from it are in sight."""
        if len(self.limit) == 1:
            return np.ones(len(x), bool)
        at = self._interval(x, y)
        reach = x * self.face[:, 1].take(at) - y * self.face[:, 0].take(at)
        return np.asarray(reach < self.limit.take(at))


def star(origin: Floats, a: Floats, b: Floats, share: Floats) -> Star:
    """Return what `origin` (2,) sees, as `stars`."""
    return next(stars(origin[None], a, b, share))


def stars(origins: Floats, a: Floats, b: Floats, share: Floats) -> Iterator[Star]:
    """Yield what each of `origins` (n, 2) sees past faces a → b (faces, 2), many reckoned at once.

    A face hides what lies beyond it: a ray to a target is cut if it meets the face before `share` (faces,) of
    its way. Rays rise from LED to diffuser, so a face as high as share of the rise cuts those that enter it
    sooner, and the entry decides. 1 for a face of full height.
    """
    step = max(1, _AT_ONCE // max(len(a), 1))
    for first in range(0, len(origins), step):
        yield from Stars(origins[first : first + step], a, b, share).each()


class Stars:
    """What several points see at once, as `stars`; directions of all of them on one line, four of it for each."""

    def __init__(self, origins: Floats, a: Floats, b: Floats, share: Floats) -> None:
        side = b - a
        from_a, from_b = a - origins[:, None], b - origins[:, None]
        cross = from_a[..., 0] * from_b[..., 1] - from_a[..., 1] * from_b[..., 0]
        # The open side is to the left of a → b.
        origin, face = np.nonzero(cross > 1e-9)
        limit = cross[origin, face] / share[face]
        base = 4.0 * np.arange(len(origins) + 1)
        first = turn(from_a[origin, face]) + base[origin]
        last = turn(from_b[origin, face]) + base[origin]
        breaks, at = np.unique(np.concatenate([base, first, last]), return_inverse=True)
        bounds, start, end = np.split(at, [len(base), len(base) + len(first)])
        pair, interval = _spans(start, end, bounds[origin], bounds[origin + 1])
        way = direction((breaks[:-1] + breaks[1:]) / 2 - np.repeat(base[:-1], np.diff(bounds)))
        met = side[face[pair]]
        sine = way[interval, 0] * met[:, 1] - way[interval, 1] * met[:, 0]
        distance = limit[pair] / np.maximum(sine, 1e-12)
        nearest = np.full(len(breaks) - 1, np.inf)
        np.minimum.at(nearest, interval, distance)
        # Of faces equally near the first.
        best = np.flatnonzero(distance == nearest[interval])[::-1]
        self.index = np.zeros(len(nearest), np.intp)
        self.index[interval[best]] = face[pair[best]]
        self.limit = np.full(len(nearest), np.inf)
        self.limit[interval[best]] = limit[pair[best]]
        self.face = side[self.index] if len(side) else np.zeros((len(nearest), 2))
        self.origins, self.breaks, self._base, self._bounds = origins, breaks, base, bounds

    def each(self) -> Iterator[Star]:
        """Yield one point's after the other's."""
        for k, origin in enumerate(self.origins):
            own = slice(self._bounds[k], self._bounds[k + 1])
            yield Star(
                origin=origin,
                breaks=self.breaks[own] - self._base[k],
                face=self.face[own],
                limit=self.limit[own],
                index=self.index[own],
            )

    def see(self, who: NDArray[np.intp], x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Return whether the points of numbers `who` (n,) see what lies at these offsets (n,) from them."""
        at = self.breaks.searchsorted(_turn(x, y) + self._base[who], side="right") - 1
        # Within by construction, but for what lies at the very end of a point's directions.
        at = np.minimum(np.maximum(at, self._bounds[who]), self._bounds[who + 1] - 1)
        reach = x * self.face[:, 1].take(at) - y * self.face[:, 0].take(at)
        return np.asarray(reach < self.limit.take(at))


def _spans(
    start: NDArray[np.intp],
    end: NDArray[np.intp],
    lowest: NDArray[np.intp],
    highest: NDArray[np.intp],
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return pairs (face, interval) for every interval of direction that a face spans."""
    # A face across direction 0 spans the last intervals and the first.
    over = np.flatnonzero(end < start)
    faces = np.concatenate([np.arange(len(start)), over])
    starts = np.concatenate([start, lowest[over]])
    counts = np.concatenate([np.where(end < start, highest, end), end[over]]) - starts
    face = np.repeat(faces, counts)
    step = np.arange(len(face)) - np.repeat(np.cumsum(counts) - counts, counts)
    return face, np.repeat(starts, counts) + step
