"""A colorimeter's readings to what each channel emits and how its light follows the byte."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.bench.values import Posterior, Reading
from marquee.colour.calibrated import response_tables, shifted_xyz
from marquee.colour.observer import DEFAULT_OBSERVER
from marquee.colour.response import response_table
from marquee.colour.spaces import xyz_to_uv_prime, xyz_to_xyy
from marquee.errors import Finding, InputError
from marquee.values import Part

Array = NDArray[np.float64]
# A meter's repeatability: 2 % in luminance and its last digit near dark. Common practice, no source.
_LN_Y, _FLOOR = 0.02, 5e-5
# What stays open after a meter. Peaks: filter instruments misread narrow blue, by Δu′v′ 0.018 to 0.021 on a retail
# RGB bulb of known spectra; gains and exponents: repeatability over a zone.
GAIN_SD, PEAK_SD_NM, EXPONENT_SD = 0.03, 1.0, 0.02
# Chromaticity must not drift along a ramp, nor light be lost when all channels are on. Common practice, no source.
# A drift in x, y must also pass what a meter repeats them to (sd 0.003): five times that.
_DRIFT_UV, _DRIFT_XY, _SAG = 0.005, 0.015, 0.95
# Further from its data sheet than any bin of such parts (Δu′v′ 0.10, blue at 475 nm): another part, or a slip.
_STRANGE_UV = 0.10
_FEWEST_FOR_RESPONSE = 4
_SHIFTS_NM = np.arange(-20.0, 20.01, 0.1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ramp:
    """One channel alone, dark taken off: codes (m,) rising, XYZ (m, 3), and the rows' places."""

    codes: NDArray[np.int64]
    xyz: Array
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeterFit:
    """What a colorimeter tells: figures, factors on the model's X, Y, Z (n, 3), and measured responses.

    `tables` holds, per channel, the measured (code, light) points where no power law fits, else None;
    `response_measured` says whether every channel had a ramp.
    """

    posterior: Posterior
    meter_xyz: Array
    tables: tuple[tuple[tuple[int, float], ...] | None, ...]
    response_measured: bool
    findings: tuple[Finding, ...] = ()


def fit_readings(readings: Sequence[Reading], part: Part) -> MeterFit:
    """Return what readings of dark, single channels and their ramps tell about a part.

    Parameters
    ----------
    readings : sequence of Reading
        With dark and each channel alone at 128 or more.
    part : Part
        The part they were taken of.

    Raises
    ------
    InputError
        A channel looks like another one (columns swapped), or no brighter than dark.
    """
    dark = np.mean([r.xyz for r in readings if not any(r.codes)], axis=0)
    n = len(part.channels)
    ramps = [_ramp(readings, number, dark) for number in range(n)]
    base = response_tables(part)
    chroma = np.stack([_full_colour(ramp) for ramp in ramps])
    nominal = shifted_xyz(part, DEFAULT_OBSERVER, np.zeros(n))
    _refuse_swapped(chroma, nominal, ramps, part)
    exponents = np.zeros(n)
    tables: list[tuple[tuple[int, float], ...] | None] = []
    full = np.empty((n, 3))
    for c, ramp in enumerate(ramps):
        exponents[c], points, full_y = fit_response(ramp.codes, ramp.xyz[:, 1], base[c])
        tables.append(points)
        full[c] = chroma[c] * full_y
    # The meter's unit is its own: a common factor on all colours is not the part's.
    colours = [c for c, channel in enumerate(part.channels) if channel != "W"]
    full *= np.exp(np.mean(np.log(nominal[colours, 1] / full[colours, 1])))
    shift = _peak_shifts(full, part)
    model = shifted_xyz(part, DEFAULT_OBSERVER, shift)
    gain = np.log(full[:, 1] / model[:, 1])
    factors = np.maximum(full, 0.0) / (model * np.exp(gain)[:, None])
    sd = np.array([GAIN_SD] * n + [PEAK_SD_NM] * n + [EXPONENT_SD] * n)
    findings = (
        *_drifts(ramps, part),
        *_strange(full, nominal, ramps, part),
        *_sag(readings, ramps, dark),
    )
    return MeterFit(
        posterior=Posterior(
            mean=np.concatenate([gain, shift, exponents]), covariance=np.diag(sd**2)
        ),
        meter_xyz=factors,
        tables=tuple(tables),
        response_measured=all(len(ramp.codes) >= _FEWEST_FOR_RESPONSE for ramp in ramps),
        findings=findings,
    )


def fit_response(
    codes: NDArray[np.int64], luminance: Array, base: Array
) -> tuple[float, tuple[tuple[int, float], ...] | None, float]:
    """Return log exponent on the part's own response, or measured points where no power fits, and Y at code 255.

    A power of the known curve has one unknown, a monotone table one a point; the one of less Bayesian information
    criterion (Schwarz, Ann. Statist. 6(2), 1978, 461–464) is taken. The table is the least-squares rising one.

    Parameters
    ----------
    codes, luminance : (m,)
        Rising codes above 0 and the luminance of each, dark taken off.
    base : (256,)
        The part's own response.
    """
    from scipy.optimize import isotonic_regression, least_squares

    top = float(luminance[-1] / base[codes[-1]])
    if len(codes) < _FEWEST_FOR_RESPONSE:
        return 0.0, None, top
    sd = np.hypot(_LN_Y * luminance, _FLOOR * luminance.max())
    log_base = np.log(np.maximum(base[codes], 1e-9))

    def off(unknown: Array) -> Array:
        shown = np.exp(unknown[1] + np.exp(unknown[0]) * log_base)
        return np.asarray((shown - luminance) / sd, float)

    found = least_squares(off, [0.0, np.log(top)])
    count = len(codes)
    power_bic = 2 * found.cost + 2 * np.log(count)
    rising = isotonic_regression(luminance, weights=1 / sd**2).x
    table_bic = float(np.square((rising - luminance) / sd).sum()) + count * np.log(count)
    if power_bic <= table_bic or codes[-1] != 255:
        return float(found.x[0]), None, float(np.exp(found.x[1]))
    light = np.clip(rising / rising[-1], 0.0, 1.0)
    points = [(0, 0.0), *((int(c), float(v)) for c, v in zip(codes, light, strict=True))]
    response_table("table", points)
    return 0.0, tuple(points), float(rising[-1])


def _ramp(readings: Sequence[Reading], number: int, dark: Array) -> Ramp:
    rows = [r for r in readings if r.codes[number] and sum(r.codes) == r.codes[number]]
    codes = sorted({r.codes[number] for r in rows})
    xyz = np.array(
        [
            np.mean([r.xyz for r in rows if r.codes[number] == code], axis=0) - dark
            for code in codes
        ]
    )
    places = [next(r.place for r in rows if r.codes[number] == code) for code in codes]
    if xyz[-1, 1] <= 0:
        raise InputError(places[-1], "is no brighter than dark", "measure that row and dark again")
    return Ramp(codes=np.array(codes, np.int64), xyz=np.maximum(xyz, 0.0), places=tuple(places))


def _full_colour(ramp: Ramp) -> Array:
    """Return X, Y, Z with Y = 1 of the ramp's upper half, bright rows weighing more."""
    bright = ramp.xyz[ramp.codes >= min(128, ramp.codes[-1])]
    total = bright.sum(axis=0)
    return np.asarray(total / total[1], float)


def _peak_shifts(full: Array, part: Part) -> Array:
    """Return the shifts [nm] whose chromaticities come nearest the measured ones; a W die's is 0."""
    n = len(part.channels)
    table = shifted_xyz(part, DEFAULT_OBSERVER, np.repeat(_SHIFTS_NM[:, None], n, axis=1))
    far = np.linalg.norm(xyz_to_uv_prime(table) - xyz_to_uv_prime(full), axis=-1)
    shift = _SHIFTS_NM[np.argmin(far, axis=0)]
    return np.array(
        [0.0 if part.channels[c] == "W" else round(float(shift[c]), 1) for c in range(n)]
    )


def _refuse_swapped(chroma: Array, nominal: Array, ramps: Sequence[Ramp], part: Part) -> None:
    far = np.linalg.norm(
        xyz_to_uv_prime(chroma)[:, None] - xyz_to_uv_prime(nominal)[None], axis=-1
    )
    like = far[:3, :3].argmin(axis=1)
    wrong = [c for c in range(3) if like[c] != c]
    if wrong:
        c = wrong[0]
        raise InputError(
            ramps[c].places[-1],
            f"{part.channels[c]} alone reads like {part.channels[int(like[c])]}",
            "check the order of the columns of bytes, and of x, y, Y",
        )


def _strange(
    full: Array, nominal: Array, ramps: Sequence[Ramp], part: Part
) -> tuple[Finding, ...]:
    far = np.linalg.norm(xyz_to_uv_prime(full) - xyz_to_uv_prime(nominal), axis=-1)
    return tuple(
        Finding(
            code="bench.strange-channel",
            where=ramps[c].places[-1],
            message=f"{part.channels[c]} lies Δu′v′ {far[c]:.2f} from {part.name}'s data sheet, further than its bins: "
            "is this the right part and cabinet, and the meter's dark taken off?",
        )
        for c in range(len(ramps))
        if far[c] > _STRANGE_UV
    )


def _drifts(ramps: Sequence[Ramp], part: Part) -> tuple[Finding, ...]:
    found = []
    for channel, ramp in zip(part.channels, ramps, strict=True):
        # Below a few per cent of full the meter's own noise is larger than the drift looked for.
        usable = ramp.xyz[:, 1] > 0.1 * ramp.xyz[-1, 1]
        uv = xyz_to_uv_prime(ramp.xyz[usable])
        drift = float(np.linalg.norm(uv - uv[-1], axis=1).max())
        xy = xyz_to_xyy(ramp.xyz[usable])[:, :2]
        drift_xy = float(np.linalg.norm(xy - xy[-1], axis=1).max())
        if drift > _DRIFT_UV and drift_xy > _DRIFT_XY:
            found.append(
                Finding(
                    code="bench.drift",
                    where=ramp.places[0],
                    message=f"{channel} changes its colour along the ramp by Δu′v′ {drift:.3f}: shade stray light, and "
                    "measure dark again just before",
                )
            )
    return tuple(found)


def _sag(readings: Sequence[Reading], ramps: Sequence[Ramp], dark: Array) -> tuple[Finding, ...]:
    together = [r for r in readings if all(code == 255 for code in r.codes)]
    if not together or any(ramp.codes[-1] != 255 for ramp in ramps):
        return ()
    seen = np.mean([r.xyz for r in together], axis=0) - dark
    ratio = float(seen[1] / sum(ramp.xyz[-1, 1] for ramp in ramps))
    if ratio >= _SAG:
        return ()
    return (
        Finding(
            code="bench.supply-sag",
            where=together[0].place,
            message=f"all channels together give {ratio:.0%} of their sum: the supply or the wires sag, feed the strip "
            "better or measure at lower bytes",
        ),
    )
