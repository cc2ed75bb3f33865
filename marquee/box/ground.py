"""The ground walls run on: apertures on a working grid, and the land around each zone that walls stay off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.working_grid import COARSEST_MM, working_grid
from marquee.values import ZoneMap

Floats = NDArray[np.float64]
Labels = NDArray[np.int32]
Singles = NDArray[np.float32]
Mask = NDArray[np.bool_]
Crop = tuple[slice, slice]
# Zone and crop → how far each place is from the zone and from all others [mm].
Distances = Callable[[int, Crop], tuple[Singles, Singles]]

# Corridor left where two zones come nearer than twice the wanted distance [grid px]; a digital line of any
# slope fits straight into it.
_CORRIDOR_PX = 1.3
# Added to the wanted distance, and used up by the simplification of paths.
MARGIN_MM = 0.08


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Apertures on the working grid and the zones' land.

    `zones` are the ids of those with apertures. `aperture` (ny, nx) holds zone ids, -1 elsewhere; `land` the same grown to the distance walls keep;
    `depth_mm` (ny, nx) is how far inside some zone's land a place is, negative outside. Pixel [j, i] is
    centred at ((i + ½)·step_mm, (j + ½)·step_mm). `shore_mm` (n, 2) are the corners of all land, `shore_zone`
    (n,) whose land it is. `witnesses` are points [mm] that speak for all apertures, of the zones `witness_zone`.
    """

    step_mm: float
    width_mm: float
    height_mm: float
    zones: tuple[int, ...]
    aperture: Labels
    land: Labels
    nearest: Labels
    depth_mm: Singles
    shore_mm: Floats
    shore_zone: Labels
    witnesses: NDArray[np.object_]
    witness_zone: Labels


def survey(zone_map: ZoneMap, reach_mm: float) -> Ground:
    """Return the ground for walls whose centre line keeps `reach_mm` from apertures where there is room.

    Where two zones come nearer than twice that, their land ends half way between them, so that a wall can only
    run centred in the gap.

    Parameters
    ----------
    zone_map : ZoneMap
    reach_mm : float
        Clearance and half the wall's thickness [mm].
    """
    import shapely

    aperture, step_mm = working_grid(zone_map)
    slack_mm = _CORRIDOR_PX * max(step_mm, min(zone_map.mm_per_px, COARSEST_MM))
    # Distances are between pixel centres; a pixel's corner is half its diagonal further out.
    reach_mm = reach_mm + step_mm * np.sqrt(0.5) + MARGIN_MM
    zones = tuple(np.flatnonzero(np.bincount(aperture.ravel() + 1)[1:]).tolist())
    off_mm = _off_mm(aperture, zones, step_mm)
    margin_px = int(np.ceil((2 * reach_mm + slack_mm) / step_mm)) + 2
    depth = np.full(aperture.shape, -np.inf, np.float32)
    land = np.full(aperture.shape, -1, np.int32)
    shores, owners = [], []
    for zone in zones:
        own = aperture == zone
        crop = _crop(own, margin_px)
        inside = _depth_mm(own[crop], off_mm(zone, crop), reach_mm, slack_mm, step_mm)
        deeper = inside > depth[crop]
        np.copyto(depth[crop], inside, where=deeper)
        np.copyto(land[crop], zone, where=deeper & (inside >= -0.75 * step_mm))
        corners = _shore(inside, crop, step_mm, zone_map)
        shores.append(corners)
        owners.append(np.full(len(corners), zone, np.int32))
    np.copyto(land, aperture, where=aperture >= 0)
    rows, columns = _witnesses(aperture, zones)
    return Ground(
        step_mm=step_mm,
        width_mm=zone_map.width_mm,
        height_mm=zone_map.height_mm,
        zones=zones,
        aperture=aperture,
        land=land,
        nearest=_nearest_zone(aperture, zones, off_mm),
        depth_mm=depth,
        shore_mm=np.concatenate(shores) if shores else np.zeros((0, 2)),
        shore_zone=np.concatenate(owners) if owners else np.zeros(0, np.int32),
        witnesses=np.asarray(
            shapely.points((columns + 0.5) * step_mm, (rows + 0.5) * step_mm), np.object_
        ),
        witness_zone=aperture[rows, columns],
    )


def _off_mm(aperture: Labels, zones: tuple[int, ...], step_mm: float) -> Distances:
    """Return what tells how far places of a crop are from a zone, and from all others [mm]."""
    if len(zones) == 2:
        # Each zone is all others of the other one.
        far = [_distance_mm(aperture == zone, step_mm) for zone in zones]
        return lambda zone, crop: (far[zones.index(zone)][crop], far[1 - zones.index(zone)][crop])

    def measured(zone: int, crop: Crop) -> tuple[Singles, Singles]:
        own = aperture[crop] == zone
        rest = (aperture[crop] >= 0) & ~own
        off = _distance_mm(own, step_mm)
        return off, _distance_mm(rest, step_mm) if rest.any() else np.full_like(off, np.inf)

    return measured


def _nearest_zone(aperture: Labels, zones: tuple[int, ...], off_mm: Distances) -> Labels:
    """Return each pixel's nearest zone (the equal-distance partition)."""
    import cv2

    if len(zones) == 2:
        one, other = zones
        far, far_other = off_mm(one, (slice(None), slice(None)))
        return np.where(far_other < far, np.int32(other), np.int32(one))
    free = (aperture < 0).astype(np.uint8)
    _, number = cv2.distanceTransformWithLabels(
        free, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    zone_of_number = np.full(int(number.max()) + 1, -1, np.int32)
    lit = aperture >= 0
    zone_of_number[number[lit]] = aperture[lit]
    return np.asarray(zone_of_number[number], np.int32)


def _witnesses(
    aperture: Labels, zones: tuple[int, ...]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows and columns of one pixel of every connected part and of a spread of the others."""
    import cv2

    lit = np.flatnonzero(aperture >= 0)
    chosen = [lit[:: max(1, len(lit) // 10_000)]]
    labels = aperture.ravel()[lit]
    for zone in zones:
        count, part = cv2.connectedComponents((aperture == zone).astype(np.uint8))
        own = lit[labels == zone]
        first = np.zeros(count, np.intp)
        first[part.ravel()[own]] = own
        chosen.append(first[1:])
    rows, columns = np.unravel_index(np.unique(np.concatenate(chosen)), aperture.shape)
    return rows, columns


def _crop(mask: Mask, margin_px: int) -> Crop:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(rows[0] - margin_px, 0), rows[-1] + margin_px + 1),
        slice(max(columns[0] - margin_px, 0), columns[-1] + margin_px + 1),
    )


def _depth_mm(
    own: Mask, off_mm: tuple[Singles, Singles], reach_mm: float, slack_mm: float, step_mm: float
) -> Singles:
    """Return how far inside the zone's land each pixel is, which is `off_mm` its apertures and those of others [mm]."""
    off, other = off_mm
    depth = np.minimum(np.float32(reach_mm), other - np.float32(slack_mm)) - off
    # A pixel of an aperture is always land, however near the next colour.
    return np.asarray(
        np.where(own, np.maximum(depth, np.float32(0.1 * step_mm)), depth), np.float32
    )


def _distance_mm(mask: Mask, step_mm: float) -> Singles:
    import cv2

    far = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(far * np.float32(step_mm), np.float32)


def _shore(depth_mm: Singles, crop: Crop, step_mm: float, zone_map: ZoneMap) -> Floats:
    """Return the corners of the land's outline [mm], with points between them on long straight edges."""
    import contourpy
    import shapely

    y0, x0 = crop[0].start, crop[1].start
    padded = np.pad(depth_mm, 1, constant_values=-step_mm)
    lines = contourpy.contour_generator(z=padded).lines(0.0)
    if not lines:
        return np.zeros((0, 2))
    rings = [shapely.LineString(np.asarray(line)) for line in lines if len(line) > 1]
    thinned = shapely.segmentize(shapely.simplify(rings, 0.02 / step_mm), 2.0 / step_mm)
    xy = shapely.get_coordinates(thinned)
    xy = (xy - 1 + (x0, y0) + 0.5) * step_mm
    xy[:, 0] = np.clip(xy[:, 0], 0, zone_map.width_mm)
    xy[:, 1] = np.clip(xy[:, 1], 0, zone_map.height_mm)
    return np.unique(xy, axis=0)
