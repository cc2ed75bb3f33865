"""Smooth edges in the DXF, read back with ezdxf as lines and arcs."""

from __future__ import annotations

import io

import numpy as np
import pytest
import shapely
from ezdxf.entities import lwpolyline
from ezdxf.filemanagement import read as readfile
from ezdxf.math import Bezier4P, Vec3, bulge_to_arc
from ezdxf.path import make_path
from hypothesis import assume, given
from hypothesis import strategies as st

from marquee.outputs.drawings.arcs import arc_path
from marquee.outputs.drawings.files import cut_files
from marquee.values import Point
from marquee.values_cut import Ring
from tests.drawings.made import box, coverage, face, planned, rows

# What the drawing promises for edges against the curves, and the chords the reading library makes of both: those of
# a curve across 40 mm leave it by at most 0.75 · 170 mm / 400², its bend over the square of their number.
WITHIN_MM, CHORDS_MM, CHORDS = 0.005, 0.001, 400


def _openings(data: bytes) -> list[lwpolyline.LWPolyline]:
    space = readfile(io.StringIO(data.decode("cp1252"))).modelspace()
    found = list(space.query('LWPOLYLINE[layer=="CUT"]'))
    assert all(isinstance(e, lwpolyline.LWPolyline) for e in found)
    return [e for e in found if isinstance(e, lwpolyline.LWPolyline) and e.has_arc]


def test_a_round_opening_is_cut_in_arcs_of_its_radius() -> None:
    lit = coverage(lambda x, y: np.hypot(x - 20, y - 20) <= 8, (60.0, 40.0), 0.1)
    made = planned(box(((0, 38), (60, 38)), size=(60.0, 40.0)), rows(), face(lit, 0.1))
    (opening,) = _openings(cut_files(made, (), "sign")["face.dxf"])
    points = list(opening.get_points("xyb"))
    chords = made.openings[0].outline.flat_mm
    assert len(points) < len(chords) / 2, "arcs take fewer vertices than chords"
    radii = []
    for (x0, y0, bulge), (x1, y1, _) in zip(points, points[1:] + points[:1], strict=True):
        _, _, _, radius = bulge_to_arc((x0, y0), (x1, y1), bulge)
        radii.append(radius)
    # Each arc is a few millimetres long, and 0.01 mm of error in its rise is 5 % of its radius.
    assert np.median(radii) == pytest.approx(8, rel=0.05)
    drawn = shapely.LineString([(p.x, p.y) for p in make_path(opening).flattening(0.001)])
    circle = shapely.Point(20, -20).buffer(8, quad_segs=400).exterior
    assert shapely.hausdorff_distance(drawn, circle, densify=0.01) < 0.1


place = st.tuples(st.floats(-20, 20), st.floats(-20, 20)).map(
    lambda p: (round(p[0], 3), round(p[1], 3))
)


@given(st.lists(st.tuples(place, place, place), min_size=1, max_size=4), place)
def test_arcs_follow_any_curve_to_a_few_micrometres(
    pieces: list[tuple[Point, Point, Point]], start: Point
) -> None:
    curves = tuple((*a, *b, *c) for a, b, c in pieces)
    vertices = arc_path(Ring(start=start, curves=curves, flat_mm=()))
    at = start
    wanted: list[Point] = [(start[0], -start[1])]
    for a, b, c in pieces:
        # Curves of which two points are equal may turn on the spot.
        assume(len({at, a, b, c}) == 4)
        turned = Vec3.list((x, -y, 0.0) for x, y in (at, a, b, c))
        wanted += [(p.x, p.y) for p in Bezier4P(turned).approximate(CHORDS)][1:]
        at = c
    line = lwpolyline.LWPolyline.new()
    # Open, with the last curve's end put after the last vertex.
    line.append_points([*vertices, (at[0], -at[1], 0.0)], format="xyb")
    drawn = [(p.x, p.y) for p in make_path(line).flattening(CHORDS_MM)]
    off = shapely.hausdorff_distance(shapely.LineString(drawn), shapely.LineString(wanted))
    # Cusps are cut across where halving ends, after eight halvings of a curve of up to 100 mm.
    assert off <= WITHIN_MM + 2 * CHORDS_MM + 0.05
