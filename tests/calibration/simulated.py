"""Benches made up of a part as one may get it and an eye that matches colours on it, outliers included.

The true part is drawn around the data sheet: gains sd 20 %, peaks sd 1.5, 3 and 1.5 nm, spectral widths sd 8 %,
exponents sd 4 %. Its spectra are integrated by colour-science's Ohno LED and CIE 1931 tables, not by the code under
test. The eye errs by sd 0.006 in u′ and v′ and 15 % in luminance; a tenth of the pairs has one byte set anywhere.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from marquee.bench.values import MatchedPair
from marquee.colour.constants import D65_XYZ
from marquee.colour.parts import load_part
from marquee.colour.target import target_from_text
from marquee.values import Part, TargetColour

Array = NDArray[np.float64]
GAIN_SD, PEAK_SD_NM, WIDTH_SD, EXPONENT_SD = 0.2, (1.5, 3.0, 1.5), 0.08, 0.04
EYE_UV, EYE_LN_Y, OUTLIERS = 0.006, 0.15, 0.1


@cache
def _colour_science() -> tuple[Array, Array]:
    os.environ["COLOUR_SCIENCE__FILTER_USAGE_WARNINGS"] = "1"
    import colour

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    cmfs = cmfs.align(colour.SpectralShape(360, 830, 1))
    return np.asarray(cmfs.wavelengths, float), np.asarray(cmfs.values, float)


def led_xyz(peak_nm: float, fwhm_nm: float) -> Array:
    """XYZ with Y = 1 of Ohno's LED, by colour-science's table of the observer."""
    wavelength, bars = _colour_science()
    # Ohno (2005): (g + 2 g^5) / 3; its half width parameter is FWHM / 0.9218.
    g = np.exp(-(((wavelength - peak_nm) / (fwhm_nm / 0.92182)) ** 2))
    xyz = ((g + 2 * g**5) / 3) @ bars
    return np.asarray(xyz / xyz[1], float)


@dataclass(frozen=True, kw_only=True, eq=False)
class TruePart:
    """What the maker has in hand: XYZ [cd] (3, 3) at full drive and the light (3, 256) of each byte."""

    columns: Array
    light: Array

    def emits(self, codes: Array) -> Array:
        return np.asarray(self.light[np.arange(3), codes] @ self.columns, float)

    def codes_for(self, xyz_cd: Array) -> Array:
        """Return the bytes nearest in light, channel by channel, clipped where they would have to be beyond."""
        drive = np.clip(xyz_cd @ np.linalg.inv(self.columns), 0, 1)
        return np.array([np.abs(self.light[c] - drive[c]).argmin() for c in range(3)])


def true_part(nominal: Part, rng: np.random.Generator) -> TruePart:
    from marquee.colour.emission import peak_for_dominant

    assert nominal.intensity_cd is not None
    assert nominal.dominant_nm is not None
    assert nominal.fwhm_nm is not None
    columns = np.empty((3, 3))
    for c in range(3):
        peak = peak_for_dominant(nominal.dominant_nm[c], nominal.fwhm_nm[c])
        peak += rng.normal(0, PEAK_SD_NM[c])
        width = nominal.fwhm_nm[c] * np.exp(rng.normal(0, WIDTH_SD))
        gain = np.exp(rng.normal(0, GAIN_SD))
        columns[c] = led_xyz(peak, width) * nominal.intensity_cd[c] * gain
    exponent = np.exp(rng.normal(0, EXPONENT_SD, 3))
    return TruePart(columns=columns, light=np.array(nominal.response) ** exponent[:, None])


def random_targets(count: int, rng: np.random.Generator) -> list[TargetColour]:
    """Colours as signs have them: sRGB hues of some chroma, mid to full lightness."""
    found: list[TargetColour] = []
    while len(found) < count:
        rgb = rng.integers(0, 256, 3)
        text = f"#{rgb[0]:02x}{rgb[1]:02x}{rgb[2]:02x}"
        target = target_from_text(text, text, "test")
        if target.lab_d65[0] > 25:
            found.append(target)
    return found


def perturbed(xyz: Array, rng: np.random.Generator) -> Array:
    """Return the colour an eye settles on instead of `xyz`."""
    total = xyz[0] + 15 * xyz[1] + 3 * xyz[2]
    u = 4 * xyz[0] / total + rng.normal(0, EYE_UV)
    v = 9 * xyz[1] / total + rng.normal(0, EYE_UV)
    Y = xyz[1] * np.exp(rng.normal(0, EYE_LN_Y))  # noqa: N806
    return np.asarray(np.array([9 * u / (4 * v), 1.0, (12 - 3 * u - 20 * v) / (4 * v)]) * Y)


def white_cd(columns: Array) -> float:
    """Return the most of D65 that the columns can give [cd]."""
    return float(1 / (D65_XYZ @ np.linalg.inv(columns)).max())


def matched(
    true: TruePart,
    targets: list[TargetColour],
    rng: np.random.Generator,
    outliers: float = OUTLIERS,
) -> list[MatchedPair]:
    """Return the pairs an eye finds on the part, under a white of 80 % of what it can give."""
    level = 0.8 * white_cd(true.columns)
    pairs = []
    for number, target in enumerate(targets, 1):
        codes = true.codes_for(perturbed(np.array(target.xyz), rng) * level)
        if rng.uniform() < outliers:
            codes[rng.integers(0, 3)] = rng.integers(0, 256)
        pairs.append(
            MatchedPair(
                target=target, codes=tuple(int(c) for c in codes), place=f"pairs.csv:{number + 1}"
            )
        )
    return pairs


@cache
def linear_part() -> Part:
    """Return the classic part's data-sheet figures with light in proportion to the byte."""
    return replace(load_part("ws2812b"), response=tuple(n / 255 for n in range(256)))
