"""Reads a constants header back, to prove it before it is written and to tell an edited or stale one."""

from __future__ import annotations

import operator
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

from marquee.errors import InputError
from marquee.firmware import Constants, ZoneRuns
from marquee.outputs.header_code import COMMENT
from marquee.outputs.header_values import (
    CLOCKED,
    FORMAT_VERSION,
    HUE_CYCLE,
    ONE_WIRE,
    STEADY,
    values_crc32,
)
from marquee.outputs.names import unique_identifiers
from marquee.plan import Plan

_GUARD = re.compile(r"^#ifndef +([A-Z][A-Z0-9_]*)_CONSTANTS_H *$", re.MULTILINE)
_LARGEST = 2**32 - 1
_INTEGER = re.compile(r"(0[xX][0-9A-Fa-f]+|[0-9]+)[uUlL]*")


class HeaderProofError(AssertionError):
    """The header does not read back as the plan: a fault of marquee's own, never of the maker's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadHeader:
    """What a header says: its constants, and the CRC-32 and derived numbers written in it.

    Zone and channel names come back as identifiers.
    """

    prefix: str
    constants: Constants
    values_crc32: int
    frame_bytes: int
    frame_us: int
    led_full_ua: int
    format_version: int


def read_header(text: str, where: str = "header") -> ReadHeader:
    """Return what the text of a constants header says.

    Parameters
    ----------
    text : str
        As `header_text` writes it, or a program it was pasted into; values may have been edited.
    where : str
        File name for messages.

    Raises
    ------
    InputError
        Not such a header, or a number or table is missing or malformed.
    """
    code = COMMENT.sub(" ", text.replace("\r\n", "\n").replace("\t", " "))
    guard = _GUARD.search(code)
    if guard is None:
        raise InputError(where, "is not a constants header of marquee", "give marquee_constants.h")
    try:
        return _Reader(code, guard[1]).read()
    except (KeyError, ValueError, IndexError, RecursionError) as error:
        what = f"{error}".strip("'\"")
        raise InputError(
            where, f"cannot be read as a header ({what})", "make it again from the plan"
        ) from None


class _Reader:
    """Definitions and tables of one header, by name without prefix."""

    def __init__(self, code: str, prefix: str) -> None:
        self.prefix = prefix
        self.defines: dict[str, str] = {}
        pattern = rf"^ *#define +{prefix}_(\w+) +(\S+) *$"
        for name, value in re.findall(pattern, code, re.MULTILINE):
            self.defines.setdefault(name, value)
        table = rf"static const \w+\s+{prefix}_(\w+)\[\]\S* {prefix}_FLASH {prefix}_UNUSED = \{{([^;=]*)\}};"
        self.tables: Mapping[str, str] = dict(re.findall(table, code))

    def number(self, name: str) -> int:
        if name not in self.defines:
            raise KeyError(f"{self.prefix}_{name} is missing")
        return self.integer(self.defines[name])

    def integer(self, word: str) -> int:
        match = _INTEGER.fullmatch(word)
        if match:
            number = int(match[1], 0)
            if number > _LARGEST:
                raise ValueError(f"'{word[:60]}' is more than 32 bits hold")
            return number
        name = word.removeprefix(f"{self.prefix}_")
        if name == word or name not in self.defines or self.defines[name] == word:
            raise ValueError(f"'{word[:60]}' is no number")
        return self.number(name)

    def rows(self, name: str, width: int, count: int) -> list[tuple[int, ...]]:
        if name not in self.tables:
            raise KeyError(f"table {self.prefix}_{name} is missing")
        words = re.sub(r"[{},]", " ", self.tables[name]).split()
        if len(words) != width * count:
            raise ValueError(
                f"table {self.prefix}_{name} has {len(words)} numbers instead of {width * count}"
            )
        values = [self.integer(word) for word in words]
        return [tuple(values[i : i + width]) for i in range(0, len(values), width)]

    def row(self, name: str, count: int) -> tuple[int, ...]:
        return self.rows(name, count, 1)[0]

    def named(self, start: str, count: int) -> tuple[str, ...]:
        """Names of the definitions beginning with `start`, in the order of their numbers."""
        found = {
            self.number(n): n.removeprefix(start) for n in self.defines if n.startswith(start)
        }
        if sorted(found) != list(range(count)):
            raise ValueError(f"{self.prefix}_{start}... do not number 0 to {count - 1}")
        return tuple(found[i] for i in range(count))

    def read(self) -> ReadHeader:
        channels = self.named("CH_", self.number("CHANNEL_COUNT"))
        hue_count = self.number("HUE_COUNT")
        n = len(channels)
        protocol = {ONE_WIRE: "one-wire", CLOCKED: "clocked"}[self.number("PROTOCOL")]
        t0h, t0l, t1h, t1l = (self.number(f"{t}_NS") for t in ("T0H", "T0L", "T1H", "T1L"))
        constants = Constants(
            channels=channels,
            byte_order=tuple(channels[i] for i in self.row("ORDER", n)),
            led_count=self.number("LED_COUNT"),
            zones=self.zones(n),
            gamma_codes=self.row("GAMMA", self.number("GAMMA_COUNT")),
            hue_cycle=tuple(self.rows("HUES", n, hue_count)) if hue_count else (),
            hue_step_ms=self.number("HUE_STEP_MS"),
            brightness_cap_255=self.number("CAP_255"),
            current_limit_ma=self.number("LIMIT_MA"),
            worst_case_ma=self.number("WORST_MA"),
            planned_ma=self.number("PLANNED_MA"),
            dark_ua=self.number("DARK_UA"),
            protocol=protocol,
            bit_ns=(t0h, t0l, t1h, t1l),
            latch_us=self.number("LATCH_US"),
            clock_hz=self.number("CLOCK_HZ"),
            global_bits=self.number("GLOBAL_BITS"),
            channel_ua=self.row("CHANNEL_UA", n),
            largest_channel_only=bool(self.number("LARGEST_ONLY")),
        )
        return ReadHeader(
            prefix=self.prefix,
            constants=constants,
            values_crc32=self.number("VALUES_CRC32"),
            frame_bytes=self.number("FRAME_BYTES"),
            frame_us=self.number("FRAME_US"),
            led_full_ua=self.number("LED_FULL_UA"),
            format_version=self.number("FORMAT_VERSION"),
        )

    def zones(self, n: int) -> tuple[ZoneRuns, ...]:
        count, run_count = self.number("ZONE_COUNT"), self.number("RUN_COUNT")
        names = self.named("Z_", count)
        runs = self.rows("RUNS", 2, run_count)
        width = 5 + 3 * n + n % 2
        return tuple(
            self.zone(i, names[i], row, n, runs)
            for i, row in enumerate(self.rows("ZONES", width, count))
        )

    def zone(
        self, index: int, name: str, row: tuple[int, ...], n: int, runs: list[tuple[int, ...]]
    ) -> ZoneRuns:
        first, run_count, leds = row[:3]
        raised, start, codes = (row[3 + i * n : 3 + (i + 1) * n] for i in range(3))
        global_code, mode = row[3 + 3 * n : 5 + 3 * n]
        own = tuple((run[0], run[1]) for run in runs[first : first + run_count])
        if len(own) != run_count or sum(count for _, count in own) != leds:
            raise ValueError(f"zone {index}'s LED count does not fit its runs")
        return ZoneRuns(
            zone=index,
            name=name,
            mode={STEADY: "steady", HUE_CYCLE: "hue-cycle"}[mode],
            runs=own,
            codes=() if mode == HUE_CYCLE else codes,
            raised=raised if any(raised) else (),
            start=start if any(raised) else (),
            global_code=global_code if self.number("GLOBAL_BITS") else None,
        )


def check_header(text: str, plan: Plan, where: str = "header") -> tuple[str, ...]:
    """Return how a header differs from a plan, one sentence each; empty when it says the same.

    The first sentence tells an edited header (its own checksum does not fit its values) from a stale one.

    Raises
    ------
    InputError
        The text is no constants header, or is damaged.
    """
    read = read_header(text, where)
    differences = list(_own_faults(read))
    prefix = plan.project.firmware.prefix
    if read.prefix != prefix:
        differences.append(f"prefix is {read.prefix}, the plan's {prefix}")
    wanted = named_as_identifiers(plan.constants)
    differences += field_differences(read.constants, wanted)
    derived = ("frame_bytes", "frame_us", "led_full_ua")
    for name in derived:
        here, there = getattr(read, name), getattr(wanted, name)
        if here != there:
            differences.append(f"{name} is {here}, the plan's {there}")
    return tuple(differences)


def edited_by_hand(text: str, where: str = "header") -> tuple[str, ...]:
    """Return what a header's own layout number and checksum tell against it; empty when they fit.

    Raises
    ------
    InputError
        The text is no constants header, or is damaged.
    """
    return _own_faults(read_header(text, where))


def _own_faults(read: ReadHeader) -> tuple[str, ...]:
    faults = []
    if read.format_version != FORMAT_VERSION:
        faults.append(f"layout {read.format_version}, this marquee writes {FORMAT_VERSION}")
    if read.values_crc32 != values_crc32(read.constants):
        faults.append("values were edited by hand: the checksum does not fit them")
    return tuple(faults)


def field_differences(read: Constants, wanted: Constants) -> list[str]:
    """Return the fields that differ, one sentence each; zones one by one."""
    differences = []
    for field in fields(Constants):
        here, there = getattr(read, field.name), getattr(wanted, field.name)
        if here == there:
            continue
        if field.name == "zones" and len(here) == len(there):
            differences += [
                f"zone {pair[1].zone} {pair[1].name}: {_zone_difference(*pair)}"
                for pair in zip(here, there, strict=True)
                if operator.ne(*pair)
            ]
        elif isinstance(here, tuple) and len(here) == len(there):
            differences.append(_table_difference(field.name, here, there))
        elif isinstance(here, tuple):
            differences.append(f"{field.name} has {len(here)} rows, the plan's {len(there)}")
        else:
            differences.append(f"{field.name} is {here}, the plan's {there}")
    return differences


def _zone_difference(read: ZoneRuns, wanted: ZoneRuns) -> str:
    return " and ".join(
        f"{field.name} {getattr(read, field.name)}, the plan's {getattr(wanted, field.name)}"
        for field in fields(ZoneRuns)
        if getattr(read, field.name) != getattr(wanted, field.name)
    )


def _table_difference(name: str, read: tuple[object, ...], wanted: tuple[object, ...]) -> str:
    places = [i for i, pair in enumerate(zip(read, wanted, strict=True)) if operator.ne(*pair)]
    more = f" (and {len(places) - 1} more)" if len(places) > 1 else ""
    return f"{name}[{places[0]}] is {read[places[0]]}, the plan's {wanted[places[0]]}{more}"


def named_as_identifiers(constants: Constants) -> Constants:
    """Return the constants with zone and channel names as the header spells them."""
    channels = unique_identifiers(constants.channels)
    new = dict(zip(constants.channels, channels, strict=True))
    names = unique_identifiers(zone.name for zone in constants.zones)
    return replace(
        constants,
        channels=channels,
        byte_order=tuple(new[name] for name in constants.byte_order),
        zones=tuple(
            replace(zone, name=name) for zone, name in zip(constants.zones, names, strict=True)
        ),
    )


def prove(text: str, plan: Plan) -> None:
    """Check that a header just made says what the plan says, and is plain ASCII of bounded width.

    Raises
    ------
    HeaderProofError
        It does not.
    """
    try:
        differences = list(check_header(text, plan))
    except InputError as error:
        differences = [str(error)]
    if not text.isascii() or any(
        len(line) > 120 or line != line.rstrip() for line in text.split("\n")
    ):
        differences.append("a line is not plain ASCII of at most 120 columns")
    if differences:
        raise HeaderProofError(f"our own header does not match the plan: {'; '.join(differences)}")
