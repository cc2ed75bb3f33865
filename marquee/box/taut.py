"""Lines pulled taut like rubber bands around the land, their junctions free to move."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.ground import Floats, Ground
from marquee.box.network import Line, Network

# Lines are valid after every pass; thousands of them, as in noise, are left less than taut.
_MOST_PASSES, _PASSES_IF_MANY, _MANY_LINES = 400, 30, 1500
# Triangles smaller than this hold nothing [mm²].
_NOTHING_MM2 = 1e-9
# Places nearer to each other than this are one [mm].
_NO_SPAN_MM = 1e-12


class Shores:
    """Corners of land, found by place."""

    def __init__(self, ground: Ground) -> None:
        import shapely

        self.xy_mm, self.zone = ground.shore_mm, ground.shore_zone
        self.tree = shapely.STRtree(np.asarray(shapely.points(self.xy_mm)))

    def inside(self, triangles: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return pairs of triangle (of (n, 3, 2) mm) and corner for corners within or on each."""
        import shapely

        shapes = shapely.polygons(triangles)
        pairs = self.tree.query(shapes, predicate="intersects")
        return np.asarray(pairs[0], np.intp), np.asarray(pairs[1], np.intp)


def pull_taut(network: Network, shores: Shores) -> None:
    """Shorten every line between its nodes as far as the land lets it.

    A vertex is dropped where the triangle with its neighbours holds no corner of land that the line has to
    pass on that side, else replaced by the hull of the corners in it; what remains is the shortest path with
    the same land on either side.
    """
    live = [(line, 0) for line in network.lines]
    for turn in range(_MOST_PASSES if len(live) <= _MANY_LINES else _PASSES_IF_MANY):
        jobs: list[tuple[Line, NDArray[np.intp]]] = []
        still: list[tuple[Line, int]] = []
        for line, idle in live:
            chosen = _chosen(line, turn % 2)
            if len(chosen):
                jobs.append((line, chosen))
                still.append((line, 0))
            elif idle == 0:  # its vertices of the other parity may still be active
                still.append((line, 1))
        live = still
        if not live:
            return
        if jobs:
            _one_pass(jobs, shores)


def _chosen(line: Line, parity: int) -> NDArray[np.intp]:
    """Return active inner vertices of one parity, no two of them neighbours."""
    n = len(line.xy_mm)
    if line.closed and n < 3:
        return np.zeros(0, np.intp)
    ids = np.flatnonzero(line.active)
    if not line.closed:
        ids = ids[(ids > 0) & (ids < n - 1)]
    ids = ids[ids % 2 == parity]
    if line.closed and n % 2 == 1 and len(ids) and ids[0] == 0 and ids[-1] == n - 1:
        ids = ids[:-1]
    return np.asarray(ids, np.intp)


def _one_pass(jobs: list[tuple[Line, NDArray[np.intp]]], shores: Shores) -> None:
    triangles, left_turn, foe = [], [], []
    for line, ids in jobs:
        n = len(line.xy_mm)
        corners = np.stack(
            [line.xy_mm[(ids - 1) % n], line.xy_mm[ids], line.xy_mm[(ids + 1) % n]], axis=1
        )
        turn = _cross(corners)
        triangles.append(corners)
        left_turn.append(turn)
        # Land on the outer side of the bend does not hold the line.
        foe.append(np.where(turn > 0, line.zones[1], line.zones[0]))
    tri, turn, outer = np.concatenate(triangles), np.concatenate(left_turn), np.concatenate(foe)
    flat = np.abs(turn) <= _NOTHING_MM2
    which, corner = shores.inside(tri[~flat])
    which = np.flatnonzero(~flat)[which]
    held = shores.zone[corner] != outer[which]
    points, counts = _chains(tri, which[held], shores.xy_mm[corner[held]])
    ends = np.cumsum(counts)
    only = np.flatnonzero(counts == 1)
    fixed = np.zeros(len(tri), bool)
    fixed[only] = np.abs(points[ends[only] - 1] - tri[only, 1]).max(axis=1) < 1e-9
    offset = 0
    for line, ids in jobs:
        own = slice(offset, offset + len(ids))
        offset = own.stop
        line.active[ids[fixed[own]]] = False
        changed = np.flatnonzero(~fixed[own])
        if len(changed):
            chosen = np.repeat(~fixed[own], counts[own])
            first = int(ends[own.start] - counts[own.start])
            chain = points[first : first + len(chosen)][chosen]
            _apply(line, ids[changed], counts[own][changed], chain)


def _chains(
    triangles: Floats, which: NDArray[np.intp], points: Floats
) -> tuple[Floats, NDArray[np.intp]]:
    """Return the points that take the place of each triangle's middle corner, triangle by triangle, and how many.

    `points` (n, 2) lie in the triangles `which` (n,).
    """
    a, b, c = (triangles[which, k] for k in range(3))
    along = c - a
    span = np.hypot(along[:, 0], along[:, 1])
    folded = span < _NO_SPAN_MM
    e = along / np.where(folded, 1.0, span)[:, None]
    normal = np.stack([-e[:, 1], e[:, 0]], axis=1)
    side = np.sign(((b - a) * normal).sum(axis=1))
    above = ((points - a) * normal).sum(axis=1) * np.where(side < 0, -1, 1) > 1e-9
    apart = np.minimum(np.abs(points - a).max(axis=1), np.abs(points - c).max(axis=1)) > 1e-9
    kept = folded | (above & apart)
    which, points = which[kept], points[kept]
    order = np.argsort(which, kind="stable")
    which, points = which[order], points[order]
    counts = np.bincount(which, minlength=len(triangles))
    starts = np.cumsum(counts) - counts
    many = np.flatnonzero((counts > 1) | _folded(triangles, counts))
    if not len(many):
        return points, counts
    left = np.isin(which, many, invert=True)
    chains = [
        _hull_chain(triangles[t], points[starts[t] : starts[t] + counts[t]]) for t in many.tolist()
    ]
    counts[many] = [len(chain) for chain in chains]
    which = np.concatenate([which[left], np.repeat(many, counts[many])])
    order = np.argsort(which, kind="stable")
    return np.concatenate([points[left], *chains])[order], counts


def _folded(triangles: Floats, counts: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Return which triangles with points have their first corner on the last."""
    along = triangles[:, 2] - triangles[:, 0]
    return np.asarray((np.hypot(along[:, 0], along[:, 1]) < _NO_SPAN_MM) & (counts > 0), np.bool_)


def _cross(corners: Floats) -> Floats:
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 1]
    return np.asarray(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])


def _hull_chain(triangle: Floats, points: Floats) -> Floats:
    """Return the corners of the shortest path from a to c that keeps b's side of the points."""
    a, b, c = triangle
    along = c - a
    span = float(np.hypot(*along))
    if span < _NO_SPAN_MM:
        far = points[np.argmax(np.abs(points - a).sum(axis=1))]
        return far[None] if np.abs(far - a).max() > 1e-9 else np.zeros((0, 2))
    e = along / span
    normal = np.array([-e[1], e[0]])
    if (b - a) @ normal < 0:
        normal = -normal
    u, v = (points - a) @ e, (points - a) @ normal
    keep = (
        (v > 1e-9)
        & (np.abs(points - a).max(axis=1) > 1e-9)
        & (np.abs(points - c).max(axis=1) > 1e-9)
    )
    if not keep.any():
        return np.zeros((0, 2))
    u, v, points = u[keep], v[keep], points[keep]
    order = np.lexsort((v, u))
    chain: list[tuple[float, float, int]] = [(0.0, 0.0, -1)]
    for k in [*order.tolist(), -2]:
        pu, pv = (span, 0.0) if k == -2 else (float(u[k]), float(v[k]))
        while len(chain) > 1:
            (u1, v1, _), (u2, v2, _) = chain[-2], chain[-1]
            if (u2 - u1) * (pv - v1) - (v2 - v1) * (pu - u1) >= -1e-12:
                chain.pop()
            else:
                break
        chain.append((pu, pv, k))
    return points[[k for _, _, k in chain if k >= 0]]


def _apply(
    line: Line, changed: NDArray[np.intp], counts: NDArray[np.intp], points: Floats
) -> None:
    """Put `counts` of the points in the place of each changed vertex, and let the neighbours move."""
    n = len(line.xy_mm)
    line.active[(changed - 1) % n] = line.active[(changed + 1) % n] = True
    times = np.ones(n, np.intp)
    times[changed] = counts
    put = np.zeros(n, bool)
    put[changed] = True
    put = np.repeat(put, times)
    line.xy_mm = np.repeat(line.xy_mm, times, axis=0)
    line.xy_mm[put] = points
    line.active = np.repeat(line.active, times)
    line.active[put] = True
