"""How a part turns a code into light, and back: 256 entries of relative light, strictly by the part's own law."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from marquee.errors import QuantityError

Law = Literal["linear", "worldsemi", "worldsemi-v5", "table"]
LAWS: tuple[str, ...] = get_args(Law)
CODES = 256

# Dark share the low-current revision takes off the classic curve: fitted to the sensor sweep of "Does the
# WS2812 have integrated gamma correction?" (cpldcpu, 2022-08-15), within 1.5 % for codes of 12 and more.
_V5_DARK_SHARE = 0.0013


def response_table(
    law: str, pairs: Sequence[tuple[float, float]] | None = None
) -> tuple[float, ...]:
    """Return relative light 0…1 of each code 0…255.

    Parameters
    ----------
    law : str
        ``linear`` (light in proportion to code), ``worldsemi`` (measured curve of the classic one-wire
        drivers), ``worldsemi-v5`` (their low-current revision) or ``table``.
    pairs : sequence of (code, relative light), optional
        With ``table``: measured points, codes rising from 0 to 255, light never falling. Scaled so that
        code 255 is 1; between the points a monotone cubic (PCHIP: Fritsch & Butland, SIAM J. Sci. Stat.
        Comput. 5(2), 1984, 300–304) is laid.

    Raises
    ------
    QuantityError
        Unknown law, or points that are no response.
    """
    codes = np.arange(CODES, dtype=float)
    if law == "linear":
        light = codes / 255.0
    elif law == "worldsemi":
        light = _worldsemi(codes)
    elif law == "worldsemi-v5":
        above = np.maximum(_worldsemi(codes) - _V5_DARK_SHARE, 0.0) / (1.0 - _V5_DARK_SHARE)
        light = np.where(codes <= 2, 0.0, above)  # codes 1 and 2 were seen to emit nothing
    elif law == "table":
        light = _from_pairs(pairs, codes)
    else:
        raise QuantityError("response", f"'{law}' is no known law", f"use {', '.join(LAWS)}")
    return tuple(float(value) for value in light)


def codes_for_light(light_fraction: ArrayLike, response: Sequence[float]) -> NDArray[np.float64]:
    """Return the code, not rounded, that gives each relative light, a code between two being the mix of both.

    Where several codes give the same light the highest one that gives none, or else the lowest, is meant:
    light just above nothing lies beyond the codes that emit nothing, and no light is code 0.

    Parameters
    ----------
    light_fraction : array
        Relative light, clipped to 0…1.
    response : sequence of 256
        Relative light per code, never falling.
    """
    wanted = np.clip(np.asarray(light_fraction, float), 0.0, 1.0)
    table = np.asarray(response, float)
    last_dark = int(np.flatnonzero(table <= table[0]).max())
    rises = np.concatenate([[True], np.diff(table[last_dark:]) > 0])
    codes = np.arange(last_dark, CODES)[rises]
    found = np.interp(wanted, table[last_dark:][rises], codes)
    return np.asarray(np.where(wanted <= table[0], 0.0, found), float)


def _worldsemi(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    # Units of half a PWM clock, 2048 clocks a period. Fitted to the oscilloscope table of the same article:
    # within 1.1 % for codes of 8 and more, 4 % at 2, 12 % at 1 (digitised light curve: 3.1 % from 10 on).
    low = 2.0 * codes - 1.0
    middle = 15.0 + 3.9 * (codes - 8.0)
    high = 63.75 + 8.0 * (codes - 20.5)
    units = np.where(codes <= 8, low, np.where(codes <= 20.5, middle, high))
    return np.where(codes == 0, 0.0, units / 1939.75)


def _from_pairs(
    pairs: Sequence[tuple[float, float]] | None, codes: NDArray[np.float64]
) -> NDArray[np.float64]:
    points = np.asarray(pairs if pairs is not None else [], float)
    if points.ndim != 2 or points.shape[0] < 2 or points.shape[1] != 2:
        raise QuantityError(
            "response_table", "needs two or more [code, light] pairs", "such as [[0, 0], [255, 1]]"
        )
    if not np.isfinite(points).all():
        raise QuantityError("response_table", "holds a value that is not finite", "correct it")
    at, light = points[:, 0], points[:, 1]
    if at[0] != 0 or at[-1] != 255 or (np.diff(at) <= 0).any():
        raise QuantityError(
            "response_table",
            f"codes run {at[0]:g} … {at[-1]:g}, not rising from 0 to 255",
            "sort the pairs, each code once, with 0 first and 255 last",
        )
    if light[0] < 0 or (np.diff(light) < 0).any() or light[-1] <= light[0]:
        raise QuantityError(
            "response_table",
            "light falls or stays dark as the code rises",
            "take the stray light off every reading and measure again where light falls",
        )
    from scipy.interpolate import PchipInterpolator

    # Rounded so that steps no meter can see do not overflow the cubic's slopes.
    relative = np.round((light - light[0]) / (light[-1] - light[0]), 12)
    curve = PchipInterpolator(at, relative)
    return np.asarray(np.clip(curve(codes), 0.0, 1.0), np.float64)
