"""leds.png tells every LED from its neighbours: dark from white, and a number from the next row's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from marquee.outputs.pictures.leds import draw_leds, panel_views
from marquee.plan import Plan
from tests.pictures.factory import synthetic_plan

SIZE_MM = (600.0, 150.0)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return synthetic_plan(size_mm=SIZE_MM)


def _with_rows(plan: Plan, apart_mm: float) -> Plan:
    """Six rows of ten LEDs, the first close under the face's upper edge."""
    index = np.arange(60)
    row = index // 10
    along = np.where(row % 2 == 0, index % 10, 9 - index % 10)
    chain = replace(
        plan.chain,
        x_mm=np.asarray(60.0 + 50.0 * along, np.float64),
        y_mm=np.asarray(6.0 + apart_mm * row, np.float64),
        zone=np.zeros(60, np.int16),
        row=row.astype(np.int16),
        pitch_mm=50.0,
    )
    return replace(plan, chain=chain)


def test_a_dark_led_is_crossed_out_and_a_lit_white_one_is_not(plan: Plan) -> None:
    rows = _with_rows(plan, 20.0)
    zone = rows.chain.zone.copy()
    zone[25] = -1
    image = draw_leds(replace(rows, chain=replace(rows.chain, zone=zone))).pixels
    front, _ = panel_views(SIZE_MM)

    def heart(led: int) -> list[int]:
        x, y = front.at(float(rows.chain.x_mm[led]), float(rows.chain.y_mm[led]))
        return [int(v) for v in image[int(y), int(x)]]

    assert max(heart(25)) < 200  # the cross, grey on white
    assert heart(25) != heart(24) == heart(26)


def test_the_key_names_nothing_that_the_picture_does_not_show(plan: Plan) -> None:
    rows = _with_rows(plan, 20.0)
    one_row = replace(rows.chain, row=np.zeros(60, np.int16))
    plain = replace(rows, chain=one_row, box=replace(plan.box, walls=()))
    words = {text.text for text in draw_leds(plain).texts}
    assert not words & {"dark", "jumper wire", "wall", "lit, hue cycle"}
    assert {"lit, in its zone's colour", "data path"} <= words


@pytest.mark.parametrize("apart_mm", [6.0, 9.0, 12.0])
def test_where_rows_are_close_no_number_stands_below_its_led(plan: Plan, apart_mm: float) -> None:
    rows = _with_rows(plan, apart_mm)
    texts = draw_leds(rows).texts
    seen = 0
    for view in panel_views(SIZE_MM):
        top, bottom = view.y - 18, view.y + view.height_px
        within = [t for t in texts if t.text.isdigit() and top <= t.y0 and t.y1 <= bottom]
        for text in within:
            led = int(text.text)
            _, y = view.at(float(rows.chain.x_mm[led]), float(rows.chain.y_mm[led]))
            assert (text.y0 + text.y1) / 2 <= y + 0.5
            seen += 1
    assert seen >= 10
