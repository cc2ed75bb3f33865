"""The reference firmware in simavr (Debian, 1.6): its pins decoded back to bytes and held against the plan."""

from __future__ import annotations

import re
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from marquee.firmware import find_controller
from tests.firmware.compilers import need, run
from tests.firmware.factory import Sign, clocked, four_channels, make_plan
from tests.firmware.simulated import (
    CLOCK,
    MHZ,
    Frame,
    build,
    clocked_frames,
    one_wire_frames,
    simulate,
    wanted_leds,
    wanted_one_wire,
)

pytestmark = pytest.mark.native
LONG = Sign(zone_of_led=tuple((i // 7) % 5 for i in range(300)))
SIGNS = {
    "five-zones": Sign(),
    "spread": Sign(spread=True),
    "spread-rgbw": four_channels(spread=True),
    "four-channels": four_channels(),
    "300-leds": LONG,
    "one-led": Sign(
        zone_of_led=(2,),
        names=("a", "b", "c"),
        cycling=(),
        codes=((1, 2, 3), (4, 5, 6), (255, 0, 129)),
    ),
    "no-cycle": Sign(
        cycling=(), codes=((255, 255, 255), (0, 0, 0), (1, 128, 64), (85, 170, 1), (3, 2, 1))
    ),
    "own-prefix": Sign(prefix="LANTERN_HALL"),
}
# Windows [ns] every part read accepts, t0h, t0l, t1h: intersection of the WS2812B (EN, CN 2013), WS2813 V1.0,
# WS2812B-V5/W and SK6812 data sheets. T1L: WS2812B English sheet, 300 to 600 (no value suits every sheet).
COMMON = ((250, 380), (750, 1000), (700, 750), (300, 600))
# WS2812B-V5/W data sheet V6.1 as quoted second-hand.
V5 = ((220, 380), (580, 1000), (580, 1000), (580, 1000))
LATCH_US = 300  # of every part read, see COMMON_LATCH_US


def _hue_step(sign: Sign, frame: Frame) -> int:
    plan = make_plan(sign)
    return int(frame.start_us / 1000 / max(1, plan.constants.hue_step_ms))


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_every_led_gets_the_plans_bytes_in_every_frame(sign: Sign) -> None:
    frames = one_wire_frames(simulate(sign, 120), LATCH_US)
    assert len(frames) >= 4
    for frame in frames:
        assert frame.data == wanted_one_wire(sign, _hue_step(sign, frame))


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_bit_timing_lies_in_every_one_wire_parts_window(sign: Sign) -> None:
    _check_windows(one_wire_frames(simulate(sign, 120), LATCH_US), COMMON)


def test_a_part_with_times_of_its_own_gets_them() -> None:
    sign = Sign(bit_ns=(300, 790, 790, 790))
    frames = one_wire_frames(simulate(sign, 60), LATCH_US)
    _check_windows(frames, V5)
    assert frames[0].data == wanted_one_wire(sign, 0)


def _check_windows(frames: list[Frame], windows: tuple[tuple[int, int], ...]) -> None:
    t0h, t0l, t1h, t1l = windows
    assert frames
    for frame in frames:
        for high, low in zip(frame.high_ns, (*frame.low_ns, None), strict=True):
            is_one = high > 500
            inside = t1h if is_one else t0h
            assert inside[0] <= high <= inside[1]
            low_inside = t1l if is_one else t0l
            assert low is None or low_inside[0] <= low <= low_inside[1]


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_line_rests_for_the_latch_between_frames(sign: Sign) -> None:
    # Frames are cut at 300 us; a shorter rest would join two and give twice the bytes.
    frames = one_wire_frames(simulate(sign, 120), LATCH_US)
    assert {len(frame.data) for frame in frames} == {len(sign.zone_of_led) * len(sign.channels)}
    for one, after in pairwise(frames):
        assert after.start_us - one.end_us >= LATCH_US


@pytest.mark.parametrize("sign", [Sign(), LONG], ids=["59-leds", "300-leds"])
def test_frame_takes_the_time_the_budget_states(sign: Sign) -> None:
    frame = one_wire_frames(simulate(sign, 120), LATCH_US)[0]
    stated_us = make_plan(sign).constants.frame_us - LATCH_US
    # The stated time ends with the last bit's low part, which no edge marks: at most one bit less.
    assert 0 <= stated_us - (frame.end_us - frame.start_us) <= 1.25


def test_hue_cycle_keeps_time_though_sending_blocks_interrupts() -> None:
    # 300 LEDs block for 9 ms of every 20 ms; steps of 50 ms, so 610 ms is in step 12.
    sign = Sign(zone_of_led=LONG.zone_of_led, period_s=2.4)
    frames = one_wire_frames(simulate(sign, 650), LATCH_US)
    last = frames[-1]
    assert 600e3 < last.start_us < 650e3
    assert last.data == wanted_one_wire(sign, 12)
    changes = [b.start_us / 1000 for a, b in pairwise(frames) if a.data != b.data]
    assert len(changes) == 12
    # Each step is shown with the first frame after it is due: 20 ms, and the filling before.
    for step, at_ms in enumerate(changes, 1):
        assert 0 <= at_ms - 50 * step <= 35


@pytest.mark.parametrize("cap", [0.1, 0.3, 0.5])
def test_no_led_and_not_the_sign_exceed_cap_and_limit(cap: float) -> None:
    sign = Sign(cap=cap)
    constants = make_plan(sign).constants
    frame = one_wire_frames(simulate(sign, 60), LATCH_US)[0]
    drawn = [_drawn_ua(sign, frame.data[3 * i : 3 * i + 3]) for i in range(constants.led_count)]
    full_ua = 1e6 * sum(sign.channel_a)
    assert max(drawn) <= cap * full_ua
    assert sum(drawn) + constants.dark_ua <= 1000 * constants.current_limit_ma
    # Not held down more than needed: bytes are cut by less than 1 of 256 and a unit of each of three channels.
    assert max(drawn) >= (cap - 2 / 256) * full_ua - 3 * full_ua / 3 / 255


def test_a_plan_that_fits_its_supply_is_shown_as_it_is() -> None:
    # The hungriest LED takes 79 % of full, more than the cap of 70 %, but all together less than that.
    held, shown = Sign(cap=0.7), Sign(cap=0.7, plan_fits=True)
    limit_ma = make_plan(held).constants.current_limit_ma
    assert make_plan(shown).constants.current_limit_ma == limit_ma
    wanted = wanted_one_wire(shown, 0)
    leds = [wanted[i : i + 3] for i in range(0, len(wanted), 3)]
    drawn = [_drawn_ua(shown, led) for led in leds]
    assert sum(drawn) + make_plan(shown).constants.dark_ua <= 1000 * limit_ma
    assert one_wire_frames(simulate(shown, 60), LATCH_US)[0].data == wanted
    assert one_wire_frames(simulate(held, 60), LATCH_US)[0].data != wanted


def _drawn_ua(sign: Sign, sent: bytes) -> float:
    """Return the current of one LED by the part's law: here light, and so current, in proportion to the byte."""
    amps = [sign.channel_a[sign.channels.index(name)] for name in sign.byte_order]
    each = [1e6 * a * byte / 255 for a, byte in zip(amps, sent, strict=True)]
    return max(each) if sign.current_law == "largest" else sum(each)


def test_milliamp_limit_of_a_largest_channel_part_is_not_taken_for_a_sum() -> None:
    # (255, 120, 0) draws as one full channel: exactly the cap of 1, so nothing may be held down.
    sign = Sign(current_law="largest")
    frame = one_wire_frames(simulate(sign, 60), LATCH_US)[0]
    assert frame.data == wanted_one_wire(sign, 0)


def test_shared_out_codes_stay_within_cap_and_limit() -> None:
    sign = Sign(cap=0.3, spread=True)
    constants = make_plan(sign).constants
    data = one_wire_frames(simulate(sign, 60), LATCH_US)[0].data
    drawn = [_drawn_ua(sign, data[3 * i : 3 * i + 3]) for i in range(constants.led_count)]
    assert max(drawn) <= 0.3 * 1e6 * sum(sign.channel_a)
    assert sum(drawn) + constants.dark_ua <= 1000 * constants.current_limit_ma


def test_every_byte_shrinks_by_the_same_factor_when_held_down() -> None:
    sign = Sign(cap=0.3)
    sent = one_wire_frames(simulate(sign, 60), LATCH_US)[0].data
    full = wanted_one_wire(sign, 0)
    # Whole bytes, rounded down from one factor in 256ths: zones keep their mutual lightness.
    fitting = [k for k in range(257) if bytes(byte * k // 256 for byte in full) == sent]
    assert fitting
    assert max(fitting) < 256


def test_the_hue_cycle_does_not_make_a_held_sign_pump() -> None:
    # The factor is chosen for the hungriest step of eight, 50 ms each: steady zones stay as they are.
    sign = Sign(cap=0.3, hues=8, period_s=0.4)
    frames = one_wire_frames(simulate(sign, 450), LATCH_US)
    steps = {frame.data for frame in frames}
    assert len(steps) == 8
    steady = [i for i, zone in enumerate(sign.zone_of_led) if zone not in sign.cycling]
    assert len({tuple(data[3 * i : 3 * i + 3] for i in steady) for data in steps}) == 1
    for data in steps:
        drawn = [_drawn_ua(sign, data[3 * i : 3 * i + 3]) for i in range(len(sign.zone_of_led))]
        assert max(drawn) <= 0.3 * 1e6 * sum(sign.channel_a)


def test_clocked_frames_hold_start_leds_with_global_setting_and_end() -> None:
    sign = clocked()
    frames = clocked_frames(simulate(sign, 120))
    assert len(frames) >= 4
    n = len(sign.zone_of_led)
    body = bytearray()
    for zone, (r, g, b) in zip(sign.zone_of_led, wanted_leds(sign, 0), strict=True):
        setting = 0 if zone < 0 else 31 if zone in sign.cycling else sign.global_codes[zone]
        assert setting is not None
        body += bytes((0b11100000 | setting, b, g, r))
    # cpldcpu blog 2016-12-13, "SK9822 - a clone of the APA102": 32 zero bits, LED frames, 32 zero bits, n/2 clocks.
    end = frames[0][4 + 4 * n :]
    assert frames[0][:4] == bytes(4)
    assert frames[0][4 : 4 + 4 * n] == bytes(body)
    assert not any(end)
    assert len(end) * 8 - 32 >= n / 2


def test_clock_high_and_low_are_far_above_the_data_sheets_least() -> None:
    # SK9822 data sheet as tabulated second-hand: at least 30 ns high and low.
    edges = simulate(clocked(), 60).of(CLOCK)
    assert min(b[0] - a[0] for a, b in pairwise(edges)) * 1000 / MHZ >= 30


def test_trim_shows_the_bytes_sent_and_answers_what_was_shown() -> None:
    sign = Sign()
    trace = simulate(sign, 400, "!", "0=1,2,3\n", "4=9,8,7\n", first_ms=30)
    crc = re.search(r"crc ([0-9A-F]{8})\n", trace.serial)
    assert crc
    lines = trace.serial.splitlines()
    assert lines == [f"trim 1 zones 5 channels 3 global 0 crc {crc[1]}", "0=1,2,3", "4=9,8,7"]
    codes = ((1, 2, 3), *sign.codes[1:4], (9, 8, 7))
    last = one_wire_frames(
        simulate(sign, 800, "!", "0=1,2,3\n", "4=9,8,7\n", "all\n", first_ms=30), LATCH_US
    )
    wanted = wanted_one_wire(Sign(codes=codes), 0)
    assert last[-1].data == wanted


def test_trim_only_darkens_the_other_zones_and_run_restores_all() -> None:
    sign = SIGNS["no-cycle"]
    frames = one_wire_frames(
        simulate(sign, 300, "!", "only 2\n", "2=40,50,60\n", "run\n", first_ms=30), LATCH_US
    )
    dark = (0, 0, 0)
    alone = Sign(codes=(dark, dark, (40, 50, 60), dark, dark), cycling=())
    assert wanted_one_wire(alone, 0) in [frame.data for frame in frames]
    assert frames[-1].data == wanted_one_wire(sign, 0)
    assert frames[-1].start_us > 250e3


@pytest.mark.parametrize(
    "line",
    [
        "5=1,2,3",
        "0=1,2",
        "0=1,2,256",
        "0=1,2,3,4",
        "0=-1,2,3",
        "",
        "xyz",
        "0=1,2,3 ",
        "only 9",
        "9" * 60,
        "0=0001,2,3x",
    ],
)
def test_trim_answers_error_to_anything_else_and_changes_nothing(line: str) -> None:
    trace = simulate(Sign(), 200, "!", f"{line}\n", first_ms=30)
    assert trace.serial.splitlines()[1:] == ["error"]
    assert {frame.data for frame in one_wire_frames(trace, LATCH_US)} == {
        wanted_one_wire(Sign(), 0)
    }


def test_trim_answers_the_bytes_after_the_cap_held_them_down() -> None:
    sign = Sign(cap=0.5, cycling=(), codes=((1, 1, 1),) * 5)
    trace = simulate(sign, 200, "!", "0=255,255,255\n", first_ms=30)
    answer = trace.serial.splitlines()[1]
    shown = [int(word) for word in re.findall(r"\d+", answer)[1:]]
    assert all(
        125 <= value <= 127 for value in shown
    )  # half of 255, the cap rounded down to 127/255


def test_a_running_sign_ignores_lines_until_trim_is_asked_for() -> None:
    trace = simulate(Sign(), 150, "0=1,2,3\n", first_ms=30)
    assert not trace.serial
    assert {frame.data for frame in one_wire_frames(trace, LATCH_US)} == {
        wanted_one_wire(Sign(), 0)
    }


def test_stack_stays_shallow() -> None:
    # Of 512 bytes of reserve; the program's own variables take up to 128 of them.
    deep = simulate(LONG, 400, "!", "0=1,2,3\n", "only 1\n", "run\n", first_ms=30).stack_bytes
    assert 0 < deep <= 128


def test_tables_are_read_right_on_a_chip_with_more_than_64_kb() -> None:
    frames = one_wire_frames(simulate(Sign(), 120, mcu="atmega2560"), LATCH_US)
    assert {frame.data for frame in frames} == {wanted_one_wire(Sign(), 0)}


def test_the_longest_chain_the_chip_takes_keeps_the_frame_rate_stated() -> None:
    # 512 LEDs fill the RAM less its reserve; sending takes 15.36 ms.
    sign = Sign(zone_of_led=tuple((i // 7) % 5 for i in range(512)))
    trace = simulate(sign, 300)
    frames = one_wire_frames(trace, LATCH_US)
    assert {frame.data for frame in frames} <= {wanted_one_wire(sign, step) for step in range(2)}
    assert trace.stack_bytes <= 128
    assert len(frames) >= 8


@pytest.mark.parametrize("sign", [Sign(), LONG, clocked()], ids=["59-leds", "300-leds", "clocked"])
def test_firmware_leaves_the_stack_its_room(sign: Sign, tmp_path: Path) -> None:
    elf = build(make_plan(sign), tmp_path)
    text, data, bss = (int(word) for word in run("avr-size", elf).splitlines()[1].split()[:3])
    row = find_controller("atmega328p")
    # 128 bytes of the reserve are the program's own variables, the rest is for the stack.
    assert data + bss <= make_plan(sign).constants.frame_bytes + 128
    assert data + bss <= row["ram_bytes"] - row["reserve_bytes"] + 128
    assert text <= row["flash_bytes"]


@pytest.mark.parametrize("mcu", ["atmega2560", "atmega32u4"])
def test_firmware_builds_for_other_avrs(mcu: str, tmp_path: Path) -> None:
    assert build(make_plan(), tmp_path, mcu=mcu).stat().st_size > 0


def test_firmware_for_a_slow_clock_does_not_build(tmp_path: Path) -> None:
    build(make_plan(), tmp_path)
    run("make", "-s", "-C", tmp_path, "clean")
    done = subprocess.run(
        ["make", "-C", tmp_path, "F_CPU=8000000UL"], capture_output=True, text=True, check=False
    )
    assert done.returncode != 0
    assert "clock_is_fast_enough" in done.stderr


@pytest.mark.parametrize(
    "sign", [Sign(), clocked(), four_channels()], ids=["rgb", "clocked", "rgbw"]
)
@pytest.mark.parametrize("name", ["frame.c", "trim.c"])
def test_portable_parts_compile_for_arm_and_pc(name: str, sign: Sign, tmp_path: Path) -> None:
    need("avr-gcc", "gcc", "arm-none-eabi-gcc")
    build(make_plan(sign), tmp_path)
    for compiler, flags in (
        ("gcc", ()),
        ("arm-none-eabi-gcc", ("-mcpu=cortex-m0plus", "-mthumb", "-ffreestanding")),
    ):
        run(compiler, "-std=c99", "-O2", "-Wall", "-Wextra", "-Wconversion", "-Werror", *flags, "-c", tmp_path / name, "-o", tmp_path / "x.o")  # fmt: skip
    assert (tmp_path / "x.o").stat().st_size > 0
