"""marquee_constants.json: the header's numbers for any other program."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from marquee import __version__
from marquee.errors import printable
from marquee.firmware import Constants, ZoneRuns
from marquee.outputs.header_read import HeaderProofError
from marquee.outputs.header_values import FORMAT_VERSION, values_crc32, wire_order
from marquee.outputs.names import base_name, unique_identifiers
from marquee.plan import Plan

FILE_NAME = "marquee_constants.json"


def constants_json_text(plan: Plan) -> str:
    """Return the plan's constants as JSON in ASCII, read back before it is handed on.

    Raises
    ------
    HeaderProofError
        The text does not say what the plan says: a fault of marquee's own; nothing may be written.
    """
    c = plan.constants
    content = {
        "format_version": FORMAT_VERSION,
        "marquee": __version__,
        "artwork": printable(base_name(plan.artwork.file)),
        "sha256": plan.artwork.sha256,
        "part": plan.part.name,
        "values_crc32": f"{values_crc32(c):08X}",
        **_numbers(c),
        "zones": [
            _zone(zone, name)
            for zone, name in zip(
                c.zones, unique_identifiers(zone.name for zone in c.zones), strict=True
            )
        ],
        "gamma_codes": c.gamma_codes,
        "hue_cycle": c.hue_cycle,
    }
    text = json.dumps(content, indent=1, allow_nan=False) + "\n"
    if constants_of_json(text) != _printable_names(c):
        raise HeaderProofError(f"our own {FILE_NAME} does not match the plan")
    return text


def _numbers(c: Constants) -> dict[str, Any]:
    return {
        "led_count": c.led_count,
        "channels": c.channels,
        "byte_order": c.byte_order,
        "wire_order": wire_order(c),
        "protocol": c.protocol,
        "bit_ns": dict(zip(("t0h", "t0l", "t1h", "t1l"), c.bit_ns, strict=True)),
        "latch_us": c.latch_us,
        "clock_hz": c.clock_hz,
        "global_bits": c.global_bits,
        "frame_us": c.frame_us,
        "brightness_cap_255": c.brightness_cap_255,
        "current_limit_ma": c.current_limit_ma,
        "worst_case_ma": c.worst_case_ma,
        "planned_ma": c.planned_ma,
        "dark_ua": c.dark_ua,
        "channel_ua": c.channel_ua,
        "largest_channel_only": c.largest_channel_only,
        "hue_step_ms": c.hue_step_ms,
    }


def _zone(zone: ZoneRuns, identifier: str) -> dict[str, Any]:
    return {
        "id": zone.zone,
        "name": printable(zone.name),
        "identifier": identifier,
        "mode": zone.mode,
        "drive": zone.codes,
        "raised": zone.raised,
        "start": zone.start,
        "global_code": zone.global_code,
        "runs": zone.runs,
    }


def _printable_names(c: Constants) -> Constants:
    return replace(c, zones=tuple(replace(z, name=printable(z.name)) for z in c.zones))


def constants_of_json(text: str) -> Constants:
    """Return the constants that the text of a marquee_constants.json says; names as printed there.

    Raises
    ------
    ValueError, KeyError
        It is not such a file.
    """
    v = json.loads(text)
    bits = v["bit_ns"]
    return Constants(
        channels=tuple(v["channels"]),
        byte_order=tuple(v["channels"][i] for i in v["wire_order"]),
        led_count=v["led_count"],
        zones=tuple(
            ZoneRuns(
                zone=z["id"],
                name=z["name"],
                mode=z["mode"],
                runs=tuple((first, count) for first, count in z["runs"]),
                codes=tuple(z["drive"]),
                raised=tuple(z["raised"]),
                start=tuple(z["start"]),
                global_code=z["global_code"],
            )
            for z in v["zones"]
        ),
        gamma_codes=tuple(v["gamma_codes"]),
        hue_cycle=tuple(tuple(row) for row in v["hue_cycle"]),
        bit_ns=(bits["t0h"], bits["t0l"], bits["t1h"], bits["t1l"]),
        channel_ua=tuple(v["channel_ua"]),
        **{
            name: v[name]
            for name in (
                "hue_step_ms",
                "brightness_cap_255",
                "current_limit_ma",
                "worst_case_ma",
                "planned_ma",
                "dark_ua",
                "protocol",
                "latch_us",
                "clock_hz",
                "global_bits",
                "largest_channel_only",
            )
        },
    )
