"""Walls against geometry worked out by hand, shapely's predicates and scipy's exact minimum cut."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from marquee.errors import QuantityError
from tests.box.factory import blank, disc, polygon, rect
from tests.box.walled import (
    EXTRA_MM,
    REACH_MM,
    assert_clear,
    assert_partition,
    build,
    shapes,
)


def two_blocks() -> NDArray[np.int16]:
    labels = blank(120, 60)
    rect(labels, 0, (10, 10, 50, 50))
    rect(labels, 1, (70, 10, 110, 50))
    return labels


def test_two_rectangles_get_one_straight_wall_from_rim_to_rim() -> None:
    zones, box = build(two_blocks())
    assert [w.zones for w in box.walls] == [(0, 1)]
    # The shortest line that parts them is upright: as long as the face is high.
    assert box.total_length_mm == pytest.approx(60.0, abs=0.02)
    assert len(box.walls[0].path_mm) == 2
    assert_partition(zones, box)
    assert_clear(zones, box)


def test_a_wall_is_as_long_as_its_path() -> None:
    labels = blank(120, 60)
    disc(labels, 0, (60, 30), 12)
    rect(labels, 1, (5, 5, 115, 8))
    _, box = build(labels)
    for wall in box.walls:
        assert wall.length_mm == pytest.approx(shapely.LineString(wall.path_mm).length, rel=1e-12)


def test_one_zone_is_one_cell_without_walls() -> None:
    labels = blank(100, 40)
    rect(labels, 0, (10, 10, 20, 30))
    rect(labels, 0, (60, 10, 90, 30))
    _, box = build(labels)
    assert box.walls == ()
    assert [cell.zone for cell in box.cells] == [0]
    assert box.cells[0].area_mm2 == pytest.approx(4000.0)


def test_an_island_gets_a_ring_as_long_as_its_offset_hull() -> None:
    # A cross in the middle of a large ring of another zone: the shortest loop around it is the boundary of the
    # convex hull of the cross grown by the reach (the perimeter of a convex body grown by r is P + 2πr).
    labels = blank(160, 120)
    rect(labels, 1, (10, 10, 150, 110))
    labels[80:400, 120:520] = -1
    rect(labels, 0, (60, 52, 100, 68))
    rect(labels, 0, (72, 40, 88, 80))
    zones, box = build(labels)
    hull = shapely.convex_hull(
        shapely.MultiPoint(
            [(60, 52), (100, 52), (100, 68), (60, 68), (72, 40), (88, 40), (72, 80), (88, 80)]
        )
    )
    shortest = hull.length + 2 * np.pi * (REACH_MM)
    assert len(box.walls) == 1
    path = box.walls[0].path_mm
    assert path[0] == path[-1]
    assert shortest <= box.total_length_mm <= shortest + 2 * np.pi * (EXTRA_MM + 0.05)
    assert_partition(zones, box)
    assert_clear(zones, box)


def test_three_sectors_meet_at_120_degrees() -> None:
    # Steiner's point: three lines of least total length meet at equal angles.
    labels = blank(120, 104)
    for zone, angle in enumerate((90, 210, 330)):
        x, y = 60 + 30 * np.cos(np.radians(angle)), 52 - 30 * np.sin(np.radians(angle))
        disc(labels, zone, (x, y), 14)
    zones, box = build(labels)
    assert len(box.walls) == 3
    ends = [p for w in box.walls for p in (w.path_mm[0], w.path_mm[-1])]
    inner = {p for p in ends if 1 < p[0] < 119 and 1 < p[1] < 103}
    assert len(inner) == 1
    (meeting,) = inner
    ways = []
    for wall in box.walls:
        path = wall.path_mm if wall.path_mm[0] == meeting else wall.path_mm[::-1]
        ways.append(np.degrees(np.arctan2(path[1][1] - meeting[1], path[1][0] - meeting[0])))
    ways.sort()
    gaps = np.diff([*ways, ways[0] + 360])
    # Ends are moved until the next step is below 0.01 mm; on 40 mm walls that is well below a degree.
    assert gaps == pytest.approx([120, 120, 120], abs=1.0)
    assert_partition(zones, box)


def test_walls_meet_the_rim_at_right_angles_where_nothing_is_in_the_way() -> None:
    labels = blank(120, 60)
    disc(labels, 0, (30, 26), 10)
    disc(labels, 1, (90, 34), 10)
    _, box = build(labels)
    assert box.total_length_mm == pytest.approx(60.0, abs=0.05)


def test_touching_colours_share_a_wall_on_their_border_and_are_reported() -> None:
    labels = blank(120, 60)
    rect(labels, 0, (20, 10, 60, 50))
    rect(labels, 1, (60, 10, 100, 50))
    zones, box = build(labels)
    (finding,) = [f for f in box.findings if f.code == "barriers.touching"]
    assert "gap 0.0 mm" in finding.message
    assert "by 3.0 mm" in finding.message
    assert box.total_length_mm == pytest.approx(60.0, abs=0.1)
    along = np.array(box.walls[0].path_mm)
    assert np.abs(along[:, 0] - 60).max() <= 0.25, "within a pixel of the border"
    assert_partition(zones, box)


@pytest.mark.parametrize("gap_mm", [0.5, 1.0, 2.0, 2.5])
def test_a_gap_narrower_than_the_wall_is_named_with_the_bridge_to_add(gap_mm: float) -> None:
    labels = blank(120, 60)
    rect(labels, 0, (20, 10, 60, 50))
    rect(labels, 1, (60 + gap_mm, 10, 100, 50))
    zones, box = build(labels)
    (finding,) = [f for f in box.findings if f.code == "barriers.touching"]
    assert f"gap {gap_mm:.1f} mm" in finding.message
    assert f"by {3 - gap_mm:.1f} mm" in finding.message
    middle = 60 + gap_mm / 2
    between = [p for p in np.array(box.walls[0].path_mm) if 12 < p[1] < 48]
    assert all(abs(p[0] - middle) <= 0.25 for p in between)
    assert_clear(zones, box, gap_mm / 2 - 0.25)


@pytest.mark.parametrize("gap_mm", [0.0, 1.0, 2.5])
def test_a_narrow_gap_is_told_with_its_place_and_what_to_add(gap_mm: float) -> None:
    labels = blank(120, 60)
    rect(labels, 0, (20, 10, 60, 50))
    rect(labels, 1, (60 + gap_mm, 10, 100, 50))
    _, box = build(labels)
    (gap,) = box.gaps
    # Pixels of 0.25 mm; the drawn gap is a whole number of them.
    assert gap.gap_mm == pytest.approx(gap_mm, abs=1e-6)
    assert gap.at_mm[0] == pytest.approx(60 + gap_mm / 2, abs=0.25)
    assert 10 <= gap.at_mm[1] <= 50
    assert gap.add_mm == pytest.approx(3 - gap_mm, abs=0.11)
    assert gap.add_mm >= 3 - gap_mm - 1e-6
    assert gap.add_clear_mm == pytest.approx(gap.add_mm + 2)
    # The blocks face each other over 40 mm.
    assert gap.length_mm == pytest.approx(40, abs=3)
    # With so much more face between them the wall fits.
    wider = blank(130, 60)
    rect(wider, 0, (20, 10, 60, 50))
    rect(wider, 1, (60 + gap_mm + gap.add_mm, 10, 100, 50))
    assert build(wider)[1].gaps == ()


def test_a_gap_with_room_is_not_reported() -> None:
    _, box = build(two_blocks())
    assert box.findings == ()
    assert box.gaps == ()


def test_a_slanted_border_of_pixels_gets_a_straight_wall() -> None:
    labels = blank(120, 60)
    polygon(labels, 0, [(10, 5), (50, 5), (70, 55), (10, 55)])
    right = blank(120, 60)
    polygon(right, 1, [(50, 5), (110, 5), (110, 55), (70, 55)])
    labels[(labels < 0) & (right == 1)] = 1
    zones, box = build(labels)
    slant = np.hypot(20, 50)
    # Along the slant, then straight to the rims over 5 mm each; a corridor of about a pixel bends the ends.
    assert box.total_length_mm == pytest.approx(slant + 10, abs=0.3)
    assert_partition(zones, box)


def test_a_wall_ends_at_the_nearest_side_of_the_box() -> None:
    # A long bar near the bottom, left open at its right end: the wall comes down beside the bar's end instead of
    # running on to the right rim 150 mm away. Around the corner of the land it turns in a quarter circle.
    labels = blank(400, 80)
    rect(labels, 0, (0, 10, 300, 30))
    rect(labels, 1, (0, 50, 250, 60))
    zones, box = build(labels)
    reach = REACH_MM + EXTRA_MM
    shortest = 250 + np.pi / 2 * reach + (80 - 50)
    assert box.total_length_mm == pytest.approx(shortest, abs=0.1)
    assert_partition(zones, box)
    assert_clear(zones, box)


def test_islands_in_islands_have_nested_rings() -> None:
    labels = blank(160, 160)
    for zone, radius in ((0, 70.0), (1, 45.0), (0, 25.0), (2, 8.0)):
        disc(labels, zone, (80, 80), radius)
        disc(labels, -1, (80, 80), radius - 10 if radius > 10 else 0)
    zones, box = build(labels)
    assert sorted(w.zones for w in box.walls) == [(0, 1), (0, 1), (0, 2)]
    assert all(w.path_mm[0] == w.path_mm[-1] for w in box.walls)
    radii = sorted((45 + REACH_MM, 25 + REACH_MM, 8 + REACH_MM))
    lengths = sorted(w.length_mm for w in box.walls)
    for length, radius in zip(lengths, radii, strict=True):
        # Pixels of a disc reach half their diagonal beyond it; chords cut up to 0.05 mm off the arc.
        most = radius + EXTRA_MM + 0.25 * np.sqrt(0.5)
        assert 2 * np.pi * (radius - 0.05) <= length <= 2 * np.pi * most
    assert_partition(zones, box)
    assert_clear(zones, box)


def test_parts_of_one_zone_share_a_cell_where_a_path_exists() -> None:
    labels = blank(200, 60)
    for x in (10, 70, 150):
        rect(labels, 0, (x, 10, x + 40, 25))
    rect(labels, 1, (0, 40, 200, 50))
    zones, box = build(labels)
    assert sorted(cell.zone for cell in box.cells) == [0, 1]
    assert box.total_length_mm == pytest.approx(200.0, abs=0.05)
    assert_partition(zones, box)


def test_a_zone_parted_by_another_keeps_two_cells() -> None:
    labels = blank(200, 60)
    rect(labels, 0, (10, 10, 60, 50))
    rect(labels, 1, (75, 0, 125, 60))
    rect(labels, 0, (140, 10, 190, 50))
    zones, box = build(labels)
    assert [cell.zone for cell in box.cells] == [0, 0, 1]
    assert box.total_length_mm == pytest.approx(120.0, abs=0.05)
    assert_partition(zones, box)


def test_a_sliver_the_walls_cover_is_reported() -> None:
    labels = blank(120, 60)
    rect(labels, 0, (10, 10, 50, 50))
    rect(labels, 1, (50, 10, 51, 50))
    rect(labels, 2, (51, 10, 110, 50))
    _, box = build(labels)
    assert [f.where.split(",")[0] for f in box.findings if f.code == "barriers.covered"] == [
        "'zone 1'"
    ]


def test_a_wall_as_thick_as_the_face_is_refused() -> None:
    with pytest.raises(QuantityError, match="thinner sheet"):
        build(two_blocks(), wall_thickness="60mm")


def test_a_gap_as_deep_as_the_box_is_refused() -> None:
    with pytest.raises(QuantityError, match="box deeper"):
        build(two_blocks(), wall_gap="40mm")


def test_the_same_zones_give_the_same_walls_twice() -> None:
    labels = blank(160, 60)
    disc(labels, 0, (30, 30), 15)
    disc(labels, 1, (80, 25), 14)
    disc(labels, 2, (130, 35), 12)
    first, second = build(labels.copy())[1], build(labels.copy())[1]
    assert first == second


def test_more_walls_than_anybody_cuts_are_told_with_what_would_make_them_fewer() -> None:
    labels = blank(120, 80)
    for row in range(16):
        for column in range(24):
            rect(labels, (row + column) % 2, (5 * column, 5 * row, 5 * column + 5, 5 * row + 5))
    _, box = build(labels)
    (told,) = [f for f in box.findings if f.code == "barriers.many"]
    # Squares of 5 mm with half a wall of 3 mm off each side leave 2 mm, so an LED of 5 mm needs 8/5 of the width.
    narrow = sum(
        2 * shapely.maximum_inscribed_circle(shape, tolerance=0.05).length < 5
        for shape in shapes(box)
    )
    assert f"{narrow} of {len(box.cells)} cells" in told.message
    assert narrow > 300
    assert "1.6 times as wide" in told.message
    for mend in ("--min-area", "--merge", "override"):
        assert mend in told.message
