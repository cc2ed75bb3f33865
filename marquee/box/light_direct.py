"""Light that reaches the diffuser straight from the LEDs, with the exact shadows of the barriers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_elements import EDGE_SAMPLES, Elements, Ints, samples_of
from marquee.box.light_regions import Plan2D, Star, direction, star
from marquee.box.light_scene import Floats, Scene

Flags = NDArray[np.bool_]


# Quarters of the LED's window, and for each the way its sample points move; crossed, so that neither repeats.
_QUARTERS = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1]])
_CROSSED = np.array([[-1, 1], [-1, -1], [1, 1], [1, -1]])


def lambertian_lux(offset_mm: Floats, height_mm: float) -> Floats:
    """Return illuminance on a plane parallel to a Lambertian emitter of 1 cd on axis [lx].

    E = I0 h² / (d² + h²)², d the offset along the plane: the inverse-square law with the cosine of emission
    and that of incidence. `offset_mm` is (…, 2). Lengths in mm, hence the 10⁶.
    """
    h2 = height_mm**2
    d2 = offset_mm[..., 0] ** 2 + offset_mm[..., 1] ** 2
    return np.asarray(1e6 * h2 / (d2 + h2) ** 2, float)


class Views:
    """Which region each LED stands in (-1: inside a barrier), and what it sees, found once when asked."""

    def __init__(self, scene: Scene, plan: Plan2D) -> None:
        self.home = region_of(plan, scene.led_xy_mm)
        self._scene, self._plan = scene, plan
        self._found: dict[int, tuple[Star, tuple[Star, ...]]] = {}

    def of(self, led: int) -> tuple[Star, tuple[Star, ...]]:
        """Return what the LED's centre and the quarters of its window see of the diffuser."""
        if led not in self._found:
            self._found[led] = led_stars(self._scene, self._plan, led)
        return self._found[led]


def direct_lux(scene: Scene, plan: Plan2D, elements: Elements, views: Views) -> Floats:
    """Return (channels, elements) direct illuminance, means over each element's open part [lx]."""
    direct = np.zeros((scene.led_cd.shape[1], len(elements.patch)))
    spread = _Spread(scene)
    home = views.home
    for led in range(len(scene.led_xy_mm)):
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

    def over_elements(self, xy: Floats) -> Floats:
        dx2 = ((self.x - xy[0]) ** 2 + self.h2).astype(np.float32)
        dy2 = ((self.y - xy[1]) ** 2).astype(np.float32)
        lux = dy2[:, None] + dx2
        np.multiply(lux, lux, out=lux)
        np.divide(np.float32(0.25e6 * self.h2), lux, out=lux)
        rows = lux[0::2] + lux[1::2]
        return np.asarray((rows[:, 0::2] + rows[:, 1::2]).ravel(), float)


def led_stars(scene: Scene, plan: Plan2D, led: int) -> tuple[Star, tuple[Star, ...]]:
    """Return what an LED's centre and the quarters of its window see of the diffuser past all barriers."""
    edges = plan.edges
    wall = edges.barrier
    rise = scene.depth_mm - scene.led_z_mm
    share = np.maximum((edges.top_mm[wall] - scene.led_z_mm) / rise, 1e-9)
    a, b = edges.a[wall], edges.b[wall]
    xy = scene.led_xy_mm[led]
    quarter = scene.led_window_mm / 4
    corners = xy + quarter * _QUARTERS
    return star(xy, a, b, share), tuple(star(corner, a, b, share) for corner in corners)


def _shadowed(
    scene: Scene, plan: Plan2D, elements: Elements, views: Views, led: int, lux: Floats
) -> Floats:
    home = int(views.home[led])
    own = elements.region == home
    if plan.convex[home] and not scene.has_gap:
        return np.where(own, lux, 0.0)
    centre, quarters = views.of(led)
    # Over a gap light may reach any element, otherwise only those of its own region.
    asked = np.flatnonzero(own) if not scene.has_gap else _within_reach(elements, centre)
    seen = np.zeros(len(lux))
    if asked.size:
        points = samples_of(elements.grid, asked, 2)
        seen[asked] = centre.sees(points.reshape(-1, 2)).reshape(-1, 4).mean(axis=1)
    lux = lux * seen
    mixed = _near_change(seen, elements, own)
    lux[mixed] = _fine(scene, elements, quarters, mixed)
    return lux


def _within_reach(elements: Elements, centre: Star) -> Ints:
    """Return elements the LED might see: all, unless faces close it in on every side."""
    if np.isinf(centre.limit).any():
        return np.arange(len(elements.patch))
    # The corners of what is seen, where each interval's face meets the interval's ends.
    corners = []
    for way in (direction(centre.breaks[:-1]), direction(centre.breaks[1:] - 1e-12)):
        sine = way[:, 0] * centre.face[:, 1] - way[:, 1] * centre.face[:, 0]
        corners.append(centre.origin + way * (centre.limit / np.maximum(sine, 1e-9))[:, None])
    low, high = np.concatenate(corners).min(axis=0), np.concatenate(corners).max(axis=0)
    margin = np.array([elements.grid.dx_mm, elements.grid.dy_mm])
    near = ((elements.point > low - margin) & (elements.point < high + margin)).all(axis=1)
    return np.flatnonzero(near)


def _near_change(seen: Floats, elements: Elements, own: Flags) -> Ints:
    """Return elements beside which the LED is seen differently, where shadows need finer points."""
    grid = elements.grid
    field = seen.reshape(grid.ny, grid.nx)
    padded = np.pad(field, 1, mode="edge")
    views = [padded[i : i + grid.ny, j : j + grid.nx] for i in range(3) for j in range(3)]
    changed = np.max(views, axis=0) != np.min(views, axis=0)
    # An element wholly under a barrier is answered by the channel over it, or is dark.
    return np.flatnonzero(
        changed.ravel() & (elements.patch >= 0) | (own & (seen < 1) & (seen > 0))
    )


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
        lux = lambertian_lux(moved - quarter.origin, height)
        seen = quarter.sees(moved.reshape(-1, 2)).reshape(weight.shape)
        total += (lux * seen * weight).sum(axis=1)
    return np.asarray(total / (len(quarters) * np.maximum(weight.sum(axis=1), 1)), float)


def direct_at(scene: Scene, views: Views, points: Floats) -> Floats:
    """Return (channels, points) direct illuminance at points under the diffuser, window quarters averaged [lx]."""
    direct = np.zeros((scene.led_cd.shape[1], len(points)))
    height = scene.depth_mm - scene.led_z_mm
    for led in range(len(scene.led_xy_mm)):
        lit = np.flatnonzero(scene.led_cd[led])
        if not lit.size or views.home[led] < 0:
            continue
        _, quarters = views.of(led)
        for quarter in quarters:
            lux = lambertian_lux(points - quarter.origin, height) * quarter.sees(points) / 4
            direct[lit] += scene.led_cd[led, lit][:, None] * lux
    return direct
