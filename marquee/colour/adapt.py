"""Whites as makers write them, and chromatic adaptation from one white to another."""

from __future__ import annotations

import difflib
import re

import numpy as np
from numpy.typing import ArrayLike, NDArray

from marquee.colour.constants import (
    BRADFORD,
    CAT16,
    D50_ICC_XYZ,
    DAYLIGHT_XYZ,
    WHITES_XY,
    xyz_of_xy,
)
from marquee.errors import QuantityError

_CONES = {"bradford": BRADFORD, "cat16": CAT16}
_TEMPERATURE = re.compile(r"(\d+(?:\.\d*)?)\s*[kK]")
_PAIR = re.compile(r"([+-]?\d*\.?\d+)\s*[,;\s]\s*([+-]?\d*\.?\d+)")
_FORMS = "write D65, D50, a temperature such as 5000K, or x,y such as 0.3127,0.3290"
# The daylight formula holds from 4000 to 25000 K; below 1000 K nothing glows white.
_COOLEST_K, _DAYLIGHT_FROM_K, _HOTTEST_K = 1000.0, 4000.0, 25000.0


def parse_white(text: str, where: str = "white") -> tuple[float, float]:
    """Return the CIE 1931 chromaticity of a white: ``D65``, ``D50``, ``5000K`` or ``0.31,0.33``.

    From 4000 K up a temperature means daylight, below it a glowing body.

    Parameters
    ----------
    text : str
        A CIE illuminant's name, a correlated colour temperature [K] or x,y.
    where : str
        The option or field, for the message.

    Raises
    ------
    QuantityError
        Unknown name, temperature outside 1000 to 25000 K, or x,y that no light has.

    Examples
    --------
    >>> parse_white("D65")
    (0.3127, 0.329)
    """
    word = text.strip()
    if word.upper() in WHITES_XY:
        return WHITES_XY[word.upper()]
    if match := _TEMPERATURE.fullmatch(word):
        return _temperature_xy(float(match[1]), where)
    if match := _PAIR.fullmatch(word):
        x, y = float(match[1]), float(match[2])
        # Loosely round the chromaticity diagram's middle; beyond it nobody calls a light white, and below y = 0.19
        # there is no correlated colour temperature to take its spectrum by.
        if not (0.15 <= x <= 0.65 and 0.2 <= y <= 0.6 and x + y < 1):
            raise QuantityError(where, f"x,y = {x:g},{y:g} is not a white", _FORMS)
        return x, y
    raise QuantityError(where, f"'{text}' is not a known white", _nearest_form(word))


def white_xyz(text: str, where: str = "white") -> NDArray[np.float64]:
    """Return XYZ (Y = 1) of a white as `parse_white` reads it; D50 is the printers' (ICC) one.

    Raises
    ------
    QuantityError
        As `parse_white`.
    """
    if text.strip().upper() == "D50":
        return D50_ICC_XYZ
    return xyz_of_xy(parse_white(text, where))


def observed_white_xyz(text: str, observer: str, where: str = "white") -> NDArray[np.float64]:
    """Return XYZ (Y = 1) of a white's light as a standard observer has it.

    The white is named by its CIE 1931 chromaticity; its light is taken to be daylight of that chromaticity, or
    below 4000 K a glowing body, and what the other observer makes of that spectrum is the white's change.

    Raises
    ------
    QuantityError
        As `parse_white`, and for x,y so far from white that daylight has no spectrum there.
    """
    white = white_xyz(text, where)
    if observer == "cie-1931-2":
        return white
    from marquee.colour.observer import mccamy_cct_k

    xy = (float(white[0] / white.sum()), float(white[1] / white.sum()))
    kelvin = max(mccamy_cct_k(xy), _COOLEST_K)

    def seen_by(name: str) -> NDArray[np.float64]:
        return (
            _daylight_xyz(xy, name) if kelvin >= _DAYLIGHT_FROM_K else _glowing_xyz(kelvin, name)
        )

    change = seen_by(observer) / seen_by("cie-1931-2")
    seen = np.asarray(white * change / change[1], float)
    if seen.min() < 0:  # daylight of a chromaticity far from white would take negative power
        raise QuantityError(where, f"'{text}' is no white to observer {observer}", _FORMS)
    return seen


def adaptation_matrix(
    from_white_xyz: ArrayLike, to_white_xyz: ArrayLike, method: str = "bradford"
) -> NDArray[np.float64]:
    """Return the (3, 3) matrix taking XYZ seen under one white to XYZ that looks alike under another.

    Parameters
    ----------
    from_white_xyz, to_white_xyz : (3,)
        The whites, both with Y = 1.
    method : str
        ``bradford`` as ICC profiles do (ICC.1:2022, annex E), or ``cat16`` (complete adaptation).
    """
    cones = _CONES[method]
    ratio = (cones @ np.asarray(to_white_xyz, float)) / (cones @ np.asarray(from_white_xyz, float))
    return np.asarray(np.linalg.solve(cones, ratio[:, None] * cones), float)


def _temperature_xy(kelvin: float, where: str) -> tuple[float, float]:
    if not _COOLEST_K <= kelvin <= _HOTTEST_K:
        raise QuantityError(
            where,
            f"{kelvin:g} K is outside {_COOLEST_K:g} to {_HOTTEST_K:g} K",
            "give a temperature in between, such as 5000K, or x,y",
        )
    t = 1000.0 / kelvin
    if kelvin >= _DAYLIGHT_FROM_K:
        # Daylight locus: CIE 15:2018, equations 4.1 to 4.3.
        if kelvin <= 7000:
            x = 0.244063 + 0.09911 * t + 2.9678 * t**2 - 4.6070 * t**3
        else:
            x = 0.237040 + 0.24748 * t + 1.9018 * t**2 - 2.0064 * t**3
        return x, -3.000 * x**2 + 2.870 * x - 0.275
    from marquee.colour.observer import planckian_xy

    return planckian_xy(kelvin)


def _daylight_xyz(xy: tuple[float, float], observer: str) -> NDArray[np.float64]:
    x, y = xy
    # CIE 15:2018, equations 4.4 and 4.5.
    shared = 0.0241 + 0.2562 * x - 0.7341 * y
    first = (-1.3515 - 1.7703 * x + 5.9114 * y) / shared
    second = (0.0300 - 31.4424 * x + 30.0717 * y) / shared
    return np.asarray(np.array([1.0, first, second]) @ DAYLIGHT_XYZ[observer], float)


def _glowing_xyz(kelvin: float, observer: str) -> NDArray[np.float64]:
    from marquee.colour.observer import colour_matching, glowing_power

    power = glowing_power(kelvin)
    return np.asarray(power / power.max() @ colour_matching(observer), float)


def _nearest_form(word: str) -> str:
    if re.fullmatch(r"\d{4,5}", word):
        return f"for a temperature write {word}K"
    near = difflib.get_close_matches(word.upper(), WHITES_XY, n=1)
    return f"did you mean {near[0]}? {_FORMS}" if near else _FORMS
