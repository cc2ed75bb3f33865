"""The box's sides, printed walls in pieces, and what is to be bought, checked by shapely and trimesh."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh
from ezdxf.filemanagement import read as readfile
from hypothesis import example, given
from hypothesis import settings as profile
from hypothesis import strategies as st

from marquee.box.cut_material import with_material
from marquee.outputs.cut_json import cut_dict
from marquee.outputs.drawings.files import cut_files
from marquee.outputs.drawings.floor import wall_area
from marquee.outputs.drawings.stl import piece_area, stl_files
from marquee.outputs.parts_list import parts_csv
from tests.drawings.made import HEIGHT, THICKNESS, blank, box, circle, planned, rows
from tests.pictures.factory import synthetic_plan

FACE = blank()
CROSS = box(((0, 60), (300, 60)), ((100, 0), (100, 120)), circle(210, 60, 20))


def test_sides_are_drawn_only_where_asked_for() -> None:
    assert planned(CROSS, rows(), FACE).sides == ()
    assert len(planned(CROSS, rows(), FACE, sides="cut").sides) == 4


def test_sides_close_round_the_inside_of_the_box() -> None:
    cut = planned(CROSS, rows(), FACE, sides="cut")
    long, short = 300 + 2 * THICKNESS, 120
    assert {s.part: s.length_mm for s in cut.sides} == pytest.approx(
        {"S-top": long, "S-right": short, "S-bottom": long, "S-left": short}
    )
    assert {s.height_mm for s in cut.sides} == {HEIGHT}
    stood = [
        shapely.LineString(s.path_mm).buffer(THICKNESS / 2, cap_style="flat") for s in cut.sides
    ]
    whole = shapely.union_all(stood)
    inside, outside = shapely.box(0, 0, 300, 120), shapely.box(-3, -3, 303, 123)
    assert whole.symmetric_difference(outside.difference(inside)).area < 1e-6
    assert sum(s.area for s in stood) == pytest.approx(whole.area), "sides do not overlap"


def test_a_side_is_marked_where_a_wall_meets_it() -> None:
    cut = planned(box(((70, 0), (70, 120)), ((70, 30), (300, 30))), rows(), FACE, sides="cut")
    marks = {s.part: [round(m.at_mm, 6) for m in s.marks] for s in cut.sides}
    # From each side's start, going round clockwise: the upper one's is 3 mm left of the inside, the lower one's right.
    assert marks == {
        "S-top": [70 + THICKNESS],
        "S-right": [30],
        "S-bottom": [300 - 70 + THICKNESS],
        "S-left": [],
    }
    named = {m.part for s in cut.sides for m in s.marks}
    assert named <= {s.part for s in cut.strips}


@given(sheet=st.integers(130, 700), walls=st.lists(st.floats(5, 295), max_size=6))
def test_divided_sides_fit_the_sheet_and_add_up(sheet: int, walls: list[float]) -> None:
    made = box(*(((x, 0.0), (x, 120.0)) for x in walls))
    cut = planned(
        made, rows(), FACE, sides="cut", sheet_width_mm=f"{sheet}mm", sheet_height_mm="100mm"
    )
    for name, length in (("S-top", 306), ("S-right", 120), ("S-bottom", 306), ("S-left", 120)):
        pieces = [s for s in cut.sides if s.part == name or s.part.startswith(f"{name}-")]
        assert sum(p.length_mm for p in pieces) == pytest.approx(length)
        assert max(p.length_mm for p in pieces) <= sheet - 10 - 0.15 + 1e-6
    assert all(s.width_mm == pytest.approx(sheet) for s in cut.sheets)


def test_sides_are_cut_lines_and_pass_the_audit() -> None:
    cut = planned(CROSS, rows(), FACE, sides="cut")
    document = readfile(
        io.StringIO(cut_files(cut, (("0 lamp", (20, 20), 8),), "x")["walls.dxf"].decode("cp1252"))
    )
    assert not document.audit().has_errors
    drawn = document.modelspace().query('LWPOLYLINE[layer=="CUT"]')
    assert len(drawn) == len(cut.strips) + 4
    texts = [t.dxf.text for t in document.modelspace().query('TEXT[layer=="LABEL"]')]
    assert {"S-top", "S-right", "S-bottom", "S-left"} <= set(texts)


def test_a_box_of_one_cell_has_its_sides_cut_too() -> None:
    cut = planned(box(), rows(60.0), FACE, sides="cut")
    files = cut_files(cut, (), "x")
    assert "walls.dxf" in files
    assert "barriers.stl" not in files


def test_a_sheet_is_used_lengthwise_whichever_way_it_is_stated() -> None:
    ways = [
        planned(CROSS, rows(), FACE, sheet_width_mm=w, sheet_height_mm=h)
        for w, h in (("600mm", "200mm"), ("200mm", "600mm"))
    ]
    assert ways[0].sheets == ways[1].sheets
    assert ways[0].strips == ways[1].strips


def _meshes(files: dict[str, bytes]) -> list[trimesh.Trimesh]:
    return [
        trimesh.load_mesh(io.BytesIO(data), file_type="stl")
        for name, data in files.items()
        if name.endswith(".stl")
    ]


def test_walls_that_fit_the_printer_are_one_piece() -> None:
    for bed in ({}, {"print_width": "305mm"}, {"print_width": "125mm", "print_depth": "301mm"}):
        assert set(stl_files(planned(CROSS, rows(), FACE, **bed))) == {"barriers.stl"}


# Fewer examples than usual: each makes and loads several solids.
@profile(max_examples=10)
@given(wide=st.integers(60, 280), deep=st.integers(60, 280), lap=st.sampled_from([0, 5, 8]))
@example(wide=65, deep=65, lap=5)  # a wall runs along a cut
def test_printed_pieces_fit_the_bed_are_watertight_and_make_up_the_whole(
    wide: int, deep: int, lap: int
) -> None:
    bed = {"print_width": f"{wide}mm", "print_depth": f"{deep}mm", "print_lap": f"{lap}mm"}
    cut = planned(CROSS, rows(20.0), FACE, **bed)
    (whole,) = _meshes(stl_files(planned(CROSS, rows(20.0), FACE)))
    pieces = _meshes(stl_files(cut))
    assert len(pieces) == max(len(cut.print_pieces_mm), 1)
    for piece in pieces:
        assert piece.is_watertight
        size = sorted(np.ptp(piece.bounds, axis=0)[:2])
        assert size[0] <= min(wide, deep) + 2e-3
        assert size[1] <= max(wide, deep) + 2e-3
    # Each of two laps at a crossing gives up 0.1 mm along its side and half of one at either end: corners of pieces
    # are on a grid of a micrometre.
    room = sum(
        shapely.Polygon(lap.room_mm).intersection(wall_area(cut)).area
        - shapely.Polygon(lap.outline_mm).area
        for lap in cut.print_laps
    )
    assert sum(p.volume for p in pieces) <= whole.volume * (1 + 1e-4)
    assert sum(p.volume for p in pieces) >= whole.volume * (1 - 1e-4) - room * HEIGHT
    tiles = [shapely.box(*tile) for tile in cut.print_pieces_mm]
    area = wall_area(cut)
    if tiles:
        assert shapely.union_all(tiles).covers(area.buffer(-1e-6))
        assert sum(t.intersection(area).area for t in tiles) == pytest.approx(area.area)


def test_pieces_keep_half_the_wall_past_the_cut_and_the_clearance_apart() -> None:
    lap, clearance = 8.0, 0.2
    cut = planned(
        box(((0, 60), (300, 60))),
        rows(),
        FACE,
        print_width="170mm",
        print_lap=f"{lap}mm",
        joint_clearance=f"{clearance}mm",
    )
    left, right = (piece_area(cut, k) for k in (0, 1))
    # Both reach past the cut at 150 mm, one above and one below the wall's middle, and go together sideways.
    assert left.bounds == pytest.approx((0, 58.5, 150 + lap, 61.5))
    assert right.bounds == pytest.approx((150 - lap, 58.5, 300, 61.5))
    middle = shapely.box(150 - lap, 0, 150 + lap, 120)
    halves = [piece.intersection(middle) for piece in (left, right)]
    assert [isinstance(half, shapely.Polygon) for half in halves] == [True, True]
    assert left.distance(right) < 1e-9  # they meet in the middle of the cut, and nowhere overlap
    assert left.intersection(right).area < 1e-9
    # What neither has is the clearance: along the two laps, and across the end of each.
    gap = wall_area(cut).area - left.area - right.area
    assert gap == pytest.approx(2 * clearance * (lap + THICKNESS / 2), abs=2 * clearance**2 + 1e-9)
    for lapped, other in ((0, right), (1, left)):
        tongue = shapely.Polygon(cut.print_laps[lapped].outline_mm)
        assert tongue.area == pytest.approx(lap * THICKNESS / 2)
        inner = tongue.intersection(
            shapely.box(150 - lap, 0, 149, 120).union(shapely.box(151, 0, 150 + lap, 120))
        )
        assert inner.distance(other) == pytest.approx(clearance)


def test_walls_are_lapped_only_where_there_is_room_for_it() -> None:
    along = box(((150, 0), (150, 120)), ((0, 60), (300, 60)), ((0, 20), (300, 70)))
    assert planned(along, rows(), FACE, print_width="150mm").print_laps == ()
    with_room = planned(along, rows(), FACE, print_width="180mm")
    assert len(with_room.print_laps) == 4  # two walls, two pieces each
    assert planned(along, rows(), FACE, print_width="180mm", print_lap="0mm").print_laps == ()


def test_pieces_are_parted_where_they_meet_little_wall() -> None:
    # A wall up and down at 150 mm, where halves would meet: the cut goes beside it, through the long wall alone.
    made = box(((0, 60), (300, 60)), ((150, 0), (150, 120)))
    cut = planned(made, rows(), FACE, print_width="170mm")
    (left, right) = cut.print_pieces_mm
    assert left[2] == right[0]
    assert abs(left[2] - 150) > THICKNESS / 2
    line = shapely.LineString([(left[2], 0), (left[2], 120)])
    assert line.intersection(wall_area(cut)).length == pytest.approx(THICKNESS)


def test_sheets_are_in_the_parts_list_with_their_price() -> None:
    plan = synthetic_plan()
    cut = planned(
        CROSS, rows(), FACE, sides="cut", sheet_width_mm="330mm", sheet_height_mm="200mm"
    )
    stated = plan.project.model_copy(
        update={"power": plan.project.power.model_copy(update={"prices": {"sheet": 4.5}})}
    )
    bought = replace(plan, cut=cut, power=with_material(plan.power, cut, plan.box, stated))
    listed = list(csv.DictReader(io.StringIO(parts_csv(bought))))
    (row,) = [r for r in listed if r["item"].startswith("opaque sheet, ")]
    assert row["item"] == "opaque sheet, 3 mm, 330 × 200 mm"
    assert int(row["quantity"]) == len(cut.sheets) > 1
    assert float(row["cost"]) == pytest.approx(4.5 * len(cut.sheets))
    before = plan.power.parts_cost or 0.0
    assert float(listed[-1]["cost"]) == pytest.approx(before + 4.5 * len(cut.sheets), abs=0.006)


def test_plan_json_tells_every_part_once_on_a_sheet() -> None:
    cut = planned(CROSS, rows(), FACE, sides="cut", print_width="150mm")
    told = cut_dict(cut)
    placed = [p["part"] for sheet in told["sheets"] for p in sheet["parts"]]
    assert sorted(placed) == sorted(p["part"] for p in told["parts"])
    assert told["sheet_count"] == len(cut.sheets)
    assert told["print_pieces"] == len(stl_files(cut)) > 1
