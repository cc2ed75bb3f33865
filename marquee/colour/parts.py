"""LED parts: published figures → Part, by rules that are the same for every part.

- A range stands for its middle; where several sources are listed, the first is the part's, and the lowest and
  highest of all of them bound the range.
- Worst-case channel current, dark current and latch time are the highest published, because a strip's revision
  is seldom known; the lowest regulation voltage is the upper end.
- Intensity from flux: a 120° package is taken as Lambertian, I = Φ/π.
- Intensity and channel current belong to one data pixel: all the LEDs one driver lights together.
- What no source gives is None.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from importlib import resources
from typing import Any, Literal, TypeVar, cast

from marquee.colour.observer import planckian_xy
from marquee.colour.part_file import PartFile, Rows, read_part_file
from marquee.colour.response import response_table
from marquee.errors import MarqueeError, TableError
from marquee.values import Figure, Part

T = TypeVar("T")


def part_names() -> tuple[str, ...]:
    """Return the names of the packaged parts, in alphabetical order."""
    folder = resources.files("marquee.tables").joinpath("parts")
    names = [entry.name for entry in folder.iterdir()]
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def load_part(name: str) -> Part:
    """Return a packaged part by name, or a maker's own from a path ending in ``.toml``.

    Raises
    ------
    UnknownNameError
        No such packaged part; the nearest names are given.
    InputError
        The file cannot be read or is not TOML.
    TableError
        An unknown key (the nearest valid one is given), a missing source, or an impossible value.
    """
    file = read_part_file(name, part_names())
    rows = file.rows
    response, measured = _response(rows, file.where)
    # One driver lights all LEDs of a pixel; sheets state intensity per LED.
    leds = round(_nominal(rows, "leds_per_pixel") or 1)
    order = _byte_order(file)
    timing = [_nominal(rows, key) for key in ("t0h_ns", "t0l_ns", "t1h_ns", "t1l_ns")]
    bit_ns = tuple(round(t) for t in timing if t is not None)
    latch_us, clock_mhz = _highest(rows, "latch_us"), _lowest(rows, "clock_mhz")
    supply_range = _extent(rows, "supply_range_v")
    angle = _nominal(rows, "viewing_angle_deg")
    colours = tuple(c.lower() for c in file.channels if c != "W")
    return Part(
        name=file.name,
        title=file.title,
        channels=file.channels,
        byte_order=order,
        protocol=cast("Literal['one-wire', 'clocked']", file.protocol),
        supply_v=_needed(file, "supply_v"),
        supply_max_v=None if supply_range is None else supply_range[1],
        package_mm=_nominal(rows, "package_mm"),
        leds_per_pixel=leds,
        intensity_cd=_intensities(file, leds),
        intensity_spread=_spread(file),
        dominant_nm=_all([_nominal(rows, f"dominant_{c}_nm") for c in colours]),
        dominant_range_nm=_all([_extent(rows, f"dominant_{c}_nm") for c in colours]),
        fwhm_nm=_all([_nominal(rows, f"fwhm_{c}_nm") for c in colours]),
        white_xy=_white_xy(rows) if "W" in file.channels else None,
        response=response,
        response_measured=measured,
        current_law=cast("Literal['sum', 'largest']", _word(rows, "current_law") or "sum"),
        channel_current_a=_currents(file, _nominal),
        channel_current_max_a=_currents(file, _highest),
        dark_current_a=_milli(_highest(rows, "dark_current_ma")),
        min_regulation_v=_highest(rows, "min_regulation_v"),
        global_bits=round(_nominal(rows, "global_bits") or 0),
        bit_ns=bit_ns if len(bit_ns) == 4 else None,
        latch_us=None if latch_us is None else round(latch_us),
        clock_hz=None if clock_mhz is None else round(clock_mhz * 1e6),
        logic_high_v=_highest(rows, "logic_high_v"),
        half_angle_deg=None if angle is None else angle / 2,
        operating_c=_extent(rows, "operating_c"),
        figures=_figures(file),
    )


def _figures(file: PartFile) -> dict[str, Figure]:
    shown: dict[str, Figure] = {}
    for key, rows in (*file.rows.items(), *file.background.items()):
        for number, row in enumerate(rows, 1):
            shown[key if number == 1 else f"{key} ({number})"] = row
    return shown


def _ends(value: Any) -> tuple[float, float]:  # noqa: ANN401 -- number or [low, high], checked at reading
    return (float(value[0]), float(value[1])) if isinstance(value, list) else (value, value)


def _nominal(rows: Mapping[str, Rows], key: str) -> float | None:
    if key not in rows:
        return None
    low, high = _ends(rows[key][0].value)
    return (low + high) / 2


def _extent(rows: Mapping[str, Rows], key: str) -> tuple[float, float] | None:
    if key not in rows:
        return None
    ends = [_ends(row.value) for row in rows[key]]
    return min(low for low, _ in ends), max(high for _, high in ends)


def _highest(rows: Mapping[str, Rows], key: str) -> float | None:
    extent = _extent(rows, key)
    return None if extent is None else extent[1]


def _lowest(rows: Mapping[str, Rows], key: str) -> float | None:
    extent = _extent(rows, key)
    return None if extent is None else extent[0]


def _word(rows: Mapping[str, Rows], key: str) -> str | None:
    return str(rows[key][0].value) if key in rows else None


def _milli(value: float | None) -> float | None:
    return None if value is None else round(value / 1000, 9)


def _all(values: list[T | None]) -> tuple[T, ...] | None:
    known = tuple(value for value in values if value is not None)
    return known if len(known) == len(values) else None


def _needed(file: PartFile, key: str) -> float:
    value = _nominal(file.rows, key)
    if value is None:
        raise TableError(file.where, f"{key} is missing", f"add the row {key}; a plan needs it")
    return value


def _byte_order(file: PartFile) -> tuple[str, ...]:
    order = tuple(_word(file.rows, "byte_order") or "".join(file.channels))
    if sorted(order) != sorted(file.channels):
        raise TableError(
            f"{file.where} byte_order",
            f"'{''.join(order)}' does not name {', '.join(file.channels)} once each",
            'write it like "GRB"',
        )
    return order


def _currents(file: PartFile, rule: Any) -> tuple[float, ...] | None:  # noqa: ANN401 -- one of the rules above
    return _all(
        [_milli(rule(file.rows, f"channel_current_{c.lower()}_ma")) for c in file.channels]
    )


def _intensity_key(rows: Mapping[str, Rows], channel: str) -> tuple[str, float]:
    """Return the key intensity is taken from and the factor to cd: mcd first, else flux over π sr."""
    mcd = f"intensity_{channel.lower()}_mcd"
    return (mcd, 1e-3) if mcd in rows else (f"flux_{channel.lower()}_lm", 1 / math.pi)


def _intensities(file: PartFile, leds: int) -> tuple[float, ...] | None:
    found: list[float | None] = []
    for channel in file.channels:
        key, factor = _intensity_key(file.rows, channel)
        value = _nominal(file.rows, key)
        found.append(None if value is None else round(value * factor * leds, 9))
    return _all(found)


def _spread(file: PartFile) -> tuple[float, float] | None:
    stated = _extent(file.rows, "intensity_spread")
    if stated is not None:
        if not stated[0] <= 1 <= stated[1]:
            raise TableError(
                f"{file.where} intensity_spread",
                f"{stated[0]:g} to {stated[1]:g} leaves out 1, the nominal value",
                "write factors such as [0.7, 1.4]",
            )
        return stated
    keys = [_intensity_key(file.rows, channel)[0] for channel in file.channels]
    ends = [(_extent(file.rows, key), _nominal(file.rows, key)) for key in keys]
    ratios = [(e[0] / n, e[1] / n) for e, n in ends if e is not None and n is not None]
    if not ratios or all(low == high for low, high in ratios):
        return None
    return min(low for low, _ in ratios), max(high for _, high in ratios)


def _white_xy(rows: Mapping[str, Rows]) -> tuple[float, float] | None:
    if "white_xy" in rows:
        x, y = rows["white_xy"][0].value
        return float(x), float(y)
    cct_k = _nominal(rows, "white_cct_k")
    return None if cct_k is None else planckian_xy(cct_k)


def _response(rows: Mapping[str, Rows], where: str) -> tuple[tuple[float, ...], bool]:
    if "response" not in rows:
        raise TableError(
            where, "response is missing", 'add the row response, such as value = "linear"'
        )
    law = _word(rows, "response") or ""
    pairs = rows["response_table"][0].value if "response_table" in rows else None
    try:
        table = response_table(law, pairs)
    except MarqueeError as error:
        raise TableError(f"{where} {error.where}", error.what, error.mend) from None
    evidence = rows["response_table" if law == "table" else "response"][0]
    return table, evidence.status == "measured"
