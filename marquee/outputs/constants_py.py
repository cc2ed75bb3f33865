"""marquee_constants.py: the header's numbers as plain Python for a board that runs it; also under MicroPython."""

from __future__ import annotations

import ast
from collections.abc import Iterable
from dataclasses import replace

from marquee import __version__
from marquee.firmware import Constants, ZoneRuns
from marquee.outputs.header_read import (
    HeaderProofError,
    field_differences,
    named_as_identifiers,
)
from marquee.outputs.header_values import FORMAT_VERSION, values_crc32, wire_order
from marquee.outputs.names import base_name, comment_text, unique_identifiers
from marquee.plan import Plan

FILE_NAME = "marquee_constants.py"


def constants_py_text(plan: Plan) -> str:
    """Return the plan's constants as a Python module without imports, read back before it is handed on.

    Only numbers, tuples, bytes and names; no prefix, the module is its own namespace.

    Raises
    ------
    HeaderProofError
        The text does not say what the plan says: a fault of marquee's own; nothing may be written.
    """
    c = plan.constants
    lines = [*_head(plan), "", *_numbers(c), "", *_names(c), "", *_tables(c)]
    text = "\n".join(lines) + "\n"
    _prove(text, c)
    return text


def _head(plan: Plan) -> list[str]:
    return [
        "# Constants of one back-lit marquee for its LED controller, in plain Python (also MicroPython).",
        f"# Made by marquee {comment_text(__version__)}; change the plan and make it again rather than editing this.",
        f"# Artwork: {comment_text(base_name(plan.artwork.file))}",
        f"# SHA-256: {comment_text(plan.artwork.sha256[:60])}{comment_text(plan.artwork.sha256[60:])}",
        f"# Part:    {comment_text(plan.part.name)}, {comment_text(plan.part.title)}",
        "#",
        "# Every LED of a zone's runs gets the zone's bytes, or the hue cycle's where its mode is HUE_CYCLE; LEDs in",
        "# no run stay dark. On the wire, byte b of an LED is channel ORDER[b].",
        "# Caution: supply, fuses and wires were chosen for CAP_255 and LIMIT_MA. A program that ignores them can",
        "# overload them; software is no protection: fit the fuses. More than 3 flashes a second can cause seizures.",
        "# Units: _MA mA, _UA uA, _NS ns, _US us, _MS ms, _HZ Hz, _255 parts of 255; all counted from 0.",
    ]


def _numbers(c: Constants) -> list[str]:
    t0h, t0l, t1h, t1l = c.bit_ns
    numbers = {
        "FORMAT_VERSION": FORMAT_VERSION,
        "VALUES_CRC32": values_crc32(c),
        "LED_COUNT": c.led_count,
        "HUE_STEP_MS": c.hue_step_ms,
        "T0H_NS": t0h,
        "T0L_NS": t0l,
        "T1H_NS": t1h,
        "T1L_NS": t1l,
        "LATCH_US": c.latch_us,
        "CLOCK_HZ": c.clock_hz,
        "GLOBAL_BITS": c.global_bits,
        "FRAME_US": c.frame_us,
        "CAP_255": c.brightness_cap_255,
        "LIMIT_MA": c.current_limit_ma,
        "WORST_MA": c.worst_case_ma,
        "PLANNED_MA": c.planned_ma,
        "DARK_UA": c.dark_ua,
        "LED_FULL_UA": c.led_full_ua,
    }
    lines = [f"{name} = {number}" for name, number in numbers.items()]
    lines.append(f'PROTOCOL = "{"clocked" if c.protocol == "clocked" else "one-wire"}"')
    lines.append(
        f"LARGEST_ONLY = {c.largest_channel_only}  # supply current: the largest channel's"
    )
    return lines


def _names(c: Constants) -> list[str]:
    channels = unique_identifiers(c.channels)
    zones = unique_identifiers(zone.name for zone in c.zones)
    return [
        f"CHANNELS = {_tuple(repr(name) for name in channels)}",
        "STEADY, HUE_CYCLE = 0, 1",
        *(
            f"Z_{name} = {i}  # {comment_text(zone.name)}"
            for i, (name, zone) in enumerate(zip(zones, c.zones, strict=True))
        ),
    ]


# Keeps rows within 120 columns: a run takes at most 16.
_RUNS_IN_A_LINE = 4


def _tables(c: Constants) -> list[str]:
    zones = [_zone(zone) for zone in c.zones]
    return [
        f"ORDER = {_tuple(map(str, wire_order(c)))}",
        f"CHANNEL_UA = {_tuple(map(str, c.channel_ua))}  # of each channel at byte 255, an upper estimate",
        "# Zone: mode, bytes in channel order (none in a hue cycle), global setting or None, runs (first LED, count),",
        "# and where codes are shared out, for each channel: how many LEDs get one more, and where their count starts.",
        "# LED k of the n of a zone gets it where (start + (k + 1) * raised) // n > (start + k * raised) // n.",
        "ZONES = (",
        *(line for zone in zones for line in zone),
        ")",
        "# Byte for an even step of lightness 0 to 255, through the part's response.",
        *_bytes_table("GAMMA", c.gamma_codes),
        "# Hue cycle: the bytes of each step, in channel order.",
        "HUES = (",
        *(f"    {_tuple(map(str, row))}," for row in c.hue_cycle),
        ")",
    ]


def _zone(zone: ZoneRuns) -> list[str]:
    """Return a zone's row; its runs on lines of their own where they are many."""
    mode = "HUE_CYCLE" if zone.mode == "hue-cycle" else "STEADY"
    runs = [f"({first}, {count})" for first, count in zone.runs]
    codes, raised, start = (_tuple(map(str, n)) for n in (zone.codes, zone.raised, zone.start))
    head, tail = f"({mode}, {codes}, {zone.global_code}, ", f", {raised}, {start}),"
    if len(runs) <= _RUNS_IN_A_LINE:
        return [f"    {head}{_tuple(runs)}{tail}"]
    rows = [runs[i : i + _RUNS_IN_A_LINE] for i in range(0, len(runs), _RUNS_IN_A_LINE)]
    return [f"    {head}(", *(f"        {', '.join(row)}," for row in rows), f"    ){tail}"]


def _tuple(items: Iterable[str]) -> str:
    words = list(items)
    return f"({words[0]},)" if len(words) == 1 else f"({', '.join(words)})"


def _bytes_table(name: str, codes: tuple[int, ...]) -> list[str]:
    words = [f"{code:3d}" for code in codes]
    rows = [words[i : i + 16] for i in range(0, len(words), 16)]
    return [f"{name} = bytes((", *(f"    {', '.join(row)}," for row in rows), "))"]


def read_constants_py(text: str) -> Constants:
    """Return the constants a module of ours says, with zone and channel names as identifiers; nothing is run.

    Raises
    ------
    ValueError, KeyError
        It is not such a module.
    """
    values: dict[str, object] = {"STEADY": "steady", "HUE_CYCLE": "hue-cycle"}
    for node in ast.parse(text).body:
        if not isinstance(node, ast.Assign):
            raise ValueError(f"line {node.lineno} is no assignment")  # noqa: TRY004 -- of the text
        target = node.targets[0]
        if isinstance(target, ast.Name):
            values[target.id] = _value(node.value, values)
    return _constants(values)


def _value(node: ast.expr, values: dict[str, object]) -> object:
    if isinstance(node, ast.Tuple):
        return tuple(_value(item, values) for item in node.elts)
    if isinstance(node, ast.Name):
        return values[node.id]
    if isinstance(node, ast.Call):
        return tuple(ast.literal_eval(node.args[0]))
    return ast.literal_eval(node)


def _constants(v: dict[str, object]) -> Constants:
    def number(name: str) -> int:
        value = v[name]
        if not isinstance(value, int):
            raise ValueError(f"{name} is no number")  # noqa: TRY004 -- of the text
        return value

    def rows(name: str) -> tuple[tuple[int, ...], ...]:
        value = v[name]
        if not isinstance(value, tuple):
            raise ValueError(f"{name} is no table")  # noqa: TRY004 -- of the text
        return value

    channels = tuple(str(name) for name in rows("CHANNELS"))
    names = {number(name): name.removeprefix("Z_") for name in v if name.startswith("Z_")}
    zones = tuple(_read_zone(i, names[i], row) for i, row in enumerate(rows("ZONES")))
    return Constants(
        channels=channels,
        byte_order=tuple(channels[int(str(i))] for i in rows("ORDER")),
        led_count=number("LED_COUNT"),
        zones=zones,
        gamma_codes=tuple(int(str(code)) for code in rows("GAMMA")),
        hue_cycle=rows("HUES"),
        hue_step_ms=number("HUE_STEP_MS"),
        brightness_cap_255=number("CAP_255"),
        current_limit_ma=number("LIMIT_MA"),
        worst_case_ma=number("WORST_MA"),
        planned_ma=number("PLANNED_MA"),
        dark_ua=number("DARK_UA"),
        protocol=str(v["PROTOCOL"]),
        bit_ns=(number("T0H_NS"), number("T0L_NS"), number("T1H_NS"), number("T1L_NS")),
        latch_us=number("LATCH_US"),
        clock_hz=number("CLOCK_HZ"),
        global_bits=number("GLOBAL_BITS"),
        channel_ua=tuple(int(str(ua)) for ua in rows("CHANNEL_UA")),
        largest_channel_only=bool(number("LARGEST_ONLY")),
    )


def _read_zone(index: int, name: str, row: tuple[object, ...]) -> ZoneRuns:
    mode, codes, global_code, runs, raised, start = row
    if not (
        isinstance(codes, tuple)
        and isinstance(runs, tuple)
        and isinstance(raised, tuple)
        and isinstance(start, tuple)
    ):
        raise ValueError(f"zone {index} is no zone")  # noqa: TRY004 -- of the text
    return ZoneRuns(
        zone=index,
        name=name,
        mode=str(mode),
        runs=runs,
        codes=codes,
        global_code=global_code if isinstance(global_code, int) else None,
        raised=raised,
        start=start,
    )


def _prove(text: str, constants: Constants) -> None:
    wanted = named_as_identifiers(constants)
    wanted = replace(wanted, zones=tuple(replace(z, zone=i) for i, z in enumerate(wanted.zones)))
    differences = field_differences(read_constants_py(text), wanted)
    if differences or not text.isascii() or any(len(line) > 120 for line in text.split("\n")):
        raise HeaderProofError(f"our own {FILE_NAME} does not match: {'; '.join(differences)}")
