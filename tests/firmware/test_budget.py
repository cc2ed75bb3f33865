"""What a sign costs on a controller, against device headers, data sheets' protocols and timer arithmetic."""

from __future__ import annotations

import re
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.errors import MarqueeError, UnknownNameError
from marquee.firmware import (
    COMMON_BIT_NS,
    choose_constants,
    controllers,
    find_controller,
    led_ua,
    runs_of,
)
from marquee.values import FirmwareBudget
from tests.firmware.compilers import need, run
from tests.firmware.factory import Sign, clocked, four_channels, make_part, make_plan

AVR_CHIPS = ("attiny85", "atmega328p", "atmega32u4", "atmega2560")
ONE_COLOUR = {"names": ("All",), "cycling": (), "codes": ((1, 2, 3),)}


def _sign(leds: int, **changes: object) -> Sign:
    return Sign(**({"zone_of_led": (0,) * leds} | ONE_COLOUR | changes))  # type: ignore[arg-type]


def _budget(leds: int, controller: str = "rp2350", **changes: object) -> FirmwareBudget:
    return make_plan(_sign(leds, controller=controller, **changes)).budget


@pytest.mark.native
@pytest.mark.parametrize("name", AVR_CHIPS)
def test_avr_memory_sizes_match_the_device_headers(name: str) -> None:
    # avr-libc's own device headers, asked through the preprocessor.
    need("avr-gcc")
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "ask.c"
        source.write_text(
            "#include <avr/io.h>\nRAM (RAMEND) (RAMSTART) FLASH (FLASHEND)\n", encoding="ascii"
        )
        text = run("avr-gcc", f"-mmcu={name}", "-E", "-P", source)
    found = re.search(r"RAM \((.+)\) \((.+)\) FLASH \((.+)\)", text)
    assert found
    end, start, flash_end = (sum(_terms(part)) for part in found.groups())
    row = find_controller(name)
    assert row["ram_bytes"] == end - start + 1
    # Near reads reach the first 64 KB (avr-libc manual, pgmspace).
    assert row["flash_bytes"] == min(65536, flash_end + 1)


def _terms(text: str) -> list[int]:
    signs = re.findall(r"([+-]?)\s*(0x[0-9A-Fa-f]+|\d+)", text)
    return [int(number, 0) * (-1 if sign == "-" else 1) for sign, number in signs]


def test_every_controller_has_a_source_and_leaves_room_for_the_program() -> None:
    for row in controllers():
        assert len(row["source"]) > 10
        assert 0 < row["reserve_bytes"] < row["ram_bytes"]


@pytest.mark.parametrize(("leds", "frame_ms"), [(60, 2.1), (300, 9.3), (1, 0.33)])
def test_one_wire_frame_time_is_24_bits_of_1250_ns_per_led_and_the_latch(
    leds: int, frame_ms: float
) -> None:
    # 1.25 us +-600 ns a bit: WS2812B data sheet, English (2013-05-30), p. 3; latch 300 us.
    budget = _budget(leds, latch_us=50)
    assert budget.frame_ms == pytest.approx(frame_ms, abs=0.001)  # rounded up to whole us
    assert budget.max_frames_per_s == pytest.approx(1000 / frame_ms, rel=0.005)


def test_four_channels_take_32_bits_per_led() -> None:
    # SK6812RGBW-XX data sheet Rev.01, p. 6: 32 bits a pixel.
    sign = four_channels(zone_of_led=(0,) * 100, names=("All",), cycling=(), codes=((1, 2, 3, 4),))
    assert make_plan(sign).budget.frame_ms == pytest.approx(100 * 32 * 1.25e-3 + 0.3)


def test_clocked_frame_has_start_leds_reset_and_end_bits() -> None:
    # Start and LED frames of 32 bits, 32 more zeros, half a bit per LED in whole bytes: cpldcpu blog
    # 2016-12-13, "SK9822 - a clone of the APA102"; at the 1 MHz taken where the part gives no clock.
    sign = clocked(zone_of_led=(0,) * 100, names=("All",), cycling=(), codes=((1, 2, 3),))
    assert make_plan(sign).budget.frame_ms == pytest.approx((32 + 3200 + 32 + 56) / 1e3)


@pytest.mark.parametrize(
    ("controller", "most"), [("attiny85", 106), ("atmega328p", 512), ("atmega32u4", 597)]
)
def test_frame_is_refused_just_above_the_ram_left(controller: str, most: int) -> None:
    # (RAM - reserve) / 3, by hand from the device headers' sizes.
    assert _budget(most, controller).ram_bytes == 3 * most
    with pytest.raises(MarqueeError, match=rf"enough for {most} LEDs.*--controller") as caught:
        _budget(most + 1, controller)
    assert "split the chain" in caught.value.mend


def test_no_controller_is_proposed_where_none_is_large_enough() -> None:
    with pytest.raises(MarqueeError) as caught:
        make_plan(
            four_channels(
                zone_of_led=(0,) * 65535,
                controller="samd21g18",
                names=("All",),
                cycling=(),
                codes=((1, 2, 3, 4),),
            )
        )
    assert "--controller esp32" in caught.value.mend


def test_the_smallest_controller_that_just_fits_is_proposed() -> None:
    # 512 LEDs take 1536 bytes, exactly what the ATmega328P has beside its reserve (2048 - 512).
    with pytest.raises(MarqueeError) as caught:
        _budget(512, "attiny85")
    assert "--controller atmega328p" in caught.value.mend


@pytest.mark.parametrize("zones", [255, 256])
def test_zones_are_counted_by_a_byte(zones: int) -> None:
    sign = Sign(
        zone_of_led=tuple(range(zones)),
        names=("z",) * zones,
        cycling=(),
        codes=((1, 2, 3),) * zones,
    )
    if zones <= 255:
        assert len(make_plan(sign).constants.zones) == zones
        return
    with pytest.raises(MarqueeError, match=r"256 zones.*8-bit"):
        make_plan(sign)


def test_leds_are_counted_by_a_word() -> None:
    assert make_plan(_sign(65535, controller="rp2350")).constants.led_count == 65535
    with pytest.raises(MarqueeError, match=r"65536 LEDs.*16-bit"):
        _budget(65536)


@pytest.mark.parametrize(("leds", "found"), [(1100, False), (1102, True)])
def test_a_chain_too_slow_for_a_smooth_cycle_is_found(leds: int, found: bool) -> None:
    # 30 frames per second leave 33,333 us: (33,333 - 300) / 30 = 1101 LEDs.
    budget = _budget(leds, "rp2040", cycling=(0,), codes=((),))
    assert [f.code for f in budget.findings] == ["firmware.frame-rate"] * found
    assert not _budget(leds, "rp2040").findings  # nothing moves without a cycle


@pytest.mark.parametrize(("t0h", "common"), [(470, True), (471, False)])
def test_a_part_within_its_sheets_tolerance_of_the_common_times_gets_those(
    t0h: int, common: bool
) -> None:
    # +-150 ns: WS2812B data sheet, English (2013-05-30), p. 2; common t0h 320 ns.
    constants = make_plan(Sign(bit_ns=(t0h, 930, 725, 525))).constants
    assert (constants.bit_ns == COMMON_BIT_NS) == common
    assert common or constants.bit_ns[0] == t0h


@pytest.mark.parametrize(("own_us", "latch_us"), [(None, 300), (50, 300), (80, 300), (500, 500)])
def test_latch_is_never_below_what_every_one_wire_part_needs(
    own_us: int | None, latch_us: int
) -> None:
    # 300 us: WS2815 data sheet, quoted second-hand; others need 50, 80 and 280.
    assert make_plan(Sign(latch_us=own_us)).constants.latch_us == latch_us


def test_hue_steps_share_the_period() -> None:
    assert make_plan(Sign(hues=48, period_s=12.0)).constants.hue_step_ms == 250
    assert make_plan(Sign(hues=256, period_s=0.1)).constants.hue_step_ms == 1  # never 0
    assert make_plan(Sign(cycling=(), codes=((1, 2, 3),) * 5)).constants.hue_step_ms == 0


def test_global_setting_scales_the_estimated_current() -> None:
    # 20 mA a channel at (255, 255, 255) and 15 of 31: 60 mA x 15 / 31 = 29.03 mA, by hand.
    constants = make_plan(clocked(channel_a=(0.02, 0.02, 0.02))).constants
    assert led_ua(constants, (255, 255, 255), 15) == pytest.approx(29032.3, abs=1)
    assert led_ua(constants, (255, 255, 255), 31) == 60000


def test_too_many_runs_for_the_flash_are_refused() -> None:
    # 106 LEDs are the most of this chip, so only a long hue cycle can fill its flash.
    sign = _sign(106, controller="attiny85", cycling=(0,), codes=((),), hues=1400)
    with pytest.raises(MarqueeError, match="bytes of flash") as caught:
        make_plan(sign)
    # Three channels a step; the other ways out are fewer runs, two controllers, a larger one.
    for way in ("fewer runs", "steady colour (saves 4200 bytes)", "split", "larger"):
        assert way in str(caught.value)


def test_unknown_controller_names_the_nearest() -> None:
    with pytest.raises(UnknownNameError, match="did you mean atmega328p"):
        find_controller("atmega328")


@pytest.mark.parametrize(("leds", "found"), [(34, False), (35, True), (120, True)])
def test_millisecond_timer_is_warned_of_above_34_leds(leds: int, found: bool) -> None:
    # 16 MHz / 64 / 256 = one overflow each 1024 us (ATmega328P data sheet, 8-bit timer 0); 34 x 30 us = 1020 us.
    codes = {finding.code for finding in _budget(leds, "atmega328p").findings}
    assert ("firmware.timer" in codes) == found


def test_timer_warning_is_for_one_wire_on_avr_only() -> None:
    assert not _budget(300, "rp2040").findings
    sign = clocked(zone_of_led=(0,) * 300, names=("All",), cycling=(), codes=((1, 2, 3),))
    assert not make_plan(sign).budget.findings


def test_cap_below_the_plans_own_draw_is_found() -> None:
    plan = make_plan(Sign(cap=0.5))
    finding = next(f for f in plan.budget.findings if f.code == "firmware.capped")
    # 'Word mark' 180+172+255 of 765 at 36 mA: 28.6 mA against 127/255 of 36 mA = 17.9 mA; by hand.
    assert "28.6 mA" in finding.message
    assert "17.9 mA" in finding.message
    assert finding.where == "zone 'Word mark'"
    assert not [
        f for f in make_plan(Sign(cap=0.85)).budget.findings if f.code == "firmware.capped"
    ]


def test_cap_of_a_plan_that_fits_is_just_what_its_hungriest_led_needs() -> None:
    # 28.6 of 36 mA as above: 202.6 of 255, rounded up.
    constants = make_plan(Sign(cap=0.5, plan_fits=True)).constants
    assert constants.brightness_cap_255 == 203
    assert constants.current_limit_ma == make_plan(Sign(cap=0.5)).constants.current_limit_ma
    assert make_plan(Sign(cap=0.95, plan_fits=True)).constants.brightness_cap_255 == 242


@given(st.sets(st.integers(min_value=0, max_value=400), min_size=1))
def test_runs_hold_exactly_the_leds_given_in_the_fewest_pieces(leds: set[int]) -> None:
    runs = runs_of(sorted(leds))
    assert {led for first, count in runs for led in range(first, first + count)} == leds
    assert sum(count for _, count in runs) == len(leds)
    gaps = sum(1 for led in leds if led + 1 not in leds)
    assert len(runs) == gaps


@given(
    st.lists(st.integers(0, 255), min_size=3, max_size=3),
    st.lists(st.sampled_from([1.0, 1.6, 2.2, 0.6]), min_size=3, max_size=3),
)
def test_estimated_current_is_never_below_the_parts_law(
    codes: list[int], exponents: list[float]
) -> None:
    # The part's own law: light, and so mean current, by each channel's response; sum of channels.
    light = tuple(tuple((i / 255) ** exponent for i in range(256)) for exponent in exponents)
    sign = Sign(response=tuple(i / 255 for i in range(256)))
    plan, part = make_plan(sign), replace(make_part(sign), channel_response=light)
    constants = choose_constants(plan.zone_map, plan.chain, part, plan.drive, plan.power)
    drawn_ua = sum(
        1e6 * a * row[c] for a, row, c in zip(sign.channel_a, light, codes, strict=True)
    )
    assert led_ua(constants, codes) >= drawn_ua - 1e-3  # a thousandth of a uA: rounding of the sum
