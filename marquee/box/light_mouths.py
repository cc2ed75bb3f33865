"""Openings over barriers as one region's floor, walls and diffuser meet them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from marquee.box.light_cells import Cell, Single, rows_of
from marquee.box.light_elements import Elements, Ints
from marquee.box.light_over import Over
from marquee.box.light_scene import Floats, Scene
from marquee.box.light_slots import Slots
from marquee.box.light_walls import Walls

# An opening of height g sees the diffuser before it: 70 % of it within 1.5 g (crossed strings, 1 + s − √(1 + s²) at
# s = 1.5), so it is asked at two places, in g: the middle of that stretch, and a place for the rest.
_NEAR_GAPS, _DEEP_GAPS = 0.75, 3.0
NEAR_SHARE = 0.70


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inside:
    """How patches see into slots, (patches, openings) each: form factors times a share or a lever.

    `far` is the part that passes the far end; `deep` its part that then meets the diffuser deep in the next
    region; `tilt` how far off its middle the rest meets the slot's roof, in slot lengths.
    """

    far: Single
    deep: Single
    tilt: Single


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mouths:
    """The openings of one region: `slots` (places in Slots), their `columns`, and `elements` before them.

    Of the elements, the first half is near, the second deeper in the region; `to_walls`, `to_floor`, `over` are
    their factors. `onto_floor` and `onto_walls` say how floor and wall patches see into the slots.
    """

    slots: Ints
    columns: Ints
    elements: Ints
    to_walls: Single
    to_floor: Single
    over: Over
    onto_floor: Inside
    onto_walls: Inside


def mouths_of(
    scene: Scene, elements: Elements, walls: Walls, slots: Slots, cell: Cell, over: Over
) -> Mouths:
    """Return the openings of one region."""
    from scipy.spatial import cKDTree

    own = np.flatnonzero(np.isin(elements.patch, cell.patches))
    which = np.flatnonzero(np.isin(slots.here, cell.columns))
    columns = slots.here[which]
    gap = scene.depth_mm - walls.level_mm[columns, -2]
    step = walls.normal[columns] * gap[:, None]
    spot = np.concatenate([walls.middle[columns] + step * k for k in (_NEAR_GAPS, _DEEP_GAPS)])
    found = own[np.asarray(cKDTree(elements.point[own]).query(spot)[1], np.intp)]
    to_walls, to_floor = rows_of(cell, found)
    layers = walls.level_mm.shape[1] - 1
    opening = np.searchsorted(cell.columns, columns) * layers + layers - 1
    wall = walls.part(cell.columns)
    height = (wall.level_mm[:, 1:] + wall.level_mm[:, :-1]) / 2
    centre = np.repeat(wall.middle, layers, axis=0)
    floor, across = cell.floor_walls[:, opening], cell.walls_walls[:, opening]
    patch = elements.patch_centre[cell.patches]
    return Mouths(
        slots=which,
        columns=columns,
        elements=found,
        to_walls=to_walls,
        to_floor=to_floor,
        over=Over(walls=over.walls[found], floor=over.floor[found], ends=over.ends[found]),
        onto_floor=_inside(scene, walls, slots, which, (patch, np.zeros(1), floor)),
        onto_walls=_inside(scene, walls, slots, which, (centre, height.ravel(), across)),
    )


def _inside(
    scene: Scene, walls: Walls, slots: Slots, which: Ints, seen_from: tuple[Floats, Floats, Single]
) -> Inside:
    """Return how points (n, 2) at heights (n,) with their factors (n, openings) see into the slots.

    A ray to an opening rises by Δz over the distance p from the opening's plane, hence by t Δz / p in the slot:
    that much of the gap shows the slot's roof, up to g p / Δz from the near end. The others go on and meet the
    diffuser evenly up to g p / Δz − t beyond the far end.
    """
    points, height_mm, factor = seen_from
    column = slots.here[which]
    gap, t = scene.depth_mm - walls.level_mm[column, -2], slots.length_mm[which]
    plane = (walls.middle[column] * walls.normal[column]).sum(axis=1)
    before = np.maximum(points @ walls.normal[column].T - plane, 1e-6)
    rise = np.abs(scene.depth_mm - gap / 2 - height_mm[:, None])
    stretch = gap * before / np.maximum(rise, 1e-6)
    far = np.clip(1 - t / stretch, 0, 1)
    beyond = np.maximum(stretch - t, 0) / 2
    deep = np.clip((beyond / gap - _NEAR_GAPS) / (_DEEP_GAPS - _NEAR_GAPS), 0, 1)
    tilt = (1 - far) * (np.minimum(1.0, stretch / t) - 1) / 2
    return Inside(
        far=np.asarray(factor * far, np.float32),
        deep=np.asarray(factor * far * deep, np.float32),
        tilt=np.asarray(factor * tilt, np.float32),
    )
