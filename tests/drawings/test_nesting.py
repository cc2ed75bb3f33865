from __future__ import annotations

import itertools

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from marquee.box.cut_nesting import offset
from marquee.values_cut import CutPlan, Sheet
from tests.drawings.made import HEIGHT, blank, box, planned, rows

FACE = blank()


def _cut(count: int, **settings: object) -> CutPlan:
    # Walls fanned out from the left rim, of many lengths, none meeting another.
    paths = [
        ((0.0, 2.0 + k * 114 / count), (20.0 + (37 * k) % 260, 2.0 + k * 114 / count))
        for k in range(count)
    ]
    return planned(box(*paths), rows(), FACE, **settings)


def _shapes(sheet: Sheet) -> list[shapely.Polygon]:
    return [shapely.Polygon(p.cut_mm) for p in sheet.parts]


@given(
    count=st.integers(1, 30),
    kerf=st.sampled_from(["0mm", "0.15mm", "1.2mm"]),
    sheet=st.sampled_from(["300mm", "420mm", "600mm"]),
    high=st.sampled_from(["90mm", "290mm", "400mm"]),
)
def test_parts_lie_inside_their_sheets_and_apart(
    count: int, kerf: str, sheet: str, high: str
) -> None:
    cut = _cut(
        count,
        kerf_mm=kerf,
        sheet_width_mm=sheet,
        sheet_height_mm=high,
        part_gap_mm="3mm",
        sheet_margin_mm="5mm",
    )
    placed = [p.strip for s in cut.sheets for p in s.parts]
    assert sorted(placed) == list(range(len(cut.strips)))
    for one in cut.sheets:
        free = shapely.box(5, 5, one.width_mm - 5, one.height_mm - 5)
        shapes = _shapes(one)
        assert all(shapely.covers(free.buffer(1e-6), s) for s in shapes)
        # What the tool leaves between two parts is no less than the gap.
        for a, b in itertools.combinations(shapes, 2):
            assert shapely.distance(a, b) >= 3 - 1e-6


@pytest.mark.parametrize(
    ("short", "long", "sheets"),
    [
        (8, 0, [(140, 200, 4), (140, 200, 4)]),
        (9, 1, [(200, 140, 3), (200, 140, 3), (140, 200, 4)]),
        (6, 0, [(200, 140, 3), (200, 140, 3)]),
    ],
)
def test_rows_run_across_the_sheet_where_that_saves_one(
    short: int, long: int, sheets: list[tuple[int, int, int]]
) -> None:
    # Walls 40 mm high and 120 mm long: a sheet of 200 by 140 mm holds three rows of one along its longer side, four
    # across it. A wall of 150 mm fits along it only.
    lengths = [120.0] * short + [150.0] * long
    paths = [((0.0, 5.0 + 11 * k), (length, 5.0 + 11 * k)) for k, length in enumerate(lengths)]
    cut = planned(box(*paths), rows(), FACE, sheet_width_mm="200mm", sheet_height_mm="140mm")
    assert [(s.width_mm, s.height_mm, len(s.parts)) for s in cut.sheets] == sheets
    assert sorted(p.strip for s in cut.sheets for p in s.parts) == list(range(len(cut.strips)))


@pytest.mark.parametrize("kerf", [0.1, 0.15, 0.3])
def test_cut_lines_leave_parts_of_the_stated_size_after_the_tool_took_its_kerf(
    kerf: float,
) -> None:
    crossing = box(((0, 60), (300, 60)), ((100, 0), (100, 120)))
    cut = planned(crossing, rows(30.0, 90.0), FACE, kerf_mm=f"{kerf}mm")
    for placed in cut.sheets[0].parts:
        finished = shapely.Polygon(cut.strips[placed.strip].outline_mm)
        line = shapely.Polygon(placed.cut_mm)
        # What the tool burns is half a kerf to either side of its line, corners square.
        left = line.buffer(-kerf / 2, join_style="mitre")
        moved = affinity.translate(finished, placed.x_mm, placed.y_mm)
        assert left.symmetric_difference(moved).area < 1e-6
        # A right-angled outline grows by its length times half a kerf and the four corners it has in excess.
        grown = finished.length * kerf / 2 + 4 * (kerf / 2) ** 2
        assert line.area - finished.area == pytest.approx(grown, rel=1e-6)


def test_without_compensation_cut_lines_are_the_finished_edges() -> None:
    cut = _cut(3, compensate="none", kerf_mm="0.3mm")
    areas = [shapely.Polygon(p.cut_mm).area for p in cut.sheets[0].parts]
    assert sum(areas) == pytest.approx(sum(s.length_mm for s in cut.strips) * HEIGHT)


def test_a_box_deeper_than_the_sheet_is_drawn_on_a_larger_one_and_reported() -> None:
    cut = _cut(2, sheet_height_mm="30mm")
    assert cut.sheets[0].height_mm >= HEIGHT + 10
    assert "cut.sheet-too-small" in {f.code for f in cut.findings}


def test_offsetting_inwards_undoes_offsetting_outwards() -> None:
    path = ((0.0, 0.0), (50.0, 0.0), (50.0, 20.0), (30.0, 20.0), (30.0, 10.0), (0.0, 10.0))
    back = offset(offset(path, 0.2), -0.2)
    assert shapely.Polygon(back).symmetric_difference(shapely.Polygon(path)).area < 1e-9
