"""The measured part as a function of its unknowns: how matched bytes look, and how far that is from the colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from marquee.bench.values import MatchedPair
from marquee.colour.adapt import adaptation_matrix, observed_white_xyz
from marquee.colour.calibrated import response_tables, shifted_xyz
from marquee.colour.constants import D65_XYZ
from marquee.colour.observer import cubic_weights
from marquee.colour.spaces import xyz_to_uv_prime
from marquee.values import Part

Array = NDArray[np.float64]
# What a patient eye leaves of a match, in u′v′ and in ln Y: from memory, no source; they only weigh the data
# against the data sheet. Three just noticeable steps of 0.002, and 15 % in luminance beside another colour.
EYE_UV, EYE_LN_Y = 0.006, 0.15
# A channel at 0 may have been wanted below it: the match is then less sure. Ours, no source.
_CLIPPED = 2.0
_NO_WEIGHT = 1e-6
# Spacing of the table of peaks [nm], read with a cubic: within 1e-6 of the integral.
_STEP_NM = 0.5
_REACH_NM = 24.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """A part's columns for any peak shift, prepared once.

    `table` (n, m, 3) holds XYZ [cd], adapted to D65, of each channel for shifts from −24 to 24 nm;
    `light` (n, 256) the response before any exponent.
    """

    part: Part
    table: Array
    light: Array

    @property
    def channels(self) -> int:
        """Number of channels."""
        return len(self.table)

    def columns(self, theta: Array) -> Array:
        """Return XYZ [cd] (…, n, 3) at full drive for log gains, peak shifts and log exponents (…, 3n)."""
        n = self.channels
        place = (theta[..., n : 2 * n] + _REACH_NM) / _STEP_NM
        place = np.clip(place, 1, self.table.shape[1] - 3.001)
        row = place.astype(int)
        weights = cubic_weights((place - row)[..., None])
        at = np.arange(n)
        found = sum(w * self.table[at, row + k - 1] for k, w in enumerate(weights))
        return np.asarray(np.exp(theta[..., :n])[..., None] * found, float)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Matched pairs as arrays.

    Colours (m, 3), their u′v′ (m, 2), ln of light before exponents (m, n), global share (m,), and sd of u′v′ and
    of ln Y (m,).
    """

    xyz: Array
    uv: Array
    log_light: Array
    share: Array
    sd_uv: Array
    sd_ln_y: Array

    def only(self, kept: int) -> Rows:
        """Return one row."""
        return self.those(np.arange(len(self.xyz)) == kept)

    def reordered(self, order: Sequence[int]) -> Rows:
        """Return the rows with channel c showing what stood in column `order[c]`; responses are taken as alike."""
        return replace(self, log_light=self.log_light[:, list(order)])

    def but(self, left_out: int) -> Rows:
        """Return the rows without one."""
        return self.those(np.arange(len(self.xyz)) != left_out)

    def those(self, keep: NDArray[np.bool_]) -> Rows:
        """Return the rows for which `keep` is true."""
        return Rows(
            xyz=self.xyz[keep],
            uv=self.uv[keep],
            log_light=self.log_light[keep],
            share=self.share[keep],
            sd_uv=self.sd_uv[keep],
            sd_ln_y=self.sd_ln_y[keep],
        )


def bench_of(part: Part, observer: str = "cie-1931-2", white: str = "D65") -> Bench:
    """Return the part prepared for fitting, as it looks to an observer under a sign's white.

    Raises
    ------
    MarqueeError
        The part lacks the figures, or the white or observer is unknown.
    """
    shifts = np.arange(-_REACH_NM, _REACH_NM + _STEP_NM / 2, _STEP_NM)
    seen_white = observed_white_xyz(white, observer, "colour.white")
    to_d65 = np.linalg.inv(adaptation_matrix(D65_XYZ, seen_white)).T
    n = len(part.channels)
    table = shifted_xyz(part, observer, np.repeat(shifts[:, None], n, axis=1)) @ to_d65
    return Bench(
        part=part,
        table=np.ascontiguousarray(np.swapaxes(table, 0, 1)),
        light=response_tables(part),
    )


def rows_of(pairs: Sequence[MatchedPair], bench: Bench) -> Rows:
    """Return matched pairs as arrays; bytes at their limits count for less."""
    codes = np.array([pair.codes for pair in pairs], int).reshape(-1, bench.channels)
    xyz = np.array([np.multiply(pair.target.xyz, pair.brightness) for pair in pairs]).reshape(
        -1, 3
    )
    light = bench.light[np.arange(bench.channels), codes]
    share = [bench.part.global_share(pair.global_code) for pair in pairs]
    sd_uv = np.where((codes[:, :3] == 0).any(axis=1), _CLIPPED * EYE_UV, EYE_UV)
    # A channel at its top may have been wanted above it: lightness then says nothing.
    sd_ln_y = np.where((codes == 255).any(axis=1), EYE_LN_Y / _NO_WEIGHT, EYE_LN_Y)
    with np.errstate(divide="ignore"):
        log_light = np.log(light)
    return Rows(
        xyz=xyz,
        uv=xyz_to_uv_prime(xyz),
        log_light=log_light,
        share=np.array(share),
        sd_uv=sd_uv,
        sd_ln_y=sd_ln_y,
    )


def shown_xyz(theta: Array, rows: Rows, bench: Bench) -> Array:
    """Return XYZ [cd] (…, m, 3) of the pairs' bytes for log gains, peak shifts and log exponents (…, 3n)."""
    n = bench.channels
    powers = np.exp(theta[..., None, 2 * n : 3 * n])
    light = np.exp(rows.log_light * powers) * rows.share[:, None]
    return np.asarray(light @ bench.columns(theta), float)


def misfit(unknown: Array, rows: Rows, bench: Bench) -> Array:
    """Return Δu′, Δv′ and Δ ln Y (…, m, 3) in standard deviations.

    Parameters
    ----------
    unknown : (…, 3n + 1)
        Log gains, peak shifts, log exponents, and the logarithm of the white's intensity [cd].
    rows : Rows
        The pairs.
    bench : Bench
        The part.
    """
    shown = shown_xyz(unknown[..., :-1], rows, bench)
    uv = (xyz_to_uv_prime(shown) - rows.uv) / rows.sd_uv[:, None]
    wanted = np.log(np.maximum(rows.xyz[:, 1], 1e-9)) + unknown[..., -1:]
    luminance = (np.log(np.maximum(shown[..., 1], 1e-12)) - wanted) / rows.sd_ln_y
    return np.concatenate([uv, luminance[..., None]], axis=-1)
