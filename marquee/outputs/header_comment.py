"""The comment at the top of the constants header: what it is, how to read it, what to beware of."""

from __future__ import annotations

import re

import numpy as np

from marquee import __version__
from marquee.firmware import AVR_TICK_US, Constants
from marquee.outputs.header_values import CRC_ORDER
from marquee.outputs.names import base_name, comment_text
from marquee.plan import Plan


def head_comment(plan: Plan) -> list[str]:
    """Return the comment's lines, closed, followed by an empty one."""
    p = plan.project.firmware.prefix
    c = plan.constants
    sections = [
        _provenance(plan, p),
        _how_to_read(p, c),
        _cost(plan, c),
        _cautions(plan, c),
        _units(),
        ["CRC-32 (as in zlib) of these numbers, each as four bytes, lowest byte first:"]
        + [f"  {line}" for line in CRC_ORDER],
    ]
    lines = [line for section in sections for line in [*section, ""]][:-1]
    return ["/*", *(f" * {line}".rstrip() for line in lines), " */"]


def _provenance(plan: Plan, p: str) -> list[str]:
    digest = plan.artwork.sha256
    shown = digest if re.fullmatch(r"[0-9a-f]{64}", digest) else comment_text(digest)
    return [
        f"Constants of one back-lit marquee for its LED controller, prefix {p}.",
        f"Made by marquee {comment_text(__version__)}; change the plan and make it again rather than editing this.",
        f"Artwork: {comment_text(base_name(plan.artwork.file))}",
        f"SHA-256: {shown}",
        f"Part:    {comment_text(plan.part.name)}, {comment_text(plan.part.title)}",
        *_calibrated(plan),
        f"Sized for controller {comment_text(plan.budget.controller)}.",
        "Good in C99 and later and in C++98 and later. Include it, or paste it into the main file.",
    ]


def _calibrated(plan: Plan) -> list[str]:
    known = plan.part.calibrated
    if known is None:
        return []
    file = f" ({comment_text(base_name(known.file))})" if known.file else ""
    return [
        f"Calibrated on {comment_text(known.name)}{file}: {comment_text(known.summary)}.",
    ]


def _how_to_read(p: str, c: Constants) -> list[str]:
    lines = [
        f"How to read it (all names begin with {p}_). For zone z, go through its runs, and give every LED of",
        "each run the zone's bytes:",
        "  for (r = ZONE_FIRST_RUN(z); r < ZONE_FIRST_RUN(z) + ZONE_RUNS(z); r++)",
        "    for (i = 0; i < RUN_LEDS(r); i++)",
        "      LED number RUN_FIRST(r) + i gets ZONE_DRIVE(z, c) in channel c.",
        "Codes may be shared out over a zone's LEDs for a finer colour. For each channel c keep a sum, at first",
        "ZONE_START(z, c). For each LED of the zone in that order add ZONE_RAISED(z, c); where the sum reaches",
        "ZONE_LEDS(z), subtract that and send this LED one more than ZONE_DRIVE(z, c).",
        "LEDs in no run stay dark. On the wire, byte b of an LED is channel ORDER_AT(b).",
    ]
    if c.hue_cycle:
        lines += [
            "A zone whose mode is HUE_CYCLE shows HUE_AT(step, c) instead, one step further every",
            "HUE_STEP_MS ms, from the last step back to the first.",
        ]
    if c.protocol == "clocked":
        lines += [
            "Clocked: 32 zero bits; for each LED 111 and the 5 global bits, then its bytes; 32 zero bits; then one",
            "more byte for every 16 LEDs. The global setting of a zone is ZONE_GLOBAL(z).",
        ]
    lines.append("GAMMA_AT(level) is for animations of your own: even steps of level look even.")
    return lines


def _cost(plan: Plan, c: Constants) -> list[str]:
    return [
        f"Cost: {c.table_bytes} bytes of flash and no RAM where tables stay in flash (AVR, ARM, RISC-V);",
        f"one frame takes {c.frame_bytes} bytes of RAM and {c.frame_us / 1000:.2f} ms, so at most"
        f" {plan.budget.max_frames_per_s:.0f} frames per second.",
    ]


def _cautions(plan: Plan, c: Constants) -> list[str]:
    lines = [
        "Caution. The supply, fuses and wires were chosen for the limits below. A program that ignores",
        "CAP_255 or LIMIT_MA can overload them: wires and strips can get hot enough to burn.",
        "Software is no protection: fit the fuses. Mains wiring belongs to licensed practice and local codes.",
        "Fast flashing (above 3 flashes per second) can cause seizures (WCAG 2.2, 2.3.1): keep changes slow.",
    ]
    if c.protocol == "one-wire" and c.send_us > AVR_TICK_US:
        lines += [
            f"On a 16 MHz AVR, sending keeps interrupts off for {c.send_us / 1000:.2f} ms, and millisecond clocks run"
            " slow;",
            "count frames instead.",
        ]
    if not plan.part.response_measured:
        linear = np.allclose(plan.part.response, np.arange(256) / 255)
        assumed = "take light as proportional to the byte" if linear else "follow an assumed curve"
        lines.append(f"The part's response was not measured: gamma and currents {assumed}.")
    return lines


def _units() -> list[str]:
    return [
        "Units: _MA milliampere, _UA microampere, _NS nanosecond, _US microsecond, _MS millisecond, _HZ hertz,",
        "_BYTES bytes, _255 parts of 255; LEDs, runs, zones, steps and channels are counted from 0.",
    ]
