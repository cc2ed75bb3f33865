"""Nothing on the sheets is cut short, hidden under a line, or told by two different figures."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest

from marquee.outputs.pictures import overview
from marquee.outputs.pictures.barriers import draw_barriers
from marquee.outputs.pictures.bleed import draw_bleed
from marquee.outputs.pictures.chromaticity import draw_chromaticity, zone_places
from marquee.outputs.pictures.lit import draw_lit
from marquee.outputs.pictures.overview import draw_overview
from marquee.outputs.pictures.sheet import Sheet
from marquee.outputs.pictures.voltage import draw_voltage
from marquee.outputs.pictures.wiring import draw_wiring
from marquee.plan import Plan
from tests.pictures.factory import synthetic_plan

SIZES = ((600.0, 150.0), (400.0, 260.0), (150.0, 600.0))


def _words(sheet: Sheet) -> list[str]:
    return [box.text for box in sheet.texts]


@pytest.mark.parametrize("size_mm", SIZES)
@pytest.mark.parametrize("walls", [1, 6])
def test_every_place_where_a_strip_passes_is_written_out(
    size_mm: tuple[float, float], walls: int
) -> None:
    plan = synthetic_plan(size_mm=size_mm)
    many = tuple(103.0 + 7 * k for k in range(30))
    first = plan.box.walls[0]
    made = tuple(replace(first, id=k, slots_mm=many) for k in range(walls))
    words = _words(draw_barriers(replace(plan, box=replace(plan.box, walls=made))))
    listed = re.findall(
        r"\d+", " ".join(w for w in words if re.fullmatch(r"[\d, ]+", w) and "," in w)
    )
    for place in many:
        assert listed.count(f"{place:.0f}") == walls


def test_a_box_without_walls_says_nothing_of_their_thickness() -> None:
    plan = synthetic_plan()
    words = " ".join(_words(draw_barriers(replace(plan, box=replace(plan.box, walls=())))))
    assert "no walls" in words
    assert "thick" not in words


@pytest.mark.parametrize("size_mm", SIZES)
def test_lit_bleed_and_overview_state_the_same_full_white(size_mm: tuple[float, float]) -> None:
    plan = synthetic_plan(size_mm=size_mm)
    stated = set()
    for sheet in (draw_lit(plan), draw_overview(plan), draw_bleed(plan)):
        text = " ".join(_words(sheet))
        stated |= set(re.findall(r"(?:full white =|Full white is|a white of) (\d+) cd", text))
    assert len(stated) == 1


@pytest.mark.parametrize("size_mm", SIZES[:2])
def test_the_overviews_caption_of_the_lit_face_is_whole(
    size_mm: tuple[float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = synthetic_plan(size_mm=size_mm)
    monkeypatch.setattr(overview, "cycling_zones", lambda _: (0,))
    (caption,) = [w for w in _words(draw_overview(plan)) if "full white" in w]
    assert "…" not in caption
    assert caption.endswith("one of its hues")


@pytest.mark.parametrize("size_mm", [(140.0, 700.0), (100.0, 800.0), (250.0, 250.0)])
def test_no_caption_of_an_upright_face_is_cut_to_the_faces_width(
    size_mm: tuple[float, float],
) -> None:
    plan = synthetic_plan(size_mm=size_mm)
    for sheet in (draw_overview(plan), draw_barriers(plan), draw_wiring(plan)):
        assert not [word for word in _words(sheet) if word.endswith("…")]


def test_a_zones_number_stands_on_no_other_zones_mark() -> None:
    plan = synthetic_plan()
    drives = plan.drive.zones
    # The second zone's colour is moved to just above the first's, where the first free place of its number was.
    first, second = drives[0], drives[1]
    near = replace(first, zone=second.zone, predicted_xyz=_nudged(first.predicted_xyz))
    moved = plan.but(drive=replace(plan.drive, zones=(first, near, *drives[2:])))
    sheet = draw_chromaticity(moved)
    numbers = {f"{d.zone}": d.zone for d in moved.drive.zones}
    plot = [box for box in sheet.texts if box.text in numbers and box.x1 < 560 and box.y0 > 60]
    marks = _marks(sheet, moved)
    for box, (zone, x, y) in itertools.product(plot, marks):
        if numbers[box.text] != zone:
            assert not (box.x0 < x < box.x1 and box.y0 < y < box.y1)


def _nudged(xyz: tuple[float, ...]) -> tuple[float, float, float]:
    return (xyz[0], xyz[1] * 1.1, xyz[2])


def _marks(sheet: Sheet, plan: Plan) -> list[tuple[int, float, float]]:
    """Where the marks are, by the axes' own figures on the sheet."""
    lowest = max(b.y0 for b in sheet.texts if b.text == "0.0")
    (up,) = [b for b in sheet.texts if b.text == "0.5" and b.y0 < lowest - 20]
    (up2,) = [b for b in sheet.texts if b.text == "0.1" and b.y0 < lowest - 20]
    on_axis = {b.text: (b.x0 + b.x1) / 2 for b in sheet.texts if abs(b.y0 - lowest) < 2}
    scale = (on_axis["0.5"] - on_axis["0.1"]) / 0.4
    y5, y1 = (up.y0 + up.y1) / 2, (up2.y0 + up2.y1) / 2
    return [
        (d.zone, on_axis["0.1"] + (uv[0] - 0.1) * scale, y1 + (uv[1] - 0.1) * (y5 - y1) / 0.4)
        for d, target, result in zone_places(plan)
        for uv in (target, result)
    ]


@pytest.mark.parametrize("lowest_v", [3.72, 3.8, 4.0])
def test_no_word_of_the_voltage_chart_lies_on_the_curve(lowest_v: float) -> None:
    plan = synthetic_plan()
    count = len(plan.power.led_v)
    # Lowest at both ends, fed in the middle: the curve is flat where the limits' words stand.
    along = np.abs(np.linspace(-1, 1, count))
    led_v = 4.8 - (4.8 - lowest_v) * (1 - (1 - along) ** 2)
    power = replace(
        plan.power,
        led_v=led_v,
        min_led_v=float(led_v.min()),
        worst_led=count - 1,
        regulation_v=3.5,
        floor_v=3.7,
    )
    sheet = draw_voltage(replace(plan, power=power))
    ticks = sorted(
        (b for b in sheet.texts if re.fullmatch(r"\d\.\d V", b.text)), key=lambda b: b.y0
    )
    top, bottom = ticks[0], ticks[-1]
    v_top, v_bottom = (float(b.text[:-2]) for b in (top, bottom))
    y_top, y_bottom = ((b.y0 + b.y1) / 2 for b in (top, bottom))
    y = y_top + (v_top - led_v) * (y_bottom - y_top) / (v_top - v_bottom)
    left, right = top.x1 + 8, 1168.0
    x = left + (right - left) * (np.arange(count) + 0.5) / count
    told = [b for b in sheet.texts if " V" in b.text and b.x0 > left and b.y0 > top.y0 - 10]
    assert len(told) >= 3
    for box in (b for b in told if "supply" not in b.text and b.y1 < y_bottom + 20):
        on = (x > box.x0) & (x < box.x1) & (y > box.y0 + 1) & (y < box.y1 - 1)
        assert not on.any(), box.text
