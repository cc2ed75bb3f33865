"""Standard observers as 1 nm tables, and what follows from them: locus, Planckian whites, phosphor whites."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.errors import QuantityError
from marquee.tables.load import table_text
from marquee.values import read_only

DEFAULT_OBSERVER = "cie-1931-2"
# Second radiation constant [nm K]: CIE 15:2018, 4.1.3 note (ITS-90 value 1.4388e-2 m K).
_C2_NM_K = 1.4388e7


@lru_cache(maxsize=1)
def _tables() -> dict[str, Any]:
    tables: dict[str, Any] = json.loads(table_text("observers.json"))
    return tables


def observer_names() -> tuple[str, ...]:
    """Return the names of the observers there are tables of."""
    return tuple(_tables()["observers"])


@lru_cache(maxsize=8)
def colour_matching(observer: str) -> NDArray[np.float64]:
    """Return x̄, ȳ, z̄ (471, 3) from 360 nm to 830 nm in steps of 1 nm.

    Raises
    ------
    QuantityError
        Unknown observer.
    """
    row = _tables()["observers"].get(observer)
    if row is None:
        raise QuantityError(
            "observer", f"'{observer}' is not known", f"use {', '.join(observer_names())}"
        )
    return read_only(np.ascontiguousarray(np.array(row["xyz_bar"], float).T))


@lru_cache(maxsize=1)
def wavelengths_nm() -> NDArray[np.float64]:
    """Return the wavelengths of `colour_matching` [nm]."""
    first = float(_tables()["first_nm"])
    return read_only(first + np.arange(colour_matching(DEFAULT_OBSERVER).shape[0]))


def cubic_weights(t: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Return what the rows at −1, 0, 1 and 2 weigh at a place 0 ≤ t ≤ 1: Lagrange's cubic through the four."""
    return (
        -t * (t - 1) * (t - 2) / 6,
        (t + 1) * (t - 1) * (t - 2) / 2,
        -(t + 1) * t * (t - 2) / 2,
        (t + 1) * t * (t - 1) / 6,
    )


def locus_xyz(wavelength_nm: NDArray[np.float64], observer: str) -> NDArray[np.float64]:
    """Return XYZ (…, 3) of monochromatic light, cubic between the table's rows.

    Parameters
    ----------
    wavelength_nm : array
        362 nm to 828 nm.
    observer : str
        Name of a standard observer.
    """
    table = colour_matching(observer)
    place = np.asarray(wavelength_nm, float) - wavelengths_nm()[0]
    row = np.clip(np.floor(place).astype(int), 1, len(table) - 3)
    weights = cubic_weights((place - row)[..., None])
    return np.asarray(sum(w * table[row + k - 1] for k, w in enumerate(weights)), float)


def glowing_power(kelvin: float) -> NDArray[np.float64]:
    """Return the relative power of a glowing body on the 1 nm grid: Planck's law, CIE 15:2018, 4.1.3."""
    wavelength_nm = wavelengths_nm()
    return np.asarray(wavelength_nm**-5.0 / np.expm1(_C2_NM_K / (wavelength_nm * kelvin)), float)


def planckian_xy(cct_k: float) -> tuple[float, float]:
    """Return x, y (CIE 1931 2°) of a black body: Planck's law, CIE 15:2018, 4.1.3.

    Parameters
    ----------
    cct_k : float
        Temperature [K], 1,000 to 25,000.

    Raises
    ------
    QuantityError
        Temperature outside that.
    """
    if not 1000 <= cct_k <= 25000:
        raise QuantityError(
            "colour temperature", f"{cct_k:g} K is outside 1000 K to 25000 K", "correct it"
        )
    xyz = glowing_power(cct_k) @ colour_matching(DEFAULT_OBSERVER)
    return float(xyz[0] / xyz.sum()), float(xyz[1] / xyz.sum())


def phosphor_ratio(cct_k: float, observer: str) -> NDArray[np.float64]:
    """Return X, Y, Z (3,) an observer gives a phosphor white, over those of CIE 1931 2°.

    Between the five blue-pumped phosphor whites of CIE 15:2018 the ratio runs evenly in reciprocal
    temperature, beyond them it stays.
    """
    colour_matching(observer)  # refuses an unknown name
    phosphor = _tables()["phosphor"]
    mired = 1e6 / np.array(phosphor["cct_k"], float)[::-1]
    rows = np.array(phosphor["ratio"][observer], float)[::-1]
    return np.array([np.interp(1e6 / cct_k, mired, rows[:, axis]) for axis in range(3)])


def mccamy_cct_k(xy: tuple[float, float]) -> float:
    """Return the correlated colour temperature [K] near white: McCamy, Color Res. Appl. 17(2), 1992, 142–144."""
    n = (xy[0] - 0.3320) / (0.1858 - xy[1])
    return float(449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33)
