"""Light through notches at a wall's foot, where a strip passes from cell to cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_beam import wall_flux
from marquee.box.light_elements import Ints
from marquee.box.light_regions import star
from marquee.box.light_scene import Floats, Scene
from marquee.box.light_walls import Walls

Singles = NDArray[np.float32]
# Columns farther from a notch's middle than this belong to other walls [mm].
_FARTHEST_MM = 30.0
# LEDs farther off send next to nothing straight through; rays are taken at so many places across an opening and up.
_STRAIGHT_DEPTHS, _ACROSS, _UP = 8.0, 8, 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Notched:
    """Both ends of every notch, in pairs.

    The wall column `here` loses `share` of its lowest patch to the opening, which sends on `passed` of what enters
    the end at `there`. `direct` (ends, channels) is the LEDs' own light on each opening that does not pass it straight,
    `direct_on_patch` all of it on the patch the opening lies in. `beyond` (columns, layers, channels) is what passes
    straight, as illuminance of the walls it meets.
    """

    here: Ints
    there: Ints
    share: Floats
    passed: Floats
    direct: Singles
    direct_on_patch: Singles
    beyond: Singles

    def pass_on(self, sent: Singles, lit: Singles, reflectance: Floats) -> None:
        """Replace the openings' share of what their wall patches send.

        Parameters
        ----------
        sent : (columns, layers, channels)
            Radiosity, changed in place.
        lit : (columns, layers, channels)
            Illuminance of the patches.
        reflectance : (columns,)
            Of the walls.
        """
        if not len(self.here):
            return
        # Diffuse light is taken as even over the patch; LEDs' own is that of the opening, near the floor.
        diffuse = lit[self.there, 0] - self.direct_on_patch[self._other]
        # LEDs' light that does not pass straight meets the sides, which send half of what they reflect on.
        aside = reflectance[self.here, None] / 2 * self.direct[self._other]
        leaves = self.passed[:, None] * diffuse + aside
        change = leaves - reflectance[self.here, None] * lit[self.here, 0]
        lowest = sent[:, 0]
        for end, amount in zip(self.here.tolist(), self.share[:, None] * change, strict=True):
            lowest[end] += amount

    @property
    def _other(self) -> Ints:
        """The other end of each end: ends are kept in pairs."""
        return np.arange(len(self.here)) ^ 1


def pair_notches(scene: Scene, walls: Walls, led_region: Ints) -> Notched:
    """Return the notches with the wall columns they open in; one that does not pierce a wall is left out."""
    here: list[int] = []
    share: list[float] = []
    passed: list[float] = []
    openings: list[Walls] = []
    for notch in scene.notches:
        ends = _ends(walls, np.array(notch.at_mm))
        if ends is None:
            continue
        t_mm = float(abs((walls.middle[ends[0]] - walls.middle[ends[1]]) @ walls.normal[ends[0]]))
        height = min(notch.height_mm, float(walls.level_mm[ends[0], -2]))
        # A perfectly white duct passes about 1 / (1 + t / d) of diffuse light, d = 2 w h / (w + h) (from memory); what
        # does not pass straight, crossed strings' √(1 + (t/h)²) − t/h, meets its sides and is dimmed by them.
        d_mm = 2 * notch.width_mm * height / (notch.width_mm + height)
        straight = np.hypot(1, t_mm / height) - t_mm / height if height > 0 else 0.0
        white = max(1 / (1 + t_mm / d_mm), straight) if height > 0 else 0.0
        sides = straight + scene.barrier_reflectance * (white - straight)
        for end in ends:
            area = walls.length_mm[end] * (walls.level_mm[end, 1] - walls.level_mm[end, 0])
            here.append(end)
            share.append(min(1.0, notch.width_mm * height / float(area)))
            passed.append(sides)
            openings.append(_opening(walls, end, np.array(notch.at_mm), notch.width_mm, height))
    ends_at = np.array(here, np.intp)
    channels = scene.led_cd.shape[1]
    direct = np.zeros((len(here), channels), np.float32)
    on_patch = np.zeros_like(direct)
    beyond = np.zeros((*walls.area_mm2.shape, channels), np.float32)
    for k, opening in enumerate(openings):
        direct[k] = _led_lux(scene, opening, led_region, int(walls.region[here[k]]))
        direct[k] -= _pass_straight(scene, walls, (opening, here[k ^ 1]), led_region, beyond)
        one = walls.part(ends_at[k : k + 1])
        on_patch[k] = _led_lux(scene, one, led_region, int(walls.region[here[k]]))
    return Notched(
        here=ends_at,
        there=ends_at[np.arange(len(here)) ^ 1],
        share=np.array(share),
        passed=np.array(passed),
        direct=direct,
        direct_on_patch=on_patch,
        beyond=beyond,
    )


def _ends(walls: Walls, at: Floats) -> tuple[int, int] | None:
    """Return the column nearest to the notch and the nearest one that faces the other way, in front of which it lies."""
    s = np.clip(((at - walls.a) * walls.along).sum(axis=1), 0, walls.length_mm)
    gap = np.linalg.norm(walls.a + walls.along * s[:, None] - at, axis=1)
    # The notch's middle lies behind the faces of its wall.
    behind = ((at - walls.middle) * walls.normal).sum(axis=1) <= 1e-6
    gap = np.where(behind, gap, np.inf)
    first = int(gap.argmin())
    facing = walls.normal @ walls.normal[first] < -0.5
    other = np.where(facing, gap, np.inf)
    second = int(other.argmin())
    if not (gap[first] < _FARTHEST_MM and other[second] < _FARTHEST_MM):
        return None
    return first, second


def _opening(walls: Walls, column: int, at: Floats, width_mm: float, height_mm: float) -> Walls:
    one = walls.part(np.array([column]))
    s = float(((at - one.a[0]) * one.along[0]).sum())
    a = one.a + one.along * (s - width_mm / 2)
    return Walls(
        a=a,
        b=a + one.along * width_mm,
        length_mm=np.array([width_mm]),
        along=one.along,
        normal=one.normal,
        region=one.region,
        reflectance=one.reflectance,
        level_mm=np.array([[0.0, height_mm]]),
        opening=one.opening,
    )


def _pass_straight(
    scene: Scene, walls: Walls, ends: tuple[Walls, int], led_region: Ints, beyond: Singles
) -> Floats:
    """Add the LEDs' light that passes a notch straight to the walls it meets; return it as lux of the near opening.

    `ends` are the near opening and the wall column the far one lies in. Rays rise little on their way through, so
    they meet a wall far off, near its foot, and seldom the diffuser; the few that would are counted to the wall's top.
    """
    near, far = ends
    channels = scene.led_cd.shape[1]
    way_out, along = walls.normal[far], walls.along[far]
    leds = scene.led_xy_mm[led_region == int(near.region[0])]
    cd = scene.led_cd[led_region == int(near.region[0])]
    width, height = float(near.length_mm[0]), float(near.level_mm[0, 1]) - scene.led_z_mm
    middle = near.middle[0]
    outside = middle + way_out * float((walls.middle[far] - middle) @ way_out)
    inside, through = (middle - leds) @ way_out, (outside - leds) @ way_out
    close = (inside > 0.1) & (through < _STRAIGHT_DEPTHS * scene.depth_mm)
    if not close.any() or height <= 0:
        return np.zeros(channels)
    leds, cd, inside, through = leds[close], cd[close], inside[close], through[close]
    grid = np.meshgrid(_middles(_ACROSS) * width, (_middles(_UP) + 0.5) * height)
    s, z = (np.asarray(part, float).ravel() for part in grid)
    led_s = ((leds - outside) @ along)[:, None]
    entry = led_s + (s - led_s) * (inside / through)[:, None]
    p = through[:, None]
    r2 = p**2 + (s - led_s) ** 2 + z**2
    area = width * height / len(s)
    flux = z**scene.led_exponent * p / r2 ** ((scene.led_exponent + 3) / 2) * area
    flux = np.where(abs(entry) < width / 2, flux, 0)
    ways = (p[..., None] * way_out + (s - led_s)[..., None] * along).reshape(-1, 2)
    own = np.flatnonzero(walls.region == walls.region[far])
    view = star(outside + 0.01 * way_out, walls.a[own], walls.b[own], np.ones(len(own)))
    which, lengths = view.meets(ways)
    met = np.isfinite(lengths) & (flux.ravel() > 0)
    column = own[which[met]]
    top = np.broadcast_to(z, flux.shape).ravel()[met] * (1 + lengths[met]) + scene.led_z_mm
    full = walls.level_mm.shape[1] - (2 if scene.has_gap else 1)
    layer = (top[:, None] >= walls.level_mm[column][:, 1:full]).sum(axis=1)
    amount = (flux[..., None] * cd[:, None, :]).reshape(-1, channels)[met]
    lux = 1e6 * amount / np.maximum(walls.area_mm2[column, layer], 1e-6)[:, None]
    np.add.at(beyond, (column, layer), lux.astype(np.float32))
    return np.asarray(1e6 * amount.sum(axis=0) / (width * float(near.level_mm[0, 1])), float)


def _middles(parts: int) -> Floats:
    """Return the middles of equal parts of -½ to ½."""
    return np.asarray((np.arange(parts) + 0.5) / parts - 0.5, float)


def _led_lux(scene: Scene, wall: Walls, led_region: Ints, region: int) -> Floats:
    """Return (channels,) the LEDs' illuminance on a wall's lowest patch; other walls in the way are ignored."""
    leds = np.flatnonzero(led_region == region)
    height = np.maximum(wall.level_mm[:, :2] - scene.led_z_mm, 0)
    flux = wall_flux(scene.led_xy_mm[leds], wall, height, scene.led_exponent)[:, 0, 0].astype(
        float
    )
    area = float(wall.length_mm[0] * (wall.level_mm[0, 1] - wall.level_mm[0, 0]))
    return np.asarray(flux @ scene.led_cd[leds] * (1e6 / area), float)
