"""What the controller is told: zones as runs of LEDs, their bytes, tables and currents."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from marquee.errors import MarqueeError
from marquee.values import Chain, Drive, Part, Power, Zone, ZoneDrive, ZoneMap

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
_LARGEST_WORD, _MOST_ZONES = 65535, 255


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneRuns:
    """One zone as runs of neighbouring LEDs: (first index, count), and the bytes in channel order.

    Where codes are shared out, `raised` LEDs of each channel get one code more: LED k of the zone (0-based along
    its runs) where (start + (k + 1) raised) // led_count > (start + k raised) // led_count. Empty: none.
    """

    zone: int
    name: str
    mode: str  # steady | hue-cycle
    runs: tuple[tuple[int, int], ...]
    codes: tuple[int, ...]  # empty for a hue cycle
    global_code: int | None = None  # the part's global current setting, None where it has none
    raised: tuple[int, ...] = ()
    start: tuple[int, ...] = ()

    @property
    def most_codes(self) -> tuple[int, ...]:
        """The highest byte any LED of the zone gets, per channel."""
        if not self.raised:
            return self.codes
        return tuple(code + (n > 0) for code, n in zip(self.codes, self.raised, strict=True))

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
        return frame_bytes(self.led_count, len(self.channels), self.protocol)

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
    def zone_row_bytes(self) -> int:
        """Size of a zone's row: three words, two words and a byte a channel, global, mode, made even."""
        n = len(self.channels)
        return 8 + 5 * n + n % 2

    @property
    def table_bytes(self) -> int:
        """Flash of the header's tables: gamma, hues, zones, runs, wire order and channel currents."""
        n = len(self.channels)
        rows = RUN_BYTES * self.run_count + self.zone_row_bytes * len(self.zones)
        return GAMMA_BYTES + n * len(self.hue_cycle) + rows + n + 4 * n


def frame_bytes(led_count: int, channel_count: int, protocol: str) -> int:
    """Return the bytes of one frame in RAM: clocked parts keep their global setting in a byte of its own."""
    return led_count * (channel_count + (protocol == "clocked"))


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
    constants = Constants(
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
    return _room_for_plan(constants) if power.plan_fits else constants


def _room_for_plan(constants: Constants) -> Constants:
    """Raise the cap of one LED to what the plan's own bytes need; the limit of the sum stays."""
    full_ua = constants.led_full_ua
    if not full_ua:
        return constants
    most_ua, _ = hungriest_led_ua(constants)
    needed = math.ceil(255 * most_ua / full_ua)
    return replace(
        constants, brightness_cap_255=min(255, max(constants.brightness_cap_255, needed))
    )


def hungriest_led_ua(constants: Constants) -> tuple[int, str]:
    """Return the largest upper estimate of one LED's current under the plan's bytes [uA], and its zone's name."""
    drawn = [
        (led_ua(constants, codes, zone.global_code), zone.name)
        for zone in constants.zones
        if zone.runs
        for codes in (constants.hue_cycle if zone.mode == "hue-cycle" else (zone.most_codes,))
    ]
    return max(drawn, default=(0, ""))


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
    full = part.global_top or None
    runs = runs_of(leds)
    if cycles or driven is None:
        dark = () if cycles else (0,) * len(part.channels)
        mode = "hue-cycle" if cycles else "steady"
        return ZoneRuns(
            zone=zone.id, name=zone.name, mode=mode, runs=runs, codes=dark, global_code=full
        )
    # A spread made for another number of LEDs would not meet the colour.
    spread = driven.spread if driven.spread and driven.spread.of == len(leds) else None
    setting = full if driven.global_code is None else int(driven.global_code)
    return ZoneRuns(
        zone=zone.id,
        name=zone.name,
        mode="steady",
        runs=runs,
        codes=tuple(map(int, driven.codes if spread is None else spread.codes)),
        global_code=setting if part.global_bits else None,
        raised=() if spread is None else tuple(map(int, spread.raised)),
        start=() if spread is None else tuple(map(int, spread.start)),
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
    if not known:
        return ()
    # Where a response lies above the straight line somewhere the estimate is as much steeper.
    steepest = [
        max(1.0, *(255.0 * light / code for code, light in enumerate(response) if code))
        for response in part.responses
    ]
    return tuple(
        _up(1e6 * max(amps) * steep) for steep, *amps in zip(steepest, *known, strict=True)
    )


def _up(value: float) -> int:
    # Upwards, but not for the last binary digits of a product that is whole.
    return math.ceil(value - 1e-6)


def _down(value: float) -> int:
    return max(0, math.floor(value + 1e-6))


def led_ua(constants: Constants, codes: Sequence[int], global_code: int | None = None) -> int:
    """Return the upper estimate of one LED's current for bytes in channel order, dark current apart [uA]."""
    each: list[int] = [code * ua for code, ua in zip(codes, constants.channel_ua, strict=True)]
    total: int = max(each) if constants.largest_channel_only else sum(each)
    if constants.global_bits and global_code is not None:
        return math.ceil(total * global_code / (255 * ((1 << constants.global_bits) - 1)))
    return math.ceil(total / 255)
