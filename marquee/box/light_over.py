"""What the diffuser sees of the next region over a barrier that stops short of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_elements import Elements, Ints
from marquee.box.light_regions import Plan2D, Star, stars
from marquee.box.light_scene import Floats, Scene
from marquee.box.light_slots import Slots
from marquee.box.light_walls import Walls, wall_factors

if TYPE_CHECKING:
    from scipy.sparse import csr_array

# Farther than this an element is not asked what it sees over a barrier: the opening fills under 0.1 % of its view.
_REACH_DEPTHS = 8.0
# An opening is looked through in pieces this wide, so that near elements see different ways through each.
_PIECES_PER_DEPTH = 6.0
# Places on the floor at which a view that reaches it is sampled.
_FLOOR_PLACES = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Over:
    """Sparse factors, a row per receiver: to all wall patches, to all floor patches, to the slots' far ends."""

    walls: csr_array
    floor: csr_array
    ends: csr_array

    def lux(self, up: Any, floor: Any, top: Any) -> NDArray[np.float32]:  # noqa: ANN401 -- sparse products
        """Return (receivers, channels) what comes over barriers, less the barrier tops hidden by the far ends.

        Parameters
        ----------
        up, floor, top : (wall patches, channels), (floor patches, channels), (slots, channels)
            Radiosities: walls as the diffuser sees them, floor, barrier tops.
        """
        return np.asarray(self.walls @ up + self.floor @ floor - self.ends @ top, np.float32)

    def averaged(self, shares: csr_array) -> Over:
        """Return the same for means over receivers, `shares` (means, receivers)."""
        return Over(walls=shares @ self.walls, floor=shares @ self.floor, ends=shares @ self.ends)


class _Entries:
    """Triplets of a sparse matrix, gathered piece by piece."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self.shape = shape
        self.rows: list[Ints] = [np.zeros(0, np.intp)]
        self.columns: list[Ints] = [np.zeros(0, np.intp)]
        self.values: list[NDArray[np.float32]] = [np.zeros(0, np.float32)]

    def add(self, rows: Ints, columns: Ints, values: Floats) -> None:
        kept = values > 1e-9
        self.rows.append(rows[kept])
        self.columns.append(columns[kept])
        self.values.append(values[kept].astype(np.float32))

    def matrix(self) -> csr_array:
        from scipy.sparse import csr_array

        where = (np.concatenate(self.rows), np.concatenate(self.columns))
        return csr_array((np.concatenate(self.values), where), shape=self.shape)


def see_over(scene: Scene, plan: Plan2D, elements: Elements, walls: Walls, slots: Slots) -> Over:
    """Return what every element sees over barriers.

    Through each piece of a slot's far end an element sees slopes from level to gap / distance; the wall met in
    that direction takes those that meet it above the floor, the floor the steeper ones. The piece's exact form
    factor is shared out by ∫ m dm / (1 + m²)², m the slope, as a level receiver weighs them.
    """
    n = len(elements.patch)
    layers = walls.level_mm.shape[1] - 1
    on_walls = _Entries((n, len(walls.length_mm) * layers))
    on_floor = _Entries((n, len(elements.patch_region)))
    on_ends = _Entries((n, len(slots.here)))
    by_region = [np.flatnonzero(walls.region == r) for r in range(len(plan.regions))]
    members = [np.flatnonzero(elements.region == r) for r in range(len(plan.regions))]
    before = _before_openings(plan, walls, slots)
    pieces = [_pieces(scene, walls, slots, k) for k in range(len(slots.here))]
    beyond = _beyond_openings(walls, slots, pieces, by_region)
    nearest = _nearest_patches(elements, pieces)
    for k, (ends, middle) in enumerate(pieces):
        own = members[int(walls.region[slots.here[k]])]
        asked = _askers(scene, elements, walls, int(slots.here[k]), own, before[k])
        there = int(walls.region[slots.there[k]])
        height = scene.depth_mm - ends.level_mm[:, -2:]
        factors = wall_factors(elements.point[asked], ends, height)[..., 0].astype(float)
        on_ends.add(asked, np.full(len(asked), k), factors.sum(axis=1))
        for piece, at in enumerate(middle):
            opening = _Opening(
                at=at,
                view=next(beyond[there]),
                columns=by_region[there],
                gap_mm=float(height[piece, 0]),
                patch=next(nearest),
            )
            seen_by = (asked, factors[:, piece])
            _look(scene, elements, walls, seen_by, opening, (on_walls, on_floor))
    return Over(walls=on_walls.matrix(), floor=on_floor.matrix(), ends=on_ends.matrix())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Opening:
    """One piece of an opening's far end: its middle, what is seen from it of the `columns` beyond, the patch next to it."""

    at: Floats
    view: Star
    columns: Ints
    gap_mm: float
    patch: int


def _before_openings(plan: Plan2D, walls: Walls, slots: Slots) -> list[Star | None]:
    """Return what each opening's near end sees of its region; None where that is all of it."""
    found: list[Star | None] = [None] * len(slots.here)
    home = walls.region[slots.here]
    for region in np.unique(home).tolist():
        if plan.convex[region]:
            continue
        own = np.flatnonzero(home == region)
        column = slots.here[own]
        faces = plan.edges.barrier & (plan.edges.region == region)
        a, b = plan.edges.a[faces], plan.edges.b[faces]
        origins = walls.middle[column] + 0.01 * walls.normal[column]
        for k, view in zip(own.tolist(), stars(origins, a, b, np.ones(len(a))), strict=True):
            found[k] = view
    return found


def _beyond_openings(
    walls: Walls, slots: Slots, pieces: list[tuple[Walls, Floats]], by_region: list[Ints]
) -> dict[int, Iterator[Star]]:
    """Return by region what the pieces that lead there see of it, in their order."""
    there = walls.region[slots.there]
    found = {}
    for region in np.unique(there).tolist():
        own = np.flatnonzero(there == region).tolist()
        origins = [pieces[k][1] - 0.01 * walls.normal[slots.here[k]] for k in own]
        columns = by_region[region]
        share = np.ones(len(columns))
        found[region] = stars(np.concatenate(origins), walls.a[columns], walls.b[columns], share)
    return found


def _nearest_patches(elements: Elements, pieces: list[tuple[Walls, Floats]]) -> Iterator[int]:
    """Return an iterator over the patch nearest to each piece, in their order."""
    from scipy.spatial import cKDTree

    if not pieces:
        return iter(())
    middle = np.concatenate([piece[1] for piece in pieces])
    found = cKDTree(elements.patch_centre).query(middle)[1]
    return iter(np.asarray(found, np.intp).tolist())


def _askers(
    scene: Scene, elements: Elements, walls: Walls, column: int, own: Ints, view: Star | None
) -> Ints:
    """Return those of a region's elements that are near an opening and see it."""
    near, normal = walls.middle[column], walls.normal[column]
    x, y = elements.point[own, 0] - near[0], elements.point[own, 1] - near[1]
    within = x * x + y * y < (_REACH_DEPTHS * scene.depth_mm) ** 2
    before = x * normal[0] + y * normal[1] > 0
    asked = np.asarray(own[before & within], np.intp)
    return asked if view is None else np.asarray(asked[view.sees(elements.point[asked])], np.intp)


def _pieces(scene: Scene, walls: Walls, slots: Slots, k: int) -> tuple[Walls, Floats]:
    """Return opening k's far end in pieces, and the middle of each."""
    column = slots.here[k]
    length = float(walls.length_mm[column])
    n = max(1, int(np.ceil(length * _PIECES_PER_DEPTH / scene.depth_mm)))
    one = walls.part(np.full(n, column))
    shift = -one.normal * slots.length_mm[k]
    a = one.a + shift + one.along * (np.arange(n) * length / n)[:, None]
    b = a + one.along * (length / n)
    pieces = Walls(
        a=a,
        b=b,
        length_mm=one.length_mm / n,
        along=one.along,
        normal=one.normal,
        region=one.region,
        reflectance=one.reflectance,
        level_mm=one.level_mm,
        opening=one.opening,
    )
    return pieces, (a + b) / 2


def _look(
    scene: Scene,
    elements: Elements,
    walls: Walls,
    askers: tuple[Ints, Floats],
    opening: _Opening,
    entries: tuple[_Entries, _Entries],
) -> None:
    """Share one piece's factors out over the walls and the floor seen through it."""
    asked, factor = askers
    points = elements.point[asked]
    way = opening.at - points
    distance = np.linalg.norm(way, axis=1)
    which, lengths = opening.view.meets(way)
    met = np.isfinite(lengths)
    asked, factor, distance = asked[met], factor[met], distance[met]
    points, way = points[met], way[met]
    column, reach = opening.columns[which[met]], distance * (1 + lengths[met])
    steepest = opening.gap_mm / distance
    total = np.maximum(_weight(steepest), 1e-12)
    # Slopes that end at the layers' bounds, from the floor's edge up to level.
    slope = (scene.depth_mm - walls.level_mm[column]) / reach[:, None]
    weight = _weight(np.minimum(slope, steepest[:, None])) / total[:, None]
    layers = slope.shape[1] - 1
    patch = column[:, None] * layers + np.arange(layers)
    share = factor[:, None] * (weight[:, :-1] - weight[:, 1:])
    entries[0].add(np.repeat(asked, layers), patch.ravel(), share.ravel())
    rest = factor * (1 - weight[:, 0])
    low = np.minimum(slope[:, 0], steepest)
    for place in range(_FLOOR_PLACES):
        m = low + (steepest - low) * (place + 0.5) / _FLOOR_PLACES
        spot = points + way * (scene.depth_mm / np.maximum(m, 1e-9) / distance)[:, None]
        entries[1].add(asked, _patch_at(elements, spot, opening.patch), rest / _FLOOR_PLACES)


def _weight(slope: Floats) -> Floats:
    return np.asarray(slope**2 / (1 + slope**2), float)


def _patch_at(elements: Elements, spots: Floats, fallback: int) -> Ints:
    """Return the patch under each spot; under a barrier, `fallback`."""
    grid = elements.grid
    ix = np.clip(np.rint((spots[:, 0] - grid.x0_mm) / grid.dx_mm), 0, grid.nx - 1).astype(np.intp)
    iy = np.clip(np.rint((spots[:, 1] - grid.y0_mm) / grid.dy_mm), 0, grid.ny - 1).astype(np.intp)
    patch = elements.patch[iy * grid.nx + ix]
    return np.where(patch >= 0, patch, fallback)
