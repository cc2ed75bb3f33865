"""The grid behind a face: how fine it is, and which zone's apertures each element lies under."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_scene import Grid
from marquee.values import ZoneMap

# Elements per depth: shadows and near-wall gradients are resolved at a tenth of the depth (case studies).
_PER_DEPTH = 10
# Elements across the shorter side at least, elements in all at most, and the finest worth having.
_ACROSS = 30
_MOST = 40_000
_FINEST_MM = 0.75
# Artwork finer than this, or than so many pixels along an element, adds nothing to the question which zone an element
# belongs to.
_PIXEL_MM, _PIXELS_ALONG = 0.15, 20


def grid_for(width_mm: float, height_mm: float, depth_mm: float) -> Grid:
    """Return the grid of a face: a tenth of the depth, at least 30 elements across, at most 40,000 in all."""
    size_mm = max(_FINEST_MM, min(depth_mm / _PER_DEPTH, min(width_mm, height_mm) / _ACROSS))
    size_mm = max(size_mm, (width_mm * height_mm / _MOST) ** 0.5)
    nx, ny = max(1, round(width_mm / size_mm)), max(1, round(height_mm / size_mm))
    dx_mm, dy_mm = width_mm / nx, height_mm / ny
    return Grid(x0_mm=dx_mm / 2, y0_mm=dy_mm / 2, dx_mm=dx_mm, dy_mm=dy_mm, nx=nx, ny=ny)


def zone_of_elements(zone_map: ZoneMap, grid: Grid) -> NDArray[np.int16]:
    """Return (ny, nx) the zone with most aperture pixels in each element, -1 where there is none.

    Any coverage counts, so thin strokes keep their elements. A zone that would get none is given the element
    holding most of its pixels.
    """
    pixel_mm = max(_PIXEL_MM, min(grid.dx_mm, grid.dy_mm) / _PIXELS_ALONG)
    step = max(1, int(pixel_mm / zone_map.mm_per_px))
    pixels = zone_map.zone_of_px[step // 2 :: step, step // 2 :: step]
    row = (np.arange(pixels.shape[0]) * step + step // 2 + 0.5) * zone_map.mm_per_px / grid.dy_mm
    column = (
        (np.arange(pixels.shape[1]) * step + step // 2 + 0.5) * zone_map.mm_per_px / grid.dx_mm
    )
    iy, ix = np.nonzero(pixels >= 0)
    element = np.minimum(row.astype(np.intp), grid.ny - 1)[iy] * grid.nx
    element += np.minimum(column.astype(np.intp), grid.nx - 1)[ix]
    zones = max(len(zone_map.zones), int(pixels.max(initial=-1)) + 1)
    if zones == 0:
        return np.full((grid.ny, grid.nx), -1, np.int16)
    votes = np.bincount(element * zones + pixels[iy, ix], minlength=grid.nx * grid.ny * zones)
    votes = votes.reshape(-1, zones)
    found = np.where(votes.max(axis=1) > 0, votes.argmax(axis=1), -1)
    for zone in np.setdiff1d(np.arange(zones), found):
        if votes[:, zone].any():
            found[votes[:, zone].argmax()] = zone
    return found.reshape(grid.ny, grid.nx).astype(np.int16)
