"""The whole light model on a scene: direct light, then what walls, floor and diffuser send on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_beam import wall_flux
from marquee.box.light_cells import Cell, Sights, cell_of, sights_of
from marquee.box.light_direct import Views, direct_at, direct_jobs, summed
from marquee.box.light_elements import Elements, Ints, patch_shares, sort_elements
from marquee.box.light_mouths import NEAR_SHARE, Inside, Mouths, mouths_of
from marquee.box.light_notches import pair_notches
from marquee.box.light_over import Over, see_over
from marquee.box.light_regions import Plan2D, plan_of, stars
from marquee.box.light_scene import Floats, Scene
from marquee.box.light_slots import pair_slots, through_slots
from marquee.box.light_walls import Walls, cut_walls
from marquee.parallel import run_all

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

    Patch radiosity: floor and diffuser in patches of a third of the depth, walls in five layers, exact factors from
    points to walls, every open region by itself; what is seen over barriers and in the slots over them joins
    regions. Against path tracing of boxes 10 to 60 mm deep with gaps to 3 mm: zone means within 1 %, 99 % of
    elements within 9 % of themselves or of 5 % of the mean, light over 1 mm gaps within 12 % of its zone's mean.

    Limits: LEDs whose intensity is a power of the cosine (lenses with a dark middle are not), Lambertian surfaces
    (gloss is not); light spreading inside the diffuser, the opaque face, and
    LED bodies are left out; light that a notch's sides send on leaves it evenly in all directions; LED light
    that passes a gap is not followed to the next region's walls.
    """
    plan = plan_of(scene)
    elements = sort_elements(scene, plan)
    views = Views(scene, plan)
    walls = cut_walls(scene, plan)
    reflecting = max(
        scene.floor_reflectance,
        scene.rim_reflectance,
        scene.barrier_reflectance,
        scene.diffuser_reflectance,
    )
    exchanging = reflecting > 0 or scene.has_gap
    looks = [
        partial(sights_of, scene, plan, elements, walls, region)
        for region in range(len(plan.regions) if exchanging else 0)
    ]
    lights = direct_jobs(scene, plan, elements, views)
    # Small jobs are done sooner than shared out.
    done = run_all([*looks, *lights], None if len(lights) > 1 else 1)
    total = direct = summed(done[len(looks) :])
    if exchanging:
        exchange = _Exchange(scene, plan, elements, walls, views, done[: len(looks)], direct)
        total = direct + exchange.reflected_lux()
    shape = (-1, scene.grid.ny, scene.grid.nx)
    return Illuminance(
        total_lux=total.reshape(shape),
        direct_lux=direct.reshape(shape),
        plan=plan,
        elements=elements,
        led_region=views.home,
    )


Singles = NDArray[np.float32]


class _Exchange:
    """Radiosities of all regions, swept until they settle. Arrays are (patches, channels)."""

    def __init__(
        self,
        scene: Scene,
        plan: Plan2D,
        elements: Elements,
        walls: Walls,
        views: Views,
        sights: list[Sights | None],
        direct: Floats,
    ) -> None:
        self.scene, self.plan, self.elements, self.views = scene, plan, elements, views
        self.direct, self.walls = direct, walls
        populated = np.bincount(elements.patch_region, minlength=len(plan.regions)) > 0
        self.slots = pair_slots(scene, self.walls, populated)
        self.notched = pair_notches(scene, self.walls, views.home)
        self.cells = [
            cell_of(scene, elements, walls, region, seen) for region, seen in enumerate(sights)
        ]
        channels = len(direct)
        shape = (*self.walls.area_mm2.shape, channels)
        self.from_leds = self._leds_on_walls(shape) + self.notched.beyond
        shares = patch_shares(elements)
        self.on_diffuser = (shares @ direct.T).astype(np.float32)
        # What wall patches send: to the diffuser, to the floor, and to walls.
        self.up, self.down = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
        self.floor = np.zeros_like(self.on_diffuser)
        self.diffuser = (scene.diffuser_reflectance * self.on_diffuser).astype(np.float32)
        # (openings, channels): the LEDs' own light on the slots' ceilings, and all light on them.
        slots = self.slots
        across = direct_at(scene, views, slots.points.reshape(-1, 2))
        self.slot_direct = across.reshape(channels, *slots.points.shape[:2]).transpose(1, 2, 0)
        self.slot_ceiling = self.slot_direct.mean(axis=1)
        self.slot_top = np.zeros(self.slot_ceiling.shape, np.float32)
        # What floor and walls see through the slots, more than they see of the slots' ceilings.
        self.far, self.deep, self.tilt = (np.zeros_like(self.slot_top) for _ in range(3))
        # The diffuser's radiosity before each column's opening, near it and deeper in.
        self.near, self.beyond = (np.zeros((shape[0], channels), np.float32) for _ in range(2))
        self.over = see_over(scene, plan, elements, self.walls, slots)
        self.mouths = [
            mouths_of(scene, elements, self.walls, slots, c, self.over) for c in self.cells
        ]
        self.over_patches = self.over.averaged(shares)

    def _leds_on_walls(self, shape: tuple[int, ...]) -> NDArray[np.float32]:
        """Return direct illuminance of wall patches: the LEDs' flux on each over its area."""
        lit = np.zeros(shape, np.float32)
        scene, edges = self.scene, self.plan.edges
        for region, cell in enumerate(self.cells):
            leds = np.flatnonzero(self.views.home == region)
            if not leds.size:
                continue
            wall = self.walls.part(cell.columns)
            height = np.maximum(wall.level_mm - scene.led_z_mm, 0)
            flux = wall_flux(scene.led_xy_mm[leds], wall, height, scene.led_exponent)
            if not self.plan.convex[region]:
                faces = edges.barrier & (edges.region == region)
                a, b = edges.a[faces], edges.b[faces]
                inside = wall.middle + 0.01 * wall.normal
                views = stars(scene.led_xy_mm[leds], a, b, np.ones(len(a)))
                for row, sight in enumerate(views):
                    flux[row] *= sight.sees(inside)[:, None]
            area = np.maximum(wall.area_mm2, 1e-9)
            lux = np.tensordot(flux, scene.led_cd[leds], axes=(0, 0)) * (1e6 / area[..., None])
            lit[cell.columns] = np.where(wall.area_mm2[..., None] > 1e-6, lux, 0)
        return lit

    def _sweep(self) -> None:
        columns, layers, channels = self.up.shape
        rising = np.zeros((columns, layers, channels), np.float32)
        falling = np.zeros_like(rising)
        over = self._seen_over(self.over_patches)
        for cell, mouths in zip(self.cells, self.mouths, strict=True):
            below, above = self._exchange_in(cell, mouths, over[cell.patches])
            rising[cell.columns] = below.reshape(-1, layers, channels)
            falling[cell.columns] = above.reshape(-1, layers, channels)
            if len(mouths.columns):
                near, deep = self._before_openings(cell, mouths)
                falling[mouths.columns, -1] = (NEAR_SHARE * near + (1 - NEAR_SHARE) * deep) / 2
                self.near[mouths.columns], self.beyond[mouths.columns] = near, deep
        lit = self.from_leds + rising + falling
        self.up = (self.walls.reflectance[:, None, None] * lit).astype(np.float32)
        self.notched.pass_on(self.up, lit, self.walls.reflectance)
        self.down = self.up.copy()
        if len(self.slots.here):
            self._through_slots(rising[:, -1], falling[:, -1])

    def _exchange_in(self, cell: Cell, mouths: Mouths, over: Singles) -> tuple[Singles, Singles]:
        """Let one region's floor and diffuser answer; return what its walls get from below and from above."""
        scene, at = self.scene, cell.patches
        up = self.up[cell.columns].reshape(-1, over.shape[1])
        down = self.down[cell.columns].reshape(-1, over.shape[1])
        lux = cell.floor_walls @ down + self._from_slots(mouths, mouths.onto_floor)
        lux += cell.floor_diffuser @ self.diffuser[at]
        self.floor[at] = scene.floor_reflectance * lux
        lux = self.on_diffuser[at] + over + cell.diffuser_walls @ up
        lux += cell.diffuser_floor @ self.floor[at]
        self.diffuser[at] = scene.diffuser_reflectance * lux
        below = cell.walls_floor @ self.floor[at] + cell.walls_walls @ down
        below += self._from_slots(mouths, mouths.onto_walls)
        return below, cell.walls_diffuser @ self.diffuser[at]

    def _from_slots(self, mouths: Mouths, inside: Inside) -> Singles:
        """Return what slots show beyond the mean of their roofs."""
        at = mouths.slots
        return (
            inside.far @ self.far[at] + inside.deep @ self.deep[at] + inside.tilt @ self.tilt[at]
        )

    def _before_openings(self, cell: Cell, mouths: Mouths) -> tuple[Singles, Singles]:
        """Return the diffuser's radiosity before openings, near and deep."""
        up = self.up[cell.columns].reshape(-1, self.up.shape[2])
        lux = self.direct[:, mouths.elements].T + self._seen_over(mouths.over)
        lux += mouths.to_walls @ up + mouths.to_floor @ self.floor[cell.patches]
        near, deep = np.split((self.scene.diffuser_reflectance * lux).astype(np.float32), 2)
        return near, deep

    def _through_slots(self, rising: Singles, falling: Singles) -> None:
        slots = self.slots
        light = through_slots(self.scene, slots, rising, falling, self.slot_direct)
        self.up[slots.here, -1], self.down[slots.here, -1] = light.top, light.roof
        self.slot_top = light.top.astype(np.float32)
        self.slot_ceiling = light.ceiling
        near, deep = self.near[slots.there], self.beyond[slots.there]
        self.far, self.deep = (near - light.roof).astype(np.float32), deep - near
        self.tilt = light.tilt.astype(np.float32)

    def _seen_over(self, over: Over) -> NDArray[np.float32]:
        return over.lux(self.up.reshape(-1, self.up.shape[2]), self.floor, self.slot_top)

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
        lux = np.asarray(self._seen_over(self.over), np.float32)
        for cell in self.cells:
            up = self.up[cell.columns]
            floor = self.floor[cell.patches]
            for tile in cell.tiles:
                sent = up[tile.columns].reshape(-1, channels)
                lux[tile.elements] += tile.to_walls @ sent + tile.to_floor @ floor[tile.patches]
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
