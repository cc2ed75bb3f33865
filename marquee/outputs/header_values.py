"""The order in which a plan's constants are summed, for all forms they are written in."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from marquee.firmware import Constants

FORMAT_VERSION = 1
STEADY, HUE_CYCLE = 0, 1
ONE_WIRE, CLOCKED = 1, 2
# Written where the part has no global setting, so that a program may send it without asking.
NO_GLOBAL = 0

# How the CRC is made, word for word in the header's comment.
CRC_ORDER = (
    "LED, channel, zone, run and hue count, hue step, protocol, four bit times, latch, clock,",
    "global bits, cap, limit, worst case, planned, dark, largest-only; wire order; channel currents;",
    "each run (first, count);",
    "each zone (first run, runs, LEDs, raised, start, bytes, global, mode); gamma; hues.",
)


def protocol_code(constants: Constants) -> int:
    """Return the header's number of the part's protocol."""
    return CLOCKED if constants.protocol == "clocked" else ONE_WIRE


def wire_order(constants: Constants) -> tuple[int, ...]:
    """Return, for each byte on the wire, the index of its channel."""
    return tuple(constants.channels.index(name) for name in constants.byte_order)


def per_channel(constants: Constants, numbers: tuple[int, ...]) -> tuple[int, ...]:
    """Return one number a channel: those given, or zeros where a zone has none."""
    return numbers or (0,) * len(constants.channels)


def ordered_values(constants: Constants) -> Iterator[int]:
    """Give every number in the order of `CRC_ORDER`."""
    c = constants
    yield from (c.led_count, len(c.channels), len(c.zones), c.run_count, len(c.hue_cycle))
    yield from (c.hue_step_ms, protocol_code(c), *c.bit_ns, c.latch_us, c.clock_hz, c.global_bits)
    yield from (c.brightness_cap_255, c.current_limit_ma, c.worst_case_ma, c.planned_ma, c.dark_ua)
    yield int(c.largest_channel_only)
    yield from wire_order(c)
    yield from c.channel_ua
    for zone in c.zones:
        for run in zone.runs:
            yield from run
    first_run = 0
    for zone in c.zones:
        yield from (first_run, len(zone.runs), zone.led_count)
        yield from (*per_channel(c, zone.raised), *per_channel(c, zone.start))
        yield from per_channel(c, zone.codes)
        yield zone.global_code or NO_GLOBAL
        yield HUE_CYCLE if zone.mode == "hue-cycle" else STEADY
        first_run += len(zone.runs)
    yield from c.gamma_codes
    for row in c.hue_cycle:
        yield from row


def values_crc32(constants: Constants) -> int:
    """Return the CRC-32 (ISO-HDLC, as in zlib) of all values, each as four bytes, lowest first."""
    numbers = list(ordered_values(constants))
    return zlib.crc32(struct.pack(f"<{len(numbers)}I", *numbers))
