"""marquee_constants.h: the plan's integers as C and C++ text for a controller."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from marquee.firmware import Constants, ZoneRuns
from marquee.outputs.header_comment import head_comment
from marquee.outputs.header_read import prove
from marquee.outputs.header_values import (
    CLOCKED,
    FORMAT_VERSION,
    HUE_CYCLE,
    NO_GLOBAL,
    ONE_WIRE,
    STEADY,
    per_channel,
    protocol_code,
    values_crc32,
    wire_order,
)
from marquee.outputs.names import comment_text, unique_identifiers
from marquee.plan import Plan

FILE_NAME = "marquee_constants.h"
_COLUMNS = 120


def header_text(plan: Plan) -> str:
    """Return the header's text, read back and compared with the plan before it is handed on.

    Parameters
    ----------
    plan : Plan
        Its constants, part, artwork's name and digest, and settings (prefix).

    Raises
    ------
    HeaderProofError
        The text does not say what the plan says: a fault of marquee's own; nothing may be written.
    """
    p = plan.project.firmware.prefix
    c = plan.constants
    blocks = [
        head_comment(plan),
        [f"#ifndef {p}_CONSTANTS_H", f"#define {p}_CONSTANTS_H", ""],
        _storage(p),
        _counts(p, c),
        _names(p, c),
        _sending(p, c),
        _currents(p, c),
        _runs(p, c),
        _zones(p, c),
        _tables(p, c),
        _accessors(p, c),
        _assertions(p, c),
        [f"#endif /* {p}_CONSTANTS_H */"],
    ]
    text = "\n".join(line for block in blocks for line in block) + "\n"
    prove(text, plan)
    return text


def _storage(p: str) -> list[str]:
    return [
        "#include <stdint.h>",
        "#if defined(__AVR__)",
        "#include <avr/pgmspace.h>",
        "#endif",
        "",
        "/* Where tables lie and how they are read. On AVR they stay in flash, and reading one as plain memory",
        f" * (without {p}_GET8, _GET16, _GET32) compiles and gives wrong bytes. To use your own, define all four",
        f" * of {p}_FLASH, _GET8, _GET16 and _GET32 before including this file. */",
        f"#ifndef {p}_FLASH",
        "#if defined(__AVR__)",
        f"#define {p}_FLASH PROGMEM",
        f"#define {p}_GET8(address) pgm_read_byte(address)",
        f"#define {p}_GET16(address) pgm_read_word(address)",
        f"#define {p}_GET32(address) pgm_read_dword(address)",
        "#else",
        f"#define {p}_FLASH",
        f"#define {p}_GET8(address) (*(address))",
        f"#define {p}_GET16(address) (*(address))",
        f"#define {p}_GET32(address) (*(address))",
        "#endif",
        "#endif",
        "",
        "/* Keeps strict builds quiet about tables a program leaves unused; those cost nothing at -Os. */",
        "#if defined(__GNUC__)",
        f"#define {p}_UNUSED __attribute__((unused))",
        "#else",
        f"#define {p}_UNUSED",
        "#endif",
        "",
        "#if defined(__cplusplus)",
        "#if __cplusplus >= 201103L",
        f"#define {p}_ASSERT(tag, holds) static_assert(holds, #tag)",
        "#endif",
        "#elif defined(__STDC_VERSION__)",
        "#if __STDC_VERSION__ >= 201112L",
        f"#define {p}_ASSERT(tag, holds) _Static_assert(holds, #tag)",
        "#endif",
        "#endif",
        f"#ifndef {p}_ASSERT",
        f"#define {p}_ASSERT(tag, holds) typedef char {p}_ASSERT_##tag[(holds) ? 1 : -1]",
        "#endif",
        "",
    ]


def _define(p: str, name: str, value: str, note: str = "") -> str:
    line = f"#define {p}_{name} {value}"
    if not note:
        return line
    both = f"{line:<48} /* {note} */"
    return both if len(both) <= _COLUMNS else f"/* {note} */\n{line}"


def _counts(p: str, c: Constants) -> list[str]:
    return [
        _define(p, "FORMAT_VERSION", f"{FORMAT_VERSION}", "of this file's layout"),
        _define(p, "VALUES_CRC32", f"0x{values_crc32(c):08X}UL", "of the values, see above"),
        "",
        _define(p, "LED_COUNT", f"{c.led_count}u", "LEDs on the chain, dark ones included"),
        _define(p, "CHANNEL_COUNT", f"{len(c.channels)}u", "channels of one LED"),
        _define(p, "ZONE_COUNT", f"{len(c.zones)}u"),
        _define(p, "RUN_COUNT", f"{c.run_count}u", "runs of neighbouring LEDs, all zones"),
        _define(p, "GAMMA_COUNT", f"{len(c.gamma_codes)}u"),
        _define(p, "HUE_COUNT", f"{len(c.hue_cycle)}u", "steps of the hue cycle, 0: none"),
        _define(p, "HUE_STEP_MS", f"{c.hue_step_ms}UL", "ms for each step"),
        "",
    ]


def _names(p: str, c: Constants) -> list[str]:
    channels = unique_identifiers(c.channels)
    zones = unique_identifiers(zone.name for zone in c.zones)
    lines = ["/* Channels, in the order of every table here (the wire's order is ORDER). */"]
    lines += [_define(p, f"CH_{name}", f"{i}u") for i, name in enumerate(channels)]
    lines += ["", "/* Zones by name. */"]
    lines += [
        _define(p, f"Z_{name}", f"{i}u", comment_text(zone.name))
        for i, (name, zone) in enumerate(zip(zones, c.zones, strict=True))
    ]
    lines += ["", "/* A zone's mode. */"]
    lines += [_define(p, "STEADY", f"{STEADY}u"), _define(p, "HUE_CYCLE", f"{HUE_CYCLE}u"), ""]
    return lines


def _sending(p: str, c: Constants) -> list[str]:
    t0h, t0l, t1h, t1l = c.bit_ns
    lines = [
        "/* How the part is sent: one wire (each bit a pulse, most significant first) or clock and data. */",
        _define(p, "ONE_WIRE", f"{ONE_WIRE}"),
        _define(p, "CLOCKED", f"{CLOCKED}"),
        _define(p, "PROTOCOL", f"{protocol_code(c)}"),
        _define(p, "T0H_NS", f"{t0h}UL", "ns high for a 0 (one wire)"),
        _define(p, "T0L_NS", f"{t0l}UL", "ns low after it"),
        _define(p, "T1H_NS", f"{t1h}UL", "ns high for a 1"),
        _define(p, "T1L_NS", f"{t1l}UL", "ns low after it"),
        _define(p, "LATCH_US", f"{c.latch_us}UL", "us low before the next frame (one wire)"),
        _define(p, "CLOCK_HZ", f"{c.clock_hz}UL", "Hz aimed at (clocked)"),
        _define(p, "GLOBAL_BITS", f"{c.global_bits}u", "of the global current setting, 0: none"),
        _define(p, "FRAME_BYTES", f"{c.frame_bytes}UL", "bytes of RAM for one frame"),
        _define(p, "FRAME_US", f"{c.frame_us}UL", "us to send one frame, latch included"),
    ]
    order = [f"{index}u" for index in wire_order(c)]
    return [*lines, *_table(p, "uint8_t", "ORDER", "", [order], "channel of each byte sent"), ""]


def _currents(p: str, c: Constants) -> list[str]:
    lines = [
        "/* Currents, on the supply's side. Estimates from published figures: measure before trusting them. */",
        _define(p, "CAP_255", f"{c.brightness_cap_255}u", "1/255: share of full an LED may draw"),
        _define(p, "LIMIT_MA", f"{c.current_limit_ma}UL", "mA the program must not exceed"),
        _define(p, "WORST_MA", f"{c.worst_case_ma}UL", "mA with every channel full, no cap"),
        _define(p, "PLANNED_MA", f"{c.planned_ma}UL", "mA as planned"),
        _define(p, "DARK_UA", f"{c.dark_ua}UL", "uA with every LED dark, controller included"),
        _define(p, "LARGEST_ONLY", f"{int(c.largest_channel_only)}u", "1: largest channel counts"),
        _define(p, "LED_FULL_UA", f"{c.led_full_ua}UL", "uA of one LED, all full, less dark"),
    ]
    each = [f"{ua}UL" for ua in c.channel_ua]
    note = "uA of each channel at byte 255, an upper estimate"
    return [*lines, *_table(p, "uint32_t", "CHANNEL_UA", "", [each], note), ""]


def _table(
    p: str, kind: str, name: str, inner: str, rows: Sequence[Sequence[str]], note: str
) -> list[str]:
    head = f"static const {kind} {p}_{name}[]{inner} {p}_FLASH {p}_UNUSED = {{"
    if len(head) > _COLUMNS:
        head = head.replace(f"{kind} ", f"{kind}\n  ", 1)
    body = ["  " + ", ".join(row) + "," for row in rows]
    body[-1] = body[-1].removesuffix(",")
    # Many channels, large zones or a long prefix make long rows; they go on in the next line.
    folded = [
        part for row in body for part in textwrap.wrap(row, _COLUMNS, subsequent_indent="    ")
    ]
    return [f"/* {note} */", head, *folded, "};"]


def _runs(p: str, c: Constants) -> list[str]:
    runs = [run for zone in c.zones for run in zone.runs]
    lines = ["/* Runs of neighbouring LEDs: first LED and count, zone after zone. */"]
    for i, (first, count) in enumerate(runs):
        lines += [_define(p, f"R{i}_FIRST", f"{first}u"), _define(p, f"R{i}_LEDS", f"{count}u")]
    lines += [
        "typedef struct {",
        "  uint16_t first; /* LED */",
        "  uint16_t leds;",
        f"}} {p}_RUN;",
    ]
    rows = [[f"{{ {p}_R{i}_FIRST, {p}_R{i}_LEDS }}"] for i in range(len(runs))]
    return [*lines, *_table(p, f"{p}_RUN", "RUNS", "", rows, "first LED, count"), ""]


def _zones(p: str, c: Constants) -> list[str]:
    spare = len(c.channels) % 2
    lines = [
        "typedef struct {",
        "  uint16_t first_run; /* into RUNS */",
        "  uint16_t runs;",
        "  uint16_t leds; /* in all its runs */",
        f"  uint16_t raised[{len(c.channels)}]; /* LEDs that get one more than drive, in each channel */",
        f"  uint16_t start[{len(c.channels)}]; /* where their count starts, below leds */",
        f"  uint8_t drive[{len(c.channels)}]; /* bytes in channel order; 0 where the hue cycle gives them */",
        "  uint8_t global_code; /* the part's global current setting; 0 where it has none */",
        "  uint8_t mode; /* STEADY or HUE_CYCLE */",
        *(["  uint8_t spare; /* keeps the size even on every compiler */"] if spare else []),
        f"}} {p}_ZONE;",
    ]
    first_run, rows = 0, []
    for zone in c.zones:
        rows.append([_zone_row(p, c, zone, first_run)])
        first_run += len(zone.runs)
    note = "first run, runs, LEDs, raised, start, bytes, global, mode"
    return [*lines, *_table(p, f"{p}_ZONE", "ZONES", "", rows, note), ""]


def _zone_row(p: str, c: Constants, zone: ZoneRuns, first_run: int) -> str:
    lists = (zone.raised, zone.start, zone.codes)
    raised, start, drive = (
        "{ " + ", ".join(f"{number}u" for number in per_channel(c, numbers)) + " }"
        for numbers in lists
    )
    mode = "HUE_CYCLE" if zone.mode == "hue-cycle" else "STEADY"
    spare = ", 0u" if len(c.channels) % 2 else ""
    counts = f"{first_run}u, {len(zone.runs)}u, {zone.led_count}u"
    setting = f"{zone.global_code or NO_GLOBAL}u"
    return f"{{ {counts}, {raised}, {start}, {drive}, {setting}, {p}_{mode}{spare} }}"


def _tables(p: str, c: Constants) -> list[str]:
    gamma = [f"{code:3d}u" for code in c.gamma_codes]
    rows = [gamma[i : i + 16] for i in range(0, len(gamma), 16)]
    note = "byte for an even step of lightness 0 to 255, through the part's response"
    lines = _table(p, "uint8_t", "GAMMA", "", rows, note)
    if c.hue_cycle:
        hues = ["{ " + ", ".join(f"{code:3d}u" for code in row) + " }" for row in c.hue_cycle]
        per_line = 4
        rows = [hues[i : i + per_line] for i in range(0, len(hues), per_line)]
        note = "hue cycle of constant luminance: bytes of each step, in channel order"
        lines += ["", *_table(p, "uint8_t", "HUES", f"[{len(c.channels)}]", rows, note)]
    return [*lines, ""]


def _accessors(p: str, c: Constants) -> list[str]:
    readers = [
        ("ORDER_AT(i)", 8, "ORDER[i]"),
        ("CHANNEL_UA_AT(c)", 32, "CHANNEL_UA[c]"),
        ("RUN_FIRST(r)", 16, "RUNS[r].first"),
        ("RUN_LEDS(r)", 16, "RUNS[r].leds"),
        ("ZONE_FIRST_RUN(z)", 16, "ZONES[z].first_run"),
        ("ZONE_RUNS(z)", 16, "ZONES[z].runs"),
        ("ZONE_LEDS(z)", 16, "ZONES[z].leds"),
        ("ZONE_DRIVE(z, c)", 8, "ZONES[z].drive[c]"),
        ("ZONE_RAISED(z, c)", 16, "ZONES[z].raised[c]"),
        ("ZONE_START(z, c)", 16, "ZONES[z].start[c]"),
        ("ZONE_GLOBAL(z)", 8, "ZONES[z].global_code"),
        ("ZONE_MODE(z)", 8, "ZONES[z].mode"),
        ("GAMMA_AT(level)", 8, "GAMMA[level]"),
    ]
    if c.hue_cycle:
        readers.append(("HUE_AT(step, c)", 8, "HUES[step][c]"))
    lines = ["/* Read the tables with these: they work in flash and in RAM alike. */"]
    lines += [f"#define {p}_{call} {p}_GET{bits}(&{p}_{place})" for call, bits, place in readers]
    return [*lines, ""]


def _assertions(p: str, c: Constants) -> list[str]:
    def check(tag: str, holds: str) -> str:
        line = f"{p}_ASSERT({tag}, {holds});"
        return line if len(line) <= _COLUMNS else f"{p}_ASSERT({tag},\n  {holds});"

    lines = [
        "/* Checked by the compiler; the 0UL keeps sums from wrapping where int has 16 bits. */",
        f"#define {p}_ROWS(table) (sizeof(table) / sizeof((table)[0]))",
        *(
            check(f"{name}_rows", f"{p}_ROWS({p}_{name}) == {count}")
            for name, count in _row_counts(p, c)
        ),
        check("run_bytes", f"sizeof({p}_RUN) == 4"),
        check("zone_bytes", f"sizeof({p}_ZONE) == {c.zone_row_bytes}"),
        check("zones_fit_a_byte", f"{p}_ZONE_COUNT <= 255"),
        check("cap_fits_a_byte", f"{p}_CAP_255 <= 255"),
        check("limit_within_worst", f"{p}_LIMIT_MA <= {p}_WORST_MA"),
    ]
    runs = [run for zone in c.zones for run in zone.runs]
    chain_order = sorted(range(len(runs)), key=lambda i: runs[i])
    for here, after in zip(chain_order, [*chain_order[1:], None], strict=True):
        end = f"0UL + {p}_R{here}_FIRST + {p}_R{here}_LEDS"
        limit = f"{p}_LED_COUNT" if after is None else f"{p}_R{after}_FIRST"
        tag = f"r{here}_inside_chain" if after is None else f"r{here}_before_r{after}"
        lines.append(check(tag, f"{end} <= {limit}"))
    return [*lines, ""]


def _row_counts(p: str, c: Constants) -> list[tuple[str, str]]:
    rows = [
        ("ORDER", f"{p}_CHANNEL_COUNT"),
        ("CHANNEL_UA", f"{p}_CHANNEL_COUNT"),
        ("RUNS", f"{p}_RUN_COUNT"),
        ("ZONES", f"{p}_ZONE_COUNT"),
        ("GAMMA", f"{p}_GAMMA_COUNT"),
    ]
    return [*rows, ("HUES", f"{p}_HUE_COUNT")] if c.hue_cycle else rows
