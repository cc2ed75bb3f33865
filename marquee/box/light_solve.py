"""The whole light model on a scene: direct light, then what walls, floor and diffuser send on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_direct import direct_lux, region_of
from marquee.box.light_elements import Elements, sort_elements
from marquee.box.light_regions import Plan2D, plan_of
from marquee.box.light_scene import Floats, Scene


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Illuminance:
    """Illuminance under the diffuser, element means: `total_lux` and `direct_lux` (channels, ny, nx)."""

    total_lux: Floats
    direct_lux: Floats
    plan: Plan2D
    elements: Elements
    led_region: NDArray[np.intp]


def illuminate(scene: Scene) -> Illuminance:
    """Return the illuminance a scene's LEDs cause under its diffuser [lx]."""
    plan = plan_of(scene)
    elements = sort_elements(scene, plan)
    direct = direct_lux(scene, plan, elements)
    shape = (-1, scene.grid.ny, scene.grid.nx)
    return Illuminance(
        total_lux=direct.reshape(shape),
        direct_lux=direct.reshape(shape),
        plan=plan,
        elements=elements,
        led_region=region_of(plan, scene.led_xy_mm),
    )
