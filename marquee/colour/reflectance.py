"""A measured reflectance spectrum to a target colour, for those who have a spectrophotometer's row."""

from __future__ import annotations

import os

import numpy as np
from numpy.typing import ArrayLike, NDArray

from marquee.colour.target import target_from_xyz
from marquee.errors import QuantityError
from marquee.values import TargetColour

# Illuminants a reflectance may be seen under, as tables of CIE 15:2018.
ILLUMINANTS = ("D50", "D65")
# Instruments of the trade give 380–730 or 400–700 nm; less leaves out colour, and beyond nothing is seen.
_NEEDED_NM = (400.0, 700.0)
_STEP_NM = 20.0


def target_from_reflectance(
    wavelength_nm: ArrayLike,
    reflectance: ArrayLike,
    name: str,
    where: str,
    *,
    illuminant: str = "D50",
) -> TargetColour:
    """Return the target of a surface measured by a spectrophotometer, seen under D50 as print is.

    Parameters
    ----------
    wavelength_nm : (n,)
        Rising, from 400 nm or below to 700 nm or above, at most 20 nm apart.
    reflectance : (n,)
        Share of light reflected, 0 to 1 (a little above with optical brighteners).
    name, where : str
        The colour's name and the option or field, for messages.
    illuminant : str
        ``D50`` (print viewing, ISO 3664:2009) or ``D65``.

    Raises
    ------
    QuantityError
        Wavelengths that do not cover the visible range or do not rise, or reflectances out of range.

    Notes
    -----
    Integrated by colour-science at 1 nm with the CIE 1931 2° observer, ends held, as ASTM E308 does.
    """
    wavelength, share = _numbers(wavelength_nm, where), _numbers(reflectance, where)
    _check(wavelength, share, where)
    if illuminant not in ILLUMINANTS:
        raise QuantityError(
            where,
            f"'{illuminant}' is not an illuminant for a spectrum",
            f"use {' or '.join(ILLUMINANTS)}",
        )
    light, observer, nm = _tables(illuminant)
    seen = np.interp(nm, wavelength, share) * light
    xyz = seen @ observer / (light @ observer[:, 1])
    white = light @ observer / (light @ observer[:, 1])
    xy = f"{white[0] / white.sum():.9f},{white[1] / white.sum():.9f}"
    return target_from_xyz(xyz, xy, name, where)


def _numbers(values: ArrayLike, where: str) -> NDArray[np.float64]:
    try:
        return np.asarray(values, float)
    except (TypeError, ValueError):
        raise QuantityError(
            where, "a spectrum is not a row of numbers", "give them like [0.04, 0.05, 0.07]"
        ) from None


def _check(wavelength: NDArray[np.float64], share: NDArray[np.float64], where: str) -> None:
    if wavelength.ndim != 1 or wavelength.shape != share.shape or len(wavelength) < 2:
        raise QuantityError(
            where,
            f"{wavelength.size} wavelengths for {share.size} reflectances",
            "give one reflectance for each wavelength",
        )
    steps = np.diff(wavelength)
    if not (np.isfinite(wavelength).all() and steps.min() > 0 and steps.max() <= _STEP_NM):
        raise QuantityError(
            where,
            "wavelengths do not rise in steps of 20 nm or less",
            "give them in order, such as 400, 410, … 700",
        )
    if wavelength[0] > _NEEDED_NM[0] or wavelength[-1] < _NEEDED_NM[1]:
        raise QuantityError(
            where,
            f"{wavelength[0]:g} to {wavelength[-1]:g} nm leaves out visible light",
            "give 400 to 700 nm at least",
        )
    if not (np.isfinite(share).all() and share.min() >= 0 and share.max() <= 1.5):
        raise QuantityError(
            where,
            f"reflectances from {share.min():g} to {share.max():g}",
            "give shares from 0 to 1, not percent",
        )


def _tables(
    illuminant: str,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    os.environ.setdefault("COLOUR_SCIENCE__FILTER_USAGE_WARNINGS", "1")
    import colour

    from marquee.colour.observer import colour_matching, wavelengths_nm

    table = colour.SDS_ILLUMINANTS[illuminant]
    nm = wavelengths_nm()
    light = np.interp(nm, table.wavelengths, table.values)
    return np.asarray(light, float), colour_matching("cie-1931-2"), nm
