"""Data line, heat, alternatives, running cost: the arithmetic beside the wiring."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.outputs.power_text import power_text
from marquee.power.check import Wired, far_shorts
from marquee.power.cost import meter_note, month, running_cost
from marquee.power.data_line import bulk_capacitor_uf, edge_s, find_data_line
from marquee.power.design import plan_power
from marquee.power.heat import box_area_m2, box_rise_k, heat_notes, hot_box
from marquee.power.ladder import build_ladder
from marquee.project import PowerSettings
from marquee.values import Box, Power
from tests.power.make import make_chain, make_drive, make_part, zone_drive

BOX = Box(
    width_mm=600,
    height_mm=200,
    depth_mm=40,
    wall_thickness_mm=3,
    wall_gap_mm=0,
    walls=(),
    cells=(),
)


def _plan(count: int = 150, **settings_kw: object) -> Power:
    drive = make_drive((zone_drive(0, (255, 128, 0)),))
    twelve = make_part(
        name="twelve-volt",
        supply_v=12.0,
        supply_max_v=13.5,
        min_regulation_v=9.5,
        current_law="largest",
        channel_current_max_a=(0.015,) * 3,
    )
    return plan_power(
        make_chain(count, rows=5),
        make_part(),
        drive,
        PowerSettings.model_validate(settings_kw),
        BOX,
        (twelve,),
    )


def test_capacitor_follows_the_worked_sum() -> None:
    # C = I dt / dV: a 10 A step, 50 µs, 0.5 V allowed: 1000 µF (worked sum in the facts of hobby pages).
    assert bulk_capacitor_uf(10.0) == 1000
    assert bulk_capacitor_uf(0.1) == 100
    assert bulk_capacitor_uf(40.0) == 1000


def test_470_ohm_with_five_metres_of_cable_is_too_slow_and_100_ohm_is_fine() -> None:
    # 2.2 R C with 15 pF + 50 pF/m x 5 m: 0.27 µs and 0.06 µs against a T0H of 0.25 to 0.38 µs.
    assert edge_s(470, 5000) == pytest.approx(0.27e-6, abs=0.005e-6)
    assert edge_s(100, 5000) == pytest.approx(0.06e-6, abs=0.005e-6)


def test_short_at_the_far_end_of_five_metres_never_opens_a_5_a_fuse() -> None:
    # 5 V across 5 m of 0.37 ohm/m is 2.7 A (13.5 W in the rails), no lead resistance counted.
    ladder = build_ladder(make_chain(300), 0.37, 0.0)
    none = np.zeros(1)
    wired = Wired(
        ladder=ladder,
        led_a=np.zeros(300),
        rail_v=5.0,
        pads=np.array([0]),
        lead_ohm=(none, none),
    )
    (short,) = far_shorts(wired)
    assert short.current_a == pytest.approx(2.7, abs=0.005)
    assert short.at_led == 299


def test_far_place_of_a_feed_is_half_way_to_its_neighbour_or_the_cut() -> None:
    ladder = build_ladder(make_chain(100), 0.37, 0.0)
    lead = np.full(3, 0.05)
    wired = Wired(
        ladder=ladder,
        led_a=np.zeros(100),
        rail_v=5.0,
        pads=np.array([10, 40, 90]),
        lead_ohm=(lead, lead),
        cuts=(60,),
    )
    loop = 0.37 / 60
    # Feed 1: 15 pitches to half-way; feed 2: 20 to the cut; feed 3: 30 back to the cut.
    expected = [5 / (0.1 + 15 * loop), 5 / (0.1 + 20 * loop), 5 / (0.1 + 30 * loop)]
    np.testing.assert_allclose([s.current_a for s in far_shorts(wired)], expected, rtol=1e-9)


def test_three_volt_logic_misses_seven_tenths_of_five_volts() -> None:
    # Data sheet VIH 0.7 VDD: 3.5 V at 5.0 V; 3.3 V logic misses it by 0.2 V, more with the ground raised.
    part = make_part(logic_high_v=3.5)
    line, notes = find_data_line(part, 5.0, 3.0, 1000, 0.0)
    assert line.margin_3v3_v == pytest.approx(-0.2)
    assert line.margin_5v_v == pytest.approx(1.5)
    assert any("needs an AHCT, HCT or ACT buffer" in note for note in notes)
    raised, _ = find_data_line(part, 5.0, 3.0, 1000, 0.25)
    assert raised.margin_5v_v == pytest.approx(1.25)


def test_part_that_reads_2_7_volts_needs_no_level_shifter() -> None:
    # WS2812B-V5 sheet V6.1 as quoted: VIH 2.7 V absolute.
    line, notes = find_data_line(make_part(logic_high_v=2.7), 5.0, 3.0, 1000, 0.1)
    assert line.margin_3v3_v == pytest.approx(0.5)
    assert any("3.3 V logic reaches it directly" in note for note in notes)


def test_unknown_input_level_is_said_to_be_unknown() -> None:
    line, notes = find_data_line(make_part(logic_high_v=None), 5.0, 3.0, 1000, 0.1)
    assert line.margin_3v3_v is None
    assert any("add logic_high_v" in note for note in notes)


@pytest.mark.parametrize(("volts", "rated"), [(5.0, 6.3), (12.0, 16.0), (24.0, 35.0)])
def test_capacitor_stands_a_quarter_more_than_the_rail(volts: float, rated: float) -> None:
    line, _ = find_data_line(make_part(), volts, 1.0, 1000, 0.0)
    assert line.capacitor_v == rated
    assert line.capacitor_v >= 1.25 * volts


def test_box_gives_off_heat_by_all_sides_but_its_back() -> None:
    # 600 x 200 x 40 mm: front 0.12 m², rim 2 x 0.04 x 0.8 = 0.064 m².
    assert box_area_m2(BOX) == pytest.approx(0.184)
    # Newton's law of cooling: dT = P / (k A), 3.5 W/(m² K).
    assert box_rise_k(10.0, BOX) == pytest.approx(10 / (3.5 * 0.184))


@given(heat_w=st.floats(0, 200), factor=st.floats(1, 10))
def test_more_heat_never_cools(heat_w: float, factor: float) -> None:
    assert box_rise_k(factor * heat_w, BOX) >= box_rise_k(heat_w, BOX)


def test_box_warmer_than_its_leds_may_be_is_told_with_the_brightness_that_would_do() -> None:
    # Newton's law: 30 W / (3.5 W/(m² K) x 0.184 m²) = 46.6 K; twice that (the sum's error) on 25 °C is 118 °C.
    # 85 °C leave (85 - 25) / 2 = 30 K, 19.32 W, of which 2 W are dark current: (19.32 - 2) / (30 - 2) = 62 %.
    (told,) = hot_box(30.0, 2.0, 60.0, BOX, make_part(operating_c=(-40.0, 85.0)))
    assert told.code == "power.hot-box"
    assert "about 47 K above the room" in told.message
    assert "made for at most 85 °C" in told.message
    assert "colour.brightness to 62% of its present value" in told.message
    assert hot_box(0.62 * 28 + 1.9, 2.0, 60.0, BOX, make_part(operating_c=(-40.0, 85.0))) == ()


def test_heat_beyond_the_formula_is_called_too_hot_and_not_given_to_the_kelvin() -> None:
    (told,) = hot_box(500.0, 2.0, 900.0, BOX, make_part())
    assert "over 100 K above the room" in told.message
    assert "common practice, no source" in told.message
    assert not any("776 K" in note for note in heat_notes(500.0, 900.0, BOX))


def test_cool_box_and_a_box_of_unknown_size_get_no_heat_remark() -> None:
    assert hot_box(5.0, 1.0, 9.0, BOX, make_part()) == ()
    assert hot_box(500.0, 1.0, 900.0, None, make_part()) == ()


def test_plan_of_a_hot_box_carries_the_remark() -> None:
    assert "power.hot-box" in {f.code for f in _plan(1200).findings}
    assert "power.hot-box" not in {f.code for f in _plan(40).findings}


def test_month_is_a_twelfth_of_the_published_year() -> None:
    # The published example: 95.0 kWh and 15.20 USD a year; four cabinets take four times that.
    cost = running_cost(54.0, 0.83, 0.16)
    found = month(cost, 4.0, 4)
    assert found is not None
    kwh, price = found
    assert kwh == pytest.approx(4 * 95.0 / 12, abs=0.05)
    assert price == pytest.approx(4 * 15.20 / 12, abs=0.005)
    assert month(cost, None, 4) is None


@pytest.mark.parametrize(
    ("measured_w", "said"),
    [(60.0, "within what parts"), (20.0, "less than"), (90.0, "more than planned")],
)
def test_meter_reading_is_set_against_the_estimate(measured_w: float, said: str) -> None:
    note = meter_note(measured_w, running_cost(54.0, 0.83, None))
    assert said in note
    assert f"{measured_w / 65.06:.0%}" in note


def test_alternatives_keep_their_own_supply_at_80_percent() -> None:
    power = _plan(tariff_per_kwh=0.3)
    assert len(power.alternatives) >= 3
    for way in power.alternatives:
        assert way.worst_w / way.supply.volts <= 0.8 * way.supply.amps * way.supply.count * (
            1 + 1e-9
        )
        assert 0 < way.brightness_cap <= 1
        assert way.planned_w <= way.worst_w + 1e-9
        assert way.cost_per_hour is not None


def test_every_other_way_is_named_to_its_last_word() -> None:
    power = _plan(300)
    long = replace(
        power.alternatives[0], title="one feed at the start, brightness capped at 26% of full"
    )
    power = replace(power, alternatives=(*power.alternatives, long))
    text = power_text(power, 300, "test part")
    for way in power.alternatives:
        assert f"    {way.title} " in text


def test_twelve_volt_part_is_set_beside_the_five_volt_one() -> None:
    # 150 x (15 + 1 mA) + 0.1 A = 2.5 A at 12 V: the step above 2.5 / 0.8 = 3.1 A is 4.2 A.
    way = next(a for a in _plan().alternatives if "twelve-volt" in a.title)
    assert way.supply.volts == 12
    assert way.supply.amps == 4.2
    assert way.worst_w == pytest.approx(12 * 2.5)


def test_smaller_supply_means_a_lower_cap() -> None:
    capped = [
        a for a in _plan(300).alternatives if a.title.startswith("5 V") and a.brightness_cap < 1
    ]
    by_amps = sorted(capped, key=lambda a: a.supply.amps)
    assert len(by_amps) >= 2
    assert [a.brightness_cap for a in by_amps] == sorted(a.brightness_cap for a in by_amps)


def test_notes_show_the_sums_that_size_supply_and_fuse() -> None:
    power = _plan(hours_per_day=6, cabinets=2, tariff_per_kwh=0.25, measured_w=20, currency="EUR")
    text = "\n".join(power.notes)
    assert "150 LEDs x (60.0 mA, sum of channels, + 1.00 mA dark) + 0.1 A controller" in text
    assert "shifter = 9.25 A." in text
    busiest = re.search(
        r"Busiest feed ([\d.]+) A: [\d.]+ / 0\.75 = ([\d.]+) A <= fuse ([\d.]+) A", text
    )
    assert busiest is not None
    load_a, least_a, fuse_a = map(float, busiest.groups())
    assert least_a == pytest.approx(load_a / 0.75, abs=0.015)  # both printed to 0.01 A
    assert least_a <= fuse_a
    assert "If feed 1 opens" in text or "If feed 2 opens" in text
    assert "A month of 6 h a day, 2 cabinets" in text
    assert "Solder the feeds" in text
    assert "above the Class 2 limit of 5 A (25 W)" in text
    assert "the largest published figure, 20 mA a channel, the plan the typical one, 12 mA" in text
    # 150 LEDs at (255, 128, 0): 12 and 20 mA a channel, 1 mA dark, 0.1 A extra.
    share = 1 + 128 / 255
    planned = [0.25 + 150 * share * amps for amps in (0.012, 0.020)]
    assert f"Planned: {planned[0]:.2f} A" in text
    assert f"{planned[1]:.2f} A with its largest" in text
    assert "A short at LED" in text
    assert power.kwh_per_month == pytest.approx(power.wall_w * 6 * 365 / 12 * 2 / 1000)
    assert power.cost_per_month == pytest.approx(0.25 * (power.kwh_per_month or 0))
    assert power.box_rise_k == pytest.approx(power.heat_w / (3.5 * 0.184))
