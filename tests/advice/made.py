from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.colour.parts import load_part
from marquee.plan import Plan, plan_stages
from marquee.project import make_project
from marquee.values import Artwork


def artwork(pixels: NDArray[np.uint8], mm_per_px: float) -> Artwork:
    """Return drawn pixels as artwork."""
    return Artwork(
        srgb_8bit=pixels, alpha_8bit=None, mm_per_px=mm_per_px, file="drawn.png", sha256="0" * 64
    )


def planned(pixels: NDArray[np.uint8], mm_per_px: float, **tables: dict[str, Any]) -> Plan:
    """Return the whole pipeline's plan of drawn pixels with these tables of a project file."""
    width_mm = pixels.shape[1] * mm_per_px
    raw = {"artwork": {"file": "drawn.png", "width": f"{width_mm}mm"}, **tables}
    project = make_project(raw, "test")
    return plan_stages(project, artwork(pixels, mm_per_px), (), load_part(project.leds.part))


Rgb = tuple[int, int, int]


def two_blocks(left: Rgb = (24, 184, 168), right: Rgb = (255, 158, 30)) -> NDArray[np.uint8]:
    """Return a 160 × 60 face at 1 mm a pixel: two blocks, teal and amber if nothing is said, 8 mm apart."""
    pixels = np.zeros((60, 160, 3), np.uint8)
    pixels[8:52, 8:76] = left
    pixels[8:52, 84:152] = right
    return pixels


def one_block(side: int) -> NDArray[np.uint8]:
    """Return a square face lit white all over but for a rim of one pixel."""
    pixels = np.zeros((side, side, 3), np.uint8)
    pixels[1:-1, 1:-1] = 255
    return pixels
