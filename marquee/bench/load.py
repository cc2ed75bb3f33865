"""Supply currents measured at the bench to the part's own: channels at full drive, and dark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.bench.values import CurrentReading
from marquee.colour.calibrated import response_tables
from marquee.errors import Finding, TableError
from marquee.values import Part

# Prior: sheets and meters of one part differ by a third in channel current, dark current by a factor of two.
_CHANNEL_SD, _DARK_SD = 0.3, 0.7
# A bench meter with its leads, or a plug-in meter over a supply of stated efficiency: common practice, no source.
_READING_SD = 0.03
_OUTLIER = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadFit:
    """Currents [A] of one LED: each channel at full drive, and dark."""

    channel_current_a: tuple[float, ...]
    dark_current_a: float
    findings: tuple[Finding, ...] = ()


def fit_currents(rows: Sequence[CurrentReading], part: Part) -> LoadFit:
    """Return the currents of one LED that explain the readings, the part's figures being the prior.

    Raises
    ------
    TableError
        The part states no currents to set out from.
    """
    from scipy.optimize import least_squares

    if part.channel_current_a is None:
        raise TableError(
            f"part {part.name}",
            "states no channel currents to set out from",
            "put published figures in a part file of your own",
        )
    n = len(part.channels)
    tables = response_tables(part)
    codes = np.array([row.codes for row in rows], int)
    light = tables[np.arange(n), codes]
    leds = np.array([row.leds for row in rows], float)
    seen = np.array([row.current_a for row in rows])
    start = np.log([*part.channel_current_a, max(part.dark_current_a or 0.001, 1e-5)])
    prior_sd = np.array([_CHANNEL_SD] * n + [_DARK_SD])

    def expected(unknown: NDArray[np.float64]) -> NDArray[np.float64]:
        drawn = light * np.exp(unknown[:n])
        lit = drawn.max(axis=1) if part.current_law == "largest" else drawn.sum(axis=1)
        return np.asarray(leds * (lit + np.exp(unknown[n])), float)

    sd = np.maximum(_READING_SD * seen, 0.002)

    def residuals(unknown: NDArray[np.float64]) -> NDArray[np.float64]:
        off = (expected(unknown) - seen) / sd
        soft = np.sign(off) * np.sqrt(2 * (np.sqrt(1 + off**2) - 1))
        return np.concatenate([soft, (unknown - start) / prior_sd])

    found = least_squares(residuals, start)
    off = (expected(found.x) - seen) / sd
    findings = tuple(
        Finding(
            code="bench.current-outlier",
            where=row.place,
            message=f"{row.current_a:.3g} A where the other rows say {model:.3g} A: measured with these bytes on all "
            f"{row.leds} LEDs?",
        )
        for row, model, far in zip(rows, expected(found.x), off, strict=True)
        if abs(far) > _OUTLIER
    )
    values = np.exp(found.x)
    return LoadFit(
        channel_current_a=tuple(round(float(v), 6) for v in values[:n]),
        dark_current_a=round(float(values[n]), 6),
        findings=findings,
    )
