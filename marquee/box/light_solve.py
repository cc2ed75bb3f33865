"""The whole light model on a scene: direct light, then what walls, floor and diffuser send on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_cells import cell_of
from marquee.box.light_direct import Views, direct_at, direct_lux
from marquee.box.light_elements import Elements, Ints, sort_elements
from marquee.box.light_regions import Plan2D, plan_of, star
from marquee.box.light_scene import Floats, Scene
from marquee.box.light_slots import pair_slots, through_slots
from marquee.box.light_walls import cut_walls, wall_factors

# Sweeps end when no patch of the diffuser changes by more than this share of the brightest.
_SETTLED = 1e-4
_MOST_SWEEPS = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Illuminance:
    """Illuminance under the diffuser, element means: `total_lux` and `direct_lux` (channels, ny, nx)."""

    total_lux: Floats
    direct_lux: Floats
    plan: Plan2D
    elements: Elements
    led_region: NDArray[np.intp]


def illuminate(scene: Scene) -> Illuminance:
    """Return the illuminance a scene's LEDs cause under its diffuser [lx].

    Patch radiosity: floor and diffuser in patches of half a depth, walls in three layers, exact factors from
    points to walls, every open region by itself; slots over barriers join them. Compared with path tracing:
    zone means within 1 %, 99 % of the elements within 12 % of themselves or of 5 % of the mean.
    """
    plan = plan_of(scene)
    elements = sort_elements(scene, plan)
    views = Views(scene, plan)
    direct = direct_lux(scene, plan, elements, views)
    total = direct
    reflecting = max(
        scene.floor_reflectance,
        scene.rim_reflectance,
        scene.barrier_reflectance,
        scene.diffuser_reflectance,
    )
    if reflecting > 0 or scene.has_gap:
        total = direct + _Exchange(scene, plan, elements, views, direct).reflected_lux()
    shape = (-1, scene.grid.ny, scene.grid.nx)
    return Illuminance(
        total_lux=total.reshape(shape),
        direct_lux=direct.reshape(shape),
        plan=plan,
        elements=elements,
        led_region=views.home,
    )


class _Exchange:
    """Radiosities of all regions, swept until they settle. Arrays are (patches, channels)."""

    def __init__(
        self, scene: Scene, plan: Plan2D, elements: Elements, views: Views, direct: Floats
    ) -> None:
        self.scene, self.plan, self.elements, self.views = scene, plan, elements, views
        self.direct = direct
        self.walls = cut_walls(scene, plan)
        self.cells = [
            cell_of(scene, plan, elements, self.walls, r) for r in range(len(plan.regions))
        ]
        self.slots = pair_slots(scene, self.walls)
        channels = len(direct)
        shape = (*self.walls.area_mm2.shape, channels)
        self.from_leds = self._leds_on_walls(shape)
        self.on_diffuser = self._direct_on_patches()
        # What wall patches send: to the diffuser, to the floor, and to walls.
        self.up, self.down = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
        self.floor = np.zeros_like(self.on_diffuser)
        self.diffuser = (scene.diffuser_reflectance * self.on_diffuser).astype(np.float32)
        # (openings, channels): the LEDs' own light on the slots' ceilings, and all light on them.
        slots = self.slots
        across = direct_at(scene, views, slots.points.reshape(-1, 2))
        self.slot_direct = across.reshape(channels, *slots.points.shape[:2]).mean(axis=2).T
        self.slot_ceiling = self.slot_direct

    def _leds_on_walls(self, shape: tuple[int, ...]) -> NDArray[np.float32]:
        """Return direct illuminance of wall patches, as floor points see them: π I F / A."""
        lit = np.zeros(shape, np.float32)
        scene, edges = self.scene, self.plan.edges
        for region, cell in enumerate(self.cells):
            leds = np.flatnonzero(self.views.home == region)
            if not leds.size:
                continue
            wall = self.walls.part(cell.columns)
            height = np.maximum(wall.level_mm - scene.led_z_mm, 0)
            factors = wall_factors(scene.led_xy_mm[leds], wall, height)
            if not self.plan.convex[region]:
                faces = edges.barrier & (edges.region == region)
                a, b = edges.a[faces], edges.b[faces]
                inside = wall.middle + 0.01 * wall.normal
                for row, led in enumerate(leds):
                    sight = star(scene.led_xy_mm[led], a, b, np.ones(len(a)))
                    factors[row] *= sight.sees(inside)[:, None]
            area = np.maximum(wall.area_mm2, 1e-9)
            lux = np.tensordot(factors, scene.led_cd[leds], axes=(0, 0)) * (
                1e6 * np.pi / area[..., None]
            )
            lit[cell.columns] = np.where(wall.area_mm2[..., None] > 1e-6, lux, 0)
        return lit

    def _direct_on_patches(self) -> NDArray[np.float32]:
        elements = self.elements
        weight = np.where(elements.patch >= 0, 1.0, 0.0)
        weight[elements.split] *= elements.free.mean(axis=1)
        patch = np.maximum(elements.patch, 0)
        n = len(elements.patch_region)
        total = np.maximum(np.bincount(patch, weight, n), 1e-12)
        sums = [np.bincount(patch, weight * row, n) / total for row in self.direct]
        return np.stack(sums, axis=1).astype(np.float32)

    def _sweep(self) -> None:
        scene, walls = self.scene, self.walls
        columns, layers, channels = self.up.shape
        rising = np.zeros((columns, layers, channels), np.float32)
        falling = np.zeros_like(rising)
        for cell in self.cells:
            wide = (len(cell.columns) * layers, channels)
            up, down = self.up[cell.columns].reshape(wide), self.down[cell.columns].reshape(wide)
            at = cell.patches
            self.floor[at] = scene.floor_reflectance * (
                cell.floor_walls @ down + cell.floor_diffuser @ self.diffuser[at]
            )
            lux = (
                self.on_diffuser[at]
                + cell.diffuser_walls @ up
                + cell.diffuser_floor @ self.floor[at]
            )
            self.diffuser[at] = scene.diffuser_reflectance * lux
            below = cell.walls_floor @ self.floor[at] + cell.walls_walls @ ((up + down) / 2)
            above = cell.walls_diffuser @ self.diffuser[at]
            rising[cell.columns] = below.reshape(-1, layers, channels)
            falling[cell.columns] = above.reshape(-1, layers, channels)
        sent = walls.reflectance[:, None, None] * (self.from_leds + rising + falling)
        self.up, self.down = sent.astype(np.float32), sent.astype(np.float32)
        if len(self.slots.here):
            self._through(rising[:, -1], falling[:, -1])

    def _through(self, rising: NDArray[np.float32], falling: NDArray[np.float32]) -> None:
        slots = self.slots
        light = through_slots(self.scene, slots, rising, falling, self.slot_direct)
        self.up[slots.here, -1], self.down[slots.here, -1] = light.up, light.down
        self.slot_ceiling = light.ceiling

    def reflected_lux(self) -> Floats:
        """Return (channels, elements) what reaches each element besides the LEDs' own light."""
        for _ in range(_MOST_SWEEPS):
            before = self.diffuser.copy()
            walls_before = self.up.copy()
            self._sweep()
            change = max(_change(before, self.diffuser), _change(walls_before, self.up))
            if change < _SETTLED:
                break
        return self._gather()

    def _gather(self) -> Floats:
        channels = len(self.direct)
        lux = np.zeros((len(self.elements.patch), channels), np.float32)
        for cell in self.cells:
            up = self.up[cell.columns]
            floor = self.floor[cell.patches]
            for tile in cell.tiles:
                sent = up[tile.columns].reshape(-1, channels)
                lux[tile.elements] = tile.to_walls @ sent + tile.to_floor @ floor[tile.patches]
        if len(self.slots.here):
            self._over_barriers(lux)
        return lux.T.astype(float)

    def _over_barriers(self, lux: NDArray[np.float32]) -> None:
        """Give elements wholly over a barrier the light on the ceiling of the nearest slot."""
        from scipy.spatial import cKDTree

        covered: Ints = np.flatnonzero(self.elements.patch < 0)
        middle = self.slots.points.mean(axis=1)
        found = cKDTree(middle).query(self.elements.point[covered])
        distance, nearest = np.asarray(found[0]), np.asarray(found[1], np.intp)
        close = distance < self.scene.depth_mm
        over = self.slot_ceiling[nearest[close]] - self.direct[:, covered[close]].T
        lux[covered[close]] = np.maximum(over, 0)


def _change(before: NDArray[np.float32], after: NDArray[np.float32]) -> float:
    return float(abs(after - before).max(initial=0) / max(float(after.max(initial=0)), 1e-30))
