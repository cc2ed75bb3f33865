"""`calibration.toml`: written for people, read back with every value checked."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from marquee.bench.calibration import Calibration, Kind, Points, Used, calibrated_part
from marquee.bench.measurements import Source
from marquee.bench.values import Posterior
from marquee.colour.observer import observer_names
from marquee.colour.part_file import CHANNELS
from marquee.colour.response import response_table
from marquee.errors import InputError, MarqueeError, printable
from marquee.tables.load import check_keys
from marquee.tables.maker_file import read_toml
from marquee.values import Part

_SCHEMA = 1
_KEYS = (
    "schema",
    "name",
    "kind",
    "part",
    "channels",
    "figures_sha256",
    "observer",
    "white",
    "made_by",
    "gain",
    "peak_shift_nm",
    "exponent",
    "meter_factor",
    "response",
    "current",
    "posterior",
    "measured",
)
_MEASURED_KEYS = ("kind", "file", "sha256", "rows", "dates")
# Beyond these no LED of the part's kind lies; a file that says so was edited or belongs to something else.
_GAIN, _PEAK_NM, _EXPONENT, _FACTOR = (0.05, 20.0), (-24.0, 24.0), (0.3, 3.5), (0.0, 1e6)
# Squared: a peak known to 1,000 nm is known not at all.
_LARGEST_VARIANCE = 1e6


def calibration_text(calibration: Calibration) -> str:
    """Return the file's text; the same calibration gives the same text."""
    c = calibration
    n = len(c.channels)
    mean, sd = c.posterior.mean, c.posterior.sd
    gain = np.exp(mean[:n])
    lines = [
        f"# Bench calibration of one {c.kind}: {c.summary}.",
        "# Give it to a plan: marquee plan sign.png --width 380mm --calibration THIS-FILE",
        "# Fitted by marquee bench fit; fit again rather than edit.",
        f"schema = {_SCHEMA}",
        f"name = {_text(c.name)}",
        f"kind = {_text(c.kind)}  # cabinet: this sign's LEDs; reel: others from the same reel",
        f"part = {_text(c.part)}",
        f"channels = {_text(''.join(c.channels))}",
        f"figures_sha256 = {_text(c.figures_sha256)}  # of the part's figures this sets out from",
        f"observer = {_text(c.observer)}",
        f"white = {_text(c.white)}",
        f"made_by = {_text(c.made_by)}",
        "",
        "[gain]  # light of each channel over its data sheet's; ± against the channels' mean, which shows in nothing",
        *_channel_lines(c, gain, [f"± {100 * s:.0f} %" for s in sd[:n]]),
        "",
        "[peak_shift_nm]  # of each channel's spectrum from its data sheet's",
        *_channel_lines(c, mean[n : 2 * n], [f"± {s:.1f} nm" for s in sd[n : 2 * n]]),
        "",
        "[exponent]  # the response is raised to this power",
        *_channel_lines(c, np.exp(mean[2 * n :]), [f"± {100 * s:.0f} %" for s in sd[2 * n :]]),
        "",
    ]
    if c.meter_xyz is not None:
        lines += ["[meter_factor]  # on X, Y, Z of the shifted data sheet, CIE 1931 2°"]
        lines += [f"{a.lower()} = {_row(v)}" for a, v in zip(c.channels, c.meter_xyz, strict=True)]
        lines.append("")
    if c.response_measured or any(points is not None for points in c.tables):
        lines += ["[response]", f"measured = {str(c.response_measured).lower()}"]
        lines += [
            f"{channel.lower()} = [{', '.join(f'[{code}, {_number(v)}]' for code, v in points)}]"
            for channel, points in zip(c.channels, c.tables, strict=True)
            if points is not None
        ]
        lines.append("")
    if c.channel_current_a is not None:
        lines += ["[current]  # ampere of one LED, channels at full drive"]
        lines += _channel_lines(c, np.array(c.channel_current_a), None)
        lines += [f"dark = {_number(c.dark_current_a or 0.0)}", ""]
    lines += [
        "[posterior]  # covariance of ln gain, peak shift, ln exponent, each over the channels: gives the band",
        "covariance = [",
        *(f"  {_row(row)}," for row in c.posterior.covariance),
        "]",
    ]
    for use in c.used:
        lines += [
            "",
            "[[measured]]",
            f"kind = {_text(use.kind)}",
            f"file = {_text(use.source.name)}",
            f"sha256 = {_text(use.source.sha256)}",
            f"rows = {use.source.rows}",
        ]
        if use.source.dates:
            lines.append(f"dates = [{', '.join(_text(d) for d in use.source.dates)}]")
    return "\n".join(lines) + "\n"


def read_calibration(path_text: str) -> Calibration:
    """Return the calibration in a file.

    Raises
    ------
    InputError
        Unreadable, not TOML, another schema, an unknown key (naming the nearest) or an impossible value.
    """
    where = path_text
    raw = read_toml(Path(path_text), "calibration file")
    check_keys(raw, _KEYS, where)
    if raw.get("schema") != _SCHEMA:
        raise InputError(
            where, f"schema is {raw.get('schema')!r}, not {_SCHEMA}", f"write schema = {_SCHEMA}"
        )
    read = _Reader(raw, where)
    channels = tuple(read.word("channels"))
    if channels not in CHANNELS:
        raise read.bad("channels", f"is not one of {', '.join(map(''.join, CHANNELS))}")
    kind = read.word("kind")
    if kind not in {"cabinet", "reel"}:
        raise read.bad("kind", "is not cabinet or reel")
    observer = read.word("observer")
    if observer not in observer_names():
        raise read.bad("observer", f"is not one of {', '.join(observer_names())}")
    mean = np.concatenate(
        [
            np.log(read.per_channel("gain", channels, _GAIN)),
            read.per_channel("peak_shift_nm", channels, _PEAK_NM),
            np.log(read.per_channel("exponent", channels, _EXPONENT)),
        ]
    )
    tables, measured = read.responses(channels)
    current, dark = read.currents(channels)
    return Calibration(
        name=read.word("name"),
        kind=cast("Kind", kind),
        part=read.word("part"),
        channels=channels,
        figures_sha256=read.word("figures_sha256"),
        observer=observer,
        white=read.word("white"),
        made_by=read.word("made_by"),
        posterior=Posterior(mean=mean, covariance=read.covariance(len(mean))),
        meter_xyz=read.factors(channels),
        tables=tables,
        response_measured=measured,
        channel_current_a=current,
        dark_current_a=dark,
        used=read.used(),
    )


def part_as_measured(part: Part, path_text: str | None, observer: str) -> Part:
    """Return the part with the calibration in a file laid on it; the part itself where no file is named.

    Parameters
    ----------
    part : Part
        As its file describes it.
    path_text : str or None
        The calibration's file.
    observer : str
        The plan's; eyes matched for one observer must not be planned for with another, which would correct
        the same difference twice.

    Raises
    ------
    InputError
        As `read_calibration` and `calibrated_part`, or the observers differ.
    """
    if path_text is None:
        return part
    calibration = read_calibration(path_text)
    if calibration.observer != observer and any(use.kind == "pairs" for use in calibration.used):
        raise InputError(
            path_text,
            f"its colours were matched for observer {calibration.observer}, this plan takes {observer}",
            f"plan with --observer {calibration.observer}, or fit again with --observer {observer}",
        )
    return calibrated_part(part, calibration, path_text)


class _Reader:
    """Takes values out of the file's table, naming the key of any that cannot be."""

    def __init__(self, raw: dict[str, Any], where: str) -> None:
        self._raw, self._where = raw, where

    def bad(self, key: str, what: str) -> InputError:
        return InputError(f"{self._where} {key}", what, "fit the calibration again")

    def word(self, key: str) -> str:
        value = self._raw.get(key)
        if not isinstance(value, str) or len(value) > 400:
            raise self.bad(key, "is missing or no text")
        return value

    def _section(
        self, key: str, channels: tuple[str, ...], more: tuple[str, ...]
    ) -> dict[str, Any]:
        table = self._raw.get(key)
        if not isinstance(table, dict):
            raise self.bad(key, "is missing or no table")
        check_keys(table, (*(c.lower() for c in channels), *more), f"{self._where} [{key}]")
        return table

    def _number(self, key: str, value: object, least: float, most: float) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.bad(key, "is missing or no number")
        if not (math.isfinite(value) and least <= value <= most):
            raise self.bad(key, f"is {value:g}, outside {least:g} to {most:g}")
        return float(value)

    def per_channel(
        self,
        key: str,
        channels: tuple[str, ...],
        limits: tuple[float, float],
        more: tuple[str, ...] = (),
    ) -> NDArray[np.float64]:
        table = self._section(key, channels, more)
        return np.array(
            [self._number(f"{key}.{c.lower()}", table.get(c.lower()), *limits) for c in channels]
        )

    def covariance(self, size: int) -> NDArray[np.float64]:
        table = self._raw.get("posterior")
        rows = table.get("covariance") if isinstance(table, dict) else None
        try:
            values = np.array(rows, float)
        except (TypeError, ValueError):
            values = np.empty(0)
        if values.shape != (size, size) or not np.isfinite(values).all():
            raise self.bad("posterior.covariance", f"is not {size} rows of {size} numbers")
        if np.abs(values).max() > _LARGEST_VARIANCE:
            raise self.bad("posterior.covariance", "is no covariance")
        symmetric = (values + values.T) / 2
        if np.abs(values - symmetric).max() > 1e-6 or np.linalg.eigvalsh(symmetric).min() < -1e-6:
            raise self.bad("posterior.covariance", "is no covariance")
        return np.asarray(symmetric, float)

    def factors(self, channels: tuple[str, ...]) -> NDArray[np.float64] | None:
        if "meter_factor" not in self._raw:
            return None
        table = self._section("meter_factor", channels, ())
        rows = [table.get(c.lower()) for c in channels]
        if any(not isinstance(row, list) or len(row) != 3 for row in rows):
            raise self.bad("meter_factor", "is not three numbers a channel")
        return np.array(
            [
                [self._number("meter_factor", v, *_FACTOR) for v in cast("list[object]", row)]
                for row in rows
            ]
        )

    def responses(self, channels: tuple[str, ...]) -> tuple[tuple[Points | None, ...], bool]:
        if "response" not in self._raw:
            return (None,) * len(channels), False
        table = self._section("response", channels, ("measured",))
        tables: list[Points | None] = []
        for channel in channels:
            rows = table.get(channel.lower())
            if rows is None:
                tables.append(None)
                continue
            try:
                response_table("table", rows)
                tables.append(tuple((int(code), float(light)) for code, light in rows))
            except MarqueeError as error:
                raise self.bad(f"response.{channel.lower()}", error.what) from None
            except (TypeError, ValueError):
                raise self.bad(
                    f"response.{channel.lower()}", "is not pairs of code and light"
                ) from None
        return tuple(tables), table.get("measured") is True

    def currents(self, channels: tuple[str, ...]) -> tuple[tuple[float, ...] | None, float | None]:
        if "current" not in self._raw:
            return None, None
        values = self.per_channel("current", channels, (0.0, 10.0), ("dark",))
        dark = self._number("current.dark", self._raw["current"].get("dark"), 0.0, 1.0)
        return tuple(float(v) for v in values), dark

    def used(self) -> tuple[Used, ...]:
        rows = self._raw.get("measured", [])
        if not isinstance(rows, list):
            raise self.bad("measured", "is no list of tables")
        found = []
        for row in rows:
            if not isinstance(row, dict):
                raise self.bad("measured", "is no list of tables")
            check_keys(row, _MEASURED_KEYS, f"{self._where} [[measured]]")
            dates = row.get("dates", [])
            source = Source(
                name=str(row.get("file", "")),
                sha256=str(row.get("sha256", "")),
                rows=int(self._number("measured.rows", row.get("rows"), 0, 100_000)),
                dates=tuple(str(d) for d in dates) if isinstance(dates, list) else (),
            )
            found.append(Used(kind=str(row.get("kind", "")), source=source))
        return tuple(found)


def _channel_lines(
    c: Calibration, values: NDArray[np.float64], notes: list[str] | None
) -> list[str]:
    return [
        f"{channel.lower()} = {_number(value)}" + ("" if notes is None else f"  # {notes[k]}")
        for k, (channel, value) in enumerate(zip(c.channels, values, strict=True))
    ]


def _text(value: str) -> str:
    return json.dumps(printable(value), ensure_ascii=False)


def _number(value: float) -> str:
    shown = f"{float(value) + 0.0:.7g}"
    return shown if any(mark in shown for mark in ".en") else f"{shown}.0"


def _row(values: NDArray[np.float64]) -> str:
    return f"[{', '.join(_number(value) for value in values)}]"
