"""Where the face lies on a sheet, and the finer canvas its shapes are drawn on before being averaged down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from marquee.outputs.pictures.sheet import filled, sixteenths
from marquee.outputs.pictures.style import Rgb

# Canvas pixels per sheet pixel, each way.
FINER = 3
_SHIFT = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A face on a sheet: its rectangle [px] and scale; mirrored when seen from behind."""

    x: int
    y: int
    width_px: int
    height_px: int
    px_per_mm: float
    mirrored: bool = False

    def at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Return sheet coordinates of a place on the face."""
        across = x_mm * self.px_per_mm
        return (
            self.x + (self.width_px - across if self.mirrored else across),
            self.y + y_mm * self.px_per_mm,
        )

    def holds(self, x_px: float, y_px: float) -> bool:
        """Return whether a place on the sheet is on the face."""
        return (
            self.x <= x_px <= self.x + self.width_px and self.y <= y_px <= self.y + self.height_px
        )


def fit_view(size_mm: tuple[float, float], most_px: tuple[float, float], x: int, y: int) -> View:
    """Return the largest view of a face (width, height in mm) within `most_px`, top left at (x, y)."""
    width_px = max(1, int(min(most_px[0], most_px[1] * size_mm[0] / size_mm[1])))
    scale = width_px / size_mm[0]
    height_px = max(1, round(size_mm[1] * scale))
    return View(x=x, y=y, width_px=width_px, height_px=height_px, px_per_mm=scale)


class Canvas:
    """A face drawn `FINER` times finer than the sheet; lengths and places in mm of the face."""

    def __init__(self, view: View, colour: Rgb) -> None:
        self.scale = view.px_per_mm * FINER
        self.size = (view.width_px, view.height_px)
        self.pixels = filled(view.height_px * FINER, view.width_px * FINER, colour)

    def stripes(self, colour: Rgb, every_px: float, width_px: float, slope: int = 1) -> None:
        """Lay diagonal stripes over everything; widths in sheet pixels."""
        height, width = self.pixels.shape[:2]
        every = round(every_px * FINER)
        # One row longer than the canvas by a period: every row of the canvas is a stretch of it.
        row = np.arange(width + every) % every < round(width_px * FINER)
        starts = slope * np.arange(height) % every
        self.lay(sliding_window_view(row, width)[starts], colour)

    def lay(self, where: NDArray[np.bool_] | NDArray[np.uint8], colour: Rgb) -> None:
        """Give all places where a mask of the canvas is not 0 one colour."""
        height, width = self.pixels.shape[:2]
        solid = filled(height, width, colour)
        self.pixels = cv2.copyTo(solid, where.view(np.uint8), self.pixels)

    def path(
        self,
        points_mm: Sequence[tuple[float, float]],
        colour: Rgb,
        width_mm: float,
        least_px: float,
    ) -> None:
        """Draw a line of true width, though never thinner than `least_px` of the sheet."""
        width = max(1, round(max(width_mm * self.scale, least_px * FINER)))
        fixed = [sixteenths(np.asarray(points_mm, float) * self.scale)]
        cv2.polylines(self.pixels, fixed, False, colour, width, cv2.LINE_8, _SHIFT)

    def areas(self, rings_mm: Sequence[Sequence[tuple[float, float]]], colour: Rgb) -> None:
        """Fill an outline and leave its holes (all rings of one area, even-odd)."""
        fixed = [sixteenths(np.asarray(ring, float) * self.scale) for ring in rings_mm]
        cv2.fillPoly(self.pixels, fixed, colour, cv2.LINE_8, _SHIFT)

    def dots(
        self, places_mm: NDArray[np.float64], radius_mm: float, colours: Sequence[Rgb]
    ) -> None:
        """Fill one disc for each place."""
        radius = round(radius_mm * self.scale * (1 << _SHIFT))
        centres = sixteenths(places_mm * self.scale).tolist()
        for centre, colour in zip(centres, colours, strict=True):
            cv2.circle(self.pixels, centre, radius, colour, -1, cv2.LINE_8, _SHIFT)

    def reduced(self) -> NDArray[np.uint8]:
        """Return the drawing at the sheet's resolution."""
        small: NDArray[np.uint8] = cv2.resize(self.pixels, self.size, interpolation=cv2.INTER_AREA)
        return small
