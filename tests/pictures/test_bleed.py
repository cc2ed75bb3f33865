from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from marquee.box.unwalled import light_unwalled
from marquee.outputs.pictures.bleed import bleed_picture, draw_bleed, without_walls
from marquee.outputs.pictures.canvas import fit_view
from marquee.outputs.pictures.layout import ROOM_PX, lay_out
from marquee.outputs.pictures.lit import draw_lit, expose, lit_picture
from marquee.outputs.pictures.style import MARGIN_PX
from marquee.plan import Plan
from marquee.values import HueCycle
from tests.pictures.factory import MATRIX, scene, synthetic_plan


def pixels(png: bytes) -> NDArray[np.int64]:
    return np.asarray(Image.open(io.BytesIO(png))).astype(int)


def unwalled(plan: Plan) -> Plan:
    """Return the plan with its light in one open box beside it."""
    light = light_unwalled(plan.zone_map, plan.box, plan.chain, plan.drive, plan.project.box)
    return replace(plan, unwalled=light)


def opened(plan: Plan) -> Plan:
    """Return the plan as it is shown without walls."""
    bare = without_walls(plan)
    assert bare is not None
    return bare


@pytest.fixture(scope="module")
def plan() -> Plan:
    return unwalled(synthetic_plan())


@pytest.fixture(scope="module")
def bleed(plan: Plan) -> NDArray[np.int64]:
    return pixels(bleed_picture(plan))


def test_the_half_with_walls_is_the_lit_picture(plan: Plan, bleed: NDArray[np.int64]) -> None:
    lit, view = pixels(lit_picture(plan)), lay_out((600, 150), labels=False).view
    face = lit[view.y : view.y + view.height_px, view.x : view.x + view.width_px]
    rows = [
        y
        for y in range(bleed.shape[0] - view.height_px)
        if (bleed[y, view.x : view.x + view.width_px] == face[0]).all()
        and (bleed[y : y + view.height_px, view.x : view.x + view.width_px] == face).all()
    ]
    assert len(rows) == 1


def test_both_halves_have_one_exposure(plan: Plan, bleed: NDArray[np.int64]) -> None:
    view = fit_view((600, 150), (ROOM_PX, 400), MARGIN_PX, 0)
    white = expose(plan, view).white_cd_m2
    bare = expose(opened(plan), view, white).pixels
    top = next(
        y for y in range(100, 200) if (bleed[y, view.x : view.x + view.width_px] == bare[0]).all()
    )
    half = bleed[top : top + view.height_px, view.x : view.x + view.width_px]
    assert (half == bare).all()


def test_without_walls_colours_that_walls_kept_apart_run_together(plan: Plan) -> None:
    view = fit_view((600, 150), (ROOM_PX, 400), 0, 0)
    (cx, cy, radius), _ = scene((600, 150))
    places = [view.at(cx, cy + 0.7 * radius), view.at(cx, cy + 0.5 * radius)]

    def apart(of: Plan) -> float:
        ring, disc = (expose(of, view).pixels[int(y), int(x)].astype(float) for x, y in places)
        return float(np.abs(ring / ring.sum() - disc / disc.sum()).max())

    # 13 mm apart in one open box 40 mm deep: nearly one colour.
    assert apart(opened(plan)) < 0.03
    assert apart(plan) > 0.2


@pytest.mark.parametrize("size_mm", [(600.0, 150.0), (400.0, 260.0), (150.0, 600.0)])
def test_no_text_overlaps_or_leaves_the_sheet(size_mm: tuple[float, float]) -> None:
    sheet = draw_bleed(unwalled(synthetic_plan(size_mm=size_mm)))
    for first, second in combinations(sheet.texts, 2):
        assert not first.meets(second), f"{first} {second}"
    assert max(box.x1 for box in sheet.texts) <= sheet.width_px
    assert max(box.y1 for box in sheet.texts) <= sheet.height_px


def test_a_box_without_walls_is_shown_once() -> None:
    plan = synthetic_plan()
    bare = replace(plan, box=replace(plan.box, walls=()))
    names = [text.text for text in draw_bleed(bare).texts]
    assert "No walls needed" in names
    assert "With walls" not in names


def test_a_cycling_zone_is_shown_at_the_step_a_screen_shows_brightest(plan: Plan) -> None:
    # Three lights within sRGB, as XYZ of linear red-, green- and bluish mixtures, Y in cd.
    steps = np.array([[0.8, 0.1, 0.1], [0.1, 0.5, 0.1], [0.1, 0.2, 0.9]]) @ MATRIX.T
    own = plan.transfer.zone_of_element == 3
    lux = np.zeros_like(plan.transfer.lux_per_cd)
    lux[3][own] = 1000.0
    per_lux = plan.transfer.diffuser_transmittance / np.pi
    mean = (lux[3][..., None] * steps.mean(axis=0) * per_lux).astype(np.float32)
    cycle = HueCycle(codes=(), xyz_cd=tuple(tuple(s) for s in steps.tolist()), period_s=12.0)
    cycling = replace(
        plan,
        transfer=replace(plan.transfer, lux_per_cd=lux),
        light=replace(plan.light, luminance_xyz=mean),
        drive=replace(plan.drive, hue_cycle=cycle),
    )
    sheet = draw_lit(cycling)
    captions = " ".join(text.text for text in sheet.texts)
    white = float(re.findall(r"white of (\d+) cd/m²", captions)[0])
    assert "once round in 12 s" in captions
    x, y = plan.zone_map.apertures[7].centroid_mm
    column, row = lay_out((600, 150), labels=False).view.at(x, y)
    encoded = pixels(sheet.png())[int(row), int(column)] / 255
    # IEC 61966-2-1, equations 5 and 6.
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    shown = linear * white
    # Per luminance (weights 0.2126, 0.7152, 0.0722) the second light needs the least of its strongest channel.
    # Half a code in each channel and the rounded exposure: within 2 % of the strongest channel.
    assert shown == pytest.approx(1000.0 * per_lux * np.array([0.1, 0.5, 0.1]), abs=0.02 * 127)
