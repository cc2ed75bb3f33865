"""The camera's curve: coded values to light, from photographs of ramps, or taken as the sRGB curve.

The ramps' relative light is known from the part's response. OpenCV's form of Debevec and Malik (SIGGRAPH 1997) solves
for the curve; it is then made to rise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from marquee.colour.spaces import srgb_decode
from marquee.photo.values import Array, Curve, Singles

_VALUES = np.arange(256) / 255
# Places looked at on every ramp photograph, and how stiff the curve is (OpenCV's default of 10 is for 0 to 255).
_SAMPLES, _STIFFNESS = 240, 30.0
# Coded values trusted: below lies noise, above burnt light.
_LOW, _HIGH = 10, 248
# Fewer trusted values than this on all ramps of a channel tell no curve.
_LEAST_RANGE = 80


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ramp:
    """A ramp's photograph where the face is lit: coded (n, 3), 0 to 1, and its light (3,) relative to full code."""

    code: int
    coded: Singles
    light: Array


def srgb_curve() -> Curve:
    """Return the curve of IEC 61966-2-1, for phones nothing is known of."""
    return Curve(table=np.repeat(srgb_decode(_VALUES)[None], 3, axis=0), source="sRGB")


def linear_curve() -> Curve:
    """Return no curve, for raw files."""
    return Curve(table=np.repeat(_VALUES[None], 3, axis=0), source="linear")


def curve_from_ramps(ramps: Sequence[Ramp]) -> Curve | None:
    """Return the camera's curve as ramps tell it; None where they cover too little of it.

    Parameters
    ----------
    ramps : sequence of Ramp
        The same places of the face at several codes; two at least.
    """
    ramps = sorted(ramps, key=lambda ramp: ramp.code)
    if len(ramps) < 2:
        return None
    tables = [_channel(ramps, channel) for channel in range(3)]
    told = [table for table in tables if table is not None]
    if not told:
        return None
    # A channel that stayed too dim takes the mean of the others: the three share one tone curve in most phones.
    mean = np.mean(told, axis=0)
    table = np.stack([mean if one is None else one for one in tables])
    curve = Curve(table=table, source="ramps", ramps=tuple(ramp.code for ramp in ramps))
    return Curve(table=table, source="ramps", ramps=curve.ramps, spread=_spread(ramps, curve))


def linearised(coded: Singles, curve: Curve) -> Singles:
    """Return light (…, 3) of coded values (…, 3), 0 to 1, by the curve."""
    out = np.empty(coded.shape, np.float32)
    for channel in range(3):
        out[..., channel] = np.interp(coded[..., channel], _VALUES, curve.table[channel])
    return out


def _channel(ramps: Sequence[Ramp], channel: int) -> Array | None:
    stack = np.stack([ramp.coded[:, channel] for ramp in ramps]) * 255
    light = np.array([ramp.light[channel] for ramp in ramps])
    # Places that are of use on two ramps at least, evenly over their brightness.
    useful = ((stack > _LOW) & (stack < _HIGH)).sum(axis=0) >= 2
    if useful.sum() < _SAMPLES // 4 or np.ptp(light) <= 0:
        return None
    order = np.flatnonzero(useful)[np.argsort(stack[:, useful].mean(axis=0), kind="stable")]
    chosen = order[np.linspace(0, len(order) - 1, _SAMPLES).astype(int)]
    values = np.rint(np.clip(stack[:, chosen], 0, 255)).astype(np.uint8)
    used = values[(values > _LOW) & (values < _HIGH)]
    if np.ptp(used) < _LEAST_RANGE:
        return None
    # As one-channel pictures 24 places wide, which is how OpenCV picks them all.
    pictures = [np.ascontiguousarray(row.reshape(-1, 24)) for row in values]
    solver = cv2.createCalibrateDebevec(_SAMPLES, _STIFFNESS, False)
    found = np.asarray(solver.process(pictures, light.astype(np.float32)), float).ravel()
    return _rising(found, int(used.min()), int(used.max()))


def _rising(found: Array, low: int, high: int) -> Array:
    """Return the curve made to rise from nothing, carried on at both ends."""
    curve = np.maximum.accumulate(found)
    srgb = srgb_decode(_VALUES)
    # Beyond what was seen it goes on as a power of the sRGB curve, as it does in the upper part seen.
    inner = int(low + 0.5 * (high - low))
    power = np.log(curve[high] / curve[inner]) / np.log(srgb[high] / srgb[inner])
    curve[:low] = curve[low] * (srgb[:low] / max(srgb[low], 1e-9)) ** power
    curve[high + 1 :] = curve[high] * (srgb[high + 1 :] / srgb[high]) ** power
    return np.asarray(curve / curve[-1], float)


def _spread(ramps: Sequence[Ramp], curve: Curve) -> float:
    """Return by how much (rms of the logarithm) light ratios between ramps that follow each other are off."""
    off = []
    for first, second in pairwise(ramps):
        good = ((first.coded > _LOW / 255) & (second.coded < _HIGH / 255)).all(axis=1)
        if not good.any():
            continue
        a, b = (linearised(one.coded[good], curve) for one in (first, second))
        ratio = np.median(np.log(np.maximum(b, 1e-6) / np.maximum(a, 1e-6)), axis=0)
        off.append(ratio - np.log(second.light / first.light))
    return float(np.sqrt(np.mean(np.square(off)))) if off else 0.0
