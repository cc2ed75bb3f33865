"""The example's frame as Cortex-M0+ code, run by qemu: the same bytes as the plan's, LED by LED."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from marquee.outputs.firmware_example import firmware_files
from tests.firmware.compilers import STRICT, need, run
from tests.firmware.factory import Sign, clocked, four_channels, make_plan
from tests.firmware.simulated import wanted_leds

pytestmark = pytest.mark.native
# Numbers 4 (write) and 1 (exit): Linux, arch/arm/tools/syscall.tbl; qemu-arm gives them to a bare program.
MAIN = """#include "frame.h"
#include "trim.h"
void start(void);
static void call(uint32_t number, uint32_t a, const void *b, uint32_t c)
{
  register uint32_t r7 __asm__("r7") = number;
  register uint32_t r0 __asm__("r0") = a;
  register const void *r1 __asm__("r1") = b;
  register uint32_t r2 __asm__("r2") = c;
  __asm__ volatile("svc 0" : "+r"(r0) : "r"(r7), "r"(r1), "r"(r2) : "memory");
}
/* What the compiler may ask of a library that is not there. */
void *memcpy(void *to, const void *from, __SIZE_TYPE__ count);
void *memcpy(void *to, const void *from, __SIZE_TYPE__ count)
{
  volatile uint8_t *out = to;
  const volatile uint8_t *in = from;
  while (count--) {
    *out++ = *in++;
  }
  return to;
}
void serial_put(uint8_t byte) { (void)byte; }
void start(void)
{
  uint16_t step = 0;
  hold_frame(255);
  do {
    fill_frame(step);
    call(4, 1, frame, MARQUEE_FRAME_BYTES);
  } while (++step < MARQUEE_HUE_COUNT);
  call(1, 0, 0, 0);
}
"""
SIGNS = {
    "five-zones": Sign(),
    "spread": Sign(spread=True),
    "clocked": clocked(),
    "four-channels": four_channels(),
}


def _sent(sign: Sign, step: int) -> bytes:
    """Return the bytes on the wire, from the plan's chain and drive; a clocked LED begins with 111 and its setting."""
    order = [sign.channels.index(name) for name in sign.byte_order]
    drive = make_plan(sign).drive
    setting = {zone.zone: zone.global_code for zone in drive.zones}
    out = bytearray()
    for zone, codes in zip(sign.zone_of_led, wanted_leds(sign, step), strict=True):
        if make_plan(sign).part.protocol == "clocked":
            full = 31 if zone >= 0 else 0
            stated = setting.get(zone)
            out.append(0xE0 | (full if stated is None else stated))
        out += bytes(codes[i] for i in order)
    return bytes(out)


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_frame_built_for_cortex_m0_holds_the_plans_bytes(sign: Sign, tmp_path: Path) -> None:
    need("arm-none-eabi-gcc", "qemu-arm")
    for name, content in firmware_files(make_plan(sign)).items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "main.c").write_text(MAIN, encoding="ascii")
    flags = ("-mcpu=cortex-m0plus", "-mthumb", "-Os", "-ffreestanding", "-std=gnu99", *STRICT)
    link = ("-nostdlib", "-static", "-Wl,-e,start", "-Wl,-Ttext-segment=0x100000")
    sources = [tmp_path / name for name in ("main.c", "frame.c", "trim.c")]
    run("arm-none-eabi-gcc", *flags, *link, *sources, "-o", tmp_path / "arm.elf", "-lgcc")
    done = subprocess.run(["qemu-arm", tmp_path / "arm.elf"], capture_output=True, check=True)
    steps = max(1, len(make_plan(sign).constants.hue_cycle))
    assert done.stdout == b"".join(_sent(sign, step) for step in range(steps))
