"""The reference firmware built by its own Makefile and run in simavr; what its pins and serial line did."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

from marquee.outputs.firmware_example import firmware_files
from marquee.plan import Plan
from marquee.values import ZoneDrive
from tests.firmware.compilers import need, run
from tests.firmware.factory import Sign, make_plan

HERE = Path(__file__).parent
MHZ = 16
DATA, CLOCK = 0, 1


@dataclass(frozen=True, kw_only=True)
class Trace:
    """Edges (cycle, pin, value) in order, serial bytes, and the deepest the stack went."""

    edges: tuple[tuple[int, int, int], ...]
    serial: str
    stack_bytes: int

    def of(self, pin: int) -> list[tuple[int, int]]:
        return [(cycle, value) for cycle, at, value in self.edges if at == pin]


@dataclass(frozen=True, kw_only=True)
class Frame:
    """One frame off a one-wire line: its bytes, when it began, and its pulses [ns]."""

    start_us: float
    end_us: float
    data: bytes
    high_ns: tuple[float, ...]
    low_ns: tuple[float, ...]  # after each bit but the last


def build(plan: Plan, folder: Path, *, mcu: str = "atmega328p") -> Path:
    need("avr-gcc", "avr-objcopy", "avr-size", "make")
    for name, content in firmware_files(plan).items():
        (folder / name).write_bytes(content)
    run("make", "-s", "-C", folder, f"MCU={mcu}")
    return folder / "sign.elf"


@cache
def _tracer() -> Path:
    need("gcc", "avr-gcc")
    if not Path("/usr/include/simavr/sim_avr.h").exists():
        need("simavr with its headers (libsimavr-dev, libelf-dev)")
    program = Path(tempfile.mkdtemp(prefix="simavr-trace-")) / "trace"
    run("gcc", "-std=gnu11", "-O2", HERE / "simavr_trace.c", "-o", program, "-lsimavr", "-lelf")
    return program


@cache
def simulate(
    sign: Sign, ms: float, *lines: str, first_ms: float = 0.0, mcu: str = "atmega328p"
) -> Trace:
    """Build the sign's firmware and run it for `ms`, sending the lines from `first_ms` on."""
    with tempfile.TemporaryDirectory() as folder:
        elf = build(make_plan(sign), Path(folder), mcu=mcu)
        cycles, first = (str(round(1000 * MHZ * t)) for t in (ms, first_ms))
        output = run(_tracer(), elf, mcu, cycles, first, *lines)
    words = [line.split() for line in output.splitlines() if line[:2] in {"p ", "u ", "s "}]
    return Trace(
        edges=tuple((int(w[1]), int(w[2]), int(w[3])) for w in words if w[0] == "p"),
        serial="".join(chr(int(w[2])) for w in words if w[0] == "u"),
        stack_bytes=next(int(w[2]) - int(w[1]) for w in words if w[0] == "s"),
    )


def one_wire_frames(trace: Trace, latch_us: float) -> list[Frame]:
    """Cut the data line's pulses into frames at every low longer than the latch; 1 is a high above 500 ns."""
    edges = trace.of(DATA)
    rises = [i for i, (_, value) in enumerate(edges) if value == 1 and i + 1 < len(edges)]
    frames: list[Frame] = []
    pulses: list[tuple[int, int]] = []
    for i in rises:
        rise, fall = edges[i][0], edges[i + 1][0]
        if pulses and rise - pulses[-1][1] >= latch_us * MHZ:
            frames.append(_frame(pulses))
            pulses = []
        pulses.append((rise, fall))
    return frames  # the last may have been cut off by the end of the run


def _frame(pulses: list[tuple[int, int]]) -> Frame:
    high = tuple(1000 * (fall - rise) / MHZ for rise, fall in pulses)
    low = tuple(1000 * (b[0] - a[1]) / MHZ for a, b in pairwise(pulses))
    bits = "".join("1" if ns > 500 else "0" for ns in high)
    assert len(bits) % 8 == 0
    return Frame(
        start_us=pulses[0][0] / MHZ,
        end_us=pulses[-1][1] / MHZ,
        data=bytes(int(bits[i : i + 8], 2) for i in range(0, len(bits), 8)),
        high_ns=high,
        low_ns=low,
    )


def clocked_frames(trace: Trace, idle_us: float = 1000.0) -> list[bytes]:
    """Read the data line at each rising clock; a frame ends where the clock rests."""
    data, last = 0, 0
    bits: list[int] = []
    frames: list[bytes] = []
    for cycle, pin, value in trace.edges:
        if pin == DATA:
            data = value
        elif value == 1:
            if bits and cycle - last > idle_us * MHZ:
                frames.append(_bytes(bits))
                bits = []
            bits.append(data)
            last = cycle
    return frames


def _bytes(bits: list[int]) -> bytes:
    assert len(bits) % 8 == 0
    text = "".join(map(str, bits))
    return bytes(int(text[i : i + 8], 2) for i in range(0, len(text), 8))


def wanted_leds(sign: Sign, hue_step: int) -> list[tuple[int, ...]]:
    """Every LED's bytes in channel order, from the plan's drive and chain alone."""
    drive = make_plan(sign).drive
    of_zone = {zone.zone: zone for zone in drive.zones}
    seen: dict[int, int] = {}
    leds: list[tuple[int, ...]] = []
    for zone in sign.zone_of_led:
        k = seen.get(zone, 0)
        seen[zone] = k + 1
        if zone < 0:
            leds.append((0,) * len(sign.channels))
        elif zone in sign.cycling:
            assert drive.hue_cycle is not None
            leds.append(drive.hue_cycle.codes[hue_step % len(drive.hue_cycle.codes)])
        else:
            leds.append(_steady(of_zone[zone], k))
    return leds


def _steady(zone: ZoneDrive, k: int) -> tuple[int, ...]:
    """LED k's bytes by the rule as the drive states it, in closed form."""
    spread = zone.spread
    if spread is None:
        return zone.codes
    return tuple(
        code + ((start + (k + 1) * raised) // spread.of > (start + k * raised) // spread.of)
        for code, raised, start in zip(spread.codes, spread.raised, spread.start, strict=True)
    )


def wanted_one_wire(sign: Sign, hue_step: int) -> bytes:
    order = [sign.channels.index(name) for name in sign.byte_order]
    return bytes(codes[i] for codes in wanted_leds(sign, hue_step) for i in order)
