"""What is measured at the bench, and what becomes of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.errors import Finding
from marquee.values import TargetColour

Codes = tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MatchedPair:
    """A colour and the bytes (in channel order) that looked right for it.

    `brightness` is the share of full light the sign's white had meanwhile. `place` is file and line.
    """

    target: TargetColour
    codes: Codes
    place: str
    brightness: float = 1.0
    global_code: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A colorimeter's X, Y, Z (CIE 1931 2°, any unit, the same in a whole file) while bytes were shown."""

    codes: Codes
    xyz: tuple[float, float, float]
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurrentReading:
    """The supply current [A] of `leds` LEDs showing the same bytes."""

    codes: Codes
    leds: int
    current_a: float
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelBalance:
    """Logarithms of red, green and blue light over the data sheet's, against their mean, with their covariance."""

    log_gain: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    place: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Posterior:
    """The fitted figures of a part's n channels: log gains, peak shifts [nm], log exponents, in that order (3n,).

    `covariance` (3n, 3n) is what the data left open around them.
    """

    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]

    @property
    def sd(self) -> NDArray[np.float64]:
        """Standard deviations (3n,); those of gains are against the channels' mean, all a sign shows."""
        n = len(self.mean) // 3
        to_mean = np.eye(3 * n)
        to_mean[:n, :n] -= 1 / n
        return np.sqrt(np.diag(to_mean @ self.covariance @ to_mean.T))


@dataclass(frozen=True, slots=True, kw_only=True)
class PairResidual:
    """How far a pair's bytes, shown by the calibrated part, lie from its colour.

    Lightness counts relative to the other pairs. `expected_delta_e_2000` comes from a fit without this pair,
    `sigmas` says how improbable that is, `before_delta_e_2000` what the data sheet alone gives. The u′v′ are the colour's, and
    the bytes' by the data sheet and by the fit, as seen under D65.
    """

    place: str
    name: str
    before_delta_e_2000: float
    after_delta_e_2000: float
    expected_delta_e_2000: float
    sigmas: float
    wanted_uv: tuple[float, float]
    before_uv: tuple[float, float]
    after_uv: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PairFit:
    """A fit to matched pairs with its residuals and what the maker should know of them."""

    posterior: Posterior
    residuals: tuple[PairResidual, ...]
    findings: tuple[Finding, ...] = ()
