"""LED part → emission: XYZ of each channel at full drive, from the data sheet's figures.

A sheet states the dominant wavelength, which is neither the peak nor the chromaticity: the LED's spectrum is
taken to have Ohno's shape, and its peak is solved so that the dominant wavelength (white E, CIE 1931 2°) is the
sheet's. Integration runs over packaged 1 nm tables with numpy alone, the same way for packaged parts and a
maker's own, so that no generated copy of a part can become stale.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import xyz_of_xy
from marquee.colour.observer import (
    DEFAULT_OBSERVER,
    colour_matching,
    locus_xyz,
    mccamy_cct_k,
    phosphor_ratio,
    wavelengths_nm,
)
from marquee.colour.spaces import triple
from marquee.errors import TableError
from marquee.values import Emission, Part

# FWHM of (g + 2 g⁵)/3 with g = exp(−((λ−λ₀)/w)²), in units of w: solves (g + 2 g⁵)/3 = 1/2.
FWHM_PER_WIDTH = 0.9218231
_SEARCH_NM = np.linspace(-40.0, 60.0, 101)
_BISECTIONS = 48


def emission(part: Part, observer: str = DEFAULT_OBSERVER) -> Emission:
    """Return what each channel of a part emits at full drive, Y being its intensity on axis [cd].

    The spectrum is scaled so that its luminous intensity, which is defined with CIE 1931's ȳ, is the
    part's; another observer then integrates that same spectrum, so its Y differs. A W die has no published
    spectrum: its chromaticity is kept and moved to other observers as CIE 15:2018's phosphor LEDs move.

    Parameters
    ----------
    part : Part
        With `intensity_cd`, and `dominant_nm` and `fwhm_nm` for R, G, B or `white_xy` for W.
    observer : str
        ``cie-1931-2``, ``cie-2015-2`` or ``cie-2015-10``.

    Raises
    ------
    TableError
        The part lacks a figure this needs (the message names the keys), or has impossible ones.
    QuantityError
        Unknown observer.
    """
    missing = missing_for_emission(part)
    if missing or part.intensity_cd is None:
        raise TableError(
            f"part {part.name}",
            f"has no {', '.join(missing)}, so its colour cannot be computed",
            f'put measured or published figures in a part file of your own (based_on = "{part.name}")',
        )
    if part.calibrated is not None:
        from marquee.colour.calibrated import calibrated_xyz

        rows = [*calibrated_xyz(part, observer)]
    else:
        rows = [
            _channel_xyz(part, number, observer) * cd
            for number, cd in enumerate(part.intensity_cd)
        ]
    return Emission(observer=observer, xyz_cd=tuple(triple(row) for row in rows))


def missing_for_emission(part: Part) -> tuple[str, ...]:
    """Return the keys of a part's file without which its emission is unknown; empty when all are there."""
    wanted: list[str] = []
    for channel in part.channels:
        letter = channel.lower()
        wanted += [f"intensity_{letter}_mcd"] if part.intensity_cd is None else []
        if channel == "W":
            wanted += ["white_xy"] if part.white_xy is None else []
        else:
            wanted += [f"dominant_{letter}_nm"] if part.dominant_nm is None else []
            wanted += [f"fwhm_{letter}_nm"] if part.fwhm_nm is None else []
    return tuple(key for key in wanted if key not in part.figures)


def led_spectrum(peak_nm: float | NDArray[np.float64], fwhm_nm: float) -> NDArray[np.float64]:
    """Return relative power (471,) of an LED on the 1 nm grid: Ohno, Opt. Eng. 44(11) 111302 (2005).

    Parameters
    ----------
    peak_nm, fwhm_nm : float
        Peak wavelength and full width at half maximum [nm]; a column of peaks (n, 1) gives a row of power for each.
    """
    g = np.exp(-(((wavelengths_nm() - peak_nm) / (fwhm_nm / FWHM_PER_WIDTH)) ** 2))
    return np.asarray((g + 2.0 * g**5) / 3.0, float)


@lru_cache(maxsize=512)
def peak_for_dominant(dominant_nm: float, fwhm_nm: float) -> float:
    """Return the peak [nm] that gives an LED its dominant wavelength (white E, CIE 1931 2°).

    Raises
    ------
    TableError
        No LED of that width has that dominant wavelength.
    """
    locus = locus_xyz(np.array(dominant_nm), DEFAULT_OBSERVER)
    wanted = locus[:2] / locus.sum() - 1 / 3

    def sides(peak_nm: NDArray[np.float64]) -> NDArray[np.float64]:
        xyz = led_spectrum(peak_nm[:, None], fwhm_nm) @ colour_matching(DEFAULT_OBSERVER)
        seen = xyz[:, :2] / xyz.sum(axis=1, keepdims=True) - 1 / 3
        cross = wanted[0] * seen[:, 1] - wanted[1] * seen[:, 0]
        return np.stack([cross, seen @ wanted])

    # Along the spectrum the direction from E turns one way, so the sign of the cross product tells which
    # side of the wanted direction a peak lies; a dot product above 0 keeps out the opposite direction.
    peaks = dominant_nm + _SEARCH_NM
    cross, dot = sides(peaks)
    turns = (cross[:-1] >= 0) & (cross[1:] < 0) & (dot[:-1] > 0) & (dot[1:] > 0)
    if not turns.any():
        raise TableError(
            f"dominant wavelength {dominant_nm:g} nm",
            f"no LED {fwhm_nm:g} nm wide at half maximum has it",
            "check the wavelength and the width",
        )
    first = int(turns.argmax())
    low, high = float(peaks[first]), float(peaks[first + 1])
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if sides(np.array([middle]))[0, 0] >= 0 else (low, middle)
    return (low + high) / 2


def _channel_xyz(part: Part, number: int, observer: str) -> NDArray[np.float64]:
    """Return X, Y, Z (3,) of a channel at full drive, Y = 1 for CIE 1931."""
    if part.channels[number] == "W":
        return white_die_xyz(part, observer)
    assert part.dominant_nm is not None  # noqa: S101 -- checked by missing_for_emission
    assert part.fwhm_nm is not None  # noqa: S101
    fwhm_nm = part.fwhm_nm[number]
    power = led_spectrum(peak_for_dominant(part.dominant_nm[number], fwhm_nm), fwhm_nm)
    luminous = float(power @ colour_matching(DEFAULT_OBSERVER)[:, 1])
    return np.asarray(power @ colour_matching(observer) / luminous, float)


def white_die_xyz(part: Part, observer: str) -> NDArray[np.float64]:
    """Return X, Y, Z (3,) of a part's W die at full drive, Y = 1 for CIE 1931; it must state `white_xy`."""
    assert part.white_xy is not None  # noqa: S101 -- checked by missing_for_emission
    return xyz_of_xy(part.white_xy) * phosphor_ratio(mccamy_cct_k(part.white_xy), observer)
