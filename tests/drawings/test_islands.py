from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from shapely.geometry.base import BaseGeometry

from marquee.outputs.pictures.style import font
from marquee.values import ZoneMap
from marquee.values_cut import CutPlan
from tests.drawings.made import box, coverage, face, planned, rows

PX = 0.25
# Closed counters of capitals and figures in an upright sans-serif: what everyone can see in the letter.
COUNTERS = {
    "O": 1,
    "B": 2,
    "R": 1,
    "A": 1,
    "D": 1,
    "P": 1,
    "Q": 1,
    "8": 2,
    "6": 1,
    "C": 0,
    "W": 0,
    "H": 0,
}


def _letters(text: str) -> NDArray[np.float64]:
    big = 4
    shape = font(60 * big, bold=True)
    left, top, right, bottom = shape.getbbox(text)
    size = (int(right - left) + 80 * big, int(bottom - top) + 60 * big)
    size = (size[0] - size[0] % big, size[1] - size[1] % big)
    picture = Image.new("L", size, 0)
    ImageDraw.Draw(picture).text((40 * big - left, 30 * big - top), text, font=shape, fill=255)
    pixels = np.asarray(picture, float) / 255
    rows, columns = pixels.shape[0] // big, pixels.shape[1] // big
    return np.asarray(pixels.reshape(rows, big, columns, big).mean(axis=(1, 3)))


def _cut(zone_map: ZoneMap, **settings: object) -> CutPlan:
    size = (zone_map.width_mm, zone_map.height_mm)
    return planned(box(size=size), None, zone_map, **settings)


def _solid(cut: CutPlan) -> BaseGeometry:
    openings = [
        shapely.Polygon(o.outline.flat_mm, [h.flat_mm for h in o.holes]) for o in cut.openings
    ]
    return shapely.box(0, 0, cut.width_mm, cut.height_mm).difference(shapely.union_all(openings))


@pytest.mark.parametrize(("letter", "count"), COUNTERS.items(), ids=COUNTERS)
def test_counters_of_letters_are_found_as_islands(letter: str, count: int) -> None:
    cut = _cut(face(_letters(letter), PX))
    assert len(cut.islands) == count
    assert [f.code for f in cut.findings if f.code == "cut.island"] == ["cut.island"] * bool(count)


@pytest.mark.parametrize("text", ["O", "B8", "ORB"])
def test_cut_bridges_leave_the_face_in_one_piece(text: str) -> None:
    zone_map = face(_letters(text), PX)
    loose, held = _cut(zone_map), _cut(zone_map, bridges="cut")
    assert len(shapely.get_parts(_solid(loose))) == 1 + len(loose.islands)
    assert len(shapely.get_parts(_solid(held))) == 1
    # Bridges are what the two differ by, and nothing of the openings elsewhere.
    gained = _solid(held).difference(_solid(loose).buffer(0.01))
    bridges = [
        shapely.LineString([b.start_mm, b.end_mm]).buffer(
            b.width_mm / 2 + 0.02, cap_style="square"
        )
        for i in held.islands
        for b in i.bridges
    ]
    assert gained.difference(shapely.union_all(bridges)).area < 0.01


def test_bridges_are_the_shortest_links_and_lie_on_opposite_sides() -> None:
    # A ring whose opening is narrowest at the right: 3 mm there, 5 mm at the left.
    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        return (np.hypot(x - 30, y - 30) < 20) & (np.hypot(x - 31, y - 30) > 16)

    cut = _cut(face(coverage(inside, (60, 60), PX), PX), bridge_width_mm="2mm")
    (island,) = cut.islands
    first, second = island.bridges
    spans = [float(np.hypot(*np.subtract(b.end_mm, b.start_mm))) for b in (first, second)]
    assert spans[0] == pytest.approx(3, abs=0.05)
    assert first.start_mm == pytest.approx((47, 30), abs=3)  # the gap is as good as level there
    towards = [
        np.degrees(np.arctan2(b.start_mm[1] - 30, b.start_mm[0] - 31)) for b in (first, second)
    ]
    apart = abs((towards[1] - towards[0] + 180) % 360 - 180)
    assert apart >= 99  # promised 100°, measured from the island's middle
    assert spans[0] <= spans[1] <= 5.05


def test_a_small_island_takes_one_bridge() -> None:
    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        return (np.hypot(x - 20, y - 20) < 9) & (np.hypot(x - 20, y - 20) > 2.5)

    (island,) = _cut(face(coverage(inside, (40, 40), PX), PX)).islands
    assert len(island.bridges) == 1


def test_an_island_inside_an_island_is_tied_through_it_to_the_face() -> None:
    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        r = np.hypot(x - 30, y - 30)
        return ((r > 20) & (r < 25)) | ((r > 8) & (r < 13))

    zone_map = face(coverage(inside, (60, 60), PX), PX)
    held = _cut(zone_map, bridges="cut")
    assert len(held.islands) == 2
    assert len(shapely.get_parts(_solid(held))) == 1


def test_an_opening_at_the_faces_edge_is_reported() -> None:
    cut = _cut(face(coverage(lambda x, y: (x < 20) & (y > 10) & (y < 20), (60, 40), PX), PX))
    assert "cut.no-rim" in {f.code for f in cut.findings}
    assert cut.openings[0].area_mm2 == pytest.approx(200, rel=0.005)


def test_specks_no_bridge_can_hold_are_told_and_not_held() -> None:
    # A disc of 20 mm with holes of 0.8 mm and 5 mm radius in it: 2.0 mm² and 79 mm² against bridges of 2 mm.
    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        disc = np.hypot(x - 50, y - 50) < 20
        small, large = np.hypot(x - 60, y - 50) < 0.8, np.hypot(x - 44, y - 50) < 5
        return np.asarray(disc & ~small & ~large)

    lit = coverage(inside, (100.0, 100.0), 0.2)
    cut = planned(box(size=(100.0, 100.0)), rows(), face(lit, 0.2))
    (island,) = cut.islands
    assert shapely.Polygon(island.outline_mm).area == pytest.approx(np.pi * 25, rel=0.02)
    (told,) = [f for f in cut.findings if f.code == "cut.speck"]
    assert "1 speck " in told.message
    assert "(60, 50)" in told.message
    hole = [h for h in cut.openings[0].holes if shapely.Polygon(h.flat_mm).area < 4]
    assert len(hole) == 1, "it is still cut"
