"""What the preprocessor makes of the header, and what a person reads in it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from marquee.outputs.header import header_text
from tests.firmware.compilers import need, run
from tests.firmware.factory import Sign, clocked, four_channels, make_plan

SIGNS = {
    "five-zones": Sign(),
    "spread": Sign(spread=True),
    "clocked": clocked(),
    "four-channels": four_channels(),
    "long-prefix": Sign(prefix="A2345678901234567890"),
}
# Symbols of the SI Brochure (9th edition, tables 2 and 4), u for micro as in ISO 2955.
UNITS = {"MA": "mA", "UA": "uA", "NS": "ns", "US": "us", "MS": "ms", "HZ": "Hz", "BYTES": "bytes"}


def _macros(text: str, folder: Path, *command: str) -> dict[str, str]:
    """Name → body of every macro a preprocessor ends with, in order."""
    (folder / "marquee_constants.h").write_text(text, encoding="ascii")
    shown = run(*command, "-dM", "-E", folder / "marquee_constants.h")
    return dict(re.findall(r"^#define (\S+?(?:\([^)]*\))?)(?: (.*))?$", shown, re.MULTILINE))


@pytest.mark.native
@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_the_preprocessor_finds_the_plans_numbers(sign: Sign, tmp_path: Path) -> None:
    need("gcc")
    p, c = sign.prefix, make_plan(sign).constants
    macros = _macros(header_text(make_plan(sign)), tmp_path, "gcc", "-std=c99")
    t0h, t0l, t1h, t1l = c.bit_ns
    wanted = {
        "LED_COUNT": f"{c.led_count}u",
        "ZONE_COUNT": f"{len(c.zones)}u",
        "CHANNEL_COUNT": f"{len(c.channels)}u",
        "GAMMA_COUNT": "256u",
        "HUE_COUNT": f"{len(c.hue_cycle)}u",
        "HUE_STEP_MS": f"{c.hue_step_ms}UL",
        **{f"T{bit}{level}_NS": f"{ns}UL" for bit, level, ns in zip("0011", "HLHL", (t0h, t0l, t1h, t1l), strict=True)},
        "LATCH_US": f"{c.latch_us}UL",
        "CLOCK_HZ": f"{c.clock_hz}UL",
        "CAP_255": f"{c.brightness_cap_255}u",
        "LIMIT_MA": f"{c.current_limit_ma}UL",
        "WORST_MA": f"{c.worst_case_ma}UL",
        "PLANNED_MA": f"{c.planned_ma}UL",
        "DARK_UA": f"{c.dark_ua}UL",
        **{f"CH_{name}": f"{i}u" for i, name in enumerate(c.channels)},
    }  # fmt: skip
    assert {name: macros[f"{p}_{name}"] for name in wanted} == wanted
    # A number a 16-bit int could not hold needs the suffix: C99, 6.4.4.1.
    for name, body in macros.items():
        if name.startswith(f"{p}_") and re.fullmatch(r"\d+u?", body):
            assert int(body.rstrip("u")) <= 65_535


@pytest.mark.native
def test_tables_are_read_as_flash_on_avr_and_as_memory_elsewhere(tmp_path: Path) -> None:
    need("gcc", "avr-gcc")
    text = header_text(make_plan())
    here = _macros(text, tmp_path, "gcc", "-std=c99")
    avr = _macros(text, tmp_path, "avr-gcc", "-mmcu=atmega328p", "-std=gnu99")
    assert here["MARQUEE_FLASH"] == ""
    assert avr["MARQUEE_FLASH"] == "PROGMEM"
    # Readers of avr-libc's <avr/pgmspace.h>: a byte, a word of 16 bits, a double word of 32.
    for bits, reader in ((8, "byte"), (16, "word"), (32, "dword")):
        assert here[f"MARQUEE_GET{bits}(address)"] == "(*(address))"
        assert avr[f"MARQUEE_GET{bits}(address)"] == f"pgm_read_{reader}(address)"


@pytest.mark.native
def test_a_makers_own_readers_are_left_alone(tmp_path: Path) -> None:
    need("avr-gcc")
    own = ["-DMARQUEE_FLASH=__flash", "-DMARQUEE_GET8(a)=a", "-DMARQUEE_GET16(a)=b"]
    macros = _macros(header_text(make_plan()), tmp_path, "avr-gcc", "-std=gnu99", *own)
    assert macros["MARQUEE_FLASH"] == "__flash"
    assert macros["MARQUEE_GET8(a)"] == "a"
    assert "MARQUEE_GET32(address)" not in macros


@pytest.mark.native
@pytest.mark.parametrize(
    ("command", "checked_by"),
    [
        (("gcc", "-std=c99"), "typedef char"),
        (("gcc", "-std=c11"), "_Static_assert("),  # ISO C11, 6.7.10
        (("g++", "-std=c++98", "-x", "c++"), "typedef char"),
        (("g++", "-std=c++11", "-x", "c++"), "static_assert("),  # ISO C++11, 7
    ],
)  # fmt: skip
def test_each_language_checks_in_its_own_words(
    tmp_path: Path, command: tuple[str, ...], checked_by: str
) -> None:
    need(command[0])
    macros = _macros(header_text(make_plan()), tmp_path, *command)
    assert macros["MARQUEE_ASSERT(tag,holds)"].startswith(checked_by)


@pytest.mark.native
def test_only_compilers_that_know_the_attribute_meet_it(tmp_path: Path) -> None:
    need("gcc")
    text = header_text(make_plan())
    assert _macros(text, tmp_path, "gcc")["MARQUEE_UNUSED"] == "__attribute__((unused))"
    other = _macros(text, tmp_path, "gcc", "-U__GNUC__", "-std=c99")
    assert other["MARQUEE_UNUSED"] == ""


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_every_constant_with_a_unit_says_so_beside_it(sign: Sign) -> None:
    text = header_text(make_plan(sign))
    found = re.findall(
        rf"(?:^/\* (.*) \*/\n)?^#define {sign.prefix}_\w+?_(MA|UA|NS|US|MS|HZ|BYTES) \d+UL *(?:/\* (.*) \*/)?$",
        text,
        re.MULTILINE,
    )
    assert len(found) >= 12
    for above, unit, beside in found:
        assert (beside or above).startswith(f"{UNITS[unit]} ")


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_remarks_are_plain_words(sign: Sign) -> None:
    """Only names of constants, abbreviations, units and LED parts have capitals inside a word."""
    text = header_text(make_plan(sign))
    remarks = re.findall(r"/\* (.*?) \*/", text[text.index("*/") :], re.DOTALL)
    assert len(remarks) > 20
    names = set(re.findall(rf"{sign.prefix}_(\w+)", text)) | {sign.prefix, "RUNS"}
    known = {"AVR", "LED", "LEDs", "RAM", "RGB", "Os", "mA", "uA", "Hz", "UL", "STEADY", "ORDER"}
    for remark in remarks:
        for word in re.findall(r"[A-Za-z]\w*", re.sub(rf"{sign.prefix}_|\b_", "", remark)):
            plain = re.fullmatch(r"[A-Za-z]?[a-z]*\d*[a-zA-Z]?|\w*\d\w*", word)
            assert plain or word in known | names, f"{word} in '{remark}'"


# Names of things, which say what they are themselves.
_PLAIN = r"CH_\w+|R\d+_\w+|STEADY|HUE_CYCLE|ONE_WIRE|CLOCKED|PROTOCOL|ZONE_COUNT|GAMMA_COUNT"


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_every_number_has_a_remark_unless_its_name_says_all(sign: Sign) -> None:
    text = header_text(make_plan(sign))
    found = re.findall(
        rf"(^/\* .* \*/\n)?^#define {sign.prefix}_(\w+) (?:\d+|0x[0-9A-F]+)[uUL]* *(/\* .* \*/)?$",
        text,
        re.MULTILINE,
    )
    assert len(found) > 30
    for above, name, beside in found:
        assert above or beside or re.fullmatch(_PLAIN, name), name


def test_long_lines_are_folded_and_the_preprocessor_does_not_mind() -> None:
    # 120 columns are what an editor's window shows; the longest prefix makes the longest lines.
    text = header_text(make_plan(Sign(prefix="A2345678901234567890", spread=True)))
    assert max(map(len, text.splitlines())) <= 120
    assert text.isascii()


def test_the_caution_on_an_unmeasured_part_says_what_was_assumed() -> None:
    straight = header_text(make_plan())
    bent = header_text(make_plan(Sign(response=tuple((i / 255) ** 1.2 for i in range(256)))))
    assert "take light as proportional to the byte" in straight
    assert "follow an assumed curve" in bent
    assert "not measured" not in header_text(make_plan(Sign(response_measured=True)))
