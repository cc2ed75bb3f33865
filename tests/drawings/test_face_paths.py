from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from marquee.artwork.zones import find_zones
from marquee.box.cut_face import find_openings
from marquee.project import ZoneSettings
from marquee.values import Artwork
from marquee.values_cut import Opening
from tests.drawings.made import coverage, face

SIZE = (60.0, 50.0)
# What the drawings promise of any edge [mm].
PROMISED_MM = 0.1
# An eighth of an inch at 150 dots per inch, and the demo's pixel [mm].
PIXELS = (0.1693, 1 / 6, 0.1)


def _shape(opening: Opening) -> shapely.Polygon:
    return shapely.Polygon(opening.outline.flat_mm, [h.flat_mm for h in opening.holes])


def _apart(found: shapely.Polygon, drawn: BaseGeometry) -> float:
    """Return shapely's Hausdorff distance between the two edges, sampled every 1 % of each side."""
    return float(shapely.hausdorff_distance(found.boundary, drawn.boundary, densify=0.01))


def _openings_of(drawn: BaseGeometry, px: float, *, shares: bool = True) -> list[Opening]:
    shapely.prepare(drawn)
    lit = coverage(lambda x, y: shapely.contains_xy(drawn, *np.broadcast_arrays(x, y)), SIZE, px)
    return list(find_openings(face(lit, px, shares=shares)))


@pytest.mark.parametrize("px", PIXELS)
@pytest.mark.parametrize("radius", [1.0, 3.0, 10.0, 20.0])
def test_circles_are_followed_within_a_tenth_of_a_millimetre(px: float, radius: float) -> None:
    drawn = shapely.Point(30.03, 25.07).buffer(radius, quad_segs=200)
    (opening,) = _openings_of(drawn, px)
    assert _apart(_shape(opening), drawn) <= PROMISED_MM
    assert opening.area_mm2 == pytest.approx(
        math.pi * radius**2, rel=0.005 if radius > 2 else 0.02
    )


@pytest.mark.parametrize("px", PIXELS)
@pytest.mark.parametrize("degrees", [0, 7, 22.5, 45, 61])
def test_squares_at_any_angle_keep_their_edges_and_corners(px: float, degrees: float) -> None:
    drawn = affinity.rotate(shapely.box(20.02, 15.05, 40.04, 35.01), degrees)
    (opening,) = _openings_of(drawn, px)
    assert _apart(_shape(opening), drawn) <= PROMISED_MM
    assert opening.area_mm2 == pytest.approx(drawn.area, rel=0.005)


@pytest.mark.parametrize("points", [5, 8])
def test_stars_keep_their_tips_and_notches(points: int) -> None:
    turn = np.arange(2 * points) * np.pi / points + 0.1
    reach = np.where(np.arange(2 * points) % 2 == 0, 20, 9)
    drawn = shapely.Polygon(
        np.stack([30 + reach * np.cos(turn), 25 + reach * np.sin(turn)], axis=1)
    )
    (opening,) = _openings_of(drawn, 1 / 6)
    assert _apart(_shape(opening), drawn) <= PROMISED_MM


def test_a_ring_is_one_opening_with_an_island_that_turns_the_other_way() -> None:
    middle = shapely.Point(30, 25)
    drawn = middle.buffer(15, quad_segs=200).difference(middle.buffer(9, quad_segs=200))
    (opening,) = _openings_of(drawn, 1 / 6)
    assert len(opening.holes) == 1
    assert _apart(_shape(opening), drawn) <= PROMISED_MM
    outer, inner = (
        shapely.LinearRing(r.flat_mm).is_ccw for r in (opening.outline, opening.holes[0])
    )
    assert outer != inner


def test_edges_known_to_whole_pixels_only_are_still_followed_within_a_pixel() -> None:
    drawn = shapely.Point(30.03, 25.07).buffer(12, quad_segs=200)
    (opening,) = _openings_of(drawn, 1 / 6, shares=False)
    assert _apart(_shape(opening), drawn) <= 1 / 6


def test_curves_are_few_and_join_without_kinks_on_a_circle() -> None:
    drawn = shapely.Point(30.03, 25.07).buffer(20, quad_segs=400)
    (opening,) = _openings_of(drawn, 1 / 6)
    ring = opening.outline
    # No more than one for every 3 mm, a sixth of the contour's points.
    assert len(ring.curves) <= 2 * math.pi * 20 / 3
    ends = [ring.start, *((c[4], c[5]) for c in ring.curves)]
    assert np.hypot(*np.subtract(ends[0], ends[-1])) < 1e-9
    arriving = [math.atan2(c[5] - c[3], c[4] - c[2]) for c in ring.curves]
    leaving = [
        math.atan2(c[1] - p[1], c[0] - p[0]) for c, p in zip(ring.curves, ends[:-1], strict=True)
    ]
    for a, b in zip(arriving, leaving[1:] + leaving[:1], strict=True):
        assert abs((a - b + math.pi) % (2 * math.pi) - math.pi) < math.radians(1)


def _picture(drawn: BaseGeometry, px: float) -> Artwork:
    shapely.prepare(drawn)
    lit = coverage(
        lambda x, y: shapely.contains_xy(drawn, *np.broadcast_arrays(x, y)),
        SIZE,
        px,
        fine=5 if px > 0.05 else 2,
    )
    mixed = lit[..., None] * np.array([240, 170, 40])
    return Artwork(
        srgb_8bit=np.rint(mixed).astype(np.uint8),
        alpha_8bit=None,
        mm_per_px=px,
        file="shape.png",
        sha256="0" * 64,
    )


@pytest.mark.parametrize("px", [1 / 6, 0.1, 0.03])
def test_edges_of_a_picture_end_where_they_were_drawn(px: float) -> None:
    drawn = affinity.rotate(shapely.box(20.02, 15.05, 40.04, 35.01), 13).union(
        shapely.Point(44, 12).buffer(7, quad_segs=200)
    )
    zone_map = find_zones(_picture(drawn, px), ZoneSettings(), (), 3.0)
    found = shapely.union_all([_shape(o) for o in find_openings(zone_map)])
    assert shapely.hausdorff_distance(found.boundary, drawn.boundary, densify=0.01) <= PROMISED_MM
    assert found.area == pytest.approx(sum(z.area_mm2 for z in zone_map.zones), rel=0.005)


def test_colours_that_touch_are_cut_as_one_opening() -> None:
    px = 1 / 6
    pixels = np.zeros((round(50 / px), round(60 / px), 3), np.uint8)
    pixels[60:200, 60:160] = (240, 60, 40)
    pixels[60:200, 160:260] = (40, 90, 240)
    artwork = Artwork(srgb_8bit=pixels, alpha_8bit=None, mm_per_px=px, file="a", sha256="0" * 64)
    zone_map = find_zones(artwork, ZoneSettings(), (), 3.0)
    (opening,) = find_openings(zone_map)
    assert opening.apertures == (0, 1)
    assert _shape(opening).area == pytest.approx(200 * 140 * px**2, rel=0.005)


def test_every_aperture_is_in_one_opening_on_the_demos_face() -> None:
    from pathlib import Path

    import marquee
    from marquee.artwork.read import read_artwork
    from marquee.project import read_project

    project = read_project(Path(marquee.__file__).parent / "demo" / "project.toml")
    artwork = read_artwork(Path(project.artwork.file), project.artwork)
    zone_map = find_zones(artwork, project.zones, (), 3.0)
    openings = find_openings(zone_map)
    members = sorted(a for o in openings for a in o.apertures)
    assert members == sorted(a.id for a in zone_map.apertures)
    for opening in openings:
        area = sum(zone_map.apertures[a].area_mm2 for a in opening.apertures)
        # Areas of zones count whole pixels; small stars lose up to 1 % to that.
        assert opening.area_mm2 == pytest.approx(area, rel=0.005 if area > 100 else 0.02)
    whole = sum(z.area_mm2 for z in zone_map.zones)
    assert sum(o.area_mm2 for o in openings) == pytest.approx(whole, rel=0.005)
