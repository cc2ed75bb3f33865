"""Single colours as a table, as JSON and as what a screen can show of them."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import XYZ_TO_SRGB
from marquee.colour.singles import Singles
from marquee.colour.spaces import lab_to_xyz, srgb_encode
from marquee.errors import printable
from marquee.outputs.words import WIDTH
from marquee.power.load import driven_current_a
from marquee.values import Part, Spread, ZoneDrive

Rgb = tuple[int, int, int]
# Standard observers under the names of their publication.
OBSERVER_NAMES = {
    "cie-1931-2": "CIE 1931 2°",
    "cie-2015-2": "CIE 2015 2°",
    "cie-2015-10": "CIE 2015 10°",
}


def heading(found: Singles) -> list[str]:
    """Return the lines above the table: the part, and under what its colours were solved."""
    chosen = found.settings
    blend = f" {chosen.blend:.0%}" if chosen.policy == "blend" else ""
    return [
        printable(found.part.title),
        f"white {printable(chosen.white)} ({chosen.adaptation}), brightness {found.solution.brightness:.0%}, "
        f"policy {chosen.policy}{blend}, observer {OBSERVER_NAMES[chosen.observer]}",
    ]


def colour_rows(found: Singles) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return the table's head and one row a colour."""
    shared = ("shared out", "ΔE") if found.leds > 1 else ()
    order = "".join(found.part.channels)
    head = (
        "colour",
        f"{order} bytes",
        "ΔE",
        *shared,
        "band",
        "matched",
        "gamut",
        "mA",
        "raw ΔE",
    )
    return head, [_row(found, number) for number in range(len(found.solution.zones))]


def notes(found: Singles) -> list[str]:
    """Return the lines below the table: what its columns mean, and what changes for other observers."""
    lines = [
        "ΔE: CIEDE2000 from the colour wanted, by the model. band: 95 % of parts as bought lie within it of the "
        "model; matched: what one white match on the bench narrows it to (marquee bench). raw: the colour's own "
        "bytes sent as they are.",
    ]
    if found.leds > 1:
        lines.append(
            f"shared out: mean codes over a zone's {found.leds} LEDs, some sent one code more than others."
        )
    if found.part.intensity_spread is None:
        lines.append(
            f"unknown: {found.part.name} states no spread from sheet to sheet or part to part; give its file the row "
            "intensity_spread, such as [0.85, 1.15], or measure it (marquee bench)."
        )
    if any(found.too_bright):
        # Rounded down: at a brightness rounded up one colour would still be out of reach.
        share = int(1000 * found.all_bright_enough) / 10
        lines.append(
            f"too bright: {found.part.name} cannot make it that bright beside its own white; at --brightness "
            f"{share:g}% all of these can be made."
        )
    lines += _others(found)
    return [part for line in lines for part in textwrap.wrap(line, WIDTH, subsequent_indent="  ")]


def screens(found: Singles, number: int) -> tuple[Rgb, Rgb, Rgb]:
    """Return sRGB bytes of a colour as wanted, as emitted and as its raw bytes come out.

    Colours a screen cannot show are clipped by channel; one brighter than a screen's white keeps its
    chromaticity at the brightness a screen has.
    """
    zone = found.solution.zones[number]
    emitted = zone.predicted_lab_d65 if zone.spread is None else zone.spread.predicted_lab_d65
    labs = np.array([zone.target.lab_d65, emitted, found.raw[number].lab_d65])
    linear = np.maximum(lab_to_xyz(labs) @ XYZ_TO_SRGB.T, 0.0)
    linear /= np.maximum(linear.max(axis=1, keepdims=True), 1.0)
    wanted, made, raw = np.rint(255 * srgb_encode(linear)).astype(int)
    return _rgb(wanted), _rgb(made), _rgb(raw)


def as_dict(found: Singles) -> dict[str, Any]:
    """Return everything for `--json`; units in the key names, absent means null."""
    return {
        "part": found.part.name,
        "channels": found.part.channels,
        "brightness": round(found.solution.brightness, 6),
        "white": found.settings.white,
        "observer": found.settings.observer,
        "leds": found.leds,
        "colours": [_colour(found, number) for number in range(len(found.solution.zones))],
        "other_observers": [
            {
                "observer": other.observer,
                "white_delta_uv": round(other.white_duv, 5),
                "delta_e_2000": _rounded(other.delta_e_2000, 4),
            }
            for other in found.others
        ],
    }


def bytes_text(codes: tuple[int, ...], global_code: int | None, part: Part) -> str:
    """Return codes as a table shows them, with the global setting where the part has one."""
    text = ",".join(str(code) for code in codes)
    return text if global_code is None else f"{text} at {global_code}/{part.global_top}"


def mean_codes(spread: Spread) -> tuple[float, ...]:
    """Return the mean code of each channel over a zone's LEDs."""
    return tuple(
        code + raised / spread.of for code, raised in zip(spread.codes, spread.raised, strict=True)
    )


def _row(found: Singles, number: int) -> tuple[str, ...]:
    zone = found.solution.zones[number]
    shared: tuple[str, ...] = ()
    if found.leds > 1 and zone.spread is None:
        shared = ("as they are", f"{zone.delta_e_2000:.2f}")
    elif zone.spread is not None:
        mean = ",".join(f"{code:.4g}" for code in mean_codes(zone.spread))
        shared = (mean, f"{zone.spread.delta_e_2000:.2f}")
    current = current_ma(found.part, zone)
    return (
        printable(zone.target.name),
        bytes_text(zone.codes, zone.global_code, found.part),
        f"{zone.delta_e_2000:.2f}",
        *shared,
        _or_unknown(zone.band_delta_e_2000),
        _or_unknown(zone.band_matched_delta_e_2000),
        gamut_word(found, number),
        _or_unknown(current),
        f"{found.raw[number].delta_e_2000:.1f}",
    )


def gamut_word(found: Singles, number: int) -> str:
    """Return whether a colour lies in the gamut, or is too pure or too bright for it."""
    if found.too_bright[number]:
        return "too bright"
    return "too pure" if found.too_pure[number] else "in"


def current_ma(part: Part, zone: ZoneDrive) -> float | None:
    """Return what one LED draws with these bytes, its dark current included [mA]; None where not known."""
    if part.channel_current_a is None:
        return None
    lit_a = driven_current_a(part, part.channel_current_a, zone.codes, zone.global_code)
    return 1000 * (lit_a + (part.dark_current_a or 0.0))


def _others(found: Singles) -> list[str]:
    if not found.others or not found.solution.zones:
        return []
    lines = []
    for other in found.others:
        low, high = min(other.delta_e_2000), max(other.delta_e_2000)
        span = f"{low:.1f}" if high - low < 0.05 else f"{low:.1f} to {high:.1f}"
        lines.append(
            f"To the {OBSERVER_NAMES[other.observer]} observer the white is Δu′v′ {other.white_duv:.4f} off and "
            f"these bytes ΔE {span}; bytes solved for it: --observer {other.observer}."
        )
    return lines


def _colour(found: Singles, number: int) -> dict[str, Any]:
    zone, raw = found.solution.zones[number], found.raw[number]
    current = current_ma(found.part, zone)
    return {
        "name": zone.target.name,
        "srgb": zone.target.srgb,
        "lab_d65": _rounded(zone.target.lab_d65, 4),
        "exact": _rounded(zone.exact, 6),
        "codes": zone.codes,
        "global_current": zone.global_code,
        "predicted_lab_d65": _rounded(zone.predicted_lab_d65, 4),
        "delta_e_2000": round(zone.delta_e_2000, 4),
        "spread": None if zone.spread is None else spread_dict(zone.spread),
        "band_delta_e_2000": _round(zone.band_delta_e_2000, 4),
        "band_matched_delta_e_2000": _round(zone.band_matched_delta_e_2000, 4),
        "in_gamut": zone.in_gamut,
        "too_pure": found.too_pure[number],
        "too_bright": found.too_bright[number],
        "current_ma": _round(current, 3),
        "raw": {
            "codes": raw.codes,
            "lab_d65": _rounded(raw.lab_d65, 4),
            "delta_e_2000": round(raw.delta_e_2000, 4),
        },
    }


def spread_dict(spread: Spread) -> dict[str, Any]:
    """Return the rule by which a zone's LEDs share codes out, as JSON has it."""
    return {
        "codes": spread.codes,
        "raised": spread.raised,
        "start": spread.start,
        "of": spread.of,
        "predicted_lab_d65": _rounded(spread.predicted_lab_d65, 4),
        "delta_e_2000": round(spread.delta_e_2000, 4),
    }


def _or_unknown(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.1f}"


def _rounded(values: tuple[float, ...], digits: int) -> list[float]:
    return [round(float(v), digits) + 0.0 for v in values]


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _rgb(row: NDArray[np.int64]) -> Rgb:
    return int(row[0]), int(row[1]), int(row[2])
