"""The instant estimate against path-traced boxes (mitsuba 3.9.1) with closed cells, and its balance's closed forms."""

from __future__ import annotations

import itertools
import json

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from marquee.box.chambers import Chambers
from marquee.box.light_beam import exponent_of, flux_lm
from marquee.box.materials import BoxOptics
from marquee.box.quick_light import QuickLight, reflected_lux
from marquee.project import BoxSettings
from marquee.values import Box, Cell
from tests.box.factory import blank, rect, zone_map
from tests.box.light_made import DATA, reference

# Boxes of one colour of paint whose cells are closed; 05 has a wall to the diffuser, which parts it in two.
SEALED = {"02": [], "03": [], "05": [99.0], "09": [], "11": []}


def _estimate(case: str) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Return the estimate and the traced light at the asked places of each cell."""
    told = json.loads((DATA / f"{case}.json").read_text())
    scene, arrays = reference(case)
    edges = [0.0, *SEALED[case], scene.width_mm]
    labels = blank(round(scene.width_mm), round(scene.height_mm))
    cells = []
    for k, (x0, x1) in enumerate(itertools.pairwise(edges)):
        half = 1.0 if len(edges) > 2 else 0.0
        low, high = x0 + half * (k > 0), x1 - half * (k < len(edges) - 2)
        rect(labels, k, (round(low), 0, round(high), round(scene.height_mm)))
        ring = shapely.box(low, 0, high, scene.height_mm).exterior.coords
        cells.append(
            Cell(id=k, zone=k, outline_mm=tuple((float(x), float(y)) for x, y in ring), area_mm2=1)
        )
    box = Box(
        width_mm=scene.width_mm,
        height_mm=scene.height_mm,
        depth_mm=scene.depth_mm,
        wall_thickness_mm=2.0,
        wall_gap_mm=0.0,
        walls=(),
        cells=tuple(cells),
    )
    optics = BoxOptics(
        surface_reflectance=told["reflectance"]["back"],
        diffuser_transmittance=0.5,
        diffuser_reflectance=told["reflectance"]["diffuser_under"],
    )
    quick = QuickLight(Chambers(zone_map(labels), box, 0.1), optics, 1.0)
    pairs = []
    for k, asked in quick.cells.items():
        channel = int(np.argmax(scene.led_cd[_inside(cells[k], scene.led_xy_mm)].sum(axis=0)))
        own = _inside(cells[k], scene.led_xy_mm)
        cd = scene.led_cd[own, channel]
        found = (quick.lux(k, scene.led_xy_mm[own]) * cd[:, None]).sum(axis=0)
        g = scene.grid
        ix = np.clip(np.rint((asked.points[:, 0] - g.x0_mm) / g.dx_mm), 0, g.nx - 1).astype(int)
        iy = np.clip(np.rint((asked.points[:, 1] - g.y0_mm) / g.dy_mm), 0, g.ny - 1).astype(int)
        clear = arrays["zone"][iy, ix] >= 0
        pairs.append(
            (found[clear].astype(float), arrays["E"][channel, iy, ix][clear].astype(float))
        )
    return pairs


def _inside(cell: Cell, xy: NDArray[np.float64]) -> NDArray[np.bool_]:
    return np.asarray(shapely.contains_xy(shapely.Polygon(cell.outline_mm), xy[:, 0], xy[:, 1]))


@pytest.mark.parametrize("case", sorted(SEALED))
def test_the_estimate_keeps_its_stated_error_in_closed_cells(case: str) -> None:
    for found, traced in _estimate(case):
        # As stated, and a little for the tracer's noise of up to 1 % an element.
        assert found.mean() == pytest.approx(traced.mean(), rel=0.045)
        assert np.percentile(abs(found / traced - 1), 95) < 0.11
        evenness = found.min() / found.max(), traced.min() / traced.max()
        assert evenness[0] == pytest.approx(evenness[1], abs=0.11)


@pytest.mark.parametrize("half_angle_deg", [30.0, 60.0, 75.0])
@pytest.mark.parametrize("diffuser", [0.0, 0.4])
def test_in_a_white_cell_all_light_ends_in_the_diffuser(
    half_angle_deg: float, diffuser: float
) -> None:
    # Sphere theory: with floor and walls that lose nothing the diffuser meets Φ / (1 - ρ_d) of each LED's flux Φ.
    m = exponent_of(half_angle_deg)
    optics = BoxOptics(
        surface_reflectance=1 - 1e-9, diffuser_transmittance=0.5, diffuser_reflectance=diffuser
    )
    area, around, depth = 60.0 * 40.0, 200.0, 30.0
    after = reflected_lux(area, around, depth, optics, m) * area * 1e-6
    x = 2 * area / around / depth
    missed = ((np.sqrt(4 * x * x + 1) - 1) / (2 * x * x)) ** ((m + 1) / 2)
    straight = flux_lm(m) * (1 - missed)
    assert after + straight == pytest.approx(flux_lm(m) / (1 - diffuser), rel=1e-5)


def test_settings_name_the_usual_paint() -> None:
    from marquee.box.materials import box_optics, usual_optics

    assert usual_optics() == box_optics(BoxSettings())
