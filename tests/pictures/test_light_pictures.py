from __future__ import annotations

import io
import re
from collections.abc import Callable
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from marquee.outputs.pictures.chromaticity import chromaticity_picture, draw_chromaticity
from marquee.outputs.pictures.layout import lay_out
from marquee.outputs.pictures.light import contour_levels, draw_light, light_picture
from marquee.outputs.pictures.sheet import Sheet
from marquee.plan import Plan
from tests.pictures.factory import LUMINANCE, synthetic_plan

SHAPES = ((600.0, 150.0), (400.0, 260.0), (260.0, 360.0), (150.0, 600.0))


def pixels(png: bytes) -> NDArray[np.int64]:
    return np.asarray(Image.open(io.BytesIO(png))).astype(int)


@pytest.mark.parametrize("size_mm", SHAPES)
@pytest.mark.parametrize("draw", [draw_light, draw_chromaticity])
def test_no_text_overlaps_or_leaves_the_sheet(
    draw: Callable[[Plan], Sheet], size_mm: tuple[float, float]
) -> None:
    sheet = draw(synthetic_plan(size_mm=size_mm))
    for first, second in combinations(sheet.texts, 2):
        assert not first.meets(second), f"{first} {second}"
    for box in sheet.texts:
        assert min(box.x0, box.y0) >= 0, box
        assert box.x1 <= sheet.width_px, box
        assert box.y1 <= sheet.height_px, box


@pytest.mark.parametrize("picture", [light_picture, chromaticity_picture])
def test_the_same_plan_gives_the_same_bytes(picture: Callable[[Plan], bytes]) -> None:
    first, second = (picture(synthetic_plan()) for _ in range(2))
    assert first == second
    assert pixels(first).shape[1] == 1200


def test_the_light_maps_colours_are_cividis_of_the_luminance() -> None:
    plan = synthetic_plan()
    sheet = draw_light(plan)
    image, view = pixels(sheet.png()), lay_out((600, 150), labels=False).view
    note = next(t.text for t in sheet.texts if "scale ends" in t.text)
    top = float(re.findall(r"ends at (\d+)", note)[0])
    # Reference: matplotlib's own cividis table.
    cividis = mpl.colormaps["cividis"]
    for zone, aperture in ((2, 3), (3, 7)):
        x0, y0, _, y1 = plan.zone_map.apertures[aperture].bbox_mm
        column, row = view.at(x0 + 5, (y0 + y1) / 2)
        expected = np.array(cividis(LUMINANCE[zone] / top)[:3]) * 255
        # One step of the 256-colour table is at most 2 codes; the stated end is rounded to 1 cd/m².
        assert np.abs(image[int(row), int(column)] - expected).max() <= 4


@pytest.mark.parametrize("top", [0.7, 1.0, 37.0, 240.0, 813.0, 9999.0])
def test_contours_stand_at_round_luminances_within_the_scale(top: float) -> None:
    levels = contour_levels(top)
    assert 2 <= len(levels) <= 8
    assert 0 < levels[0] < levels[-1] < top
    assert np.diff([0.0, *levels]) == pytest.approx(levels[0])
    assert len(f"{levels[0]:.0e}".split("e")[0]) == 1
    assert float(f"{levels[0]:.0e}") == pytest.approx(levels[0])


def test_the_diagram_shows_known_chromaticities_in_their_places() -> None:
    plan = synthetic_plan()
    sheet = draw_chromaticity(plan)
    image = pixels(sheet.png())
    ticks = {t.text: t for t in sheet.texts if re.fullmatch(r"0\.\d", t.text)}
    across = [t for t in sheet.texts if t.text in {"0.1", "0.5"}]
    bottom = max(t.y0 for t in across)
    u1, u5 = ((t.x0 + t.x1) / 2 for t in across if t.y0 == bottom)
    v1, v5 = (
        next((t.y0 + t.y1) / 2 for t in across if t.text == name and t.y0 < bottom)
        for name in ("0.1", "0.5")
    )
    assert len(ticks) >= 6

    def at(x: float, y: float) -> NDArray[np.int64]:
        # CIE 15:2018, 8.1: u′ = 4x/(−2x+12y+3), v′ = 9y/(−2x+12y+3).
        scale = -2 * x + 12 * y + 3
        u, v = 4 * x / scale, 9 * y / scale
        column = u1 + (u - 0.1) / 0.4 * (u5 - u1)
        row = v1 + (v - 0.1) / 0.4 * (v5 - v1)
        return image[round(row) - 3 : round(row) + 4, round(column) - 3 : round(column) + 4]

    # sRGB's primaries: IEC 61966-2-1, table 1. Dashes start at the corners: blue-grey pixels.
    for xy in ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)):
        near = at(*xy)
        assert (np.abs(near - (70, 104, 168)).max(axis=-1) < 40).any()
    # Spectral locus, CIE 1931 2°: CIE 15:2018, table of chromaticity coordinates, 500, 550 and 600 nm.
    for xy in ((0.0082, 0.5384), (0.3016, 0.6923), (0.6270, 0.3725)):
        near = at(*xy)
        assert (np.abs(near - (110, 116, 126)).max(axis=-1) < 40).any()
