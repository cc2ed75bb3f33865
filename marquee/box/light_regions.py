"""Where light can go on the box's plan: open regions between barriers, their edges, and which a point sees."""

from __future__ import annotations

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


def turn(vectors: Floats) -> Floats:
    """Return a number 0 to 4 that grows with the direction of each vector as its angle does."""
    return _turn(vectors[..., 0], vectors[..., 1])


def _turn(x: Floats, y: Floats) -> Floats:
    with np.errstate(invalid="ignore"):
        share = y / (abs(x) + abs(y))
    return np.where(x < 0, 2 - share, np.where(share < 0, 4 + share, share))


def direction(turns: Floats) -> Floats:
    """Return a vector (…, 2) in the direction that `turn` gives these numbers."""
    y = np.where(turns <= 3, 1 - abs(turns - 1), turns - 4)
    return np.stack([abs(turns - 2) - 1, y], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Star:
    """What one point sees: in each interval of direction the nearest face, if any.

    A point at offset v is hidden if cross(v, face) ≥ limit for the face of its interval.
    """

    origin: Floats
    breaks: Floats
    face: Floats  # (intervals, 2), b - a
    limit: Floats  # (intervals,), inf where nothing stands
    index: NDArray[np.intp]  # (intervals,), place of that face in what `star` was given

    def meets(self, ways: Floats) -> tuple[NDArray[np.intp], Floats]:
        """Return which face each of `ways` (n, 2) meets first and after how many lengths of itself (inf: none)."""
        at = self._interval(ways)
        face = self.face[at]
        sine = ways[:, 0] * face[:, 1] - ways[:, 1] * face[:, 0]
        return self.index[at], self.limit[at] / np.maximum(sine, 1e-12)

    def _interval(self, ways: Floats) -> NDArray[np.intp]:
        at = np.searchsorted(self.breaks, turn(ways), side="right") - 1
        return np.clip(at, 0, len(self.limit) - 1)

    def sees(self, points: Floats) -> NDArray[np.bool_]:
        """Return whether each of `points` (n, 2) is in sight."""
        if len(self.limit) == 1:
            return np.ones(len(points), bool)
        x, y = points[:, 0] - self.origin[0], points[:, 1] - self.origin[1]
        at = self.breaks.searchsorted(_turn(x, y), side="right") - 1
        # Within by construction, but for directions of nothing, which count as the last.
        at = np.minimum(np.maximum(at, 0), len(self.limit) - 1)
        reach = x * self.face[:, 1].take(at) - y * self.face[:, 0].take(at)
        return np.asarray(reach < self.limit.take(at))


def star(origin: Floats, a: Floats, b: Floats, share: Floats) -> Star:
    """Return what `origin` (2,) sees past faces a → b (n, 2).

    A face hides what lies beyond it: a ray to a target is cut if it meets the face before `share` (n,) of
    its way. Rays rise from LED to diffuser, so a face as high as share of the rise cuts those that enter it
    sooner, and the entry decides. 1 for a face of full height.
    """
    u, v = a - origin, b - origin
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    front = cross > 1e-9  # the open side is to the left of a → b
    u, v, limit, index = u[front], v[front], cross[front] / share[front], np.flatnonzero(front)
    if not len(u):
        none = np.zeros(1, np.intp)
        nowhere = np.zeros((1, 2))
        return Star(
            origin=origin, breaks=np.zeros(1), face=nowhere, limit=np.full(1, np.inf), index=none
        )
    first, last = turn(u), turn(v)
    breaks = np.unique(np.concatenate([[0.0, 4.0], first, last]))
    face, at = _spans(breaks, first, last)
    side = v - u
    way = direction((breaks[:-1] + breaks[1:]) / 2)[at]
    sine = way[:, 0] * side[face, 1] - way[:, 1] * side[face, 0]
    distance = limit[face] / np.maximum(sine, 1e-12)
    order = np.lexsort((distance, at))
    met, foremost = np.unique(at[order], return_index=True)
    nearest = np.zeros(len(breaks) - 1, np.intp)
    nearest[met] = face[order[foremost]]
    reach = np.full(len(breaks) - 1, np.inf)
    reach[met] = limit[nearest[met]]
    return Star(
        origin=origin, breaks=breaks, face=side[nearest], limit=reach, index=index[nearest]
    )


def _spans(
    breaks: Floats, first: Floats, last: Floats
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return pairs (face, interval) for every interval of direction that a face spans."""
    start, end = np.searchsorted(breaks, first), np.searchsorted(breaks, last)
    # A face across direction 0 spans the last intervals and the first.
    over = np.flatnonzero(end < start)
    faces = np.concatenate([np.arange(len(first)), over])
    starts = np.concatenate([start, np.zeros(len(over), np.intp)])
    ends = np.concatenate([np.where(end < start, len(breaks) - 1, end), end[over]])
    counts = ends - starts
    face = np.repeat(faces, counts)
    step = np.arange(len(face)) - np.repeat(np.cumsum(counts) - counts, counts)
    return face, np.repeat(starts, counts) + step
