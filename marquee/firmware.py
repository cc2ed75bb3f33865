"""What the controller is told: zones as runs of LEDs, bytes, tables; and what they cost it."""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from marquee.errors import Finding, MarqueeError, UnknownNameError
from marquee.project import FirmwareSettings
from marquee.tables.load import load_table
from marquee.values import Chain, Drive, FirmwareBudget, Part, Power, Zone, ZoneDrive, ZoneMap

# What every one-wire part read takes: t0h, t0l, t1h, t1l [ns] inside the intersection of the WS2812B (2013,
# English and Chinese), WS2813 V1.0, WS2812B-V5/W and SK6812 windows (no low time after a 1 suits every
# sheet); computed.
COMMON_BIT_NS = (320, 930, 725, 525)
# What a part still reads beside its nominal times: WS2812B data sheet, English (2013-05-30), p. 2.
_BIT_TOLERANCE_NS = 150
# Latch covering >50 us (WS2812B 2013), 80 us (SK6812), >280 us (WS2812B-V5/W, WS2813), >=300 us (WS2815,
# quoted second-hand); computed.
COMMON_LATCH_US = 300
# Clocked parts without a figure: slow enough for bit-banging and long chains; common practice, no source.
COMMON_CLOCK_HZ = 1_000_000
# Bytes of one row of the header's tables.
RUN_BYTES, GAMMA_BYTES = 4, 256
# An 8-bit timer at 16 MHz / 64 overflows each 1024 us and remembers one overflow (ATmega328P data sheet,
# timer 0; simulated: none lost up to 34 LEDs, 13 of 40 frames' worth at 40).
_AVR_TICK_US = 1024.0
# Below this a hue cycle is seen in steps; common practice, no source.
_SMOOTH_FRAMES_PER_S = 30.0
_LARGEST_WORD, _MOST_ZONES = 65535, 255


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneRuns:
    """One zone as runs of neighbouring LEDs: (first index, count), and the bytes in channel order."""

    zone: int
    name: str
    mode: str  # steady | hue-cycle
    runs: tuple[tuple[int, int], ...]
    codes: tuple[int, ...]  # empty for a hue cycle
    global_code: int | None = None  # the part's global current setting, None where it has none

    @property
    def led_count(self) -> int:
        """LEDs in all runs of the zone."""
        return sum(count for _, count in self.runs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Constants:
    """The integers the header carries, in the units its names say.

    `channel_ua` is the largest current of each channel, raised where the part's response lies above the
    straight line, so that code × channel_ua / 255 is never below what is drawn. `dark_ua` is the whole sign
    with every LED dark, controller included.
    """

    channels: tuple[str, ...]
    byte_order: tuple[str, ...]
    led_count: int
    zones: tuple[ZoneRuns, ...]
    gamma_codes: tuple[int, ...]
    hue_cycle: tuple[tuple[int, ...], ...]  # rows of codes; empty where no zone cycles
    hue_step_ms: int
    brightness_cap_255: int
    current_limit_ma: int
    worst_case_ma: int
    planned_ma: int
    dark_ua: int
    protocol: str = "one-wire"
    bit_ns: tuple[int, int, int, int] = COMMON_BIT_NS  # t0h, t0l, t1h, t1l; one-wire only
    latch_us: int = COMMON_LATCH_US  # one-wire only
    clock_hz: int = COMMON_CLOCK_HZ  # clocked only
    global_bits: int = 0
    channel_ua: tuple[int, ...] = ()
    largest_channel_only: bool = False  # supply current follows the largest channel, not the sum

    @property
    def run_count(self) -> int:
        """Runs of all zones together."""
        return sum(len(zone.runs) for zone in self.zones)

    @property
    def led_full_ua(self) -> int:
        """One LED with every channel full, without its dark current [uA]."""
        if not self.channel_ua:
            return 0
        return max(self.channel_ua) if self.largest_channel_only else sum(self.channel_ua)

    @property
    def frame_bytes(self) -> int:
        """One frame in RAM; clocked parts keep their global setting in a byte of its own."""
        return self.led_count * (len(self.channels) + (self.protocol == "clocked"))

    @property
    def frame_us(self) -> int:
        """Time to send one frame, latch included [us]; clocked: 32 + 32 N + 32 + 8 ⌈N / 16⌉ bits."""
        if self.protocol == "clocked":
            bits = 32 + 32 * self.led_count + 32 + 8 * math.ceil(self.led_count / 16)
            return math.ceil(bits * 1e6 / self.clock_hz)
        return math.ceil(self.send_us) + self.latch_us

    @property
    def send_us(self) -> float:
        """Time of the one-wire bits of one frame [us], at the longer of the two bits."""
        t0h, t0l, t1h, t1l = self.bit_ns
        bits = self.led_count * 8 * len(self.channels)
        return bits * max(t0h + t0l, t1h + t1l) / 1000.0

    @property
    def table_bytes(self) -> int:
        """Flash of the header's tables: gamma, hues, zones, runs, wire order and channel currents."""
        n = len(self.channels)
        zone_bytes = 8 + n + n % 2  # three words, the bytes, global, mode, made even
        rows = RUN_BYTES * self.run_count + zone_bytes * len(self.zones)
        return GAMMA_BYTES + n * len(self.hue_cycle) + rows + n + 4 * n


def choose_constants(
    zone_map: ZoneMap, chain: Chain, part: Part, drive: Drive, power: Power
) -> Constants:
    """Return the integers for the controller.

    Raises
    ------
    MarqueeError
        More LEDs or zones than 16-bit and 8-bit counters hold.
    """
    _check_counts(chain.count, len(zone_map.zones))
    of_zone = {z.zone: z for z in drive.zones}
    members = _members(chain)
    zones = tuple(
        _zone_runs(zone, members.get(zone.id, []), drive, of_zone.get(zone.id), part)
        for zone in zone_map.zones
    )
    cycle = drive.hue_cycle if any(z.mode == "hue-cycle" for z in zones) else None
    lit_a = max(0.0, power.worst_case_a - power.dark_a)
    allowed_a = power.dark_a + min(1.0, power.brightness_cap) * lit_a
    return Constants(
        channels=part.channels,
        byte_order=part.byte_order,
        led_count=chain.count,
        zones=zones,
        gamma_codes=tuple(int(code) for code in drive.gamma_codes),
        hue_cycle=() if cycle is None else tuple(tuple(map(int, row)) for row in cycle.codes),
        hue_step_ms=0
        if cycle is None
        else max(1, round(1000.0 * cycle.period_s / max(1, len(cycle.codes)))),
        brightness_cap_255=min(255, _down(255.0 * power.brightness_cap)),
        current_limit_ma=_down(1000.0 * allowed_a),
        worst_case_ma=_up(1000.0 * power.worst_case_a),
        planned_ma=_up(1000.0 * power.planned_a),
        dark_ua=_up(1e6 * power.dark_a),
        protocol=part.protocol,
        bit_ns=_bit_ns(part),
        latch_us=max(part.latch_us or 0, COMMON_LATCH_US) if part.protocol == "one-wire" else 0,
        clock_hz=part.clock_hz or COMMON_CLOCK_HZ,
        global_bits=part.global_bits,
        channel_ua=_channel_ua(part),
        largest_channel_only=part.current_law == "largest",
    )


def _check_counts(led_count: int, zone_count: int) -> None:
    if led_count > _LARGEST_WORD:
        raise MarqueeError(
            "firmware",
            f"{led_count} LEDs are more than a 16-bit counter holds ({_LARGEST_WORD})",
            "use a larger --pitch or split the sign into several plans",
        )
    if zone_count > _MOST_ZONES:
        raise MarqueeError(
            "firmware",
            f"{zone_count} zones are more than an 8-bit counter holds ({_MOST_ZONES})",
            "raise --merge or --min-area so that fewer zones are found",
        )


def _members(chain: Chain) -> dict[int, list[int]]:
    members: dict[int, list[int]] = {}
    for led, zone in enumerate(chain.zone.tolist()):
        if zone >= 0:
            members.setdefault(int(zone), []).append(led)
    return members


def _zone_runs(
    zone: Zone, leds: list[int], drive: Drive, driven: ZoneDrive | None, part: Part
) -> ZoneRuns:
    cycles = drive.hue_cycle is not None and (driven is None or zone.mode == "hue-cycle")
    dark = (0,) * len(part.channels)
    full = 2**part.global_bits - 1 if part.global_bits else None
    steady_global = full if driven is None or driven.global_code is None else driven.global_code
    return ZoneRuns(
        zone=zone.id,
        name=zone.name,
        mode="hue-cycle" if cycles else "steady",
        runs=runs_of(leds),
        codes=() if cycles else dark if driven is None else tuple(map(int, driven.codes)),
        global_code=full if cycles or steady_global is None else int(steady_global),
    )


def runs_of(leds: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Return rising LED indices as runs of neighbours (first, count).

    Examples
    --------
    >>> runs_of([0, 1, 2, 7, 8])
    ((0, 3), (7, 2))
    """
    runs: list[tuple[int, int]] = []
    for led in leds:
        if runs and sum(runs[-1]) == led:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((led, 1))
    return tuple(runs)


def _bit_ns(part: Part) -> tuple[int, int, int, int]:
    """Return the common times where the part takes them: parts are sold mixed under one name."""
    if part.bit_ns is None:
        return COMMON_BIT_NS
    apart = (abs(own - common) for own, common in zip(part.bit_ns, COMMON_BIT_NS, strict=True))
    return COMMON_BIT_NS if max(apart) <= _BIT_TOLERANCE_NS else part.bit_ns


def _channel_ua(part: Part) -> tuple[int, ...]:
    typical, largest = part.channel_current_a, part.channel_current_max_a
    known = [amps for amps in (typical, largest) if amps is not None]
    steepest = max(
        (255.0 * light / code for code, light in enumerate(part.response) if code), default=1.0
    )
    return tuple(_up(1e6 * max(pair) * max(1.0, steepest)) for pair in zip(*known, strict=True))


def _up(value: float) -> int:
    # Upwards, but not for the last binary digits of a product that is whole.
    return math.ceil(value - 1e-6)


def _down(value: float) -> int:
    return max(0, math.floor(value + 1e-6))


# --- budget ----------------------------------------------------------------------------------------


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
    _check_ram(constants, row)
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


def _check_ram(constants: Constants, row: dict[str, Any]) -> None:
    room = row["ram_bytes"] - row["reserve_bytes"]
    if constants.frame_bytes <= room:
        return
    per_led = constants.frame_bytes // constants.led_count
    fitting = [
        r for r in controllers() if r["ram_bytes"] - r["reserve_bytes"] >= constants.frame_bytes
    ]
    smallest = min(fitting, key=lambda r: int(r["ram_bytes"]), default=None)
    larger = "" if smallest is None else f"take --controller {smallest['name']}, "
    raise MarqueeError(
        f"controller {row['name']}",
        f"one frame of {constants.led_count} LEDs takes {constants.frame_bytes} bytes of RAM, it has {room}"
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
            "lay the chain so that a zone's LEDs follow each other (fewer runs), or take a larger controller",
        )


def _timer_finding(constants: Constants, row: dict[str, Any]) -> list[Finding]:
    if row["core"] != "avr" or constants.protocol != "one-wire":
        return []
    if constants.send_us <= _AVR_TICK_US:
        return []
    most = int(_AVR_TICK_US / (constants.send_us / constants.led_count))
    message = (
        f"sending {constants.led_count} LEDs keeps interrupts off for {constants.send_us / 1000:.2f} ms, longer"
        f" than the {_AVR_TICK_US / 1000:.3f} ms a 16 MHz millisecond timer can miss (about {most} LEDs):"
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


def led_ua(constants: Constants, codes: Sequence[int], global_code: int | None = None) -> int:
    """Return the upper estimate of one LED's current for bytes in channel order, dark current apart [uA]."""
    each: list[int] = [code * ua for code, ua in zip(codes, constants.channel_ua, strict=True)]
    total: int = max(each) if constants.largest_channel_only else sum(each)
    if constants.global_bits and global_code is not None:
        return math.ceil(total * global_code / (255 * ((1 << constants.global_bits) - 1)))
    return math.ceil(total / 255)


def _cap_findings(constants: Constants, part: Part) -> list[Finding]:
    if constants.brightness_cap_255 >= 255 or not constants.channel_ua:
        return []
    allowed_ua = constants.led_full_ua * constants.brightness_cap_255 // 255
    drawn = [
        (led_ua(constants, codes, zone.global_code), zone.name)
        for zone in constants.zones
        if zone.runs
        for codes in (constants.hue_cycle if zone.mode == "hue-cycle" else (zone.codes,))
    ]
    most_ua, name = max(drawn, default=(0, ""))
    if most_ua <= allowed_ua:
        return []
    share = constants.brightness_cap_255 / 255
    message = (
        f"one LED draws up to {most_ua / 1000:.1f} mA there, the cap of {share:.0%} allows"
        f" {allowed_ua / 1000:.1f} mA of the {part.name}, so a program that keeps the cap dims the whole sign to"
        f" about {allowed_ua / most_ua:.0%} of its bytes; lower --brightness or use a larger supply"
    )
    return [Finding(code="firmware.capped", where=f"zone '{name}'", message=message)]
