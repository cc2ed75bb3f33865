"""A changed setting is what the whole pipeline makes of it, and what closed forms say of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import k1

from marquee.advice.trial import planned_trial, relight, try_change
from marquee.box.light import transfer_light
from marquee.errors import QuantityError, UnknownNameError
from marquee.plan import Plan
from marquee.values_light import Change
from tests.advice.made import one_block, planned, two_blocks


def ripple(depth_mm: float, pitch_mm: float) -> float:
    """Emin / Emax under an endless square grid of cosine emitters, direct light only.

    Poisson summation of h² / (d² + h²)² to its first harmonics: (1 − 2A) / (1 + 2A), A = 2x·K1(x), x = 2π h / p.
    """
    x = 2 * np.pi * depth_mm / pitch_mm
    a = 2 * x * k1(x)
    return float((1 - 2 * a) / (1 + 2 * a))


@pytest.fixture(scope="module")
def black_box() -> Plan:
    """15 × 15 LEDs 20 mm apart in a box that reflects next to nothing."""
    return planned(
        one_block(300),
        1.0,
        box={"depth": "30mm", "reflectance": 0.0001, "transmittance": 0.9},
        leds={"pitch": "20mm"},
    )


# The closed form keeps four digits from depth = 0.8 pitch on.
@pytest.mark.parametrize("depth_mm", [16.0, 20.0, 24.0])
def test_the_ripple_in_the_middle_of_a_large_sign_is_that_of_a_grid(
    black_box: Plan, depth_mm: float
) -> None:
    relit = relight(black_box, Change(depth_mm=depth_mm))
    # The rows a plan lays move outwards for the rim's sake; the closed form is of an even grid.
    x, y = (at.ravel() for at in np.meshgrid(np.arange(15) * 20 + 10.0, np.arange(15) * 20 + 10.0))
    grid = replace(
        relit.chain,
        x_mm=x,
        y_mm=y,
        zone=np.zeros(225, np.int16),
        row=np.repeat(np.arange(15), 15).astype(np.int16),
    )
    box = replace(black_box.box, depth_mm=depth_mm)
    transfer = transfer_light(black_box.zone_map, box, grid, relit.settings)
    near = [np.abs(places - 150) <= 20 for places in (transfer.y_mm, transfer.x_mm)]
    middle = transfer.lux_per_cd[0][np.ix_(*near)]
    # Elements of a tenth of the depth smooth the ripple's amplitude by up to 2 %; seven pitches to the rim.
    assert middle.min() / middle.max() == pytest.approx(
        ripple(depth_mm, 20.0), abs=0.02 * (1 - ripple(depth_mm, 20.0)) + 0.003
    )


def test_depth_equal_to_pitch_leaves_about_five_percent_of_ripple() -> None:
    # The rule of thumb's point in the closed form; 1 − 0.952 by summing 200 × 200 emitters.
    i = np.arange(-100, 100) + 0.5
    over = sum(1 / (x**2 + (i - 0.5) ** 2 + 1) ** 2 for x in i - 0.5)
    between = sum(1 / (x**2 + i**2 + 1) ** 2 for x in i)
    assert np.sum(between) / np.sum(over) == pytest.approx(ripple(1.0, 1.0), abs=1e-3)
    assert 0.04 < 1 - ripple(1.0, 1.0) < 0.06


@pytest.fixture(scope="module")
def plan() -> Plan:
    return planned(two_blocks(), 1.0, box={"depth": "25mm"})


@pytest.mark.parametrize(
    ("change", "tables"),
    [
        (Change(depth_mm=35.0), {"box": {"depth": "35mm"}}),
        (Change(pitch_mm=12.5), {"box": {"depth": "25mm"}, "leds": {"pitch": "12.5mm"}}),
        (Change(wall_gap_mm=1.5), {"box": {"depth": "25mm", "wall_gap": "1.5mm"}}),
        (Change(paint="raw-plywood"), {"box": {"depth": "25mm", "paint": "raw-plywood"}}),
    ],
)
def test_a_change_tried_is_what_a_fresh_plan_with_it_gives(
    plan: Plan, change: Change, tables: dict[str, dict[str, str]]
) -> None:
    tried, fresh = try_change(plan, change), planned_trial(planned(two_blocks(), 1.0, **tables))
    assert tried.led_count == fresh.led_count
    assert tried.current_a == pytest.approx(fresh.current_a, rel=1e-9)
    for ours, theirs in zip(tried.zones, fresh.zones, strict=True):
        assert ours.luminance_cd_m2 == pytest.approx(theirs.luminance_cd_m2, rel=1e-6)
        assert ours.min_over_max == pytest.approx(theirs.min_over_max, rel=1e-6)
        assert ours.bleed == pytest.approx(theirs.bleed, abs=1e-9)


def test_a_change_tried_keeps_the_notches_stated() -> None:
    # Higher notches let more through; a change that changes nothing gives the plan's own bleed.
    cut = {"notch_height": "8mm"}
    high = planned(two_blocks(), 1.0, box={"depth": "25mm"}, cut=cut)
    again = try_change(high, Change(depth_mm=25.0))
    assert [z.bleed for z in again.zones] == pytest.approx([z.bleed for z in high.light.zones])


def test_the_plan_itself_is_told_as_it_is(plan: Plan) -> None:
    told = planned_trial(plan)
    assert told.current_a == pytest.approx(plan.power.planned_a, rel=1e-9)
    assert told.zones == plan.light.zones


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (Change(depth_mm=2.0), "3 mm thick"),
        (Change(pitch_mm=2.0), "package"),
    ],
)
def test_what_cannot_be_built_is_refused(plan: Plan, change: Change, said: str) -> None:
    with pytest.raises(QuantityError, match=said):
        try_change(plan, change)


def test_an_unknown_paint_is_refused_with_its_neighbours(plan: Plan) -> None:
    with pytest.raises(UnknownNameError, match="matt-white-paint"):
        try_change(plan, Change(paint="matt-white-pant"))


def test_a_wider_gap_bleeds_more_and_closed_walls_on_a_board_bleed_nothing() -> None:
    # No strip, no notch: an opaque wall up to the diffuser lets nothing past.
    board = planned(
        two_blocks(), 1.0, box={"depth": "25mm"}, leds={"arrangement": "board", "pitch": "20mm"}
    )
    found = [try_change(board, Change(wall_gap_mm=gap)).most_bleed for gap in (0.0, 1.0, 3.0)]
    assert found[0] == 0
    assert found[0] < found[1] < found[2]
