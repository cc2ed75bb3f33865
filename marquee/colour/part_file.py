"""The part file: which keys it may have, what each must look like, and how it is read.

A figure is a row ``key = { value = …, unit = "…", status = "…", source = "…", note = "…" }``, or a list of such
rows where sources disagree: the first row is the one the part stands for, the others widen the range.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from marquee.errors import TableError, UnknownNameError
from marquee.tables.load import check_row, table_text
from marquee.tables.maker_file import read_toml
from marquee.values import Figure

Rows = tuple[Figure, ...]
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_ROW_KEYS = ("value", "unit", "status", "source", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """What a figure of that name must be: unit, form of its value, limits."""

    unit: str
    form: str  # number (or [low, high]), range, xy, text, table
    low: float = 0.0
    high: float = 1e6
    words: tuple[str, ...] = ()


def _per_channel(prefix: str, suffix: str, key: Key, letters: str = "rgbaw") -> dict[str, Key]:
    return {f"{prefix}_{letter}_{suffix}": key for letter in letters}


_NS = Key(unit="ns", form="number", low=10, high=10_000)
KEYS: dict[str, Key] = {
    "supply_v": Key(unit="V", form="number", low=1, high=60),
    "supply_range_v": Key(unit="V", form="range", low=0.5, high=60),
    "min_regulation_v": Key(unit="V", form="number", low=0.5, high=60),
    "package_mm": Key(unit="mm", form="number", low=0.2, high=100),
    "leds_per_pixel": Key(unit="count", form="number", low=1, high=100),
    "byte_order": Key(unit="text", form="text"),
    "current_law": Key(unit="text", form="text", words=("sum", "largest")),
    **_per_channel("channel_current", "ma", Key(unit="mA", form="number", high=5000)),
    "dark_current_ma": Key(unit="mA", form="number", high=1000),
    **_per_channel("intensity", "mcd", Key(unit="mcd", form="number", low=0.1, high=1e6)),
    **_per_channel("flux", "lm", Key(unit="lm", form="number", low=0.001, high=1e4)),
    "intensity_spread": Key(unit="factor", form="range", low=0.05, high=20),
    **_per_channel("dominant", "nm", Key(unit="nm", form="number", low=400, high=700), "rgba"),
    **_per_channel("fwhm", "nm", Key(unit="nm", form="number", low=5, high=120), "rgba"),
    "white_xy": Key(unit="xy", form="xy", low=0.05, high=0.8),
    "white_cct_k": Key(unit="K", form="number", low=1500, high=20_000),
    "response": Key(
        unit="text", form="text", words=("linear", "worldsemi", "worldsemi-v5", "table")
    ),
    "response_table": Key(unit="code, relative light", form="table"),
    "global_bits": Key(unit="bit", form="number", low=0, high=8),
    "t0h_ns": _NS,
    "t0l_ns": _NS,
    "t1h_ns": _NS,
    "t1l_ns": _NS,
    "latch_us": Key(unit="us", form="number", low=1, high=10_000),
    "clock_mhz": Key(unit="MHz", form="number", low=0.01, high=100),
    "logic_high_v": Key(unit="V", form="number", low=0.5, high=60),
    "viewing_angle_deg": Key(unit="deg", form="number", low=5, high=180),
    "operating_c": Key(unit="degC", form="range", low=-100, high=200),
}
# Red, green and blue, then amber and a white die where there are any; a wavelength tells the colour, so that the
# amber's letter may stand for any fourth colour.
CHANNELS = tuple(tuple(letters) for letters in ("RGB", "RGBW", "RGBA", "RGBAW"))
# What is said of the part itself rather than published about it; `background` holds figures under names of
# the author's choice that are shown with the part and used for nothing.
HEAD = ("schema", "name", "title", "based_on", "channels", "protocol", "background")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFile:
    """A part file once read and found in order."""

    where: str
    name: str
    title: str
    channels: tuple[str, ...]
    protocol: str
    rows: Mapping[str, Rows]
    background: Mapping[str, Rows]


def packaged_text(name: str) -> str:
    """Return the text of a packaged part file."""
    return table_text(f"parts/{name}.toml")


def read_part_file(name: str, known: tuple[str, ...]) -> PartFile:
    """Return a packaged part by name, or a maker's own by a path ending in ``.toml``.

    Raises
    ------
    UnknownNameError
        No such packaged part; the nearest names are given.
    InputError
        The file cannot be read or is not TOML.
    TableError
        A key, unit, value, status or source that cannot be used.
    """
    if name.endswith(".toml"):
        return _parse(read_toml(Path(name), "part file"), name, known)
    # Reels and sheets print capitals.
    wanted = name.strip().lower()
    if wanted not in known:
        near = difflib.get_close_matches(wanted, known, n=3, cutoff=0.5) or known
        raise UnknownNameError(
            "--part",
            f"'{name}' is no packaged part and does not end in .toml",
            f"did you mean {' or '.join(near)}? 'marquee parts' lists all"
            if near is not known
            else f"choose from {', '.join(known)}, or give a part file",
        )
    return _packaged(wanted, known)


def _packaged(name: str, known: tuple[str, ...]) -> PartFile:
    return _parse(tomllib.loads(packaged_text(name)), f"parts/{name}.toml", known)


def _parse(raw: dict[str, Any], where: str, known: tuple[str, ...]) -> PartFile:
    _check_keys(raw, where)
    if raw.get("schema", 1) != 1:
        raise TableError(where, f"schema = {raw['schema']!r}", "this version reads schema = 1")
    base = _base(raw, where, known)
    name = _text(raw, "name", where, None)
    if not _NAME.fullmatch(name) or len(name) > 60:
        raise TableError(
            where, f"name = {name!r}", 'write lower-case words and digits, such as "my-strip"'
        )
    background = _background(raw.get("background", {}), where)
    own = {key: _rows(key, raw[key], where) for key in raw if key not in HEAD}
    return PartFile(
        where=where,
        name=name,
        title=_text(raw, "title", where, None if base is None else base.title),
        channels=_channels(raw, where, base),
        protocol=_protocol(raw, where, base),
        rows={**(base.rows if base else {}), **own},
        background={**(base.background if base else {}), **background},
    )


def _background(raw: Any, where: str) -> dict[str, Rows]:  # noqa: ANN401 -- straight from the TOML reader
    if not isinstance(raw, dict):
        raise TableError(where, "background is not a table", "write [background] and rows below")
    found: dict[str, Rows] = {}
    for key, value in raw.items():
        at = f"{where} [background] {key}"
        rows = value if isinstance(value, list) else [value]
        if not rows or not all(isinstance(row, dict) for row in rows):
            shape = f'write {key} = {{ value = …, unit = "…", status = "…", source = "…" }}'
            raise TableError(at, "is not a figure row", shape)
        for row in rows:
            check_row(row, at)
        found[key] = _figures(rows)
    return found


def _base(raw: dict[str, Any], where: str, known: tuple[str, ...]) -> PartFile | None:
    if "based_on" not in raw:
        return None
    name = _text(raw, "based_on", where, None)
    # Reels and sheets print capitals.
    wanted = name.strip().lower()
    if wanted not in known:
        near = difflib.get_close_matches(wanted, known, n=1, cutoff=0.0)
        raise UnknownNameError(
            f"{where} based_on", f"'{name}' is no packaged part", f"did you mean '{near[0]}'?"
        )
    return _packaged(name, known)


def _check_keys(raw: dict[str, Any], where: str) -> None:
    valid = (*HEAD, *KEYS)
    unknown = [key for key in raw if key not in valid]
    if unknown:
        hints = [
            f"'{difflib.get_close_matches(key, valid, n=1, cutoff=0.0)[0]}'" for key in unknown
        ]
        raise TableError(
            where,
            f"unknown key {', '.join(repr(key) for key in unknown)}",
            f"did you mean {', '.join(hints)}? figures used for nothing go under [background]",
        )


def _text(raw: dict[str, Any], key: str, where: str, otherwise: str | None) -> str:
    value = raw.get(key, otherwise)
    if not isinstance(value, str) or not value.strip() or len(value) > 400:
        found = f"{key} = {value!r}" if key in raw else f"{key} is missing"
        raise TableError(where, found, f'write {key} = "…"')
    return value


def _channels(raw: dict[str, Any], where: str, base: PartFile | None) -> tuple[str, ...]:
    value = raw.get("channels", base.channels if base else None)
    letters = tuple(value) if isinstance(value, str | list | tuple) else ()
    if letters not in CHANNELS:
        raise TableError(
            where,
            f"channels = {value!r}",
            f'write channels = "RGB", or another of {", ".join(map("".join, CHANNELS))}',
        )
    return letters


def _protocol(raw: dict[str, Any], where: str, base: PartFile | None) -> str:
    value = raw.get("protocol", base.protocol if base else None)
    if value not in {"one-wire", "clocked"}:
        raise TableError(where, f"protocol = {value!r}", 'write "one-wire" or "clocked"')
    return str(value)


def _rows(key: str, raw: Any, where: str) -> Rows:  # noqa: ANN401 -- straight from the TOML reader
    rows = raw if isinstance(raw, list) else [raw]
    shape = f'write {key} = {{ value = …, unit = "{KEYS[key].unit}", status = "…", source = "…" }}'
    if not rows or not all(isinstance(row, dict) for row in rows):
        raise TableError(f"{where} {key}", "is not a figure row", shape)
    for number, row in enumerate(rows, 1):
        at = f"{where} {key}" + (f" row {number}" if len(rows) > 1 else "")
        _check_row(row, KEYS[key], at)
    return _figures(rows)


def _figures(rows: list[dict[str, Any]]) -> Rows:
    return tuple(
        Figure(
            value=row.get("value"),
            unit=str(row.get("unit", "")),
            status=row["status"],
            source=str(row["source"]),
            note=str(row.get("note", "")),
        )
        for row in rows
    )


def _check_row(row: dict[str, Any], key: Key, at: str) -> None:
    unknown = [name for name in row if name not in _ROW_KEYS]
    if unknown:
        near = difflib.get_close_matches(unknown[0], _ROW_KEYS, n=1, cutoff=0.0)[0]
        raise TableError(at, f"unknown key '{unknown[0]}'", f"did you mean '{near}'?")
    check_row(row, at)
    if row.get("unit") != key.unit:
        raise TableError(at, f"has unit {row.get('unit')!r}", f'write unit = "{key.unit}"')
    problem = _problem(row.get("value"), key)
    if problem:
        raise TableError(at, f"value = {row.get('value')!r}", problem)


def _problem(value: Any, key: Key) -> str | None:  # noqa: ANN401 -- straight from the TOML reader
    if key.form == "text":
        right = isinstance(value, str) and (not key.words or value in key.words)
        mend = f"write one of {', '.join(key.words)}" if key.words else "write a text"
    elif key.form == "table":  # colour.response says what is wrong with the points
        right = isinstance(value, list) and all(_is_pair(pair) for pair in value)
        mend = "write pairs of code and relative light, such as [[0, 0], [255, 1]]"
    elif key.form == "range":
        right = _is_pair(value) and value[0] <= value[1] and _within(value, key)
        mend = f"write [low, high] from {key.low:g} to {key.high:g} {key.unit}"
    elif key.form == "xy":
        right = _is_pair(value) and sum(value) < 1 and _within(value, key)
        mend = "write [x, y], each 0.05 or more and together below 1"
    else:
        pair = _is_pair(value) and value[0] <= value[1]
        right = _within(value if pair else [value], key)
        mend = f"write a number from {key.low:g} to {key.high:g} {key.unit}, or [low, high]"
    return None if right else mend


def _within(values: list[Any], key: Key) -> bool:
    return all(_is_number(n) and key.low <= n <= key.high for n in values)


def _is_number(value: Any) -> bool:  # noqa: ANN401 -- straight from the TOML reader
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_pair(value: Any) -> bool:  # noqa: ANN401 -- straight from the TOML reader
    return isinstance(value, list) and len(value) == 2 and all(_is_number(n) for n in value)
