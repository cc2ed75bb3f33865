from __future__ import annotations

import dataclasses
import io
import math
from xml.etree import ElementTree as ET

import hypothesis
import numpy as np
import pytest
import shapely
import trimesh
from ezdxf.document import Drawing as Dxf
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.filemanagement import read as readfile
from ezdxf.path import make_path
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry
from svgelements import SVG, Path

from marquee.outputs.drawings.files import cut_files
from marquee.outputs.drawings.floor import floor_plan, wall_area
from marquee.outputs.drawings.stl import barriers_stl
from marquee.outputs.names import base_name
from marquee.values import Gap, Path_mm
from marquee.values_cut import CutPlan
from tests.drawings.made import HEIGHT, blank, box, circle, planned, rows

# Coordinates are written to a tenth of a micrometre.
WRITTEN = 1e-3
SVG_NAMES = ("barriers.svg", "face.svg", "walls.svg")
DXF_NAMES = ("barriers.dxf", "face.dxf", "walls.dxf")
FACE = blank()
HOSTILE = (
    '</text></svg><script>alert("x")</script>',
    "a & b <c> \"d\" 'e' ]]> <!-- f",
    "%%c %%u ^J \\P {\\fArial;x} \\U+0041",
    "(paren) \\) Tj ET /Name",
    "line\nbreak\x00\x1b[31m\u202e evil",
    "火花 🎆 Ω" + "x" * 5000,
    "",
)


@pytest.fixture(scope="module")
def cut() -> CutPlan:
    walls = box(((0, 60), (300, 60)), ((100, 0), (100, 120)), circle(210, 60, 20))
    return planned(walls, rows(20.0, 100.0), blank())


@pytest.fixture(scope="module")
def files(cut: CutPlan) -> dict[str, bytes]:
    return cut_files(cut, (("0 lamp", (150.0, 30.0), 25.0),), "sign.png")


def _paths(data: bytes, layer: str) -> list[Path]:
    # At 25.4 dots to the inch a user unit of the reading library is a millimetre.
    picture = SVG.parse(io.BytesIO(data), ppi=25.4, reify=True)
    group = next(g for g in picture.select(lambda e: e.values.get("id") == layer))
    return [Path(item) for item in group.select() if isinstance(item, Path)]


def _area(path: Path) -> float:
    points = [(p.x, p.y) for p in (path.point(t) for t in np.linspace(0, 1, 4001))]
    return shapely.Polygon(points).area


def _read(data: bytes) -> Dxf:
    return readfile(io.StringIO(data.decode("cp1252")))


def _polylines(data: bytes, layer: str) -> list[shapely.LineString]:
    found = []
    for entity in _read(data).modelspace().query(f'LWPOLYLINE[layer=="{layer}"]'):
        assert isinstance(entity, LWPolyline)
        # The reading library turns bulges to chords within 1 µm.
        points = [(p.x, p.y) for p in make_path(entity).flattening(0.001)]
        found.append(shapely.LineString(points))
    return found


def test_wall_lines_of_the_svg_are_as_long_as_the_walls(
    cut: CutPlan, files: dict[str, bytes]
) -> None:
    found = sum(p.length(error=1e-6) for p in _paths(files["barriers.svg"], "CENTRE"))
    assert found == pytest.approx(sum(s.run_mm for s in cut.strips), abs=WRITTEN)


def test_the_svg_measures_in_millimetres(files: dict[str, bytes]) -> None:
    for name in SVG_NAMES:
        root = ET.fromstring(files[name])  # noqa: S314 -- our own file
        _, _, width, height = (float(v) for v in root.attrib["viewBox"].split())
        assert root.attrib["width"] == f"{width:g}mm" or float(root.attrib["width"][:-2]) == width
        assert float(root.attrib["height"].removesuffix("mm")) == height
    rim = _paths(files["barriers.svg"], "RIM")[0].bbox()
    assert (rim[2] - rim[0], rim[3] - rim[1]) == pytest.approx((300, 120), abs=WRITTEN)


def test_strips_of_the_svg_are_the_finished_parts_and_the_kerf(
    cut: CutPlan, files: dict[str, bytes]
) -> None:
    found = sorted(_area(p) for p in _paths(files["walls.svg"], "CUT"))
    drawn = sorted(shapely.Polygon(p.cut_mm).area for s in cut.sheets for p in s.parts)
    # 4001 samples of an outline of under 2 m cut its corners by at most 0.25 mm.
    assert found == pytest.approx(drawn, rel=2e-4)
    finished = sum(shapely.Polygon(s.outline_mm).area for s in cut.strips)
    assert finished < sum(found)


def test_the_openings_of_the_svg_have_the_area_of_what_was_drawn(files: dict[str, bytes]) -> None:
    rim, opening = _paths(files["face.svg"], "CUT")
    assert _area(rim) == pytest.approx(300 * 120, rel=2e-4)
    assert _area(opening) == pytest.approx(math.pi * 8**2, rel=0.005)


def test_every_dxf_passes_the_audit_and_measures_in_millimetres(files: dict[str, bytes]) -> None:
    for name in DXF_NAMES:
        document = _read(files[name])
        audit = document.audit()
        assert not audit.has_errors, name
        assert not audit.has_fixes, name
        assert document.header["$INSUNITS"] == 4  # millimetres, DXF reference
        used = {e.dxf.layer for e in document.modelspace()}
        assert used <= {layer.dxf.name for layer in document.layers}


def test_wall_lines_of_the_dxf_are_as_long_as_the_walls(
    cut: CutPlan, files: dict[str, bytes]
) -> None:
    found = sum(line.length for line in _polylines(files["barriers.dxf"], "CENTRE"))
    assert found == pytest.approx(sum(s.run_mm for s in cut.strips), abs=WRITTEN)


def test_parts_of_the_dxf_have_the_parts_areas(cut: CutPlan, files: dict[str, bytes]) -> None:
    found = sorted(shapely.Polygon(p).area for p in _polylines(files["walls.dxf"], "CUT"))
    drawn = sorted(shapely.Polygon(p.cut_mm).area for s in cut.sheets for p in s.parts)
    assert found == pytest.approx(drawn, abs=WRITTEN)
    folds = sum(len(s.folds) for s in cut.strips)
    scored = [
        line for name in ("SCORE", "SCORE-BEHIND") for line in _polylines(files["walls.dxf"], name)
    ]
    assert len(scored) == folds > 0
    assert {round(line.length, 3) for line in scored} <= {HEIGHT, HEIGHT - cut.notch_height_mm}


def test_the_dxf_shows_the_face_upright(files: dict[str, bytes]) -> None:
    # The opening lies 20 mm below the top edge; y runs up in DXF.
    rim, opening = _polylines(files["face.dxf"], "CUT")
    assert rim.bounds[3] - opening.centroid.y == pytest.approx(20, abs=0.05)
    assert opening.centroid.x - rim.bounds[0] == pytest.approx(20, abs=0.05)


def test_each_part_is_named_once_on_the_floor_plan_beside_its_wall(
    cut: CutPlan, files: dict[str, bytes]
) -> None:
    texts = list(_read(files["barriers.dxf"]).modelspace().query('TEXT[layer=="LABEL"]'))
    for strip in cut.strips:
        (text,) = [t for t in texts if t.dxf.text == strip.part]
        place = shapely.Point(text.dxf.align_point.x, -text.dxf.align_point.y)
        assert shapely.LineString(strip.path_mm).distance(place) < 12


def test_every_part_of_a_crowded_box_has_its_number() -> None:
    # A grid of cells 9 mm wide leaves no room for numbers inside.
    walls = [((60.0 + 9 * k, 40.0), (60.0 + 9 * k, 76.0)) for k in range(7)]
    walls += [((60.0, 40.0 + 9 * k), (114.0, 40.0 + 9 * k)) for k in range(5)]
    crowded = planned(box(*walls), rows(), blank(), sheet_width_mm="60mm")
    texts = [
        t.dxf.text
        for t in _read(cut_files(crowded, (), "x")["barriers.dxf"]).modelspace().query("TEXT")
    ]
    names = [s.part for s in crowded.strips]
    assert len(names) >= 12
    assert [texts.count(name) for name in names] == [1] * len(names)


def test_the_back_view_is_the_front_view_mirrored(cut: CutPlan) -> None:
    front, back = (floor_plan(cut, (), "sign", back=side) for side in (False, True))
    areas: list[BaseGeometry] = []
    for drawing in (front, back):
        rings = [shapely.Polygon(s.points) for s in drawing.strokes if s.layer.name == "WALL"]
        area: BaseGeometry = rings[0]
        for ring in rings[1:]:
            area = area.symmetric_difference(ring)
        areas.append(area)
    flipped = shapely.affinity.scale(areas[0], xfact=-1, origin=(cut.width_mm / 2, 0))
    assert flipped.symmetric_difference(areas[1]).area < 1e-6
    assert areas[0].symmetric_difference(areas[1]).area > 100  # the box is not its own mirror


def test_printable_walls_are_watertight_and_hold_what_the_plan_says(
    cut: CutPlan, files: dict[str, bytes]
) -> None:
    mesh = trimesh.load_mesh(io.BytesIO(files["barriers.stl"]), file_type="stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    plan = wall_area(cut)
    passed = shapely.union_all([shapely.Polygon(a) for a in cut.notch_areas_mm])
    volume = plan.area * HEIGHT - plan.intersection(passed).area * cut.notch_height_mm
    # Corners are on a grid of a micrometre.
    assert mesh.volume == pytest.approx(volume, rel=1e-4)
    assert mesh.bounds[:, 2] == pytest.approx([0, HEIGHT])
    assert mesh.bounds[:, 0] == pytest.approx([0, 300])
    # Seen from the front the upper end of the wall at x = 100 is at the top of the print too: y up.
    top = mesh.section(plane_origin=(0, 0, HEIGHT / 2), plane_normal=(0, 0, 1))
    assert top is not None


def test_walls_that_touch_in_a_point_still_print() -> None:
    made = box(circle(60, 60, 20), circle(100 + 3, 60, 20), ((150, 0), (150, 120)))
    data = cut_files(planned(made, rows(60.0), blank()), (), "x")["barriers.stl"]
    assert trimesh.load_mesh(io.BytesIO(data), file_type="stl").is_watertight


_spot = st.tuples(st.floats(2, 298), st.floats(2, 118))
_walls = st.lists(
    st.one_of(
        st.builds(circle, st.floats(40, 260), st.floats(40, 80), st.floats(4, 30), st.just(24)),
        st.lists(_spot, min_size=2, max_size=5, unique=True).map(tuple),
        st.builds(lambda a, b: ((0.0, a), (300.0, b)), st.floats(1, 119), st.floats(1, 119)),
        st.builds(lambda a, b: ((a, 0.0), (b, 120.0)), st.floats(1, 299), st.floats(1, 299)),
    ),
    min_size=1,
    max_size=6,
)


@hypothesis.settings(max_examples=25)
@given(
    walls=_walls, fold=st.sampled_from([0, 65, 120]), thickness=st.sampled_from([0.5, 3.0, 8.0])
)
def test_walls_however_they_cross_give_sound_parts_and_a_watertight_print(
    walls: list[Path_mm], fold: float, thickness: float
) -> None:
    made = box(*walls, thickness=thickness)
    crossed = planned(made, rows(31.0, 77.0), FACE, most_fold_degrees=fold)
    if not crossed.strips:
        return
    for sheet in crossed.sheets:
        assert all(shapely.is_valid(shapely.Polygon(p.cut_mm)) for p in sheet.parts)
    data = barriers_stl(crossed)
    assert trimesh.load_mesh(io.BytesIO(data), file_type="stl").is_watertight


def test_drawings_are_the_same_bytes_every_time(cut: CutPlan, files: dict[str, bytes]) -> None:
    assert cut_files(cut, (("0 lamp", (150.0, 30.0), 25.0),), "sign.png") == files


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names_are_text_and_nothing_else(cut: CutPlan, name: str) -> None:
    plain = cut_files(cut, (("x", (150.0, 30.0), 25.0),), "sign.png")
    made = cut_files(cut, ((name, (150.0, 30.0), 25.0),), base_name(name))
    for file in SVG_NAMES:
        tags = [
            [e.tag for e in ET.fromstring(d[file]).iter()]  # noqa: S314 -- our own file
            for d in (made, plain)
        ]
        assert set(tags[0]) == set(tags[1])
        assert len([t for t in tags[0] if t.endswith("path")]) == len(
            [t for t in tags[1] if t.endswith("path")]
        )
    for file in DXF_NAMES:
        document = _read(made[file])
        assert not document.audit().has_errors
        for entity in document.modelspace().query("TEXT"):
            assert "%%" not in entity.dxf.text
            assert "\n" not in entity.dxf.text
    assert made["barriers.pdf"].startswith(b"%PDF-")


def test_the_face_drawing_rings_narrow_gaps_and_says_what_to_add(cut: CutPlan) -> None:
    gap = Gap(
        zones=(0, 1), at_mm=(120.0, 40.0), gap_mm=1.2, length_mm=9.0, add_mm=1.8, add_clear_mm=3.8
    )
    data = cut_files(dataclasses.replace(cut, gaps=(gap,)), (), "x")["face.dxf"]
    (ring,) = _polylines(data, "GAP")
    assert shapely.Polygon(ring).centroid.coords[0] == pytest.approx((120, -40), abs=1e-6)
    told = " ".join(t.dxf.text for t in _read(data).modelspace().query('TEXT[layer=="NOTE"]'))
    assert "gap 1.2 mm, add 1.8 mm: G0 (120, 40)" in told
    assert not _polylines(cut_files(cut, (), "x")["face.dxf"], "GAP")


def test_marks_of_parts_lie_on_the_parts() -> None:
    # Tongues at the ends of two parts, steps at half their height where the marks would begin.
    made = box(((0, 60), (300, 60)), ((100, 60), (100, 120)), ((200, 60), (200, 0)))
    tongued = planned(made, rows(20.0), FACE)
    assert "tee" in {end.kind for s in tongued.strips for end in (s.start, s.end)}
    data = cut_files(tongued, (), "x")["walls.dxf"]
    parts = [shapely.Polygon(p).buffer(-0.3) for p in _polylines(data, "CUT")]
    texts = list(_read(data).modelspace().query('TEXT[layer=="LABEL"]'))
    assert len(texts) == 3 * len(tongued.strips)
    for text in texts:
        # The first half millimetre of each line of text, its baseline up.
        x, y = text.dxf.insert.x, text.dxf.insert.y
        start = shapely.box(x, y, x + 0.5, y + text.dxf.height)
        assert any(part.covers(start) for part in parts), text.dxf.text


def test_kerf_of_the_face_is_in_its_cut_lines_only_where_stated(cut: CutPlan) -> None:
    stated = dataclasses.replace(cut, face_compensated=True, kerf_mm=0.4)
    rim, opening = _polylines(cut_files(stated, (), "x")["face.dxf"], "CUT")
    rim_before, opening_before = _polylines(cut_files(cut, (), "x")["face.dxf"], "CUT")
    assert rim.bounds == pytest.approx((-0.2, -120.2, 300.2, 0.2), abs=WRITTEN)
    assert rim_before.bounds == pytest.approx((0, -120, 300, 0), abs=WRITTEN)
    shrunk = shapely.Polygon(opening_before).buffer(-0.2)
    assert shapely.Polygon(opening).area == pytest.approx(shrunk.area, rel=1e-3)
