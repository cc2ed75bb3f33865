"""Faces with their walls, and what every partition must hold to by shapely's predicates."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from marquee.box.barriers import build_box
from marquee.project import BoxSettings
from marquee.values import Box, ZoneMap
from tests.box.factory import zone_map

# Half a wall and the clearance of the default settings.
REACH_MM = 1.5 + 1.0
# Walls keep this much more than asked, so that pixels' corners and cutting tolerance are covered:
# half a pixel's diagonal beyond its edge, 0.08 mm margin.
EXTRA_MM = 0.25 * (np.sqrt(0.5) - 0.5) + 0.08


def build(labels: NDArray[np.int16], **stated: str) -> tuple[ZoneMap, Box]:
    zones = zone_map(labels)
    return zones, build_box(zones, BoxSettings.model_validate(stated))


def shapes(box: Box) -> list[shapely.Polygon]:
    return [shapely.Polygon(cell.outline_mm, cell.holes_mm) for cell in box.cells]


def wall_lines(box: Box) -> shapely.Geometry:
    return shapely.union_all([shapely.LineString(wall.path_mm) for wall in box.walls])


def pixel_places(zones: ZoneMap, zone: int) -> NDArray[np.float64]:
    y, x = np.nonzero(zones.zone_of_px == zone)
    return np.stack([(x + 0.5) * zones.mm_per_px, (y + 0.5) * zones.mm_per_px], axis=1)


def assert_partition(zones: ZoneMap, box: Box, within_px: float = 0.5) -> None:
    """Check by shapely's predicates: closed, valid, disjoint, and nothing of the face lost."""
    cells = shapes(box)
    face = shapely.box(0, 0, box.width_mm, box.height_mm)
    for cell, shape in zip(box.cells, cells, strict=True):
        assert shapely.is_valid(shape)
        assert shape.area == pytest.approx(cell.area_mm2, rel=1e-9)
    union = shapely.union_all(cells)
    assert shapely.area(union) == pytest.approx(sum(s.area for s in cells), rel=1e-9)
    walls = shapely.union_all(
        [
            shapely.LineString(w.path_mm).buffer(
                box.wall_thickness_mm / 2, cap_style="square", join_style="mitre", mitre_limit=2
            )
            for w in box.walls
        ]
    )
    walled = shapely.area(shapely.intersection(walls, face))
    assert walled + shapely.area(union) == pytest.approx(face.area, rel=2e-4)
    # Regions between the centre lines hold apertures of one zone only.
    rim = shapely.LinearRing(
        [(0, 0), (box.width_mm, 0), (box.width_mm, box.height_mm), (0, box.height_mm)]
    )
    noded = shapely.union_all([rim, wall_lines(box)]) if box.walls else rim
    regions = list(shapely.get_parts(shapely.polygonize(shapely.get_parts(noded).tolist())))
    for region in regions:
        held = [
            z.id
            for z in zones.zones
            if shapely.contains_xy(
                region.buffer(-within_px * zones.mm_per_px), *pixel_places(zones, z.id).T
            ).any()
        ]
        assert len(held) == 1
    # Every line parts two regions: none is needless, none ends in the open.
    dangles = shapely.get_parts(shapely.polygonize_full([noded])[2])
    assert len(dangles) == 0


def assert_clear(zones: ZoneMap, box: Box, reach_mm: float = REACH_MM) -> None:
    lines = wall_lines(box)
    shapely.prepare(lines)
    for zone in zones.zones:
        places = pixel_places(zones, zone.id)
        h = zones.mm_per_px / 2
        off = shapely.distance(lines, shapely.points(places))
        near = places[off < off.min() + 2 * h]
        squares = shapely.box(near[:, 0] - h, near[:, 1] - h, near[:, 0] + h, near[:, 1] + h)
        assert shapely.distance(lines, squares).min() >= reach_mm
