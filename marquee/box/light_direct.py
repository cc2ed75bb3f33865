"""Light that reaches the diffuser straight from the LEDs, with the exact shadows of the barriers."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_beam import beam_lux
from marquee.box.light_elements import EDGE_SAMPLES, Elements, Ints, samples_of
from marquee.box.light_regions import Plan2D, Star, star
from marquee.box.light_scene import Floats, Grid, Scene
from marquee.parallel import run_all

Flags = NDArray[np.bool_]


# An LED farther than this lights a slot's ceiling with under a thousandth of what one below it does.
_SLOT_REACH_DEPTHS = 6.0
# Within this distance of an LED shadows are found to a fraction of an element.
_FINE_DEPTHS = 12.0
# Quarters of the LED's window, and for each the way its sample points move; crossed, so that neither repeats.
_QUARTERS = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1]])
_CROSSED = np.array([[-1, 1], [-1, -1], [1, 1], [1, -1]])
# From this many pairs of LED and element the work is shared out, in this many parts (measured: 0.4 µs a pair).
_MUCH, _PARTS = 200_000, 4


class Views:
    """Which region each LED stands in (-1: inside a barrier), and what it sees, found once when asked."""

    def __init__(self, scene: Scene, plan: Plan2D) -> None:
        self.home = region_of(plan, scene.led_xy_mm)
        self._window_mm = scene.led_window_mm
        self._xy = scene.led_xy_mm
        self._bounds = np.array([region.bounds for region in plan.regions])
        edges, wall = plan.edges, plan.edges.barrier
        self._a, self._b = edges.a[wall], edges.b[wall]
        # A ray is cut by a face it meets before it has risen to the face's top.
        rise = scene.depth_mm - scene.led_z_mm
        self._share = np.maximum((edges.top_mm[wall] - scene.led_z_mm) / rise, 1e-9)
        self._centres: dict[int, Star] = {}

    def reach(self, led: int) -> tuple[Floats, Floats]:
        """Return the corners of a rectangle outside which the LED lights nothing.

        A ray that leaves the LED's region over a face of share s ends within 1 / s of its way to that face.
        """
        box = self._bounds[self.home[led]].reshape(2, 2)
        grown = self._xy[led] + (box - self._xy[led]) / self._share.min(initial=1.0)
        return grown[0] - self._window_mm, grown[1] + self._window_mm

    def of(self, led: int) -> Star:
        """Return what the LED's centre sees of the diffuser."""
        if led not in self._centres:
            self._centres[led] = star(self._xy[led], *self._faces(led))
        return self._centres[led]

    def quarters(self, led: int) -> tuple[Star, ...]:
        """Return what the quarters of the LED's window see of the diffuser."""
        faces = self._faces(led)
        corners = self._xy[led] + self._window_mm / 4 * _QUARTERS
        return tuple(star(corner, *faces) for corner in corners)

    def _faces(self, led: int) -> tuple[Floats, Floats, Floats]:
        low, high = self.reach(led)
        near = (np.maximum(self._a, self._b) >= low) & (np.minimum(self._a, self._b) <= high)
        at = near.all(axis=1)
        return self._a[at], self._b[at], self._share[at]


def direct_lux(scene: Scene, plan: Plan2D, elements: Elements, views: Views) -> Floats:
    """Return (channels, elements) direct illuminance, means over each element's open part [lx]."""
    leds = np.arange(len(scene.led_xy_mm))
    shaded = len(plan.regions) > 1 or not plan.convex[0]
    # The parts depend on the scene alone: their sum is the same whoever reckons them.
    parts = _PARTS if shaded and len(leds) * len(elements.patch) > _MUCH else 1
    jobs = [
        partial(_direct_of, leds[part::parts], scene, plan, elements, views)
        for part in range(parts)
    ]
    first, *others = run_all(jobs)
    direct: Floats = first
    for other in others:
        direct += other
    return direct


def _direct_of(leds: Ints, scene: Scene, plan: Plan2D, elements: Elements, views: Views) -> Floats:
    direct = np.zeros((scene.led_cd.shape[1], len(elements.patch)))
    spread = _Spread(scene)
    home = views.home
    for led in leds.tolist():
        lit = np.flatnonzero(scene.led_cd[led])
        if not lit.size or home[led] < 0:
            continue
        lux = spread.over_elements(scene.led_xy_mm[led])
        if len(plan.regions) > 1 or not plan.convex[0]:
            lux = _shadowed(scene, plan, elements, views, led, lux)
        for channel in lit:
            direct[channel] += scene.led_cd[led, channel] * lux
    return direct


def region_of(plan: Plan2D, points: Floats) -> Ints:
    """Return the region each point stands in, -1 for none (inside a barrier)."""
    import shapely

    found = np.full(len(points), -1)
    which, region = shapely.STRtree(plan.regions).query(
        shapely.points(points), predicate="intersects"
    )
    found[which[::-1]] = region[::-1]
    return found


class _Spread:
    """Unshadowed element means by 2 × 2 points, whose distances split into rows and columns."""

    def __init__(self, scene: Scene) -> None:
        grid = scene.grid
        quarter = np.array([-0.25, 0.25])
        self.x = (grid.x_mm[:, None] + quarter * grid.dx_mm).ravel()
        self.y = (grid.y_mm[:, None] + quarter * grid.dy_mm).ravel()
        self.h2 = (scene.depth_mm - scene.led_z_mm) ** 2
        self.exponent = scene.led_exponent

    def over_elements(self, xy: Floats) -> Floats:
        dx2 = ((self.x - xy[0]) ** 2 + self.h2).astype(np.float32)
        dy2 = ((self.y - xy[1]) ** 2).astype(np.float32)
        lux = dy2[:, None] + dx2
        if self.exponent == 1.0:
            np.multiply(lux, lux, out=lux)
            np.divide(np.float32(0.25e6 * self.h2), lux, out=lux)
        else:
            # (h²/r²)^((m + 3)/2) / h² as an exponential, which is several times faster than a power.
            np.divide(np.float32(self.h2), lux, out=lux)
            np.log(lux, out=lux)
            np.multiply(lux, np.float32((self.exponent + 3) / 2), out=lux)
            np.exp(lux, out=lux)
            np.multiply(lux, np.float32(0.25e6 / self.h2), out=lux)
        rows = lux[0::2] + lux[1::2]
        return np.asarray((rows[:, 0::2] + rows[:, 1::2]).ravel(), float)


def _shadowed(
    scene: Scene, plan: Plan2D, elements: Elements, views: Views, led: int, lux: Floats
) -> Floats:
    home = int(views.home[led])
    if plan.convex[home] and not scene.has_gap:
        return np.where(elements.region == home, lux, 0.0)
    centre = views.of(led)
    grid = elements.grid
    # Only what lies within the LED's reach can be lit, and its neighbours stand in for the dark beyond. Far off, shadows'
    # edges and light over a gap are let be: less than a ten-thousandth of the light straight above falls there.
    around = _FINE_DEPTHS * scene.depth_mm
    low, high = views.reach(led)
    at = scene.led_xy_mm[led]
    block, shape = _block(grid, (np.maximum(low, at - around), np.minimum(high, at + around)))
    own = elements.region[block] == home
    seen = np.zeros(len(block))
    # Over a gap light may reach any element, otherwise only those of its own region.
    asked = np.arange(len(block)) if scene.has_gap else np.flatnonzero(own)
    # One point an element, four beside barriers, where what is seen may be narrower than an element.
    beside = elements.beside[block[asked]]
    plain, edge = asked[~beside], asked[beside]
    if plan.convex[home]:
        # All of a convex region is in plain sight.
        seen[plain[own[plain]]] = 1.0
        plain = plain[~own[plain]]
    seen[plain] = centre.sees(elements.point[block[plain]])
    points = samples_of(grid, block[edge], 2)
    seen[edge] = centre.sees(points.reshape(-1, 2)).reshape(-1, 4).mean(axis=1)
    lit = np.zeros(len(lux))
    if (low < at - around).any() or (high > at + around).any():
        far = np.flatnonzero(elements.region == home)
        lit[far] = lux[far]
        if not plan.convex[home]:
            lit[far] *= centre.sees(elements.point[far])
    lit[block] = lux[block] * seen
    # An element wholly under a barrier is answered by the channel over it, or is dark.
    changed = _changes(seen.reshape(shape)).ravel() & (elements.patch[block] >= 0)
    mixed = block[changed | (own & (seen < 1) & (seen > 0))]
    if mixed.size:
        lit[mixed] = _fine(scene, elements, views.quarters(led), mixed)
    return lit


def _block(grid: Grid, corners: tuple[Floats, Floats]) -> tuple[Ints, tuple[int, int]]:
    """Return the elements of a rectangle and one more all round, row by row, and how many rows and columns they are."""
    first = np.array([grid.x0_mm, grid.y0_mm])
    step, most = np.array([grid.dx_mm, grid.dy_mm]), np.array([grid.nx, grid.ny])
    low = np.clip(np.floor((corners[0] - first) / step).astype(np.intp) - 1, 0, most - 1)
    high = np.clip(np.ceil((corners[1] - first) / step).astype(np.intp) + 1, 0, most - 1)
    x, y = np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1)
    return (y[:, None] * grid.nx + x).ravel(), (len(y), len(x))


def _inside(points: Floats, corners: tuple[Floats, Floats]) -> Ints:
    return np.flatnonzero(((points >= corners[0]) & (points <= corners[1])).all(axis=1))


def _changes(seen: Floats) -> Flags:
    """Return (rows, columns) where an element or one of its eight neighbours is seen differently from another."""
    low, high = np.pad(seen, 1, mode="edge"), np.pad(seen, 1, mode="edge")
    low = np.minimum(np.minimum(low[:-2], low[1:-1]), low[2:])
    high = np.maximum(np.maximum(high[:-2], high[1:-1]), high[2:])
    low = np.minimum(np.minimum(low[:, :-2], low[:, 1:-1]), low[:, 2:])
    high = np.maximum(np.maximum(high[:, :-2], high[:, 1:-1]), high[:, 2:])
    return np.asarray(low != high, bool)


def _fine(scene: Scene, elements: Elements, quarters: tuple[Star, ...], which: Ints) -> Floats:
    """Return element means by 4 × 4 points and the four quarters of the LED's window.

    Each quarter uses the points moved by another quarter of their spacing, which makes 8 × 8 places in all.
    """
    grid = elements.grid
    points = samples_of(grid, which, EDGE_SAMPLES)
    step = np.array([grid.dx_mm, grid.dy_mm]) / (4 * EDGE_SAMPLES)
    weight = np.ones(points.shape[:2])
    place = np.searchsorted(elements.split, which)
    place = np.minimum(place, max(len(elements.split) - 1, 0))
    if len(elements.split):
        hit = elements.split[place] == which
        weight[hit] = elements.free[place[hit]]
    total = np.zeros(len(which))
    height = scene.depth_mm - scene.led_z_mm
    for quarter, side in zip(quarters, _CROSSED, strict=True):
        moved = points + step * side
        lux = beam_lux(moved - quarter.origin, height, scene.led_exponent)
        seen = quarter.sees(moved.reshape(-1, 2)).reshape(weight.shape)
        total += (lux * seen * weight).sum(axis=1)
    return np.asarray(total / (len(quarters) * np.maximum(weight.sum(axis=1), 1)), float)


def direct_at(scene: Scene, views: Views, points: Floats) -> Floats:
    """Return (channels, points) direct illuminance at points under the diffuser, LEDs taken as points [lx]."""
    direct = np.zeros((scene.led_cd.shape[1], len(points)))
    height = scene.depth_mm - scene.led_z_mm
    reach2 = (_SLOT_REACH_DEPTHS * scene.depth_mm) ** 2
    for led in range(len(scene.led_xy_mm)):
        lit = np.flatnonzero(scene.led_cd[led])
        if not lit.size or views.home[led] < 0:
            continue
        near = _inside(points, views.reach(led))
        near = near[((points[near] - scene.led_xy_mm[led]) ** 2).sum(axis=1) < reach2]
        centre = views.of(led)
        lux = beam_lux(points[near] - centre.origin, height, scene.led_exponent)
        lux *= centre.sees(points[near])
        direct[np.ix_(lit, near)] += scene.led_cd[led, lit][:, None] * lux
    return direct
