"""Walls to runs: which walls are one piece of sheet through a junction, and which end there."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from marquee.values import Box, Wall

if TYPE_CHECKING:
    import shapely
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

# Places nearer than this are one [mm].
SAME_MM = 0.02
# Paths are followed to within this, so that curves take few score lines [mm].
FOLLOW_MM = 0.15
# Bends nearer than this are folded as one [mm], unless that would be a sharp corner [degrees].
_SHORT_MM, _MOST_JOINED_DEGREES = 1.5, 55.0
# The path leaves the wall's by no more than this for it [mm].
_STRAY_MM = 0.25
# Two runs that cross nearer to square than this are halved into each other, if neither folds there by more than
# `STRAIGHT_DEGREES`; below, the slot would be twice the sheet's thickness (common practice, no source).
HALVING_DEGREES, STRAIGHT_DEGREES = 60.0, 8.0


@dataclass(slots=True, eq=False)
class Piece:
    """A stretch of one wall between two nodes (-1: a ring without any)."""

    wall: int
    xy_mm: Floats
    ends: tuple[int, int]

    def leaving(self, at_end: bool) -> Floats:
        """Return the unit direction in which the piece leaves the node at one of its ends."""
        a, b = (self.xy_mm[-1], self.xy_mm[-2]) if at_end else (self.xy_mm[0], self.xy_mm[1])
        return np.asarray((b - a) / np.hypot(*(b - a)))


@dataclass(slots=True, eq=False)
class Run:
    """Pieces that are one line of sheet. `nodes` are (place along it in mm, node), its ends included."""

    xy_mm: Floats
    walls: tuple[int, ...]
    nodes: list[tuple[float, int]]
    closed: bool = False

    @property
    def stations_mm(self) -> Floats:
        """Place of each vertex along the run [mm]."""
        steps = np.hypot(*np.diff(self.xy_mm, axis=0).T)
        return np.concatenate([[0.0], np.cumsum(steps)])

    @property
    def length_mm(self) -> float:
        """Length of the run [mm]."""
        return float(self.stations_mm[-1])


@dataclass(slots=True, eq=False)
class Junctions:
    """Places where pieces end: coordinates, whether at the rim, and the pairs that run through."""

    xy_mm: list[Floats] = field(default_factory=list)
    on_rim: list[bool] = field(default_factory=list)

    def number(self, place: Floats, box: Box) -> int:
        """Return the node at a place, made where there is none."""
        for node, known in enumerate(self.xy_mm):
            if np.hypot(*(known - place)) < SAME_MM:
                return node
        x, y = float(place[0]), float(place[1])
        reach = min(x, y, box.width_mm - x, box.height_mm - y)
        self.xy_mm.append(np.asarray(place, float))
        self.on_rim.append(reach < SAME_MM)
        return len(self.xy_mm) - 1


def find_runs(box: Box, most_fold_degrees: float) -> tuple[list[Run], Junctions]:
    """Return the runs, the one with the lowest wall first, and the junctions they meet at.

    At a junction the two straightest pieces go on as one run if they fold by no more than `most_fold_degrees`;
    two more go on if they cross those near to square; all others end.
    """
    junctions = Junctions()
    pieces = _pieces(box, junctions)
    partner = _pair(pieces, junctions, most_fold_degrees)
    runs: list[Run] = []
    used: set[int] = set()
    loose = [k for k, p in enumerate(pieces) if p.ends[0] < 0 or _is_loose(k, partner)]
    for first in [*loose, *range(len(pieces))]:
        if first not in used:
            runs.append(_follow(first, pieces, partner, used))  # noqa: PERF401 -- `used` grows
    runs.sort(key=lambda run: (min(run.walls), run.walls, *run.xy_mm[0].round(6).tolist()))
    return runs, junctions


def _is_loose(piece: int, partner: dict[tuple[int, bool], tuple[int, bool]]) -> bool:
    return (piece, False) not in partner or (piece, True) not in partner


def _pieces(box: Box, junctions: Junctions) -> list[Piece]:
    """Return the walls cut where others end on or cross them."""
    walls = [w for w in box.walls if len(w.path_mm) > 1 and w.length_mm > SAME_MM]
    cuts = _cuts(walls)
    pieces = []
    for wall, stations in zip(walls, cuts, strict=True):
        xy = _distinct(np.array(wall.path_mm, float))
        closed = bool(np.hypot(*(xy[0] - xy[-1])) < SAME_MM)
        if closed and not stations:
            pieces.append(Piece(wall.id, _thinned(xy), (-1, -1)))
            continue
        for part in _divided(xy, stations, closed=closed):
            ends = (junctions.number(part[0], box), junctions.number(part[-1], box))
            pieces.append(Piece(wall.id, _thinned(part), ends))
    return pieces


def _cuts(walls: Sequence[Wall]) -> list[list[float]]:
    import shapely

    lines = [shapely.LineString(wall.path_mm) for wall in walls]
    cuts: list[list[float]] = [[] for _ in walls]
    if not lines:
        return cuts
    near, far = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=SAME_MM / 2)
    for i, j in zip(near.tolist(), far.tolist(), strict=True):
        if i == j:
            continue
        ends = [shapely.Point(lines[j].coords[k]) for k in (0, -1)]
        places = [p for p in ends if shapely.distance(p, lines[i]) < SAME_MM / 2]
        places += _points(shapely.intersection(lines[i], lines[j]))
        ring = lines[i].coords[0] == lines[i].coords[-1]
        for place in places:
            station = float(shapely.line_locate_point(lines[i], place))
            inside = SAME_MM < station < lines[i].length - SAME_MM
            if (inside or ring) and all(abs(station - s) > SAME_MM for s in cuts[i]):
                cuts[i].append(station)
    return [sorted(stations) for stations in cuts]


def _points(shape: BaseGeometry) -> list[shapely.Point]:
    import shapely

    return [p for p in shapely.get_parts(shape) if isinstance(p, shapely.Point)]


def _divided(xy: Floats, stations: list[float], *, closed: bool) -> list[Floats]:
    steps = np.hypot(*np.diff(xy, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(steps)])
    edges = [0.0, *stations, float(at[-1])]
    parts = [stretch(xy, at, a, b) for a, b in itertools.pairwise(edges) if b - a > 1e-9]
    if closed and len(parts) > 1 and stations[0] > SAME_MM:
        # A ring starts at its first junction, not at its first vertex.
        joined = np.vstack([parts[-1], parts[0][1:]])
        parts = [*parts[1:-1], joined]
    return parts


def stretch(xy: Floats, at: Floats, start_mm: float, end_mm: float) -> Floats:
    """Return the part of a path between two places along it; `at` are its vertices' places."""
    inner = (at > start_mm + 1e-9) & (at < end_mm - 1e-9)
    ends = [[np.interp(s, at, xy[:, k]) for k in (0, 1)] for s in (start_mm, end_mm)]
    return np.vstack([ends[0], xy[inner], ends[1]])


def _distinct(xy: Floats) -> Floats:
    step = np.diff(xy, axis=0)
    keep = np.concatenate([[True], np.hypot(step[:, 0], step[:, 1]) > 1e-9])
    return np.asarray(xy[keep], np.float64)


def _thinned(xy: Floats) -> Floats:
    import shapely

    if len(xy) < 3:
        return xy
    closed = bool(np.hypot(*(xy[0] - xy[-1])) < SAME_MM)
    line = shapely.simplify(shapely.LineString(xy), FOLLOW_MM)
    thin: Floats = shapely.get_coordinates(line)
    # A ring too small to thin keeps its shape.
    return xy if closed and len(thin) < 4 else _without_short_steps(thin)


def _without_short_steps(xy: Floats) -> Floats:
    """Return the path with two bends close together made one where their sides meet."""
    k = 1
    while k < len(xy) - 2:
        a, b, c, d = xy[k - 1 : k + 3]
        corner = _meeting(a, b, c, d) if np.hypot(*(c - b)) < _SHORT_MM else None
        if corner is None:
            k += 1
        else:
            xy = np.vstack([xy[:k], corner, xy[k + 2 :]])
            k = max(k - 1, 1)
    return xy


def _meeting(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats | None:
    """Return where ab goes on to meet dc, None where that is not close by."""
    into, out = b - a, d - c
    cross = float(into[0] * out[1] - into[1] * out[0])
    if abs(cross) < 1e-9:
        return None
    gap = c - b
    along = float(gap[0] * out[1] - gap[1] * out[0]) / cross
    back = float(gap[0] * into[1] - gap[1] * into[0]) / cross
    corner = b + along * into
    near = np.hypot(*(corner - (b + c) / 2)) < _STRAY_MM
    turn = np.degrees(np.arctan2(abs(cross), float(into @ out)))
    gentle = turn <= _MOST_JOINED_DEGREES
    return corner if near and gentle and along >= 0 and back <= 0 else None


def _pair(
    pieces: list[Piece], junctions: Junctions, most_fold_degrees: float
) -> dict[tuple[int, bool], tuple[int, bool]]:
    at_node: dict[int, list[tuple[int, bool]]] = {}
    for k, piece in enumerate(pieces):
        for end in (False, True):
            if piece.ends[end] >= 0:
                at_node.setdefault(piece.ends[end], []).append((k, end))
    partner: dict[tuple[int, bool], tuple[int, bool]] = {}
    for node in sorted(at_node):
        if not junctions.on_rim[node]:
            _pair_here(at_node[node], pieces, most_fold_degrees, partner)
    return partner


def _pair_here(
    ends: list[tuple[int, bool]],
    pieces: list[Piece],
    most_fold_degrees: float,
    partner: dict[tuple[int, bool], tuple[int, bool]],
) -> None:
    ways = {end: pieces[end[0]].leaving(end[1]) for end in ends}
    options = []
    for i, a in enumerate(ends):
        for b in ends[i + 1 :]:
            turn = float(np.degrees(np.arccos(np.clip(-ways[a] @ ways[b], -1, 1))))
            options.append((round(turn, 3), a, b))
    through: list[Floats] = []
    for turn, a, b in sorted(options):
        limit = STRAIGHT_DEGREES if through else most_fold_degrees
        if turn > limit or a in partner or b in partner or len(through) == 2:
            continue
        way = ways[a] - ways[b]
        way = way / np.hypot(*way)
        if through and not _crosses_square(way, through[0]):
            continue
        through.append(way)
        partner[a], partner[b] = b, a


def _crosses_square(a: Floats, b: Floats) -> bool:
    return bool(abs(a @ b) <= np.cos(np.radians(HALVING_DEGREES)))


def _follow(
    first: int,
    pieces: list[Piece],
    partner: dict[tuple[int, bool], tuple[int, bool]],
    used: set[int],
) -> Run:
    """Return the run that starts with a piece, from its loose end where it has one."""
    backwards = (first, False) in partner and (first, True) not in partner
    here: tuple[int, bool] | None = (first, not backwards)
    path: list[Floats] = []
    walls: list[int] = []
    nodes: list[tuple[float, int]] = []
    length, last = 0.0, -1
    while here is not None:
        k, forward = here
        piece = pieces[k]
        used.add(k)
        xy = piece.xy_mm if forward else piece.xy_mm[::-1]
        if piece.ends[0] >= 0:
            nodes.append((length, piece.ends[not forward]))
        path.append(xy if not path else xy[1:])
        walls += [piece.wall] if piece.wall not in walls else []
        length += float(np.hypot(*np.diff(xy, axis=0).T).sum())
        last = piece.ends[forward]
        met = partner.get((k, forward))
        here = None if met is None or met[0] in used else (met[0], not met[1])
    closed = last < 0 or (first, backwards) in partner
    if not closed:
        nodes.append((length, last))
    return Run(np.vstack(path), tuple(walls), nodes, closed=closed)


def opened_at(run: Run, seam_mm: float) -> Run:
    """Return a closed run that starts and ends at another place along it."""
    at = run.stations_mm
    tail = stretch(run.xy_mm, at, seam_mm, run.length_mm)
    head = stretch(run.xy_mm, at, 0.0, seam_mm)
    nodes = sorted(((place - seam_mm) % run.length_mm, node) for place, node in run.nodes)
    return Run(np.vstack([tail, head[1:]]), run.walls, nodes, closed=True)
