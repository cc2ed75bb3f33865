"""The walls as a network: lines between nodes, with the zone on either side of each line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from marquee.box.ground import Floats, Ground, Labels

if TYPE_CHECKING:
    import shapely


@dataclass(slots=True, eq=False)
class Line:
    """One wall's centre line.

    `xy_mm` (n, 2) runs from node `start` to node `end`, both -1 on a closed line, whose first point is not
    repeated. `zones` are those on its left and right, left being where (-dy, dx) points for direction (dx, dy).
    """

    xy_mm: Floats
    zones: tuple[int, int]
    start: int
    end: int
    active: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, bool))

    @property
    def closed(self) -> bool:
        """Whether the line is a ring."""
        return self.start < 0

    @property
    def length_mm(self) -> float:
        """Length of the line [mm]."""
        return float(np.hypot(*np.diff(self.path_mm, axis=0).T).sum())

    @property
    def path_mm(self) -> Floats:
        """The points with a ring's first repeated at its end."""
        return np.vstack([self.xy_mm, self.xy_mm[:1]]) if self.closed else self.xy_mm


@dataclass(slots=True, eq=False)
class Network:
    """All lines and the places of their nodes; `on_rim` says which nodes slide along the box's rim."""

    node_mm: Floats
    on_rim: NDArray[np.bool_]
    lines: list[Line]
    width_mm: float
    height_mm: float

    @property
    def total_mm(self) -> float:
        """Length of all lines together [mm]."""
        return sum(line.length_mm for line in self.lines)

    def copy(self) -> Network:
        """Return a network whose lines and nodes can be moved without moving these."""
        lines = [
            Line(li.xy_mm.copy(), li.zones, li.start, li.end, li.active.copy())
            for li in self.lines
        ]
        return Network(
            self.node_mm.copy(), self.on_rim.copy(), lines, self.width_mm, self.height_mm
        )


def network_of_labels(labels: Labels, ground: Ground) -> Network:
    """Return the borders between differently labelled pixels as a network."""
    import shapely

    down, across = (
        np.nonzero(labels[1:] != labels[:-1]),
        np.nonzero(labels[:, 1:] != labels[:, :-1]),
    )
    rows = np.stack([down[1], down[0] + 1, down[1] + 1, down[0] + 1], axis=1)
    columns = np.stack([across[1] + 1, across[0], across[1] + 1, across[0] + 1], axis=1)
    ends = np.concatenate([rows, columns]).reshape(-1, 2, 2)
    if not len(ends):
        return _network([], ground, lambda _: (0, 0))
    merged = shapely.line_merge(shapely.multilinestrings(np.asarray(shapely.linestrings(ends))))

    def sides(path: Floats) -> tuple[int, int]:
        (x0, y0), (x1, y1) = path[0], path[1]
        mid_x, mid_y, dx, dy = (x0 + x1) / 2, (y0 + y1) / 2, x1 - x0, y1 - y0
        size = abs(dx) + abs(dy)
        nx, ny = -dy / size / 2, dx / size / 2
        left = labels[int(mid_y + ny), int(mid_x + nx)]
        right = labels[int(mid_y - ny), int(mid_x - nx)]
        return int(left), int(right)

    paths = [shapely.get_coordinates(part) for part in shapely.get_parts(merged)]
    return _network(paths, ground, sides)


def _network(
    paths: list[Floats],
    ground: Ground,
    sides: Callable[[Floats], tuple[int, int]],
    scale: float | None = None,
) -> Network:
    """Return the network of paths given in grid pixels (or mm with scale 1)."""
    step = ground.step_mm if scale is None else scale
    width, height = ground.width_mm, ground.height_mm
    lines: list[Line] = []
    number: dict[tuple[float, float], int] = {}
    places: list[tuple[float, float]] = []
    for path in paths:
        zones = sides(path)
        xy = np.clip(path * step, 0, (width, height))
        if tuple(path[0]) == tuple(path[-1]) and not _at_rim(xy[0], width, height):
            lines.append(Line(xy[:-1], zones, -1, -1))
            continue
        ids = []
        for raw, place in ((path[0], xy[0]), (path[-1], xy[-1])):
            key = (float(raw[0]), float(raw[1]))
            if key not in number:
                number[key] = len(places)
                places.append((float(place[0]), float(place[1])))
            ids.append(number[key])
        lines.append(Line(xy, zones, ids[0], ids[1]))
    nodes = np.array(places, float).reshape(-1, 2)
    rim = np.array([_at_rim(p, width, height) for p in nodes], bool)
    for line in lines:
        line.active = np.ones(len(line.xy_mm), bool)
    network = Network(nodes, rim, lines, width, height)
    _open_rings(network)
    return network


def _open_rings(network: Network) -> None:
    """Make rings that pass through a junction of other lines start and end there (nothing to do for others)."""
    known = {(float(x), float(y)) for x, y in network.node_mm}
    for line in network.lines:
        if not line.closed:
            continue
        hits = [k for k, p in enumerate(line.xy_mm.tolist()) if tuple(p) in known]
        if hits:
            node = int(np.flatnonzero((network.node_mm == line.xy_mm[hits[0]]).all(axis=1))[0])
            xy = np.roll(line.xy_mm, -hits[0], axis=0)
            line.xy_mm = np.vstack([xy, xy[:1]])
            line.start = line.end = node
            line.active = np.ones(len(line.xy_mm), bool)


def _at_rim(place: Floats, width_mm: float, height_mm: float) -> bool:
    x, y = float(place[0]), float(place[1])
    return x <= 1e-9 or y <= 1e-9 or x >= width_mm - 1e-9 or y >= height_mm - 1e-9


def rim(ground: Ground) -> shapely.LinearRing:
    """Return the rim of the box."""
    import shapely

    w, h = ground.width_mm, ground.height_mm
    return shapely.LinearRing([(0, 0), (w, 0), (w, h), (0, h)])


def faces_of(network: Network, ground: Ground) -> list[shapely.Polygon]:
    """Return the regions the lines divide the face into."""
    import shapely

    lines = [shapely.LineString(line.path_mm) for line in network.lines]
    noded = shapely.unary_union([*lines, rim(ground)])
    found = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    return [f for f in found if f.area > 1e-9]


def repaired(network: Network, ground: Ground) -> Network:
    """Return the network with crossings made junctions, cells without land given away, needless walls dropped."""
    import shapely

    lines = [shapely.LineString(line.path_mm) for line in network.lines]
    strings = list(shapely.get_parts(shapely.unary_union([*lines, rim(ground)])))
    faces = [f for f in shapely.get_parts(shapely.polygonize(strings)) if f.area > 1e-9]
    owner = np.array([*_given_to_neighbours(faces, owners_of(faces, ground)), -1])
    tree = shapely.STRtree(faces)
    beside = owner[_faces_beside([shapely.get_coordinates(s) for s in strings], tree)]
    parting = (beside[:, 0] != beside[:, 1]) & (beside >= 0).all(axis=1)
    kept = [s for s, parts in zip(strings, parting, strict=True) if parts]
    if not kept:
        return _network([], ground, lambda _: (0, 0))
    merged = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(kept)))
    paths = [_snapped(shapely.get_coordinates(part), ground) for part in merged]
    zones = owner[_faces_beside(paths, tree)]
    at = {id(path): (int(z[0]), int(z[1])) for path, z in zip(paths, zones, strict=True)}
    return _network(paths, ground, lambda path: at[id(path)], scale=1.0)


def _faces_beside(paths: list[Floats], tree: shapely.STRtree) -> NDArray[np.intp]:
    """Return (paths, 2) numbers of the faces left and right of each path's longest step, -1 for none."""
    import shapely

    places = np.empty((len(paths), 2, 2))
    for k, path in enumerate(paths):
        steps = np.diff(path, axis=0)
        lengths = np.hypot(*steps.T)
        longest = int(np.argmax(lengths))
        aside = np.array([-steps[longest, 1], steps[longest, 0]])
        aside *= min(1e-4, lengths[longest] / 4) / max(lengths[longest], 1e-12)
        middle = (path[longest] + path[longest + 1]) / 2
        places[k] = middle + aside, middle - aside
    face = np.full(2 * len(paths), -1, np.intp)
    points = shapely.points(places.reshape(-1, 2))
    which, found = tree.query(points, predicate="within")
    face[which] = found
    return face.reshape(-1, 2)


def _snapped(path: Floats, ground: Ground) -> Floats:
    """Return the path with ends that lie at the rim put exactly on it."""
    path = path.copy()
    for k in (0, -1):
        for axis, size in ((0, ground.width_mm), (1, ground.height_mm)):
            if path[k, axis] < 1e-5:
                path[k, axis] = 0.0
            elif path[k, axis] > size - 1e-5:
                path[k, axis] = size
    return path


def owners_of(faces: list[shapely.Polygon], ground: Ground) -> list[int]:
    """Return the zone whose apertures lie in each face, -1 where none do."""
    import shapely

    votes = np.zeros((len(faces), int(ground.aperture.max()) + 1), np.int64)
    # Faces are prepared, and asked of points in their boxes: the tree would ask with each point as it is.
    shapes = np.asarray(faces, np.object_)
    shapely.prepare(shapes)
    which, face = shapely.STRtree(shapes).query(ground.witnesses)
    inside = shapely.intersects(shapes[face], ground.witnesses[which])
    which, face = which[inside], face[inside]
    np.add.at(votes, (face, ground.witness_zone[which]), 1)
    best = votes.argmax(axis=1)
    return [int(z) if votes[k, z] else -1 for k, z in enumerate(best.tolist())]


def _given_to_neighbours(faces: list[shapely.Polygon], owner: list[int]) -> list[int]:
    """Return owners with faces of none given to the neighbour they share most border with."""
    import shapely

    tree = shapely.STRtree(faces)
    owner = list(owner)
    empty = [k for k, z in enumerate(owner) if z < 0]
    for _ in range(len(empty)):
        left = [k for k in empty if owner[k] < 0]
        if not left:
            break
        for k in left:
            shared: dict[int, float] = {}
            for other in sorted(tree.query(faces[k], "intersects").tolist()):
                if other != k and owner[other] >= 0:
                    common = shapely.intersection(
                        shapely.boundary(faces[k]), shapely.boundary(faces[other])
                    ).length
                    shared[owner[other]] = shared.get(owner[other], 0.0) + common
            if shared:
                owner[k] = max(sorted(shared), key=lambda z: shared[z])
    return owner
