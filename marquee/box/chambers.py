"""The cells as LEDs meet them: where a package fits, and how far it is to the apertures."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.box.cells import cell_shape
from marquee.box.ground import Floats
from marquee.values import Box, ZoneMap

# Apertures are looked up on a grid of this step [mm].
_LOOK_MM = 1.0


class Chambers:
    """Cells with their apertures.

    `zone` (cells,) are zone ids; `needy` the cells with apertures to light; `half_mm` half the package's side.
    """

    def __init__(self, zone_map: ZoneMap, box: Box, half_mm: float) -> None:
        import shapely

        self.width_mm, self.height_mm, self.half_mm = box.width_mm, box.height_mm, half_mm
        self.reach_mm = box.depth_mm
        self.shapes = [cell_shape(cell) for cell in box.cells]
        shapely.prepare(self.shapes)
        self.zone = np.array([cell.zone for cell in box.cells], np.int16)
        self._tree = shapely.STRtree(self.shapes)
        self._finders: dict[int, Any] = {}
        self.apertures_mm = _apertures_mm(zone_map, self)
        self.needy = np.array(
            [k for k, places in enumerate(self.apertures_mm) if len(places)], np.intp
        )

    def holding(self, xy_mm: Floats) -> NDArray[np.intp]:
        """Return the cell each package at (n, 2) lies in wholly, -1 where it meets a wall or the rim."""
        import shapely

        h = self.half_mm - 1e-9
        x, y = xy_mm[:, 0], xy_mm[:, 1]
        packages = shapely.box(x - h, y - h, x + h, y + h)
        cell = np.full(len(xy_mm), -1, np.intp)
        # Which boxes may lie in which cell, then asked of the cells, which are prepared: three times faster.
        which, shape = self._tree.query(packages)
        for k in np.unique(shape).tolist():
            own = which[shape == k]
            cell[own[shapely.contains(self.shapes[k], packages[own])]] = k
        return cell

    def cell_for(self, xy_mm: Floats, holding: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return the cell each LED is to light: the one holding it, if its apertures are within reach, else -1.

        Reach is one depth: of the light an LED sends to the diffuser, half lands within one depth of the
        point above it, h²/(R² + h²) lying outside radius R. Leaving out LEDs further from every aperture
        of their cell is common practice, no source.
        """
        cell = holding.copy()
        for k in np.unique(cell[cell >= 0]).tolist():
            own = np.flatnonzero(cell == k)
            cell[own[self.off_mm(k, xy_mm[own]) > self.reach_mm]] = -1
        return cell

    def off_mm(self, cell: int, xy_mm: Floats) -> Floats:
        """Return how far each place is from the nearest aperture of a cell [mm]."""
        from scipy.spatial import cKDTree

        if not len(self.apertures_mm[cell]):
            return np.full(len(xy_mm), np.inf)
        if cell not in self._finders:
            self._finders[cell] = cKDTree(self.apertures_mm[cell])
        return np.asarray(self._finders[cell].query(xy_mm)[0])


def _apertures_mm(zone_map: ZoneMap, chambers: Chambers) -> list[Floats]:
    """Return for each cell the places of its own zone's aperture pixels, thinned to the look-up grid."""
    import shapely

    step = max(1, round(_LOOK_MM / zone_map.mm_per_px))
    mm = zone_map.mm_per_px
    found: list[list[Floats]] = [[] for _ in chambers.shapes]
    grid = zone_map.zone_of_px[step // 2 :: step, step // 2 :: step]
    y, x = np.nonzero(grid >= 0)
    xy = np.stack([(x * step + step // 2 + 0.5) * mm, (y * step + step // 2 + 0.5) * mm], axis=1)
    zone = grid[y, x]
    small = [a.centroid_mm for a in zone_map.apertures]
    xy = np.vstack([xy, np.array(small).reshape(-1, 2)])
    zone = np.append(zone, [a.zone for a in zone_map.apertures])
    for k, shape in enumerate(chambers.shapes):
        own = xy[zone == chambers.zone[k]]
        found[k].append(own[shapely.contains_xy(shape, own[:, 0], own[:, 1])])
    return [np.vstack(places) if places else np.zeros((0, 2)) for places in found]
