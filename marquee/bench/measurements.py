"""The three kinds of measurements as a maker's CSV files state them, checked row by row."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from marquee.bench.table import (
    Line,
    Problems,
    Table,
    codes_in,
    measured_lines,
    number_in,
    read_table,
)
from marquee.bench.values import CurrentReading, MatchedPair, Reading
from marquee.colour.target import target_from_text
from marquee.errors import InputError, MarqueeError
from marquee.values import Part

_BESIDE = ("note", "date")
_XYY, _XYZ = ("x", "y", "Y"), ("X", "Y", "Z")
# Mains power: what a plug-in meter shows, over what the supply hands on.
_MAINS = ("power_w", "volts", "efficiency")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A file that was read: its base name, digest, how many of its rows count, and the dates it states."""

    name: str
    sha256: str
    rows: int
    dates: tuple[str, ...]


def _letters(part: Part) -> tuple[str, ...]:
    return tuple(channel.lower() for channel in part.channels)


def pair_columns(part: Part) -> tuple[str, ...]:
    """Return the columns of a file of matched pairs."""
    level = ("global",) if part.global_bits else ()
    return ("name", "colour", *_letters(part), *level, "brightness", *_BESIDE)


def read_pairs(path: Path, part: Part) -> tuple[tuple[MatchedPair, ...], Source]:
    """Return the pairs "this colour — these bytes looked right" of a CSV file; rows without bytes are left out.

    Raises
    ------
    InputError
        The file or a row cannot be used; each row at fault is named.
    """
    letters = _letters(part)
    table = read_table(path, pair_columns(part), ("colour", *letters))
    problems = Problems()
    lines = measured_lines(table, letters)
    found = [_pair(line, part, table, problems) for line in lines]
    problems.raise_any()
    _refuse_empty(found, path, "no row has bytes yet", "fill in the bytes that looked right")
    return tuple(pair for pair in found if pair is not None), _source(table, len(found))


def _pair(line: Line, part: Part, table: Table, problems: Problems) -> MatchedPair | None:
    codes = codes_in(line, part.channels, table, problems)
    text = line.fields.get("colour", "")
    brightness = 1.0
    if "brightness" in line.fields:
        brightness = number_in(line, "brightness", table, problems, 0.001, 100)
    level = None
    if "global" in line.fields:
        value = number_in(line, "global", table, problems, 1, part.global_top)
        level = None if math.isnan(value) else int(value)
    try:
        target = target_from_text(text, line.fields.get("name", text), line.place)
    except MarqueeError as error:
        problems.add(line.place, error.what, error.mend)
        return None
    if target.xyz[1] <= 0:
        problems.add(line.place, f"{text} is black, which no bytes can match", "leave the row out")
    if codes is not None and not any(codes):
        problems.add(
            line.place, "all bytes are 0", "give the bytes that looked right, or leave the row out"
        )
    if codes is None:
        return None
    return MatchedPair(
        target=target, codes=codes, place=line.place, brightness=brightness, global_code=level
    )


def reading_columns(part: Part) -> tuple[str, ...]:
    """Return the columns of a file of colorimeter readings."""
    return ("state", *_letters(part), "x", "y", "Y", "X", "Z", *_BESIDE)


def read_readings(path: Path, part: Part) -> tuple[tuple[Reading, ...], Source]:
    """Return a colorimeter's readings (x, y, Y or X, Y, Z) of a CSV file; rows without any are left out.

    Raises
    ------
    InputError
        The file or a row cannot be used, or a state is missing: dark, or a channel alone at half or more.
    """
    letters = _letters(part)
    table = read_table(path, reading_columns(part), (*letters, "Y"))
    form = _XYZ if {"X", "Z"} <= set(table.columns) else _XYY
    missing = [column for column in form if column not in table.columns]
    both = {"x", "X"} <= set(table.columns)
    if missing or both:
        raise InputError(
            f"{path.name}",
            "has x,y,Y and X,Y,Z" if both else f"the column '{missing[0]}' is missing",
            "give either x,y,Y or X,Y,Z",
        )
    problems = Problems()
    lines = measured_lines(table, form)
    found = [_reading(line, part, form, table, problems) for line in lines]
    problems.raise_any()
    readings = tuple(reading for reading in found if reading is not None)
    _refuse_missing(readings, part, path)
    return readings, _source(table, len(found))


def _reading(
    line: Line, part: Part, form: Sequence[str], table: Table, problems: Problems
) -> Reading | None:
    codes = codes_in(line, part.channels, table, problems)
    most = {"x": 1.0, "y": 1.0}
    # Of dark many instruments show no chromaticity; it means next to nothing there: that of equal energy.
    dark = codes is not None and not any(codes) and form == _XYY
    values = [
        1 / 3
        if dark and column in most and column not in line.fields
        else number_in(line, column, table, problems, 0, most.get(column, 1e7))
        for column in form
    ]
    if codes is None or any(math.isnan(value) for value in values):
        return None
    if form == _XYZ:
        return Reading(codes=codes, xyz=(values[0], values[1], values[2]), place=line.place)
    x, y, luminance = values
    if y <= 0 or x + y > 1:
        problems.add(
            line.place, f"x, y = {x:g}, {y:g} is no chromaticity", "check the order of the columns"
        )
        return None
    xyz = (x / y * luminance, luminance, (1 - x - y) / y * luminance)
    return Reading(codes=codes, xyz=xyz, place=line.place)


def _refuse_missing(readings: tuple[Reading, ...], part: Part, path: Path) -> None:
    states = {reading.codes for reading in readings}
    missing = [] if any(not any(codes) for codes in states) else ["dark (all bytes 0)"]
    for number, channel in enumerate(part.channels):
        alone = [
            codes[number] for codes in states if codes[number] and sum(codes) == codes[number]
        ]
        if max(alone, default=0) < 128:
            missing.append(f"{channel} alone at 255")
    if missing:
        raise InputError(
            f"{path.name}",
            f"states are missing: {', '.join(missing)}",
            "measure them and add the rows",
        )


def current_columns(part: Part) -> tuple[str, ...]:
    """Return the columns of a file of supply currents."""
    return ("state", "leds", *_letters(part), "current_a", *_MAINS, *_BESIDE)


def read_currents(path: Path, part: Part) -> tuple[tuple[CurrentReading, ...], Source]:
    """Return the supply currents of a CSV file, measured at the supply's output or worked out from mains power.

    Raises
    ------
    InputError
        The file or a row cannot be used.
    """
    letters = _letters(part)
    table = read_table(path, current_columns(part), ("leds", *letters))
    problems = Problems()
    lines = measured_lines(table, ("current_a", "power_w"))
    found = [_current(line, part, table, problems) for line in lines]
    problems.raise_any()
    _refuse_empty(
        found,
        path,
        "no row has a current yet",
        "fill in current_a, or power_w with volts and efficiency",
    )
    return tuple(row for row in found if row is not None), _source(table, len(found))


def _current(line: Line, part: Part, table: Table, problems: Problems) -> CurrentReading | None:
    codes = codes_in(line, part.channels, table, problems)
    leds = number_in(line, "leds", table, problems, 1, 100_000)
    if "current_a" in line.fields:
        current_a = number_in(line, "current_a", table, problems, 0, 10_000)
    else:
        power_w = number_in(line, "power_w", table, problems, 0, 100_000)
        volts = number_in(line, "volts", table, problems, 1, 60)
        efficiency = number_in(line, "efficiency", table, problems, 0.1, 1)
        current_a = power_w * efficiency / volts
    if codes is None or math.isnan(leds) or math.isnan(current_a):
        return None
    return CurrentReading(codes=codes, leds=int(leds), current_a=current_a, place=line.place)


def is_filled_in(path: Path, columns: Sequence[str], measured: Sequence[str]) -> bool:
    """Return whether a file has a row with something in one of the columns that are `measured`.

    Raises
    ------
    InputError
        It is not a table of these columns.
    """
    return bool(measured_lines(read_table(path, columns, ()), measured))


def _refuse_empty(found: Sequence[object], path: Path, what: str, mend: str) -> None:
    if not found:
        raise InputError(f"{path.name}", what, mend)


def _source(table: Table, rows: int) -> Source:
    return Source(name=table.name, sha256=table.sha256, rows=rows, dates=table.dates)
