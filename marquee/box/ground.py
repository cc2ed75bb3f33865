"""The ground walls run on: apertures on a working grid, and the land around each zone that walls stay off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.values import ZoneMap

Floats = NDArray[np.float64]
Labels = NDArray[np.int32]

# The working grid: fine enough for gaps of half a millimetre, small enough for seconds.
_FINEST_PX, _COARSEST_MM = 1_500_000, 0.5
# Corridor left where two zones come nearer than twice the wanted distance [grid px]; a digital line of any
# slope fits straight into it.
_CORRIDOR_PX = 1.3
# Added to the wanted distance, and used up by the simplification of paths.
MARGIN_MM = 0.08


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Apertures on the working grid and the zones' land.

    `aperture` (ny, nx) holds zone ids, -1 elsewhere; `land` the same grown to the distance walls keep;
    `depth_mm` (ny, nx) is how far inside some zone's land a place is, negative outside. Pixel [j, i] is
    centred at ((i + ½)·step_mm, (j + ½)·step_mm). `shore_mm` (n, 2) are the corners of all land, `shore_zone`
    (n,) whose land it is. `witness_px` are rows and columns of pixels that speak for all apertures.
    """

    step_mm: float
    width_mm: float
    height_mm: float
    aperture: Labels
    land: Labels
    nearest: Labels
    depth_mm: NDArray[np.float32]
    shore_mm: Floats
    shore_zone: Labels
    witness_px: tuple[NDArray[np.intp], NDArray[np.intp]]


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
    aperture, step_mm = _working_grid(zone_map)
    slack_mm = _CORRIDOR_PX * max(step_mm, min(zone_map.mm_per_px, _COARSEST_MM))
    # Distances are between pixel centres; a pixel's corner is half its diagonal further out.
    reach_mm = reach_mm + step_mm * np.sqrt(0.5) + MARGIN_MM
    nearest = _nearest_zone(aperture)
    depth = np.full(aperture.shape, -np.inf, np.float32)
    land = np.full(aperture.shape, -1, np.int32)
    shores, owners = [], []
    for zone in range(len(zone_map.zones)):
        crop = _crop(aperture == zone, int(np.ceil((2 * reach_mm + slack_mm) / step_mm)) + 2)
        if crop is None:
            continue
        inside = _depth_mm(aperture[crop], zone, step_mm, reach_mm, slack_mm)
        deeper = inside > depth[crop]
        depth[crop][deeper] = inside[deeper]
        grown = deeper & (inside >= -0.75 * step_mm)
        land[crop][grown] = zone
        corners = _shore(inside, crop, step_mm, zone_map)
        shores.append(corners)
        owners.append(np.full(len(corners), zone, np.int32))
    land[aperture >= 0] = aperture[aperture >= 0]
    return Ground(
        step_mm=step_mm,
        width_mm=zone_map.width_mm,
        height_mm=zone_map.height_mm,
        aperture=aperture,
        land=land,
        nearest=nearest,
        depth_mm=depth,
        shore_mm=np.concatenate(shores) if shores else np.zeros((0, 2)),
        shore_zone=np.concatenate(owners) if owners else np.zeros(0, np.int32),
        witness_px=_witnesses(aperture),
    )


def _working_grid(zone_map: ZoneMap) -> tuple[Labels, float]:
    zone_of_px, mm = zone_map.zone_of_px, zone_map.mm_per_px
    finest = _FINEST_PX
    shrink = int(np.ceil(np.sqrt(zone_of_px.size / finest))) if zone_of_px.size > finest else 1
    if shrink > 1:
        return _shrunk(zone_of_px, shrink), mm * shrink
    enlarge = max(1, int(np.ceil(mm / _COARSEST_MM)))
    while enlarge > 1 and zone_of_px.size * enlarge**2 > finest:
        enlarge -= 1
    grid = np.repeat(np.repeat(zone_of_px, enlarge, axis=0), enlarge, axis=1)
    return grid.astype(np.int32), mm / enlarge


def _shrunk(zone_of_px: NDArray[np.int16], shrink: int) -> Labels:
    """Return blocks' zones: lit where any pixel is lit, so that walls never come nearer than asked."""
    height, width = zone_of_px.shape
    rows, columns = -(-height // shrink), -(-width // shrink)
    largest = np.full((rows, columns), -1, np.int32)
    for dy in range(shrink):
        for dx in range(shrink):
            part = zone_of_px[dy::shrink, dx::shrink]
            view = largest[: part.shape[0], : part.shape[1]]
            np.maximum(view, part, out=view)
    middle = zone_of_px[shrink // 2 :: shrink, shrink // 2 :: shrink]
    view = largest[: middle.shape[0], : middle.shape[1]]
    view[middle >= 0] = middle[middle >= 0]
    return largest


def _nearest_zone(aperture: Labels) -> Labels:
    """Return each pixel's nearest zone (the equal-distance partition)."""
    import cv2

    free = (aperture < 0).astype(np.uint8)
    _, number = cv2.distanceTransformWithLabels(
        free, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    zone_of_number = np.full(int(number.max()) + 1, -1, np.int32)
    lit = aperture >= 0
    zone_of_number[number[lit]] = aperture[lit]
    return np.asarray(zone_of_number[number], np.int32)


def _witnesses(aperture: Labels) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows and columns of one pixel of every connected part and of a spread of the others."""
    import cv2

    lit = np.flatnonzero(aperture >= 0)
    chosen = [lit[:: max(1, len(lit) // 10_000)]]
    zones = aperture.ravel()[lit]
    for zone in np.flatnonzero(np.bincount(zones, minlength=1)).tolist():
        count, part = cv2.connectedComponents((aperture == zone).astype(np.uint8))
        own = lit[zones == zone]
        first = np.zeros(count, np.intp)
        first[part.ravel()[own]] = own
        chosen.append(first[1:])
    rows, columns = np.unravel_index(np.unique(np.concatenate(chosen)), aperture.shape)
    return rows, columns


def _crop(mask: NDArray[np.bool_], margin_px: int) -> tuple[slice, slice] | None:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return None
    return (
        slice(max(rows[0] - margin_px, 0), rows[-1] + margin_px + 1),
        slice(max(columns[0] - margin_px, 0), columns[-1] + margin_px + 1),
    )


def _depth_mm(
    aperture: Labels, zone: int, step_mm: float, reach_mm: float, slack_mm: float
) -> NDArray[np.float32]:
    """Return how far inside the zone's land each pixel is [mm]."""
    own, other = aperture == zone, (aperture >= 0) & (aperture != zone)
    off = _distance_mm(own, step_mm)
    depth = reach_mm - off
    if other.any():
        depth = np.minimum(depth, _distance_mm(other, step_mm) - off - slack_mm)
    # A pixel of an aperture is always land, however near the next colour.
    return np.asarray(np.where(own, np.maximum(depth, 0.1 * step_mm), depth), np.float32)


def _distance_mm(mask: NDArray[np.bool_], step_mm: float) -> NDArray[np.float32]:
    import cv2

    far = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(far * np.float32(step_mm), np.float32)


def _shore(
    depth_mm: NDArray[np.float32], crop: tuple[slice, slice], step_mm: float, zone_map: ZoneMap
) -> Floats:
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
