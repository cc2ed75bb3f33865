"""One open region's exchange of diffuse light between floor, walls and diffuser, as form factors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_elements import Elements, Ints
from marquee.box.light_regions import Plan2D, stars
from marquee.box.light_scene import Floats, Scene
from marquee.box.light_walls import Walls, wall_factors, wall_to_wall

Single = NDArray[np.float32]
# Farther patches give an element under 2 % of its light from the floor: h² / (R² + h²) at R = 8 h.
REACH_DEPTHS = 8.0
# Up to here an element's sight is its own, farther that of its patch's middle: 6 % of the light of a floor comes from
# beyond, and patches of a third of a depth part it finely enough.
_NEAR_DEPTHS = 4.0
# Elements are handled in square tiles this wide, so that far patches drop out early.
_TILE_DEPTHS = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tile:
    """Some elements' factors: to the wall patches of `columns` and the floor `patches` within reach."""

    elements: Ints
    columns: Ints
    patches: Ints
    to_walls: Single
    to_floor: Single


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cell:
    """Form factors of one region; columns and patches are counted within it, wall patches column by column.

    Each matrix row belongs to the receiver: `diffuser_walls` (patches, wall patches) and so on. Wall rows to
    floor and diffuser follow by reciprocity. Rows close: what they see adds up to 1.
    """

    columns: Ints
    patches: Ints
    tiles: tuple[Tile, ...]
    wall_area: Single
    diffuser_walls: Single
    diffuser_floor: Single
    floor_walls: Single
    floor_diffuser: Single
    walls_diffuser: Single
    walls_floor: Single
    walls_walls: Single


def rows_of(cell: Cell, wanted: Ints) -> tuple[Single, Single]:
    """Return the factors of single elements: (wanted, wall patches) and (wanted, floor patches) of their cell."""
    layers = len(cell.wall_area) // max(len(cell.columns), 1)
    to_walls = np.zeros((len(wanted), len(cell.wall_area)), np.float32)
    to_floor = np.zeros((len(wanted), len(cell.patches)), np.float32)
    for tile in cell.tiles:
        place = {int(e): k for k, e in enumerate(tile.elements)}
        hit = np.flatnonzero(np.isin(wanted, tile.elements))
        rows = [place[int(e)] for e in wanted[hit]]
        to_walls[np.ix_(hit, _layer_index(tile.columns, layers))] = tile.to_walls[rows]
        to_floor[np.ix_(hit, tile.patches)] = tile.to_floor[rows]
    return to_walls, to_floor


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sights:
    """What is in plain sight within a region that is not convex, by full-height barriers."""

    element_column: NDArray[np.bool_]
    element_patch: NDArray[np.bool_]
    column_column: NDArray[np.bool_]


def cell_of(
    scene: Scene, elements: Elements, walls: Walls, region: int, sights: Sights | None
) -> Cell:
    """Return the exchange factors of one region; `sights` where it is not convex."""
    columns = np.flatnonzero(walls.region == region)
    patches = np.flatnonzero(elements.patch_region == region)
    own = np.flatnonzero(elements.region == region)
    wall = walls.part(columns)
    area = wall.area_mm2.ravel()
    n_patch, n_wall = len(patches), area.size
    diffuser_walls = np.zeros((n_patch, n_wall), np.float32)
    floor_walls = np.zeros((n_patch, n_wall), np.float32)
    diffuser_floor = np.zeros((n_patch, n_patch), np.float32)
    tiles = []
    number = np.zeros(len(elements.patch_region), np.intp)
    number[patches] = np.arange(n_patch)
    local = number[elements.patch[own]]
    for members in _tiled(scene, elements.patch_centre[patches], local):
        tile, floor = _tile(scene, elements, wall, patches, own, members, sights)
        tiles.append(tile)
        means = _Means(elements, own[members], local[members])
        layer = _layer_index(tile.columns, n_wall // len(columns))
        diffuser_walls[np.ix_(means.rows, layer)] = means.of(tile.to_walls)
        floor_walls[np.ix_(means.rows, layer)] = means.of(floor)
        diffuser_floor[np.ix_(means.rows, tile.patches)] = means.of(tile.to_floor)
    patch_area = elements.patch_area_mm2[patches].astype(np.float32)
    return _closed(
        wall,
        (columns, patches),
        tuple(tiles),
        (diffuser_walls, floor_walls, diffuser_floor),
        patch_area,
        sights,
    )


def _layer_index(columns: Ints, layers: int) -> Ints:
    return np.asarray((columns[:, None] * layers + np.arange(layers)).ravel(), np.intp)


def _tiled(scene: Scene, centre: Floats, local: Ints) -> list[Ints]:
    """Return the elements (by place in `local`) of each tile, sorted by patch; none for a region too small for one."""
    size = _TILE_DEPTHS * scene.depth_mm
    tile = np.floor(centre / size).astype(np.intp)
    key = (tile[:, 1] * (int(scene.width_mm / size) + 2) + tile[:, 0])[local]
    order = np.lexsort((local, key))
    cuts = np.flatnonzero(np.diff(key[order])) + 1
    return [tile for tile in np.split(order, cuts) if len(tile)]


class _Means:
    """Means over the elements of each of a tile's patches, by their open parts; elements are sorted by patch."""

    def __init__(self, elements: Elements, members: Ints, local: Ints) -> None:
        self._weight = np.ones(len(members), np.float32)
        if len(elements.split):
            place = np.minimum(np.searchsorted(elements.split, members), len(elements.split) - 1)
            hit = elements.split[place] == members
            self._weight[hit] = elements.free[place[hit]].mean(axis=1)
        self.rows, self._starts = np.unique(local, return_index=True)
        self._total = np.add.reduceat(self._weight, self._starts)

    def of(self, values: Single) -> Single:
        """Return (patches, …) means of (elements, …)."""
        summed = np.add.reduceat(values * self._weight[:, None], self._starts, axis=0)
        return np.asarray(summed / self._total[:, None], np.float32)


def _tile(
    scene: Scene,
    elements: Elements,
    wall: Walls,
    patches: Ints,
    own: Ints,
    members: Ints,
    sights: Sights | None,
) -> tuple[Tile, Single]:
    points = elements.point[own[members]]
    low, high = points.min(axis=0), points.max(axis=0)
    reach = REACH_DEPTHS * scene.depth_mm
    near_wall = np.flatnonzero(_within(wall.middle, low, high, reach))
    centre = elements.patch_centre[patches]
    near_patch = np.flatnonzero(_within(centre, low, high, reach))
    part = wall.part(near_wall)
    up = wall_factors(points, part, scene.depth_mm - part.level_mm)
    down = wall_factors(points, part, part.level_mm)
    floor = _parallel(points, centre[near_patch], scene.depth_mm)
    floor *= elements.patch_area_mm2[patches[near_patch]].astype(np.float32)
    if sights is not None:
        seen = sights.element_column[np.ix_(members, near_wall)][..., None]
        up *= seen
        down *= seen
        floor *= sights.element_patch[np.ix_(members, near_patch)]
    up, down = up.reshape(len(points), -1), down.reshape(len(points), -1)
    rest = np.maximum(1 - up.sum(axis=1), 0)
    floor *= (rest / np.maximum(floor.sum(axis=1), 1e-12))[:, None]
    tile = Tile(
        elements=own[members],
        columns=near_wall,
        patches=near_patch,
        to_walls=up,
        to_floor=floor,
    )
    return tile, down


def _within(points: Floats, low: Floats, high: Floats, reach: float) -> NDArray[np.bool_]:
    gap = np.maximum(np.maximum(low - points, points - high), 0)
    return np.asarray((gap**2).sum(axis=1) <= reach**2, bool)


def _parallel(points: Floats, centre: Floats, height_mm: float) -> Single:
    """Return the kernel h² / (π (d² + h²)²) between parallel planes, per mm² of the patch."""
    dx = (points[:, :1] - centre[:, 0]).astype(np.float32)
    dy = (points[:, 1:] - centre[:, 1]).astype(np.float32)
    square = dx * dx + dy * dy + np.float32(height_mm**2)
    return np.asarray(np.float32(height_mm**2 / np.pi) / (square * square), np.float32)


def _closed(
    wall: Walls,
    members: tuple[Ints, Ints],
    tiles: tuple[Tile, ...],
    raw: tuple[Single, Single, Single],
    patch_area: Single,
    sights: Sights | None,
) -> Cell:
    columns, patches = members
    diffuser_walls, floor_walls, diffuser_floor = raw
    floor_diffuser = diffuser_floor.T * patch_area / patch_area[:, None]
    rest = np.maximum(1 - floor_walls.sum(axis=1), 0)
    floor_diffuser *= (rest / np.maximum(floor_diffuser.sum(axis=1), 1e-12))[:, None]
    area = wall.area_mm2.ravel().astype(np.float32)
    per_area = np.where(area > 1e-6, 1 / np.maximum(area, 1e-6), 0).astype(np.float32)[:, None]
    walls_diffuser = diffuser_walls.T * patch_area * per_area
    walls_floor = floor_walls.T * patch_area * per_area
    walls_walls = wall_to_wall(wall)
    layers = len(area) // max(len(columns), 1)
    if sights is not None:
        walls_walls *= np.repeat(np.repeat(sights.column_column, layers, 0), layers, 1)
    mouth = np.zeros((len(columns), layers), bool)
    if layers > 1:
        mouth[wall.opening, -1] = True
    _half_up(walls_diffuser, walls_floor, mouth.ravel())
    rest = np.maximum(1 - walls_diffuser.sum(axis=1) - walls_floor.sum(axis=1), 0)
    walls_walls *= (rest / np.maximum(walls_walls.sum(axis=1), 1e-12))[:, None]
    return Cell(
        columns=columns,
        patches=patches,
        tiles=tiles,
        wall_area=area,
        diffuser_walls=diffuser_walls,
        diffuser_floor=diffuser_floor,
        floor_walls=floor_walls,
        floor_diffuser=floor_diffuser,
        walls_diffuser=walls_diffuser,
        walls_floor=walls_floor,
        walls_walls=walls_walls,
    )


def _half_up(walls_diffuser: Single, walls_floor: Single, mouth: NDArray[np.bool_]) -> None:
    """Make openings close under the diffuser see it with half their view, and the floor with no more."""
    up, down = walls_diffuser[mouth].sum(axis=1), walls_floor[mouth].sum(axis=1)
    walls_diffuser[mouth] *= (0.5 / np.maximum(up, 1e-12))[:, None]
    walls_floor[mouth] *= np.minimum(1.0, 0.5 / np.maximum(down, 1e-12))[:, None]


def sights_of(
    scene: Scene, plan: Plan2D, elements: Elements, walls: Walls, region: int
) -> Sights | None:
    """Return what is in sight within a region; None where that is all of it."""
    if plan.convex[region]:
        return None
    patches = np.flatnonzero(elements.patch_region == region)
    own = np.flatnonzero(elements.region == region)
    wall = walls.part(np.flatnonzero(walls.region == region))
    faces = plan.edges.barrier & (plan.edges.region == region)
    a, b = plan.edges.a[faces], plan.edges.b[faces]
    number = np.zeros(len(elements.patch_region), np.intp)
    number[patches] = np.arange(len(patches))
    middle = wall.middle + 0.01 * wall.normal
    centre = elements.patch_centre[patches]
    asked = _Asked(
        points=elements.point[own],
        patch=number[elements.patch[own]],
        spots=np.concatenate([centre, middle]),
        near_mm=_NEAR_DEPTHS * scene.depth_mm,
        far_mm=REACH_DEPTHS * scene.depth_mm,
    )
    seen, spots = asked.seen_from((a, b))
    both = spots[len(centre) :, len(centre) :]
    return Sights(
        element_column=seen[len(centre) :].T,
        element_patch=seen[: len(centre)].T,
        column_column=both & both.T,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Asked:
    """What is asked for sight: elements' `points` (n, 2) with their `patch`, and `spots`, patches' centres first."""

    points: Floats
    patch: Ints
    spots: Floats
    near_mm: float
    far_mm: float

    def seen_from(
        self, faces: tuple[Floats, Floats]
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Return (spots, elements) and (spots, spots) whether each spot sees each; nothing farther than `far_mm`.

        Elements farther than `near_mm` are seen where their patch's centre is.
        """
        seen = np.zeros((len(self.spots), len(self.points)), bool)
        spots = np.zeros((len(self.spots), len(self.spots)), bool)
        views = stars(self.spots, *faces, np.ones(len(faces[0])))
        near, far = _Around(self.points, self.near_mm), _Around(self.spots, self.far_mm)
        for k, view in enumerate(views):
            around, x, y = far.of(view.origin)
            spots[k, around] = view.sees_at(x, y)
            np.take(spots[k], self.patch, out=seen[k])
            around, x, y = near.of(view.origin)
            seen[k, around] = view.sees_at(x, y)
        return seen, spots


class _Around:
    """Points by their coordinates, which is faster to ask than by pairs."""

    def __init__(self, points: Floats, reach_mm: float) -> None:
        self._x, self._y = np.ascontiguousarray(points.T)
        self._square = reach_mm**2

    def of(self, origin: Floats) -> tuple[Ints, Floats, Floats]:
        """Return which points are within reach of an origin, and their offsets from it."""
        x, y = self._x - origin[0], self._y - origin[1]
        near = np.flatnonzero(x * x + y * y < self._square)
        return near, x[near], y[near]
