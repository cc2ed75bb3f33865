"""What to show for a colour the part cannot make."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.quantise import offsets
from marquee.colour.solve import Emitters, can_make, least_current
from marquee.colour.spaces import oklab_to_xyz, xyz_to_lab, xyz_to_oklab

OutOfGamut = Literal["hue", "nearest"]
_BISECTIONS = 40  # 2⁻⁴⁰ of the chroma: below float noise of the drives
_SHRINKS = 24  # halvings of the pattern search's first step, down to 1e-8 of full drive


def bring_in(xyz: NDArray[np.float64], part: Emitters, mode: OutOfGamut) -> NDArray[np.float64]:
    """Return colours (z, 3) like `xyz` whose chromaticities the part can make.

    Parameters
    ----------
    xyz : (z, 3)
        Relative to the white, D65, Y = 1.
    mode : str
        ``hue`` lowers the chroma at constant Oklab lightness and hue; ``nearest`` takes the least CIEDE2000.
    """
    out = ~can_make(xyz, part, any_brightness=True)
    made = xyz.copy()
    if out.any():
        made[out] = lower_chroma(xyz[out], part)
        if mode == "nearest":
            made[out] = nearest(xyz[out], part, unlimited_drives(made[out], part))
    return made


def lower_chroma(xyz: NDArray[np.float64], part: Emitters) -> NDArray[np.float64]:
    """Return the colours (z, 3) of most chroma, at the same Oklab lightness and hue, that the part can make."""
    oklab = xyz_to_oklab(xyz)
    low, high = np.zeros(len(xyz)), np.ones(len(xyz))
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        inside = can_make(_with_chroma(oklab, middle), part, any_brightness=True)
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return _with_chroma(oklab, low)


def unlimited_drives(xyz: NDArray[np.float64], part: Emitters) -> NDArray[np.float64]:
    """Return drives (z, n) that make lights (z, 3) where no upper limit binds, for colours in gamut."""
    tiny = 1e-3 * part.columns[:, 1].min() / max(float(np.abs(xyz).max()), 1e-12)
    return np.asarray(least_current(xyz * tiny, part) / tiny, float)


def nearest(
    xyz: NDArray[np.float64],
    part: Emitters,
    start: NDArray[np.float64],
    scale_cd: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Return the colours (z, 3) of least CIEDE2000 from `xyz` that the part can make.

    Parameters
    ----------
    xyz : (z, 3)
        Relative to the white.
    start : (z, n)
        Drives to set out from.
    scale_cd : (z,) or None
        Intensity [cd] of the white, with drives from 0 to 1; None where brightness is settled later: the
        white is then 1 cd and drives have no upper limit.

    Notes
    -----
    A pattern search over all 3ⁿ neighbours with halving steps: deterministic, without derivatives, which the
    difference lacks on its branch cuts.
    """
    unit = np.ones(len(xyz)) if scale_cd is None else scale_cd
    limit = np.inf if scale_cd is None else 1.0
    stencil = offsets(part.count, -1, 1)
    wanted = xyz_to_lab(xyz, D65_XYZ)
    best = start.copy()
    error = delta_e_2000(wanted, xyz_to_lab(best @ part.columns / unit[:, None], D65_XYZ))
    step = np.maximum(0.25 * best.max(axis=1), 1e-12)
    halvings = np.zeros(len(xyz), int)
    while (halvings < _SHRINKS).any():
        tries = np.clip(best[:, None, :] + step[:, None, None] * stencil, 0.0, limit)
        labs = xyz_to_lab(tries @ part.columns / unit[:, None, None], D65_XYZ)
        errors = delta_e_2000(wanted[:, None, :], labs)
        pick = errors.argmin(axis=1)
        rows = np.arange(len(xyz))
        better = errors[rows, pick] < error
        best = np.where(better[:, None], tries[rows, pick], best)
        error = np.where(better, errors[rows, pick], error)
        step = np.where(better, step, step / 2)
        halvings += ~better
    return np.asarray(best @ part.columns / unit[:, None], float)


def _with_chroma(oklab: NDArray[np.float64], share: NDArray[np.float64]) -> NDArray[np.float64]:
    return oklab_to_xyz(np.stack([oklab[:, 0], oklab[:, 1] * share, oklab[:, 2] * share], axis=-1))
