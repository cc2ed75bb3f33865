"""What LEDs draw: by the part's own law, dark current always."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.errors import MarqueeError
from marquee.power.cost import running_cost
from marquee.power.load import driven_current_a, find_load
from marquee.values import Spread
from tests.power.make import LINEAR, make_chain, make_drive, make_part, zone_drive

BYTE = st.integers(0, 255)


def test_worst_case_of_a_summing_part_is_three_channels_and_the_dark_current() -> None:
    # WS2812B-V5 data sheet as quoted in public hardware notes: 12 mA a channel, 0.6 mA quiescent, 36.6 mA.
    part = make_part(channel_current_max_a=(0.012,) * 3, dark_current_a=0.0006)
    load = find_load(make_chain(10), part, None, 0.0)
    assert load.worst_total_a == pytest.approx(10 * 0.0366)


def test_w_die_counts_by_its_own_current() -> None:
    # SK6812RGBW strip measured by blog.dest-unreach.be 2023-08-31: 7.98, 8.11, 7.98, 16.11 mA.
    each = (0.00798, 0.00811, 0.00798, 0.01611)
    part = make_part(
        channels=("R", "G", "B", "W"),
        channel_current_a=each,
        channel_current_max_a=each,
        dark_current_a=0.00023,
    )
    load = find_load(make_chain(1), part, None, 0.0)
    assert load.worst_total_a == pytest.approx(0.04041, abs=1e-9)


def test_part_that_follows_its_largest_channel_draws_the_same_for_white_and_red() -> None:
    # WS2815 tiles on a bench with an INA226: (200,200,200) draws the same as (200,0,0).
    part = make_part(current_law="largest")
    white = driven_current_a(part, (0.013,) * 3, (200, 200, 200))
    red = driven_current_a(part, (0.013,) * 3, (200, 0, 0))
    assert white == red == pytest.approx(0.013 * 200 / 255)


def test_current_follows_the_light_and_not_the_byte() -> None:
    # WS2812S oscilloscope table (cpldcpu 2022-08-15): code 64 is on for 20.05 % of the time, code 255 for
    # 94.75 %; taking 64/255 would give 25.1 % instead of 21.2 %.
    response = list(LINEAR)
    response[64] = 20.05 / 94.75
    part = make_part(response=tuple(response))
    load = find_load(make_chain(5), part, make_drive((zone_drive(0, (64, 0, 0)),)), 0.0)
    expected = 5 * (0.012 * 0.21161 + 0.001)
    assert float(np.sum(load.planned_a)) == pytest.approx(expected, abs=1e-6)


def test_channels_told_apart_on_a_bench_draw_by_their_own_response() -> None:
    # A power of 2 on blue alone: code 128 is a quarter of full there, about half on the others.
    blue = tuple(light**2 for light in LINEAR)
    part = make_part(response=LINEAR, channel_response=(LINEAR, LINEAR, blue))
    assert driven_current_a(part, (0.02,) * 3, (128, 0, 0)) == pytest.approx(0.02 * 128 / 255)
    assert driven_current_a(part, (0.02,) * 3, (0, 0, 128)) == pytest.approx(
        0.02 * (128 / 255) ** 2
    )


def test_led_that_stays_dark_still_draws_its_dark_current() -> None:
    chain = make_chain(4)
    dark = type(chain)(
        arrangement="strip",
        pitch_mm=chain.pitch_mm,
        x_mm=chain.x_mm,
        y_mm=chain.y_mm,
        zone=np.array([0, -1, -1, 0], dtype=np.int16),
        row=chain.row,
    )
    load = find_load(dark, make_part(), make_drive((zone_drive(0, (255, 0, 0)),)), 0.0)
    np.testing.assert_allclose(load.planned_a, [0.013, 0.001, 0.001, 0.013])
    assert load.dark_total_a == pytest.approx(0.004)


def test_codes_shared_out_are_counted_led_by_led() -> None:
    spread = Spread(
        codes=(50, 0, 0),
        raised=(1, 0, 0),
        start=(0, 0, 0),
        of=4,
        delta_e_2000=0.0,
        predicted_lab_d65=(50, 0, 0),
        mean_light=(50.25 / 255, 0.0, 0.0),
    )
    driven = replace(zone_drive(0, (51, 0, 0)), spread=spread)
    part = make_part(response=LINEAR, dark_current_a=0.0)
    load = find_load(make_chain(4), part, make_drive((driven,)), 0.0)
    # One LED of four gets 51, three 50: by hand, on 12 mA a channel.
    assert sorted(load.planned_a) == pytest.approx([0.012 * c / 255 for c in (50, 50, 50, 51)])
    assert float(load.planned_a.sum()) == pytest.approx(4 * 0.012 * spread.mean_light[0])


def test_hue_cycle_counts_its_mean_and_its_hungriest_step() -> None:
    cycle = ((255, 0, 0), (255, 255, 0), (0, 0, 51))
    drive = make_drive((zone_drive(0, (0, 0, 0)),), cycle)
    load = find_load(make_chain(2, zones=2), make_part(dark_current_a=0.0), drive, 0.5)
    assert float(load.planned_a[1]) == pytest.approx(0.012 * (1 + 2 + 0.2) / 3)
    assert float(load.peak_a[1]) == pytest.approx(0.040)
    assert float(load.planned_a[0]) == 0


def test_global_setting_scales_what_is_drawn() -> None:
    # APA102: 5-bit global is a slow PWM over the colour PWM, so the mean current scales with n / 31.
    part = make_part(global_bits=5)
    full = driven_current_a(part, (0.02,) * 3, (255, 255, 255), 31)
    assert driven_current_a(part, (0.02,) * 3, (255, 255, 255), 8) == pytest.approx(full * 8 / 31)


@given(codes=st.tuples(BYTE, BYTE, BYTE), law=st.sampled_from(["sum", "largest"]))
def test_no_bytes_draw_more_than_the_worst_case(codes: tuple[int, int, int], law: str) -> None:
    part = make_part(current_law=law)
    load = find_load(make_chain(3), part, make_drive((zone_drive(0, codes),), (codes,)), 0.1)
    for drawn in (load.planned_a, load.planned_high_a, load.peak_a):
        assert float(np.sum(drawn)) + load.extra_a <= load.worst_total_a + 1e-12
    assert float(np.sum(load.planned_a)) + load.extra_a >= load.dark_total_a - 1e-12


def test_part_without_channel_current_is_refused_by_its_key() -> None:
    part = make_part(channel_current_a=None, channel_current_max_a=None)
    with pytest.raises(
        MarqueeError,
        match="add channel_current_r_ma, channel_current_g_ma, channel_current_b_ma to its file",
    ):
        find_load(make_chain(3), part, None, 0.0)


@pytest.mark.parametrize(
    ("missing", "code", "said"),
    [
        (
            "channel_current_max_a",
            "power.largest-current-unknown",
            "typical channel currents only",
        ),
        ("channel_current_a", "power.typical-current-unknown", "largest channel currents only"),
        ("dark_current_a", "power.dark-current-unknown", "add dark_current_ma"),
    ],
)
def test_other_missing_currents_are_said_to_be_unknown(missing: str, code: str, said: str) -> None:
    load = find_load(make_chain(3), make_part(**{missing: None}), None, 0.0)
    assert [finding.code for finding in load.findings] == [code]
    assert said in load.findings[0].message


def test_unknown_revision_takes_the_larger_of_both_figures() -> None:
    part = make_part(channel_current_a=(0.018,) * 3, channel_current_max_a=(0.012, 0.02, 0.02))
    assert find_load(make_chain(1), part, None, 0.0).worst_total_a == pytest.approx(0.059)


def test_running_cost_is_that_of_the_published_example() -> None:
    # 54 W DC at 83 % for 4 h a day: 65.1 W, 95.0 kWh and 15.20 USD a year at the 2023 US mean of 0.16.
    cost = running_cost(54.0, 0.83, 0.16)
    hours = 4 * 365
    assert cost.wall_w == pytest.approx(65.1, abs=0.05)
    assert cost.energy_wh_per_hour * hours / 1000 == pytest.approx(95.0, abs=0.05)
    assert cost.cost_per_hour is not None
    assert cost.cost_per_hour * hours == pytest.approx(15.20, abs=0.005)
    assert cost.supply_loss_w == pytest.approx(65.06 - 54, abs=0.01)
