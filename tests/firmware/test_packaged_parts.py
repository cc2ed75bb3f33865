"""Every packaged part through header and simulated firmware: its own data sheet's windows and wire order."""

from __future__ import annotations

from pathlib import Path

import pytest

import marquee.tables
from marquee.colour.parts import load_part
from marquee.outputs.header import header_text
from marquee.outputs.header_read import check_header
from marquee.values import Part
from tests.firmware.factory import Sign, make_plan
from tests.firmware.simulated import (
    clocked_frames,
    one_wire_frames,
    simulate,
    wanted_leds,
    wanted_one_wire,
)

PARTS = sorted(p.stem for p in (Path(marquee.tables.__file__).parent / "parts").glob("*.toml"))
Window = tuple[int, int]
# t0h, t0l, t1h, t1l [ns], each from the sheet named; None where the sheet cannot be met together with others
# and measurement shows that it does not matter (cpldcpu blog 2020-12-19: the part samples a fixed time after the
# rising edge, the low time is free within wide limits).
SHEETS: dict[str, tuple[Window, Window, Window, Window | None]] = {
    # Worldsemi WS2812B data sheet, English, 2013-05-30, p. 2.
    "ws2812b": ((250, 550), (700, 1000), (650, 950), (300, 600)),
    # Worldsemi WS2812B-V5/W data sheet V6.1, quoted second-hand.
    "ws2812b-v5": ((220, 380), (580, 1000), (580, 1000), (580, 1000)),
    # Worldsemi WS2813 data sheet V1.0, 2017-05-23: T1L 220 to 420.
    "ws2813": ((220, 380), (580, 1600), (580, 1600), None),
    # Opsco SK6812MINI data sheet Rev.01, 2015-07-22.
    "sk6812": ((150, 450), (750, 1050), (450, 750), (450, 750)),
    # Shenzhen LED Color SK6812RGBW-XX data sheet Rev.01, 2015-07-31.
    "sk6812-rgbw-nw": ((150, 450), (750, 1050), (450, 750), (450, 750)),
    # Worldsemi WS2811 data sheet, 2011-09-15, high speed: half of the low-speed table, each +-150.
    "ws2811-12v": ((100, 400), (850, 1150), (450, 750), (500, 800)),
}


def sign_of(part: Part) -> Sign:
    n = len(part.channels)
    amps = part.channel_current_max_a or part.channel_current_a or (0.02,) * n
    return Sign(
        channels=part.channels,
        byte_order=part.byte_order,
        protocol=part.protocol,
        global_bits=part.global_bits,
        global_codes=(31, 16, 7, 31, 1) if part.global_bits else (None,) * 5,
        current_law=part.current_law,
        channel_a=amps,
        codes=tuple(tuple((53 * z + 17 * c + 1) % 256 for c in range(n)) for z in range(5)),
        cycling=(),
        bit_ns=part.bit_ns,
        latch_us=part.latch_us,
        response=part.response,
        response_measured=part.response_measured,
    )


@pytest.mark.parametrize("name", PARTS)
def test_header_of_every_packaged_part_reads_back(name: str) -> None:
    plan = make_plan(sign_of(load_part(name)))
    assert check_header(header_text(plan), plan) == ()


@pytest.mark.native
@pytest.mark.parametrize("name", PARTS)
def test_every_packaged_part_is_sent_the_plans_bytes(name: str) -> None:
    sign = sign_of(load_part(name))
    trace = simulate(sign, 50)
    if sign.protocol == "one-wire":
        assert {f.data for f in one_wire_frames(trace, 300)} == {wanted_one_wire(sign, 0)}
        return
    order = [sign.channels.index(channel) for channel in sign.byte_order]
    body = b"".join(
        bytes(
            [0xE0 | (0 if zone < 0 else sign.global_codes[zone] or 0), *(codes[i] for i in order)]
        )
        for zone, codes in zip(sign.zone_of_led, wanted_leds(sign, 0), strict=True)
    )
    assert {frame[4 : 4 + len(body)] for frame in clocked_frames(trace)} == {body}


@pytest.mark.native
@pytest.mark.parametrize("name", SHEETS)
def test_simulated_pulses_lie_in_the_parts_own_sheet(name: str) -> None:
    t0h, t0l, t1h, t1l = SHEETS[name]
    frames = one_wire_frames(simulate(sign_of(load_part(name)), 50), 300)
    pulses = {
        (high > 500, high, low)
        for f in frames
        for high, low in zip(f.high_ns, f.low_ns, strict=False)
    }
    assert {is_one for is_one, _, _ in pulses} == {False, True}
    for is_one, high, low in pulses:
        high_window, low_window = (t1h, t1l) if is_one else (t0h, t0l)
        assert high_window[0] <= high <= high_window[1]
        assert low_window is None or low_window[0] <= low <= low_window[1]
