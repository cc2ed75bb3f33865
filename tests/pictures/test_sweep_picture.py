from __future__ import annotations

import io
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from marquee.outputs.pictures.sweep import _RULE, draw_sweep
from marquee.plan import Plan
from marquee.values_light import Sweep, Trial
from tests.pictures.factory import synthetic_plan


@pytest.fixture(scope="module")
def plan() -> Plan:
    return synthetic_plan()


def swept(
    plan: Plan, evenness: tuple[float, ...] = (0.2, 0.5, 0.8), rule_mm: float = 30.0
) -> Sweep:
    """Return a sweep of depth from 20 to 60 mm, every zone as even as told, rule of thumb at `rule_mm`."""
    values = tuple(float(v) for v in np.linspace(20, 60, len(evenness)))
    trials = tuple(
        Trial(
            depth_mm=depth,
            pitch_mm=rule_mm,
            wall_gap_mm=0.0,
            paint="matt-white-paint",
            led_count=100,
            current_a=100 / depth,
            white_cd_m2=20000 / depth,
            zones=tuple(replace(zone, min_over_max=even) for zone in plan.light.zones),
        )
        for depth, even in zip(values, evenness, strict=True)
    )
    return Sweep(what="depth", values_mm=values, trials=trials, planned_mm=40.0, rule_mm=rule_mm)


def test_no_text_overlaps_or_leaves_the_sheet(plan: Plan) -> None:
    sheet = draw_sweep(plan, [swept(plan), replace(swept(plan), what="pitch")])
    for first, second in combinations(sheet.texts, 2):
        assert not first.meets(second), f"{first} {second}"
    assert min(box.x0 for box in sheet.texts) >= 0
    assert max(box.x1 for box in sheet.texts) <= sheet.width_px
    assert max(box.y1 for box in sheet.texts) <= sheet.height_px


@pytest.mark.parametrize("rule_mm", [30.0, 50.0])
def test_the_rule_of_thumb_stands_where_depth_equals_pitch(plan: Plan, rule_mm: float) -> None:
    sheet = draw_sweep(plan, [swept(plan, rule_mm=rule_mm)])
    pixels = sheet.pixels[:, :400]
    columns = np.flatnonzero((pixels == np.array(_RULE)).all(axis=-1).sum(axis=0) > 100)
    # The axis' own numbers say where 20 and 60 mm are: their texts are centred on their ticks.
    at = {b.text: (b.x0 + b.x1) / 2 for b in sheet.texts if b.text in {"20", "60"} and b.x1 < 400}
    expected = at["20"] + (rule_mm - 20) / 40 * (at["60"] - at["20"])
    # Two pixels wide, ticks and line each rounded to a pixel.
    assert columns.mean() == pytest.approx(expected, abs=2.0)
    words = " ".join(box.text for box in sheet.texts)
    assert f"{rule_mm:g} or more" in words
    assert "common practice, no source" in words


def test_a_rule_out_of_range_is_told_all_the_same(plan: Plan) -> None:
    words = " ".join(b.text for b in draw_sweep(plan, [swept(plan, rule_mm=10.0)]).texts)
    assert "(10) met throughout" in words
    words = " ".join(b.text for b in draw_sweep(plan, [swept(plan, rule_mm=90.0)]).texts)
    assert "(90) broken throughout" in words


def test_a_more_even_sweep_is_drawn_higher(plan: Plan) -> None:
    low, high = (
        np.asarray(Image.open(io.BytesIO(draw_sweep(plan, [swept(plan, (e, e))]).png())))
        for e in (0.3, 0.7)
    )
    # All zones lie on one level line: where the two plots differ are the two lines, 0.4 of the axis apart.
    rows = np.flatnonzero((low[:, 100:370] != high[:, 100:370]).any(axis=(1, 2)))
    middle = (rows.min() + rows.max()) / 2
    upper, lower = rows[rows < middle].mean(), rows[rows > middle].mean()
    # The axis' numbers are centred on its ticks.
    sheet = draw_sweep(plan, [swept(plan)])
    tick = {b.text: (b.y0 + b.y1) / 2 for b in sheet.texts if b.text in {"0.4", "0.8"}}
    assert lower - upper == pytest.approx(tick["0.4"] - tick["0.8"], abs=2)
    # The more even one is the upper: its line stands in the second picture.
    row = round(upper)
    assert (low[row, 100:370] == 255).mean() > 0.9
    assert (high[row, 100:370] == 255).mean() < 0.5
