"""Light through notches at a wall's foot, where a strip passes from cell to cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_beam import wall_flux
from marquee.box.light_elements import Ints
from marquee.box.light_scene import Floats, Scene
from marquee.box.light_walls import Walls

Singles = NDArray[np.float32]
# Columns farther from a notch's middle than this belong to other walls [mm].
_FARTHEST_MM = 30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Notched:
    """Both ends of every notch, in pairs.

    The wall column `here` loses `share` of its lowest patch to the opening, which sends on `passed` of what enters
    the end at `there`. `direct` (ends, channels) is the LEDs' own light on each opening, `direct_on_patch` that on
    the patch it lies in.
    """

    here: Ints
    there: Ints
    share: Floats
    passed: Floats
    direct: Singles
    direct_on_patch: Singles

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
        enters = lit[self.there, 0] - self.direct_on_patch[self._other] + self.direct[self._other]
        change = self.passed[:, None] * enters - reflectance[self.here, None] * lit[self.here, 0]
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
        # A white duct passes about 1 / (1 + t / d) of diffuse light, d = 2 w h / (w + h) (from memory).
        d_mm = 2 * notch.width_mm * height / (notch.width_mm + height)
        for end in ends:
            area = walls.length_mm[end] * (walls.level_mm[end, 1] - walls.level_mm[end, 0])
            here.append(end)
            share.append(min(1.0, notch.width_mm * height / float(area)))
            passed.append(1 / (1 + t_mm / d_mm))
            openings.append(_opening(walls, end, np.array(notch.at_mm), notch.width_mm, height))
    ends_at = np.array(here, np.intp)
    channels = scene.led_cd.shape[1]
    direct = np.zeros((len(here), channels), np.float32)
    on_patch = np.zeros_like(direct)
    for k, opening in enumerate(openings):
        direct[k] = _led_lux(scene, opening, led_region, int(walls.region[here[k]]))
        one = walls.part(ends_at[k : k + 1])
        on_patch[k] = _led_lux(scene, one, led_region, int(walls.region[here[k]]))
    return Notched(
        here=ends_at,
        there=ends_at[np.arange(len(here)) ^ 1],
        share=np.array(share),
        passed=np.array(passed),
        direct=direct,
        direct_on_patch=on_patch,
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


def _led_lux(scene: Scene, wall: Walls, led_region: Ints, region: int) -> Floats:
    """Return (channels,) the LEDs' illuminance on a wall's lowest patch; other walls in the way are ignored."""
    leds = np.flatnonzero(led_region == region)
    height = np.maximum(wall.level_mm[:, :2] - scene.led_z_mm, 0)
    flux = wall_flux(scene.led_xy_mm[leds], wall, height, scene.led_exponent)[:, 0, 0].astype(
        float
    )
    area = float(wall.length_mm[0] * (wall.level_mm[0, 1] - wall.level_mm[0, 0]))
    return np.asarray(flux @ scene.led_cd[leds] * (1e6 / area), float)
