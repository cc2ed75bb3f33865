"""What the constants and one frame cost on a controller, and whether they fit."""

from __future__ import annotations

import difflib
from typing import Any

from marquee.errors import Finding, MarqueeError, UnknownNameError
from marquee.firmware.constants import RUN_BYTES, Constants, frame_bytes, hungriest_led_ua
from marquee.project import FirmwareSettings
from marquee.tables.load import load_table
from marquee.values import FirmwareBudget, Part

# An 8-bit timer at 16 MHz / 64 overflows each 1024 us and remembers one overflow (ATmega328P data sheet,
# timer 0; simulated: none lost up to 34 LEDs, 13 of 40 frames' worth at 40).
AVR_TICK_US = 1024.0
# Below this a hue cycle is seen in steps; common practice, no source.
_SMOOTH_FRAMES_PER_S = 30.0


def controllers() -> tuple[dict[str, Any], ...]:
    """Return the rows of the controllers table, each with its source."""
    return tuple(load_table("controllers.toml")["controller"])


def find_controller(name: str) -> dict[str, Any]:
    """Return the controllers table's row of that name, whatever its case.

    Raises
    ------
    UnknownNameError
        There is none; the mend names the nearest.
    """
    rows = {row["name"]: row for row in controllers()}
    wanted = name.strip().lower()
    if wanted in rows:
        return rows[wanted]
    near = difflib.get_close_matches(wanted, rows, n=3, cutoff=0.4)
    hint = f"did you mean {' or '.join(near)}? " if near else ""
    raise UnknownNameError(
        "--controller", f"'{name}' is not known", f"{hint}known: {', '.join(rows)}"
    )


def estimate_budget(
    constants: Constants, part: Part, settings: FirmwareSettings
) -> FirmwareBudget:
    """Return what tables and one frame cost on the chosen controller.

    Raises
    ------
    UnknownNameError
        No such controller.
    MarqueeError
        The frame does not fit its RAM or the tables its flash, less what they leave to the program.
    """
    row = find_controller(settings.controller)
    check_frame(constants.led_count, part, settings)
    _check_flash(constants, row)
    frames_per_s = 1e6 / constants.frame_us
    findings = [
        *_timer_finding(constants, row),
        *_rate_finding(constants, frames_per_s),
        *_cap_findings(constants, part),
    ]
    return FirmwareBudget(
        controller=row["name"],
        flash_bytes=constants.table_bytes,
        ram_bytes=constants.frame_bytes,
        frame_ms=constants.frame_us / 1000.0,
        max_frames_per_s=frames_per_s,
        findings=tuple(findings),
    )


def check_frame(led_count: int, part: Part, settings: FirmwareSettings) -> None:
    """Refuse a chain whose frame the controller cannot hold, before anything long is worked out.

    Raises
    ------
    UnknownNameError
        No such controller.
    MarqueeError
        The frame does not fit its RAM less what is kept for the program: both figures, three ways out.
    """
    row = find_controller(settings.controller)
    room = row["ram_bytes"] - row["reserve_bytes"]
    needed = frame_bytes(led_count, len(part.channels), part.protocol)
    if needed <= room:
        return
    per_led = needed // led_count
    fitting = [r for r in controllers() if r["ram_bytes"] - r["reserve_bytes"] >= needed]
    smallest = min(fitting, key=lambda r: int(r["ram_bytes"]), default=None)
    larger = "" if smallest is None else f"take --controller {smallest['name']}, "
    raise MarqueeError(
        f"controller {row['name']}",
        f"one frame of {led_count} LEDs takes {needed} bytes of RAM, it has {room}"
        f" beside {row['reserve_bytes']} kept for the program (enough for {room // per_led} LEDs)",
        f"{larger}split the chain over two controllers, or use a larger --pitch",
    )


def _check_flash(constants: Constants, row: dict[str, Any]) -> None:
    if "flash_bytes" not in row:
        return
    room = row["flash_bytes"] - row["code_bytes"]
    if constants.table_bytes > room:
        raise MarqueeError(
            f"controller {row['name']}",
            f"the tables take {constants.table_bytes} bytes of flash, it has {room}"
            f" beside {row['code_bytes']} kept for the program; {constants.run_count} runs take"
            f" {RUN_BYTES * constants.run_count} of them",
            f"lay the chain so that a zone's LEDs follow each other (fewer runs){_hue_mend(constants)}, or split"
            " the chain over two controllers, or take a larger one",
        )


def _hue_mend(constants: Constants) -> str:
    """Say what a sign without its hue cycle saves."""
    saved = len(constants.channels) * len(constants.hue_cycle)
    return f", or give mixed zones a steady colour (saves {saved} bytes)" if saved else ""


def _timer_finding(constants: Constants, row: dict[str, Any]) -> list[Finding]:
    if row["core"] != "avr" or constants.protocol != "one-wire":
        return []
    if constants.send_us <= AVR_TICK_US:
        return []
    most = int(AVR_TICK_US / (constants.send_us / constants.led_count))
    message = (
        f"sending {constants.led_count} LEDs keeps interrupts off for {constants.send_us / 1000:.2f} ms, longer"
        f" than the {AVR_TICK_US / 1000:.3f} ms a 16 MHz millisecond timer can miss (about {most} LEDs):"
        " its clock runs slow; count frames instead, or use a clocked part or an ARM controller"
    )
    return [Finding(code="firmware.timer", where=f"controller {row['name']}", message=message)]


def _rate_finding(constants: Constants, frames_per_s: float) -> list[Finding]:
    if frames_per_s >= _SMOOTH_FRAMES_PER_S or not constants.hue_cycle:
        return []
    message = (
        f"{constants.led_count} LEDs on one data line take {constants.frame_us / 1000:.1f} ms a frame, at most"
        f" {frames_per_s:.1f} frames per second, so the hue cycle is seen in steps"
        f" (below {_SMOOTH_FRAMES_PER_S:.0f}; common practice, no source); split the chain over two data lines"
    )
    return [Finding(code="firmware.frame-rate", where="firmware", message=message)]


def _cap_findings(constants: Constants, part: Part) -> list[Finding]:
    if constants.brightness_cap_255 >= 255 or not constants.channel_ua:
        return []
    allowed_ua = constants.led_full_ua * constants.brightness_cap_255 // 255
    most_ua, name = hungriest_led_ua(constants)
    if most_ua <= allowed_ua:
        return []
    share = constants.brightness_cap_255 / 255
    message = (
        f"one LED draws up to {most_ua / 1000:.1f} mA there, the cap of {share:.0%} allows"
        f" {allowed_ua / 1000:.1f} mA of the {part.name}, so a program that keeps the cap dims the whole sign to"
        f" about {allowed_ua / most_ua:.0%} of its bytes; lower --brightness or use a larger supply"
    )
    return [Finding(code="firmware.capped", where=f"zone '{name}'", message=message)]
