from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from marquee.box.cut_runs import Run
from marquee.box.cut_tapers import opening_shapes, stretches_over
from marquee.values import Path_mm
from marquee.values_cut import CutPlan, Opening, Ring, Strip
from tests.drawings.made import HEIGHT, THICKNESS, box, circle, length, planned, rows

# Lengths of this file are sums of a few floats.
TINY = 1e-6


def _part(cut: CutPlan, name: str) -> Strip:
    return next(s for s in cut.strips if s.part == name)


def test_a_straight_wall_from_rim_to_rim_is_one_rectangle_of_its_length() -> None:
    cut = planned(box(((0, 60), (300, 60))))
    (strip,) = cut.strips
    assert strip.part == "W0-a"
    assert (strip.start.kind, strip.end.kind) == ("rim", "rim")
    assert strip.length_mm == pytest.approx(300, abs=TINY)
    assert shapely.equals(shapely.Polygon(strip.outline_mm), shapely.box(0, 0, 300, HEIGHT))


@given(
    st.lists(st.tuples(st.floats(5, 295), st.floats(5, 115)), min_size=3, max_size=8, unique=True)
)
def test_parts_of_any_bent_wall_together_are_as_long_as_the_wall(
    path: list[tuple[float, float]],
) -> None:
    line = shapely.LineString(path)
    if not line.is_simple or min(np.hypot(*np.diff(np.array(path), axis=0).T)) < 3:
        return
    cut = planned(box(tuple(path)), most_fold_degrees=65)
    # Paths are followed within 0.15 mm, which on sides of 3 mm and more costs less than this.
    assert sum(s.run_mm for s in cut.strips) == pytest.approx(line.length, rel=5e-3)
    for strip in cut.strips:
        ends = strip.start.trim_mm + strip.end.trim_mm
        assert strip.length_mm == pytest.approx(strip.run_mm - strip.folds_mm - ends, abs=TINY)
        assert all(abs(f.degrees) <= 65 for f in strip.folds)


def test_a_ring_is_folded_from_a_strip_as_long_as_the_circle_its_uncut_middle_makes() -> None:
    # Half the thickness is left under each score, so its middle runs t / 4 inside the centre line:
    # geometry says 2 π (R − t / 4), whatever the number of folds.
    radius = 30.0
    cut = planned(box(circle(100, 60, radius)))
    (strip,) = cut.strips
    assert strip.start.kind == strip.end.kind == "seam"
    expected = 2 * math.pi * (radius - THICKNESS / 4)
    # The followed path is within 0.15 mm of the circle, half of it on average.
    assert strip.length_mm == pytest.approx(expected, rel=0.005)
    assert sum(f.degrees for f in strip.folds) == pytest.approx(360, abs=1)
    assert {f.scored for f in strip.folds} == {"left"}  # the outer side of a clockwise ring


def test_walls_that_cross_square_are_halved_into_each_other() -> None:
    cut = planned(box(((0, 60), (300, 60)), ((100, 0), (100, 120))), joint_clearance_mm="0.1mm")
    across, down = _part(cut, "W0-a"), _part(cut, "W1-a")
    (top,), (bottom,) = across.slots, down.slots
    assert (top.from_top, bottom.from_top) == (True, False)
    assert (top.meets, bottom.meets) == ("W1-a", "W0-a")
    assert top.at_mm == pytest.approx(100, abs=TINY)
    assert bottom.at_mm == pytest.approx(60, abs=TINY)
    assert top.width_mm == bottom.width_mm == pytest.approx(THICKNESS + 0.1, abs=TINY)
    # Together the two slots' depths leave no gap and no clash.
    assert top.depth_mm + bottom.depth_mm == pytest.approx(HEIGHT, abs=TINY)
    lost = HEIGHT * 300 - shapely.Polygon(across.outline_mm).area
    assert lost == pytest.approx(top.width_mm * top.depth_mm, abs=TINY)


@pytest.mark.parametrize("degrees", [62, 75, 90, 105, 118])
def test_a_halving_slot_lets_the_other_sheet_through_at_the_angle(degrees: float) -> None:
    way = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
    a, b = (np.array([150, 60]) + side * 60 * way for side in (-1, 1))
    cut = planned(
        box(((0, 60), (300, 60)), (tuple(a), tuple(b)), size=(300, 121)), joint_clearance_mm="0mm"
    )
    slot = _part(cut, "W0-a").slots[0]
    # By shapely: the width along the wall over which the other sheet meets its whole thickness.
    other = shapely.buffer(shapely.LineString([a - 30 * way, b + 30 * way]), THICKNESS / 2)
    wall = shapely.box(0, 60 - THICKNESS / 2, 300, 60 + THICKNESS / 2)
    x0, _, x1, _ = shapely.intersection(wall, other).bounds
    assert slot.width_mm == pytest.approx(x1 - x0, abs=1e-3)


def test_a_wall_that_ends_square_on_another_has_a_tongue_as_thick_as_it() -> None:
    cut = planned(box(((0, 60), (300, 60)), ((100, 0), (100, 60))))
    stem = _part(cut, "W1-a")
    assert (stem.end.kind, stem.end.meets) == ("tee", "W0-a")
    # From rim to the far side of the other wall above, to its near side below.
    assert stem.length_mm == pytest.approx(60 + THICKNESS / 2, abs=TINY)
    outline = shapely.Polygon(stem.outline_mm)
    low = shapely.intersection(outline, shapely.box(0, 0, 300, HEIGHT / 2 - 1))
    assert low.bounds[2] - low.bounds[0] == pytest.approx(60 - THICKNESS / 2, abs=TINY)
    (slot,) = _part(cut, "W0-a").slots
    assert slot.from_top
    assert slot.meets == "W1-a"


def test_a_wall_that_ends_on_another_at_a_slant_is_butted_and_bevelled_to_touch_it_all_over() -> (
    None
):
    cut = planned(box(((0, 60), (300, 60)), ((60, 0), (120, 60))))
    stem = _part(cut, "W1-a")
    assert stem.end.kind == "butt"
    assert abs(stem.end.bevel_degrees) == pytest.approx(45)
    # Geometry at 45°: the centre line loses t/2·√2 at the wall, and the long side gains t/2 there and at the rim.
    run = 60 * math.sqrt(2)
    expected = run - THICKNESS / 2 * math.sqrt(2) + THICKNESS / 2 + THICKNESS / 2
    assert stem.length_mm == pytest.approx(expected, abs=TINY)
    assert _part(cut, "W0-a").slots == ()


def test_three_walls_from_one_place_are_one_run_and_one_stem() -> None:
    centre = (150.0, 60.0)
    ends = [(150.0, 0.0), (98.0384757729, 90.0), (201.9615242271, 90.0)]
    cut = planned(box(*((centre, end) for end in ends), size=(300, 90)))
    assert len(cut.strips) == 2
    through = max(cut.strips, key=lambda s: s.run_mm)
    stem = min(cut.strips, key=lambda s: s.run_mm)
    assert through.run_mm == pytest.approx(120, abs=1e-3)
    assert {e.meets for e in (stem.start, stem.end)} == {"", through.part}


def test_without_folds_every_corner_is_mitred() -> None:
    cut = planned(box(((0, 60), (100, 60), (100, 120))), most_fold_degrees=0)
    first, second = cut.strips
    assert (first.end.kind, second.start.kind) == ("mitre", "mitre")
    assert (first.end.meets, second.start.meets) == ("W0-b", "W0-a")
    assert abs(first.end.bevel_degrees) == pytest.approx(45)
    # A mitred corner's outer sides reach half a thickness beyond the centre lines' crossing.
    assert first.length_mm == pytest.approx(100 + THICKNESS / 2, abs=TINY)
    assert second.length_mm == pytest.approx(60 + THICKNESS / 2, abs=TINY)
    # Seen along each: the corner turns right, so the left side is the outer, longer one.
    assert first.end.bevel_degrees > 0
    assert second.start.bevel_degrees > 0


def test_walls_longer_than_the_sheet_are_divided_where_nothing_is_in_the_way() -> None:
    wall: Path_mm = ((0.0, 60.0), (1000.0, 60.0))
    crossing: Path_mm = ((500.0, 0.0), (500.0, 120.0))
    cut = planned(box(wall, crossing, size=(1000, 120)), sheet_width_mm="400mm")
    parts = [s for s in cut.strips if 0 in s.walls]
    assert [p.part for p in parts] == ["W0-a", "W0-b", "W0-c"]
    assert all(p.length_mm <= 390 for p in parts)
    assert sum(p.run_mm for p in parts) == pytest.approx(length(wall), abs=TINY)
    assert [p.end.kind for p in parts] == ["in-line", "in-line", "rim"]
    assert parts[0].end.meets == "W0-b"
    assert parts[1].start.meets == "W0-a"
    assert sum(len(p.slots) for p in parts) == 1


@pytest.mark.parametrize("degrees", [90, 60, 45, 30])
def test_notches_are_where_led_rows_pass_and_wide_enough_for_the_strip(degrees: float) -> None:
    lean = 60 / math.tan(math.radians(degrees))
    path = ((150 - lean, 0.0), (150 + lean, 120.0))
    cut = planned(box(path), rows(60.0), notch_width_mm="11mm")
    (strip,) = cut.strips
    (notch,) = strip.notches
    assert notch.row == 0
    middle = length(path) / 2 - strip.start.trim_mm
    assert notch.at_mm == pytest.approx(middle, abs=1e-3)
    # By shapely: how much of the wall, taken at its full thickness, stands over the strip's band.
    band = shapely.box(0, 60 - 5.5, 300, 60 + 5.5)
    wall = shapely.buffer(shapely.LineString(path), THICKNESS / 2, cap_style="flat")
    corners = shapely.get_coordinates(shapely.intersection(wall, band))
    way = (np.array(path[1]) - path[0]) / length(path)
    assert notch.width_mm == pytest.approx(np.ptp(corners @ way), abs=1e-3)


def test_a_wall_beside_a_row_on_the_strips_bare_edge_is_not_notched() -> None:
    cut = planned(box(((0, 60), (300, 60))), rows(65.0))
    assert cut.strips[0].notches == ()


def test_a_wall_along_a_rows_leds_is_reported() -> None:
    cut = planned(box(((0, 60), (300, 60))), rows(60.0))
    (found,) = [f for f in cut.findings if f.code == "cut.row-along-wall"]
    assert "W0-a" in found.message


def test_boards_notch_only_for_the_leds_under_the_wall() -> None:
    import dataclasses

    chain = dataclasses.replace(rows(60.0, 30.0), arrangement="board")
    cut = planned(box(((150, 0), (150, 120))), chain)
    assert (
        cut.strips[0].notches == ()
    )  # LEDs at 145 and 155 mm leave 3.5 mm between their bodies and room
    cut = planned(box(((145, 0), (145, 120))), chain)
    # Body of 5 mm and 0.5 mm on each side.
    assert [n.width_mm for n in cut.strips[0].notches] == pytest.approx([6, 6], abs=1e-3)


def test_a_box_without_walls_has_nothing_to_cut_but_the_face() -> None:
    cut = planned(box())
    assert not cut.strips
    assert not cut.sheets
    assert len(cut.openings) == 1


def test_walls_taper_just_where_they_stand_over_lit_apertures() -> None:
    # The face's opening is a disc of 8 mm about (20, 20); a wall of 3 mm passes with its middle 9 mm below its centre.
    cut = planned(box(((0, 29), (300, 29))))
    (strip,) = cut.strips
    (taper,) = strip.tapers
    # Running to the right, the side towards the disc is the upper, left one. By shapely:
    disc = shapely.Point(20, 20).buffer(8, quad_segs=100)
    x0, _, x1, _ = disc.intersection(shapely.box(0, 29 - THICKNESS / 2, 300, 29)).bounds
    assert taper.side == "left"
    # The half-millimetre pixels of this face know their edge to a tenth.
    assert taper.at_mm == pytest.approx((x0 + x1) / 2, abs=0.1)
    assert taper.width_mm == pytest.approx(x1 - x0, abs=0.5)
    assert len(cut.tapers_mm) == 1
    clear = planned(box(((0, 31), (300, 31))))
    assert clear.strips[0].tapers == ()


def test_a_wall_is_tapered_over_an_outline_that_touches_itself() -> None:
    """GEOS refuses invalid polygons (OGC 06-103r4, 6.1.11: rings may not cross), which smoothing can leave."""
    crossed = ((0.0, 0.0), (20.0, 10.0), (20.0, 0.0), (0.0, 10.0), (0.0, 0.0))
    ring = Ring(start=crossed[0], curves=(), flat_mm=crossed)
    opening = Opening(outline=ring, holes=(), apertures=(0,), area_mm2=100.0)
    run = Run(np.array([[2.0, -5.0], [2.0, 15.0]]), (0,), [(0.0, 0), (20.0, 1)])
    found = stretches_over(run, opening_shapes((opening,)), 3.0)
    # The bow tie's left wing spans y = 0.25 to 9.75 at x = 0.5 … 3.5: both halves of the wall stand over it.
    assert {side for _, _, side in found} == {"left", "right"}
    for start, end, _ in found:
        assert start == pytest.approx(5.0, abs=1.0)
        assert end == pytest.approx(15.0, abs=1.0)
