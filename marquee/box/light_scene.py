"""What the light model is told: a box, its reflectances, barriers, LEDs and the grid it answers on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.errors import QuantityError

Floats = NDArray[np.float64]
Ring = tuple[tuple[float, float], ...]

# Patches are a third of a depth wide while they are no more than these, which keeps memory below 1 GB. Halves of a
# depth raise errors near free ends of walls by a third; quarters gain little.
_WANTED_PATCHES = 2000
# Time grows with the square of the patches: more than these are never taken, though indirect light is then coarser
# than the half depth that the reference cases were met with.
_MOST_PATCHES = 2500
# Light leaves a 5050 package through a round window of about this width (from memory).
LED_WINDOW_MM = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Barrier:
    """Opaque partition: footprint rings on the face plane and how far its top stays below the diffuser."""

    footprints_mm: tuple[Ring, ...]
    gap_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Notch:
    """Opening at a wall's foot where a strip passes: middle of the wall there, and the opening's size."""

    at_mm: tuple[float, float]
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Elements under the diffuser: `x0_mm`, `y0_mm` is the centre of element [0, 0]."""

    x0_mm: float
    y0_mm: float
    dx_mm: float
    dy_mm: float
    nx: int
    ny: int

    @property
    def x_mm(self) -> Floats:
        """Element centres along x [mm]."""
        return np.asarray(self.x0_mm + self.dx_mm * np.arange(self.nx), float)

    @property
    def y_mm(self) -> Floats:
        """Element centres along y [mm]."""
        return np.asarray(self.y0_mm + self.dy_mm * np.arange(self.ny), float)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """A closed box seen from the front, LEDs on its back, the diffuser as its front.

    `led_xy_mm` is (leds, 2) and `led_cd` (leds, channels): intensity on axis. It falls off with the angle from the
    axis as cos to the power `led_exponent`, 1 for Lambertian LEDs. A channel may be a colour or a zone. Reflectances are diffuse, 0 to below 1. `led_z_mm` is how far the
    emitting face stands off the back. `patch_depths` is how wide patches are in small boxes, in depths.
    """

    width_mm: float
    height_mm: float
    depth_mm: float
    floor_reflectance: float
    rim_reflectance: float
    barrier_reflectance: float
    diffuser_reflectance: float
    led_xy_mm: Floats
    led_cd: Floats
    grid: Grid
    barriers: tuple[Barrier, ...] = ()
    notches: tuple[Notch, ...] = ()
    led_z_mm: float = 0.0
    led_window_mm: float = LED_WINDOW_MM
    led_exponent: float = 1.0
    patch_depths: float = 1 / 3

    def __post_init__(self) -> None:
        _check_box(self)
        _check_reflectances(self)
        _check_leds(self)

    @property
    def patch_mm(self) -> float:
        """Side of the patches of floor and diffuser [mm].

        A third of the depth unless told otherwise, up to a half in wide boxes, and more where the box is 50 depths across.
        """
        area_mm2 = self.width_mm * self.height_mm
        wanted_mm = math.sqrt(area_mm2 / _WANTED_PATCHES)
        fine_mm = min(max(wanted_mm, self.depth_mm * self.patch_depths), self.depth_mm / 2)
        return max(fine_mm, math.sqrt(area_mm2 / _MOST_PATCHES))

    @property
    def has_gap(self) -> bool:
        """Whether any barrier stops short of the diffuser."""
        return any(barrier.gap_mm > 0 for barrier in self.barriers)


def _check_box(scene: Scene) -> None:
    for name, value in (("width", scene.width_mm), ("height", scene.height_mm)):
        if not value > 0:
            raise QuantityError(
                f"box {name}", f"{value:g} mm is not above zero", "give the size of the box"
            )
    if not scene.depth_mm > 0:
        raise QuantityError(
            "box.depth",
            f"{scene.depth_mm:g} mm leaves no room between LEDs and diffuser",
            'give the distance from the LEDs to the diffuser, such as depth = "40mm"',
        )
    if scene.led_z_mm >= scene.depth_mm:
        raise QuantityError(
            "box.depth",
            f"LEDs standing {scene.led_z_mm:g} mm off the back reach the diffuser at {scene.depth_mm:g} mm",
            "make the box deeper",
        )
    for barrier in scene.barriers:
        if not 0 <= barrier.gap_mm < scene.depth_mm:
            raise QuantityError(
                "box.wall_gap",
                f"{barrier.gap_mm:g} mm is not between 0 and the depth of {scene.depth_mm:g} mm",
                "make the gap smaller or the box deeper",
            )


def _check_reflectances(scene: Scene) -> None:
    for name, value in (
        ("of the floor", scene.floor_reflectance),
        ("of the box sides", scene.rim_reflectance),
        ("of the barriers", scene.barrier_reflectance),
        ("of the diffuser's underside", scene.diffuser_reflectance),
    ):
        if not 0 <= value < 1:
            raise QuantityError(
                f"reflectance {name}",
                f"{value:g} is not within 0 and below 1",
                "give the share of light sent back, such as 0.8 for matt white paint",
            )


def _check_leds(scene: Scene) -> None:
    x_mm, y_mm = scene.led_xy_mm[:, 0], scene.led_xy_mm[:, 1]
    inside = (x_mm >= 0) & (x_mm <= scene.width_mm) & (y_mm >= 0) & (y_mm <= scene.height_mm)
    outside = np.flatnonzero(~inside)
    if outside.size:
        k = int(outside[0])
        raise QuantityError(
            f"LED {k}",
            f"lies at {x_mm[k]:.1f}, {y_mm[k]:.1f} mm, outside the box of {scene.width_mm:g} × {scene.height_mm:g} mm",
            "move it inside or make the box larger",
        )
