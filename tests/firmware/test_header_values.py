"""What a compiled program reads through the accessors is what the plan says; tables cost what is stated."""

from __future__ import annotations

import re
import struct
import zlib
from pathlib import Path

import pytest

from marquee.firmware import Constants
from marquee.outputs.header import header_text
from tests.firmware.compilers import AVR, STRICT, need, run
from tests.firmware.factory import Sign, clocked, four_channels, make_plan
from tests.firmware.simulated import wanted_leds

SIGNS = {
    "five-zones": Sign(),
    "spread": Sign(spread=True),
    "clocked": clocked(spread=True),
    "four-channels": four_channels(),
    "largest-law": Sign(current_law="largest", cap=0.6),
    "no-cycle": Sign(
        cycling=(), codes=((1, 2, 3), (4, 5, 6), (7, 8, 9), (250, 251, 252), (253, 254, 255))
    ),
}
# Prints every number in the order the header's comment gives for its checksum, one on a line; its variables have names
# that no accessor's parameters have.
PRINT_ALL = r"""
#include <stdio.h>
#include "marquee_constants.h"
#if MARQUEE_PROTOCOL != MARQUEE_ONE_WIRE && MARQUEE_PROTOCOL != MARQUEE_CLOCKED
#error the protocol has no name
#endif
#define SHOW(x) printf("%lu\n", (unsigned long)(x))
int main(void) {
  unsigned nz, nr, nc, ni;
  SHOW(MARQUEE_LED_COUNT); SHOW(MARQUEE_CHANNEL_COUNT); SHOW(MARQUEE_ZONE_COUNT); SHOW(MARQUEE_RUN_COUNT);
  SHOW(MARQUEE_HUE_COUNT); SHOW(MARQUEE_HUE_STEP_MS); SHOW(MARQUEE_PROTOCOL);
  SHOW(MARQUEE_T0H_NS); SHOW(MARQUEE_T0L_NS); SHOW(MARQUEE_T1H_NS); SHOW(MARQUEE_T1L_NS);
  SHOW(MARQUEE_LATCH_US); SHOW(MARQUEE_CLOCK_HZ); SHOW(MARQUEE_GLOBAL_BITS); SHOW(MARQUEE_CAP_255);
  SHOW(MARQUEE_LIMIT_MA); SHOW(MARQUEE_WORST_MA); SHOW(MARQUEE_PLANNED_MA); SHOW(MARQUEE_DARK_UA);
  SHOW(MARQUEE_LARGEST_ONLY);
  for (nc = 0; nc < MARQUEE_CHANNEL_COUNT; nc++) SHOW(MARQUEE_ORDER_AT(nc));
  for (nc = 0; nc < MARQUEE_CHANNEL_COUNT; nc++) SHOW(MARQUEE_CHANNEL_UA_AT(nc));
  for (nr = 0; nr < MARQUEE_RUN_COUNT; nr++) { SHOW(MARQUEE_RUN_FIRST(nr)); SHOW(MARQUEE_RUN_LEDS(nr)); }
  for (nz = 0; nz < MARQUEE_ZONE_COUNT; nz++) {
    SHOW(MARQUEE_ZONE_FIRST_RUN(nz)); SHOW(MARQUEE_ZONE_RUNS(nz)); SHOW(MARQUEE_ZONE_LEDS(nz));
    for (nc = 0; nc < MARQUEE_CHANNEL_COUNT; nc++) SHOW(MARQUEE_ZONE_RAISED(nz, nc));
    for (nc = 0; nc < MARQUEE_CHANNEL_COUNT; nc++) SHOW(MARQUEE_ZONE_START(nz, nc));
    for (nc = 0; nc < MARQUEE_CHANNEL_COUNT; nc++) SHOW(MARQUEE_ZONE_DRIVE(nz, nc));
    SHOW(MARQUEE_ZONE_GLOBAL(nz)); SHOW(MARQUEE_ZONE_MODE(nz));
  }
  for (ni = 0; ni < MARQUEE_GAMMA_COUNT; ni++) SHOW(MARQUEE_GAMMA_AT(ni));
#if MARQUEE_HUE_COUNT > 0
  for (ni = 0; ni < MARQUEE_HUE_COUNT; ni++)
    for (nc = 0; nc < MARQUEE_CHANNEL_COUNT; nc++) SHOW(MARQUEE_HUE_AT(ni, nc));
#endif
  return 0;
}
"""


def _printed(sign: Sign, folder: Path) -> list[int]:
    (folder / "marquee_constants.h").write_text(header_text(make_plan(sign)), encoding="ascii")
    (folder / "all.c").write_text(PRINT_ALL, encoding="ascii")
    run("gcc", "-std=c99", *STRICT, f"-I{folder}", folder / "all.c", "-o", folder / "all")
    return [int(line) for line in run(folder / "all").split()]


def _lit(numbers: list[int], c: Constants) -> dict[int, tuple[int, ...]]:
    """LED → bytes, worked out from the printed numbers alone, by the header's how-to-read."""
    n, zones, runs = numbers[1], numbers[2], numbers[3]
    at = 20 + 2 * n
    run_rows = [tuple(numbers[at + 2 * i : at + 2 * i + 2]) for i in range(runs)]
    at += 2 * runs
    lit: dict[int, tuple[int, ...]] = {}
    for _ in range(zones):
        first, count, leds = numbers[at : at + 3]
        raised, sums, base = (numbers[at + 3 + i * n : at + 3 + (i + 1) * n] for i in range(3))
        for start, length in run_rows[first : first + count]:
            for led in range(start, start + length):
                sums = [total + more for total, more in zip(sums, raised, strict=True)]
                lit[led] = tuple(
                    code + (total >= leds) for code, total in zip(base, sums, strict=True)
                )
                sums = [total - leds * (total >= leds) for total in sums]
        at += 5 + 3 * n
    assert c.led_count == numbers[0]
    return lit


@pytest.mark.native
@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_compiled_header_gives_every_led_its_zones_bytes(sign: Sign, tmp_path: Path) -> None:
    need("gcc")
    lit = _lit(_printed(sign, tmp_path), make_plan(sign).constants)
    dark = (0,) * len(sign.channels)
    wanted = {
        led: dark if zone in sign.cycling else codes
        for led, (zone, codes) in enumerate(
            zip(sign.zone_of_led, wanted_leds(sign, 0), strict=True)
        )
        if zone >= 0
    }
    assert lit == wanted


@pytest.mark.native
@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_compiled_header_gives_tables_currents_and_timing_of_the_plan(
    sign: Sign, tmp_path: Path
) -> None:
    need("gcc")
    numbers = _printed(sign, tmp_path)
    plan = make_plan(sign)
    n = len(sign.channels)
    tail = [*plan.drive.gamma_codes]
    if plan.drive.hue_cycle and sign.cycling:
        tail += [code for row in plan.drive.hue_cycle.codes for code in row]
    assert numbers[-len(tail) :] == tail
    if plan.part.bit_ns:
        assert tuple(numbers[7:11]) == plan.part.bit_ns
    assert numbers[20 : 20 + n] == [sign.channels.index(name) for name in sign.byte_order]
    # Whole mA and uA, rounded so that limits are never raised and draws never lowered (but for float noise).
    lit_a = plan.power.worst_case_a - plan.power.dark_a
    assert 0 <= 1000 * (plan.power.dark_a + sign.cap * lit_a) - numbers[15] < 1
    assert 0 <= numbers[16] - 1000 * plan.power.worst_case_a < 1
    assert -1e-6 <= numbers[17] - 1000 * plan.power.planned_a < 1
    assert -1e-6 <= numbers[18] - 1e6 * plan.power.dark_a < 1
    assert numbers[20 + n : 20 + 2 * n] == [round(1e6 * a) for a in sign.channel_a]


@pytest.mark.native
@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_checksum_is_zlibs_crc_of_the_numbers_a_program_reads(sign: Sign, tmp_path: Path) -> None:
    need("gcc")
    numbers = _printed(sign, tmp_path)
    text = (tmp_path / "marquee_constants.h").read_text(encoding="ascii")
    stated = re.search(r"MARQUEE_VALUES_CRC32 0x([0-9A-F]{8})UL", text)
    assert stated
    assert int(stated[1], 16) == zlib.crc32(struct.pack(f"<{len(numbers)}I", *numbers))


# Touches every table so that none is dropped, and stores the sum where the optimiser cannot remove it.
TOUCH_ALL = """
#include <avr/io.h>
#include "marquee_constants.h"
volatile uint8_t marquee_at;
int main(void) {
  for (;;) {
    uint8_t i = marquee_at;
    PORTB = MARQUEE_GAMMA_AT(i);
    PORTB = (uint8_t)MARQUEE_RUN_FIRST(i);
    PORTB = MARQUEE_ZONE_DRIVE(i, 0);
    PORTB = MARQUEE_ORDER_AT(i);
    PORTB = (uint8_t)MARQUEE_CHANNEL_UA_AT(i);
#if MARQUEE_HUE_COUNT > 0
    PORTB = MARQUEE_HUE_AT(i, 0);
#endif
  }
}
"""


@pytest.mark.native
@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_avr_tables_lie_in_flash_and_cost_what_the_header_states(
    sign: Sign, tmp_path: Path
) -> None:
    need("avr-gcc", "avr-nm", "avr-size")
    text = header_text(make_plan(sign))
    (tmp_path / "marquee_constants.h").write_text(text, encoding="ascii")
    (tmp_path / "touch.c").write_text(TOUCH_ALL, encoding="ascii")
    elf = tmp_path / "touch.elf"
    run("avr-gcc", "-std=c99", *STRICT, *AVR, f"-I{tmp_path}", tmp_path / "touch.c", "-o", elf)
    symbols = [line.split() for line in run("avr-nm", "-S", elf).splitlines()]
    tables = [s for s in symbols if len(s) == 4 and s[3].startswith("MARQUEE_")]
    # t/T: in the text section, which is flash on AVR (GNU binutils manual, nm).
    assert {s[2].lower() for s in tables} == {"t"}
    stated = re.search(r"Cost: (\d+) bytes of flash", text)
    assert stated
    assert sum(int(s[1], 16) for s in tables) == int(stated[1])
    data, bss = (int(word) for word in run("avr-size", elf).splitlines()[1].split()[1:3])
    assert (data, bss) == (0, 1)  # nothing but the volatile byte


@pytest.mark.native
def test_arm_tables_lie_in_read_only_memory(tmp_path: Path) -> None:
    need("arm-none-eabi-gcc", "arm-none-eabi-nm")
    (tmp_path / "marquee_constants.h").write_text(header_text(make_plan()), encoding="ascii")
    source = TOUCH_ALL.replace(
        "#include <avr/io.h>", "#include <stdint.h>\nvolatile uint8_t PORTB;"
    )
    (tmp_path / "touch.c").write_text(source, encoding="ascii")
    flags = ("-mcpu=cortex-m0plus", "-mthumb", "-Os", "-ffreestanding", "-std=c99")
    run(
        "arm-none-eabi-gcc",
        *flags,
        *STRICT,
        f"-I{tmp_path}",
        "-c",
        tmp_path / "touch.c",
        "-o",
        tmp_path / "touch.o",
    )
    symbols = [
        line.split() for line in run("arm-none-eabi-nm", "-S", tmp_path / "touch.o").splitlines()
    ]
    tables = {s[3]: s[2] for s in symbols if len(s) == 4 and s[3].startswith("MARQUEE_")}
    # r: read-only data (GNU binutils manual, nm), which the linker puts into flash.
    assert len(tables) == 6
    assert set(tables.values()) == {"r"}
