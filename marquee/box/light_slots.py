"""Light through the slot between a barrier's top and the diffuser."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_elements import Ints
from marquee.box.light_scene import Floats, Scene
from marquee.box.light_walls import Walls

Singles = NDArray[np.float32]
# Points across the barrier at which direct light on the slot's ceiling is averaged.
_ACROSS = 16
# A slot longer than this many gaps passes nothing worth computing; such openings act as wall.
_LONGEST_GAPS = 60.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slots:
    """Openings paired across their barrier: columns `here` and `there`, length t through the barrier, gap g.

    `across` is the form factor f₂ = √(1 + (g/t)²) − g/t from barrier top to diffuser (crossed strings, two-
    dimensional). `points` (n, 16, 2) run across the barrier.
    """

    here: Ints
    there: Ints
    length_mm: Floats
    across: Floats
    points: Floats


def pair_slots(scene: Scene, walls: Walls, populated: NDArray[np.bool_]) -> Slots:
    """Return every opening with the one it leads to: the nearest straight across the barrier.

    Only between `populated` regions (regions,), those that hold elements; other openings act as wall.
    """
    here = np.flatnonzero(walls.opening)
    middle = walls.middle
    gap = scene.depth_mm - walls.level_mm[:, -2]
    there, length = [], []
    for k in here:
        other, t = _opposite(walls, here, middle[k], walls.normal[k])
        there.append(other)
        length.append(t)
    far = np.array(there, np.intp).reshape(-1)
    t = np.maximum(np.array(length).reshape(-1), 1e-3)
    kept = (far >= 0) & (t < _LONGEST_GAPS * gap[here])
    kept &= populated[walls.region[here]] & populated[walls.region[far]]
    here, far, t = here[kept], far[kept], t[kept]
    g = gap[here]
    way = -walls.normal[here][:, None, :] * (t[:, None] * _places())[..., None]
    return Slots(
        here=here,
        there=far,
        length_mm=t,
        across=np.sqrt(1 + (g / t) ** 2) - g / t,
        points=middle[here][:, None, :] + way,
    )


def _opposite(walls: Walls, openings: Ints, at: Floats, normal: Floats) -> tuple[int, float]:
    """Return the column met first on the way back through the barrier, -1 if it is no opening, and how far."""
    other = openings[walls.normal[openings] @ normal < -0.3]
    if not other.size:
        return -1, 0.0
    towards = walls.a[other] - at
    facing = walls.normal[other] @ -normal
    distance = (towards * walls.normal[other]).sum(axis=1) / facing
    # The way back, at the face's plane; how far along the face it lands beyond the face's ends.
    landing = at - np.maximum(distance, 0)[:, None] * normal
    s = ((landing - walls.a[other]) * walls.along[other]).sum(axis=1)
    beyond = np.maximum(np.maximum(-s, s - walls.length_mm[other]), 0)
    cost = np.where(distance > 1e-3, distance + 4 * beyond, np.inf)
    best = int(cost.argmin())
    if not np.isfinite(cost[best]):
        return -1, 0.0
    return int(other[best]), float(distance[best])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SlotLight:
    """Radiosities in each slot, as seen from its near end, and the illuminance of its ceiling.

    The diffuser sees the barrier's `top` and past it into the next region (`light_over`). Floor and walls see
    the slot's `roof`, the diffuser over the barrier, and past it the next region's diffuser (`light_mouths`).
    `tilt` is how much the roof gains from the near end to the far one, by the straight line that fits best:
    steep views meet its near part only.
    """

    top: Floats
    roof: Floats
    tilt: Floats
    ceiling: Floats


def through_slots(
    scene: Scene,
    slots: Slots,
    rising: Singles,
    falling: Singles,
    direct: Floats,
) -> SlotLight:
    """Return the light of every opening from what enters both ends of its slot.

    Parameters
    ----------
    scene : Scene
        Reflectances of diffuser and barriers.
    slots : Slots
        n paired openings.
    rising, falling : (columns, channels)
        Illuminance on each column's opening from below (floor, walls) and from above (diffuser).
    direct : (n, 16, channels)
        LEDs' own light at places across the slot's ceiling.
    """
    f2, t = slots.across[:, None], slots.length_mm[:, None]
    gap = (t * (1 - f2**2) / (2 * f2))[:, None]  # f₂ solved for g
    rho_d, rho_b = scene.diffuser_reflectance, scene.barrier_reflectance
    up_here, up_there = rising[slots.here][:, None], rising[slots.there][:, None]
    enter_down = (1 - f2) * (falling[slots.here] + falling[slots.there])
    # A point of the ceiling at x from an end sees it with ½ (1 − x / √(x² + g²)), and only what rises.
    share = _places()[None, :, None]
    x = t[:, None] * share
    back = t[:, None] - x
    across = (
        direct + up_here * (1 - x / np.hypot(x, gap)) + up_there * (1 - back / np.hypot(back, gap))
    )
    ceiling = (across.mean(axis=1) + f2 * rho_b * enter_down) / (1 - rho_d * rho_b * f2**2)
    lever = share - 0.5
    tilt = (across * lever).sum(axis=1) / (lever**2).sum()
    return SlotLight(
        top=rho_b * (enter_down + f2 * rho_d * ceiling),
        roof=rho_d * ceiling,
        tilt=rho_d * tilt,
        ceiling=ceiling,
    )


def _places() -> Floats:
    return np.asarray((np.arange(_ACROSS) + 0.5) / _ACROSS, float)
