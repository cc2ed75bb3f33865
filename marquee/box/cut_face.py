"""The face's openings: smooth outlines at the half-lit level, finer than a pixel."""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import NDArray

from marquee.box.cut_curves import polygon_ring, smooth_rings
from marquee.values import ZoneMap
from marquee.values_cut import Opening, Ring
from marquee.values_pixels import Enlarged, as_given

Floats = NDArray[np.float64]
# One array of points per opening, and where its outline and holes begin and end in it.
_OuterOffset = tuple[list[Floats], list[NDArray[np.uint32]]]

# Pixels finer than this are averaged first: nothing is lost that a laser could follow [mm].
_FINE_MM = 0.08
# Curves leave the contour by no more than this share of a pixel, within these limits [mm].
_SHARE_PX, _LEAST_MM, _MOST_MM = 0.22, 0.01, 0.04
# Specks and holes below this are no openings and no islands [mm²] (common practice, no source).
_SPECK_MM2 = 0.05


def find_openings(zone_map: ZoneMap) -> tuple[Opening, ...]:
    """Return the face's openings, top left first; apertures that touch make one opening."""
    import contourpy

    lit, px_mm = _lit(zone_map)
    within = float(np.clip(_SHARE_PX * px_mm, _LEAST_MM, _MOST_MM))
    framed = np.pad(lit, 1)
    generator = contourpy.contour_generator(z=framed, fill_type="OuterOffset")
    points, offsets = cast("_OuterOffset", generator.filled(127.5, 1e6))
    shapes: list[list[Floats]] = []
    for xy, ends in zip(points, offsets, strict=True):
        # The frame added one pixel; a pixel's value stands at its centre.
        rings = [
            (np.asarray(xy[a : b - 1], float) - 0.5) * px_mm
            for a, b in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True)
        ]
        if abs(_area(rings[0])) >= _SPECK_MM2:
            shapes.append(
                [rings[0], *(ring for ring in rings[1:] if abs(_area(ring)) >= _SPECK_MM2)]
            )
    contours = [ring for rings in shapes for ring in rings]
    smooth = iter(smooth_rings(contours, px_mm, within))
    found = [_opening([_checked(next(smooth), ring) for ring in rings]) for rings in shapes]
    found.sort(key=lambda o: _top_left(o.outline))
    return _with_apertures(found, zone_map)


def _lit(zone_map: ZoneMap) -> tuple[NDArray[np.float32], float]:
    """Return how far each pixel is cut, 0 to 255, on a grid no finer than needed, and its pixel [mm]."""
    import cv2

    mm = zone_map.mm_per_px
    if zone_map.lit_8bit is None:
        lit = _any_lit(zone_map, 1).astype(np.uint8) * np.uint8(255)
    else:
        factor = round(zone_map.lit_mm_per_px / mm)
        lit, mm = zone_map.lit_8bit, mm * factor
        # Specks that are no aperture stay closed.
        near = cv2.dilate(_any_lit(zone_map, factor).astype(np.uint8), np.ones((3, 3), np.uint8))
        lit = np.where(near > 0, lit, 0).astype(np.uint8)
    shrink = max(1, int(_FINE_MM * 2 / mm))
    reduced = _reduced(lit, shrink)
    if shrink < 3 and not _has_shares(reduced):
        # Labels only: a slight blur turns their steps into slopes.
        reduced = cv2.GaussianBlur(reduced, (0, 0), 0.8, borderType=cv2.BORDER_REPLICATE)
    # What reaches beyond the face is nothing.
    rows = min(reduced.shape[0], round(zone_map.height_mm / (mm * shrink) + 0.499))
    columns = min(reduced.shape[1], round(zone_map.width_mm / (mm * shrink) + 0.499))
    return reduced[:rows, :columns].astype(np.float32), mm * shrink


def _reduced(picture: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """Return means over factor × factor pixels, the last ones repeated where it does not go up evenly."""
    import cv2

    if factor <= 1:
        return picture
    height, width = picture.shape
    padded = np.pad(picture, ((0, -height % factor), (0, -width % factor)), mode="edge")
    size = (padded.shape[1] // factor, padded.shape[0] // factor)
    scale = 255 if padded.max(initial=0) <= 1 else 1
    return np.asarray(
        cv2.resize(padded * np.uint8(scale), size, interpolation=cv2.INTER_AREA), np.uint8
    )


def _has_shares(lit: NDArray[np.uint8]) -> bool:
    shared = np.count_nonzero((lit > 5) & (lit < 250))
    edges = np.count_nonzero((lit[:, 1:] > 127) != (lit[:, :-1] > 127))
    return bool(shared > 0.3 * edges)


def _opening(rings: list[Ring]) -> Opening:
    area = abs(_area(np.array(rings[0].flat_mm)))
    area -= sum(abs(_area(np.array(r.flat_mm))) for r in rings[1:])
    order = sorted(rings[1:], key=_top_left)
    return Opening(outline=rings[0], holes=tuple(order), apertures=(), area_mm2=float(area))


def _checked(ring: Ring, xy: Floats) -> Ring:
    """Return the smooth ring, or the contour itself where smoothing made it cross itself."""
    import shapely

    if len(ring.flat_mm) > 2 and shapely.Polygon(np.array(ring.flat_mm)).is_valid:
        return ring
    return polygon_ring(xy)


def _area(xy: Floats) -> float:
    x, y = xy.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def _top_left(ring: Ring) -> tuple[float, float]:
    # Rounded: letters on one line stand in reading order, whatever the last digit of their tops is.
    x, y = np.array(ring.flat_mm).min(axis=0).round(6)
    return float(y), float(x)


def _with_apertures(found: list[Opening], zone_map: ZoneMap) -> tuple[Opening, ...]:
    """Return the openings with the ids of the apertures that lie in them."""
    import dataclasses

    import shapely

    if not found:
        return ()
    shapes = [
        shapely.Polygon(np.array(o.outline.flat_mm), [np.array(h.flat_mm) for h in o.holes])
        for o in found
    ]
    places = _inner_points(zone_map)
    tree = shapely.STRtree(shapes)
    which, opening = tree.query_nearest(shapely.points(places), all_matches=False)
    members: list[list[int]] = [[] for _ in found]
    for a, o in zip(which.tolist(), opening.tolist(), strict=True):
        members[o].append(zone_map.apertures[a].id)
    return tuple(
        dataclasses.replace(o, apertures=tuple(sorted(m)))
        for o, m in zip(found, members, strict=True)
    )


def _inner_points(zone_map: ZoneMap) -> Floats:
    """Return a place inside each aperture: its first pixel in reading order."""
    mm = zone_map.mm_per_px
    rows = [round(a.bbox_mm[1] / mm) for a in zone_map.apertures]
    picture = _rows_of(as_given(zone_map, "aperture_of_px"), sorted(set(rows)))
    places = []
    for aperture, y in zip(zone_map.apertures, rows, strict=True):
        own = picture[y] == aperture.id
        x = int(np.argmax(own))
        places.append(((x + 0.5) * mm, (y + 0.5) * mm) if own[x] else aperture.centroid_mm)
    return np.array(places, float).reshape(-1, 2)


def _rows_of(of_px: NDArray[np.int32] | Enlarged, rows: list[int]) -> dict[int, NDArray[np.int32]]:
    """Return some rows of a map without making all of it."""
    if isinstance(of_px, Enlarged):
        return {y: of_px.window(y, y + 1)[0] for y in rows if y < of_px.shape[0]}
    return {y: of_px[y] for y in rows if y < len(of_px)}


def _any_lit(zone_map: ZoneMap, factor: int) -> NDArray[np.bool_]:
    """Return in which blocks of `factor` pixels there is an aperture."""
    of_px = as_given(zone_map, "aperture_of_px")
    if isinstance(of_px, Enlarged) and of_px.factor == factor:
        return of_px.coarse_any()
    return _reduced((zone_map.aperture_of_px >= 0).astype(np.uint8), factor) > 0
