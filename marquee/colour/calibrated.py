"""What a part emits once a bench has told its gains, peaks and responses: the model the calibration is fitted in.

Each channel keeps its data sheet's spectral shape and width; its intensity, its peak and the power its response
is raised to are moved. The same model gives the emission, the spread that is left, and the fit itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.colour.observer import DEFAULT_OBSERVER, colour_matching
from marquee.errors import TableError
from marquee.values import Part

Array = NDArray[np.float64]


def shifted_xyz(part: Part, observer: str, shift_nm: Array) -> Array:
    """Return XYZ [cd] (…, n, 3) of each channel at full drive, at the part's own intensity, with shifted peaks.

    Parameters
    ----------
    part : Part
        With intensities, wavelengths and widths; a colorimeter's factors in `calibrated` are applied.
    observer : str
        Name of a standard observer.
    shift_nm : (…, n)
        How far each channel's peak is moved; ignored for a W die, whose spectrum is not published.

    Raises
    ------
    TableError
        The part lacks a figure this needs.
    """
    from marquee.colour.emission import (
        led_spectrum,
        missing_for_emission,
        peak_for_dominant,
        white_die_xyz,
    )

    missing = missing_for_emission(part)
    if missing or part.intensity_cd is None:
        raise TableError(
            f"part {part.name}",
            f"has no {', '.join(missing)}, so a bench has nothing to start from",
            f'put measured or published figures in a part file of your own (based_on = "{part.name}")',
        )
    shift = np.asarray(shift_nm, float)
    out = np.empty((*shift.shape, 3))
    for number, channel in enumerate(part.channels):
        if channel == "W":
            out[..., number, :] = white_die_xyz(part, observer)
            continue
        assert part.dominant_nm is not None  # noqa: S101 -- checked by missing_for_emission
        assert part.fwhm_nm is not None  # noqa: S101
        fwhm_nm = part.fwhm_nm[number]
        peak_nm = peak_for_dominant(part.dominant_nm[number], fwhm_nm) + shift[..., number]
        power = led_spectrum(peak_nm[..., None], fwhm_nm)
        luminous = power @ colour_matching(DEFAULT_OBSERVER)[:, 1]
        out[..., number, :] = power @ colour_matching(observer) / luminous[..., None]
    out *= np.array(part.intensity_cd)[:, None]
    if part.calibrated is not None and part.calibrated.meter_xyz is not None:
        out *= np.array(part.calibrated.meter_xyz)
    return out


def calibrated_xyz(part: Part, observer: str) -> Array:
    """Return XYZ [cd] (n, 3) of each channel of a calibrated part at full drive."""
    assert part.calibrated is not None  # noqa: S101 -- the caller asked first
    columns = shifted_xyz(part, observer, np.array(part.calibrated.peak_shift_nm))
    return np.asarray(columns * np.exp(part.calibrated.log_gain)[:, None], float)


def posterior_samples(part: Part, observer: str, count: int, seed: int) -> tuple[Array, Array]:
    """Return columns (count, n, 3) [cd] and log exponents (count, n) drawn from what the bench left open.

    The exponents are relative to the calibrated ones.
    """
    known = part.calibrated
    assert known is not None  # noqa: S101 -- the caller asked first
    n = len(part.channels)
    rng = np.random.default_rng(seed)
    values, vectors = np.linalg.eigh(np.array(known.covariance))
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = rng.standard_normal((count, 3 * n)) @ root.T
    shift = np.array(known.peak_shift_nm) + drawn[:, n : 2 * n]
    gain = np.exp(np.array(known.log_gain) + drawn[:, :n])
    return shifted_xyz(part, observer, shift) * gain[..., None], drawn[:, 2 * n :]


def response_tables(part: Part) -> Array:
    """Return the light (n, 256) of each code, channel by channel."""
    return np.array(part.responses, float)
