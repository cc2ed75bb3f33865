"""Gradients, and the crumbs that lossy compression breaks off them: small, flat, and of one of their colours."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.flat import TOL_CALM, Flatness

# Lossy compression reaches two of its blocks far where colour is kept at half resolution (ITU-T T.81, 4:2:0).
_NEAR_PX = 16
# A crumb has at most so much of its gradient's area.
_CRUMB_SHARE = 0.05
_MOST_CRUMBS = 4000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ramp:
    """Regions over which one gradient runs, its two ends and middle in codes, and some colours `on_it` (n, 3)."""

    regions: tuple[int, ...]
    start_rgb: NDArray[np.float64]
    end_rgb: NDArray[np.float64]
    middle_rgb: NDArray[np.float64]
    on_it: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 3)))


def gather_crumbs(ramps: list[Ramp], flat: Flatness, free: NDArray[np.bool_]) -> list[Ramp]:
    """Return the gradients with the crumbs near them; in a calm picture there are none.

    Parameters
    ----------
    ramps : list of Ramp
    flat : Flatness
    free : (regions,) bool
        Regions not yet face or otherwise taken.
    """
    if flat.tol <= TOL_CALM:
        return ramps
    taken = np.zeros(len(flat.count), bool)
    for ramp in ramps:
        taken[list(ramp.regions)] = True
    grown = []
    for ramp in ramps:
        own = np.zeros(len(flat.count), bool)
        own[list(ramp.regions)] = True
        most = _CRUMB_SHARE * flat.count[own].sum()
        small = np.flatnonzero(free & ~taken & (flat.count <= most))
        small = small[np.argsort(-flat.count[small], kind="stable")][:_MOST_CRUMBS]
        off = np.abs(flat.mean[small][:, None] - ramp.on_it[None]).max(axis=2)
        small = small[off.min(axis=1, initial=np.inf) <= flat.tol + 16.0]
        crumbs = [r for r in small.tolist() if _is_near(flat, r, own)]
        taken[crumbs] = True
        grown.append(replace(ramp, regions=tuple(sorted((*ramp.regions, *crumbs)))))
    return grown


def _is_near(flat: Flatness, region: int, own: NDArray[np.bool_]) -> bool:
    """Return whether one of the chosen regions comes near."""
    x, y, w, h = (int(v) for v in flat.box[region])
    top, left = max(0, y - _NEAR_PX), max(0, x - _NEAR_PX)
    around = flat.region_of_px[top : y + h + _NEAR_PX, left : x + w + _NEAR_PX]
    return bool(own[around].any())
