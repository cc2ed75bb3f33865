"""Grid elements sorted into open regions and coarse patches of the floor and the diffuser."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_regions import Plan2D
from marquee.box.light_scene import Floats, Grid, Scene

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Ints = NDArray[np.intp]
# Sample points along each side of an element that a barrier's outline crosses.
EDGE_SAMPLES = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Elements:
    """Elements flattened row by row: `patch` (n,) index or -1 under a barrier, `point` (n, 2) in its open part.

    `split` lists elements a barrier's outline crosses; `free` (split, 16) tells which of their sample
    points (`samples_of`) lie in the element's own patch. `beside` marks them and their neighbours. Patches are blocks of elements cut by barriers.
    """

    grid: Grid
    patch: Ints
    region: Ints
    point: Floats
    split: Ints
    free: NDArray[np.bool_]
    beside: NDArray[np.bool_]
    patch_region: Ints
    patch_area_mm2: Floats
    patch_centre: Floats


def samples_of(grid: Grid, elements: Ints, per_side: int) -> Floats:
    """Return (elements, per_side², 2) points spread evenly over each element [mm]."""
    offset = (np.arange(per_side) + 0.5) / per_side - 0.5
    ox, oy = np.meshgrid(offset * grid.dx_mm, offset * grid.dy_mm)
    iy, ix = np.divmod(elements, grid.nx)
    x = grid.x_mm[ix][:, None] + ox.ravel()
    y = grid.y_mm[iy][:, None] + oy.ravel()
    return np.stack([x, y], axis=-1)


def patch_shares(elements: Elements) -> csr_array:
    """Return the sparse (patches, elements) matrix that averages over each patch's elements, by their open parts."""
    from scipy.sparse import csr_array

    weight = np.ones(len(elements.patch))
    weight[elements.split] = elements.free.mean(axis=1)
    inside = np.flatnonzero(elements.patch >= 0)
    patch = elements.patch[inside]
    total = np.bincount(patch, weight[inside], len(elements.patch_region))
    shape = (len(elements.patch_region), len(elements.patch))
    return csr_array((weight[inside] / total[patch], (patch, inside)), shape=shape)


def _block_edges(n: int, step_mm: float, patch_mm: float) -> Ints:
    blocks = min(n, max(1, math.ceil(n * step_mm / patch_mm - 0.25)))
    return np.asarray(np.rint(np.linspace(0, n, blocks + 1)), np.intp)


def sort_elements(scene: Scene, plan: Plan2D) -> Elements:
    """Return each element's region and patch.

    An element crossed by a barrier's outline belongs to the patch that holds most of its sample points.
    """
    import shapely

    grid = scene.grid
    cut_x = _block_edges(grid.nx, grid.dx_mm, scene.patch_mm)
    cut_y = _block_edges(grid.ny, grid.dy_mm, scene.patch_mm)
    x_mm = _cuts_mm(cut_x, grid.x0_mm, grid.dx_mm, scene.width_mm)
    y_mm = _cuts_mm(cut_y, grid.y0_mm, grid.dy_mm, scene.height_mm)
    by, bx = np.meshgrid(np.arange(len(cut_y) - 1), np.arange(len(cut_x) - 1), indexing="ij")
    blocks = shapely.box(x_mm[bx], y_mm[by], x_mm[bx + 1], y_mm[by + 1]).ravel()
    parts, part_region, part_block = _parts(blocks, plan)
    block = _block_of_element(cut_x, cut_y, grid)
    patch, split, free = _assign(grid, plan, parts, part_block, block)
    point = samples_of(grid, np.arange(grid.nx * grid.ny), 1)[:, 0]
    inside = free.any(axis=1)
    where = samples_of(grid, split, EDGE_SAMPLES)
    weight = free[inside][..., None]
    point[split[inside]] = (where[inside] * weight).sum(axis=1) / weight.sum(axis=1)
    used = np.unique(patch[patch >= 0])
    number = np.full(len(parts) + 1, -1)
    number[used] = np.arange(len(used))
    kept = parts[used]
    centre = shapely.centroid(kept)
    region_of_part = np.append(part_region, -1)
    return Elements(
        grid=grid,
        patch=number[patch],
        region=region_of_part[patch],
        point=point,
        split=split,
        free=free,
        beside=_beside(grid, split),
        patch_region=part_region[used],
        patch_area_mm2=shapely.area(kept),
        patch_centre=shapely.get_coordinates(centre),
    )


def _cuts_mm(cut: Ints, first_mm: float, step_mm: float, side_mm: float) -> Floats:
    edges = np.asarray(first_mm + (cut - 0.5) * step_mm, float)
    edges[0], edges[-1] = 0.0, side_mm
    return edges


def _block_of_element(cut_x: Ints, cut_y: Ints, grid: Grid) -> Ints:
    bx = np.searchsorted(cut_x, np.arange(grid.nx), side="right") - 1
    by = np.searchsorted(cut_y, np.arange(grid.ny), side="right") - 1
    return np.asarray((by[:, None] * (len(cut_x) - 1) + bx).ravel(), np.intp)


def _parts(blocks: NDArray[np.object_], plan: Plan2D) -> tuple[NDArray[np.object_], Ints, Ints]:
    """Return the connected pieces of every block in every region, with both their numbers."""
    import shapely

    tree = shapely.STRtree(blocks)
    pieces, regions, owners = [], [], []
    for number, region in enumerate(plan.regions):
        hit = np.sort(tree.query(region, predicate="intersects"))
        cut, source = shapely.get_parts(
            shapely.intersection(blocks[hit], region), return_index=True
        )
        solid = (shapely.get_type_id(cut) == 3) & (shapely.area(cut) > 1e-6)
        pieces.append(cut[solid])
        owners.append(hit[source[solid]])
        regions.append(np.full(int(solid.sum()), number))
    return np.concatenate(pieces), np.concatenate(regions), np.concatenate(owners)


def _assign(
    grid: Grid, plan: Plan2D, parts: NDArray[np.object_], part_block: Ints, block: Ints
) -> tuple[Ints, Ints, NDArray[np.bool_]]:
    import shapely

    everyone = np.arange(grid.nx * grid.ny)
    centre = samples_of(grid, everyone, 1)[:, 0]
    half_x, half_y = grid.dx_mm / 2, grid.dy_mm / 2
    split = np.zeros(0, np.intp)
    if not plan.footprint.is_empty:
        squares = shapely.box(
            centre[:, 0] - half_x,
            centre[:, 1] - half_y,
            centre[:, 0] + half_x,
            centre[:, 1] + half_y,
        )
        shapely.prepare(plan.footprint)
        split = np.flatnonzero(shapely.intersects(plan.footprint, squares))
    # Most blocks are one whole piece; only elements of others need to be looked up.
    first = np.full(int(part_block.max(initial=-1)) + 2, -1)
    counts = np.bincount(part_block, minlength=len(first))
    first[part_block] = np.arange(len(part_block))
    patch = np.where(counts[block] == 1, first[block], -1)
    several = np.flatnonzero(counts[block] > 1)
    lookup = np.setdiff1d(several, split, assume_unique=True)
    tree = shapely.STRtree(parts)
    patch[lookup] = _part_at(tree, centre[lookup], part_block, block[lookup])
    points = samples_of(grid, split, EDGE_SAMPLES)
    n = points.shape[1]
    at = _part_at(tree, points.reshape(-1, 2), part_block, np.repeat(block[split], n)).reshape(
        -1, n
    )
    patch[split], free = _majority(at)
    return patch, split, free


def _part_at(tree: object, points: Floats, part_block: Ints, block: Ints) -> Ints:
    import shapely

    found = np.full(len(points), -1)
    # A point on a wall's face would count as open and yet see nothing.
    which, part = tree.query(shapely.points(points), predicate="within")  # type: ignore[attr-defined]
    same = part_block[part] == block[which]
    found[which[same]] = part[same]
    return found


def _beside(grid: Grid, split: Ints) -> NDArray[np.bool_]:
    marked = np.zeros((grid.ny + 2, grid.nx + 2), bool)
    iy, ix = np.divmod(split, grid.nx)
    for dy in range(3):
        for dx in range(3):
            marked[iy + dy, ix + dx] = True
    return marked[1:-1, 1:-1].ravel()


def _majority(at: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    """Return per row the commonest number that is not -1 (the smallest of equals), and where it stands."""
    if not at.size:
        return np.zeros(0, np.intp), np.zeros((0, EDGE_SAMPLES**2), bool)
    votes = (at[:, :, None] == at[:, None, :]).sum(axis=2) * (at >= 0)
    best = np.where(votes == votes.max(axis=1, keepdims=True), at, np.iinfo(np.intp).max).min(
        axis=1
    )
    best = np.where(votes.max(axis=1) > 0, best, -1)
    return best, (at == best[:, None]) & (at >= 0)
