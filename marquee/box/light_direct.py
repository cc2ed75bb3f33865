"""Light that reaches the diffuser straight from the LEDs, with the exact shadows of the barriers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_beam import beam_lux
from marquee.box.light_elements import EDGE_SAMPLES, Elements, Ints, samples_of
from marquee.box.light_regions import Plan2D, Star, Stars, stars
from marquee.box.light_scene import Floats, Grid, Scene
from marquee.parallel import run_all

Flags = NDArray[np.bool_]


# An LED farther than this lights a slot's ceiling with under a thousandth of what one below it does.
_SLOT_REACH_DEPTHS = 6.0
# Within this distance of an LED shadows are found to a fraction of an element, farther where light comes over gaps too.
# Beyond 3.5 depths 8 % of its light falls, none brighter than 0.6 % of that straight above; beyond 5.5 depths 3 %.
_FINE_DEPTHS, _FINE_DEPTHS_OVER = 3.5, 5.5
# Quarters of the LED's window, and for each the way its sample points move; crossed, so that neither repeats.
_QUARTERS = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1]])
_CROSSED = np.array([[-1, 1], [-1, -1], [1, 1], [1, -1]])
# From this many pairs of LED and element the work is shared out, in this many parts (measured: 0.15 µs a pair).
_MUCH, _PARTS = 500_000, 4
# LEDs handled together.
_AT_ONCE = 64


class Views:
    """Which region each LED stands in (-1: inside a barrier), and what it sees."""

    def __init__(self, scene: Scene, plan: Plan2D) -> None:
        self.home = region_of(plan, scene.led_xy_mm)
        self.window_mm = scene.led_window_mm
        self._xy = scene.led_xy_mm
        self._bounds = np.array([region.bounds for region in plan.regions])
        edges, wall = plan.edges, plan.edges.barrier
        self._a, self._b, self._region = edges.a[wall], edges.b[wall], edges.region[wall]
        # A ray is cut by a face it meets before it has risen to the face's top.
        rise = scene.depth_mm - scene.led_z_mm
        self._share = np.maximum((edges.top_mm[wall] - scene.led_z_mm) / rise, 1e-9)
        self._closed = not scene.has_gap

    def reach(self, led: int) -> tuple[Floats, Floats]:
        """Return the corners of a rectangle outside which the LED lights nothing.

        A ray that leaves the LED's region over a face of share s ends within 1 / s of its way to that face.
        """
        box = self._bounds[self.home[led]].reshape(2, 2)
        grown = self._xy[led] + (box - self._xy[led]) / self._share.min(initial=1.0)
        return grown[0] - self.window_mm, grown[1] + self.window_mm

    def of(self, leds: Ints) -> Iterator[Star]:
        """Yield what the centre of each LED sees of the diffuser; all of one region."""
        return stars(self._xy[leds], *self._faces(leds))

    def quarters(self, leds: Ints) -> Iterator[Stars]:
        """Yield what one quarter after the other of the LEDs' windows sees of the diffuser; LEDs all of one region."""
        faces = self._faces(leds)
        for quarter in _QUARTERS:
            yield Stars(self._xy[leds] + self.window_mm / 4 * quarter, *faces)

    def _faces(self, leds: Ints) -> tuple[Floats, Floats, Floats]:
        """Return the faces that can hide anything from LEDs of one region."""
        if self._closed:
            at = self._region == self.home[leds[0]]
        else:
            corners = [self.reach(led) for led in leds.tolist()]
            low, high = np.min([c[0] for c in corners], 0), np.max([c[1] for c in corners], 0)
            near = (np.maximum(self._a, self._b) >= low) & (np.minimum(self._a, self._b) <= high)
            at = near.all(axis=1)
        return self._a[at], self._b[at], self._share[at]


def direct_lux(scene: Scene, plan: Plan2D, elements: Elements, views: Views) -> Floats:
    """Return (channels, elements) direct illuminance, means over each element's open part [lx]."""
    return summed(run_all(direct_jobs(scene, plan, elements, views)))


def direct_jobs(
    scene: Scene, plan: Plan2D, elements: Elements, views: Views
) -> list[Callable[[], Floats]]:
    """Return jobs whose results, `summed`, are the direct illuminance."""
    leds = np.flatnonzero(scene.led_cd.any(axis=1) & (views.home >= 0))
    # The parts depend on the scene alone: their sum is the same whoever reckons them.
    shaded = len(plan.regions) > 1 or not plan.convex[0]
    parts = _PARTS if shaded and len(leds) * len(elements.patch) > _MUCH else 1
    return [
        partial(_direct_of, leds[part::parts], scene, plan, elements, views)
        for part in range(parts)
    ]


def summed(parts: Sequence[Floats]) -> Floats:
    """Return the sum of the parts, in their order."""
    direct = parts[0]
    for other in parts[1:]:
        direct = direct + other
    return direct


def _direct_of(leds: Ints, scene: Scene, plan: Plan2D, elements: Elements, views: Views) -> Floats:
    direct = np.zeros((scene.led_cd.shape[1], len(elements.patch)))
    spread = _Spread(scene)
    probes = _Probes(elements)
    for region in np.unique(views.home[leds]).tolist():
        own = leds[views.home[leds] == region]
        if plan.convex[region] and not scene.has_gap:
            lit = np.zeros_like(direct)
            for led in own.tolist():
                _add(lit, scene.led_cd[led], spread.over_elements(scene.led_xy_mm[led]))
            direct += lit * (elements.region == region)
            continue
        for first in range(0, len(own), _AT_ONCE):
            some = own[first : first + _AT_ONCE]
            shadowed = _shadowed(scene, plan, probes, views, some, spread)
            for led, lux in zip(some.tolist(), shadowed, strict=True):
                _add(direct, scene.led_cd[led], lux)
    return direct


def _add(direct: Floats, led_cd: Floats, lux: Floats) -> None:
    for channel in np.flatnonzero(led_cd).tolist():
        direct[channel] += led_cd[channel] * lux


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


class _Probes:
    """Where elements are asked for what is seen of them: at one point, beside barriers at four of their open part."""

    def __init__(self, elements: Elements) -> None:
        self.elements = elements
        self.x, self.y = np.ascontiguousarray(elements.point.T)
        self.beside = elements.beside & (elements.patch >= 0)
        beside = np.flatnonzero(self.beside)
        self._points = samples_of(elements.grid, beside, 2)
        self._row = np.full(len(elements.patch), -1)
        self._row[beside] = np.arange(len(beside))
        crossed = np.flatnonzero(elements.free.any(axis=1))
        self.crossed = elements.split[crossed]
        # Four spread evenly over the open ones of an element's sample points.
        free = elements.free[crossed]
        order = np.argsort(~free, axis=1, kind="stable")
        wanted = (np.arange(4) * (free.sum(axis=1, keepdims=True) - 1)) // 3
        chosen = np.take_along_axis(order, wanted, axis=1)
        places = samples_of(elements.grid, self.crossed, EDGE_SAMPLES)
        self._points[self._row[self.crossed]] = np.take_along_axis(places, chosen[..., None], 1)

    def seen_of(self, view: Star, asked: Ints) -> Floats:
        """Return how much of each of some elements beside barriers is in sight, in quarters."""
        points = self._points[self._row[asked]].reshape(-1, 2)
        return np.asarray(view.sees(points).reshape(-1, 4).mean(axis=1), float)


class _Asked:
    """Elements an LED may light, by their numbers `which`."""

    def __init__(self, probes: _Probes, which: Ints) -> None:
        self._probes, self.which = probes, which
        self._x, self._y = probes.x[which], probes.y[which]
        self._beside = probes.beside[which]

    def seen(self, view: Star, fine_mm: float) -> tuple[Floats, Flags]:
        """Return how much of each is in sight, and which are near; near ones beside barriers by quarters."""
        x, y = self._x - view.origin[0], self._y - view.origin[1]
        near = x * x + y * y < fine_mm**2
        seen = view.sees_at(x, y).astype(float)
        edge = np.flatnonzero(near & self._beside)
        seen[edge] = self._probes.seen_of(view, self.which[edge])
        return seen, near


def _shadowed(
    scene: Scene, plan: Plan2D, probes: _Probes, views: Views, leds: Ints, spread: _Spread
) -> list[Floats]:
    """Return (elements,) illuminance by each of some LEDs of one region, of 1 cd."""
    elements = probes.elements
    region = int(views.home[leds[0]])
    home = elements.region == region
    own = _Asked(probes, np.flatnonzero(home))
    fine_mm = (_FINE_DEPTHS_OVER if scene.has_gap else _FINE_DEPTHS) * scene.depth_mm
    found, mixed = [], []
    for led, view in zip(leds.tolist(), views.of(leds), strict=True):
        at = scene.led_xy_mm[led]
        # Over a gap light may reach any element within the LED's reach, otherwise only those of its own region.
        some = own
        if scene.has_gap:
            some = _Asked(probes, np.flatnonzero(_within(elements.grid, views.reach(led))))
        asked = some.which
        seen, near = some.seen(view, fine_mm)
        if plan.convex[region]:
            # All of a convex region is in plain sight.
            seen[home[asked]] = 1.0
        lux = spread.over_elements(at)
        # An element that a barrier's outline crosses takes the light in the middle of its open part.
        crossed = probes.crossed
        offset = elements.point[crossed] - at
        lux[crossed] = beam_lux(offset, scene.depth_mm - scene.led_z_mm, scene.led_exponent)
        lit = np.zeros(len(lux))
        lit[asked] = lux[asked] * seen
        found.append(lit)
        # An element wholly under a barrier is answered by the channel over it, or is dark.
        changed = _changes(elements.grid, asked, seen) & near & (elements.patch[asked] >= 0)
        mixed.append(asked[changed])
    shaded = np.flatnonzero([len(which) > 0 for which in mixed])
    if len(shaded):
        which = np.concatenate([mixed[k] for k in shaded.tolist()])
        sizes = [len(mixed[k]) for k in shaded.tolist()]
        who = np.repeat(np.arange(len(shaded)), sizes)
        fine = _fine(scene, elements, views.quarters(leds[shaded]), who, which)
        for k, part in zip(shaded.tolist(), np.split(fine, np.cumsum(sizes)[:-1]), strict=True):
            found[k][mixed[k]] = part
    return found


def _within(grid: Grid, corners: tuple[Floats, Floats]) -> Flags:
    """Return whether each element lies in a rectangle or next to it."""
    (x0, y0), (x1, y1) = corners[0], corners[1]
    across = (grid.x_mm > x0 - 2 * grid.dx_mm) & (grid.x_mm < x1 + 2 * grid.dx_mm)
    down = (grid.y_mm > y0 - 2 * grid.dy_mm) & (grid.y_mm < y1 + 2 * grid.dy_mm)
    return np.asarray((down[:, None] & across).ravel())


def _changes(grid: Grid, asked: Ints, seen: Floats) -> Flags:
    """Return which of the elements `asked` are seen in part, or otherwise than one of their eight neighbours."""
    import cv2

    # Elements not asked differ from none.
    low = np.full(grid.nx * grid.ny, 4, np.uint8)
    high = np.zeros(grid.nx * grid.ny, np.uint8)
    low[asked] = high[asked] = seen * 4
    around = np.ones((3, 3), np.uint8)
    shape = (grid.ny, grid.nx)
    lowest = cv2.erode(low.reshape(shape), around).ravel()[asked]
    highest = cv2.dilate(high.reshape(shape), around).ravel()[asked]
    return np.asarray((lowest < highest) | ((seen > 0) & (seen < 1)))


def _inside(points: Floats, corners: tuple[Floats, Floats]) -> Ints:
    return np.flatnonzero(((points >= corners[0]) & (points <= corners[1])).all(axis=1))


def _fine(
    scene: Scene, elements: Elements, quarters: Iterator[Stars], who: Ints, which: Ints
) -> Floats:
    """Return means of elements `which` (n,) lit by LEDs `who` (n,), by 4 × 4 points and the window's four quarters.

    Each quarter uses the points moved by another quarter of their spacing, which makes 8 × 8 places in all; only
    where a barrier's outline crosses the element they stay, for moved ones could stand in the barrier.
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
    step = step * (weight.min(axis=1) > 0)[:, None, None]
    total = np.zeros(len(which))
    height = scene.depth_mm - scene.led_z_mm
    each = np.repeat(who, points.shape[1])
    for quarter, side in zip(quarters, _CROSSED, strict=True):
        off = points + step * side - quarter.origins[who][:, None]
        lux = beam_lux(off, height, scene.led_exponent)
        seen = quarter.see(each, off[..., 0].ravel(), off[..., 1].ravel()).reshape(weight.shape)
        total += np.einsum("ij,ij,ij->i", lux, seen, weight)
    return np.asarray(total / (len(_QUARTERS) * np.maximum(weight.sum(axis=1), 1)), float)


def direct_at(scene: Scene, views: Views, points: Floats) -> Floats:
    """Return (channels, points) direct illuminance at points under the diffuser, LEDs taken as points [lx]."""
    direct = np.zeros((scene.led_cd.shape[1], len(points)))
    if not len(points):
        return direct
    height = scene.depth_mm - scene.led_z_mm
    reach2 = (_SLOT_REACH_DEPTHS * scene.depth_mm) ** 2
    lit = scene.led_cd.any(axis=1)
    for region in range(views.home.max(initial=-1) + 1):
        leds = np.flatnonzero(lit & (views.home == region))
        if not len(leds):
            continue
        for led, view in zip(leds.tolist(), views.of(leds), strict=True):
            near = _inside(points, views.reach(led))
            near = near[((points[near] - view.origin) ** 2).sum(axis=1) < reach2]
            lux = beam_lux(points[near] - view.origin, height, scene.led_exponent)
            lux *= view.sees(points[near])
            for channel in np.flatnonzero(scene.led_cd[led]).tolist():
                direct[channel, near] += scene.led_cd[led, channel] * lux
    return direct
