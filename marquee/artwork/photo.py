"""Pictures that are not flat: noise smoothed away, photographs taken as one mixed area."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.edges import FACE
from marquee.artwork.face import DARK_LIGHTNESS, Face
from marquee.artwork.flat import Flatness, find_even, measure_regions
from marquee.artwork.ramps import Ramp
from marquee.artwork.scatter import scattered
from marquee.colour.constants import SRGB_TO_XYZ
from marquee.colour.spaces import srgb_8bit_to_xyz_d65
from marquee.errors import Finding

# With less than half its pixels flat a picture is smoothed; with less than a sixth left flat, it is a photograph.
_SMOOTH_BELOW, _PHOTO_BELOW = 0.5, 0.15
# Edges of large pictures are gone through one by one; so many cannot be artwork's.
_MOST_ROUGH_PX = 500_000
_MEDIAN_PX = 5
# A smoothed picture must gain so much to be taken instead.
_GAIN = 1.3
_BLUR_PX = 15
_SAMPLE = 20_000


def flat_share(flat: Flatness) -> float:
    """Return the share of the picture's pixels that lie in flat regions."""
    return float(np.count_nonzero(flat.region_of_px) / flat.region_of_px.size)


def calm_picture(
    srgb_8bit: NDArray[np.uint8],
) -> tuple[NDArray[np.uint8], Flatness, list[Finding]]:
    """Return the picture, smoothed where it is too noisy to have flat areas, its flatness, and a remark."""
    even = find_even(srgb_8bit)
    if even.share >= _SMOOTH_BELOW:
        return srgb_8bit, measure_regions(srgb_8bit, even), []
    smooth = np.asarray(cv2.medianBlur(srgb_8bit, _MEDIAN_PX), np.uint8)
    smooth_even = find_even(smooth)
    if smooth_even.share < _GAIN * even.share:
        return srgb_8bit, measure_regions(srgb_8bit, even), []
    message = (
        f"only {even.share:.0%} of the picture is flat: it was smoothed over {_MEDIAN_PX} pixels before its colours "
        "were read, which rounds corners and drops the thinnest strokes. Use the original artwork if you have it"
    )
    finding = Finding(code="zones.noisy", where="artwork", message=message)
    return smooth, measure_regions(smooth, smooth_even), [finding]


def is_photo(flat: Flatness) -> bool:
    """Return whether hardly anything of the picture is flat."""
    share = flat_share(flat)
    rough_px = (1 - share) * flat.region_of_px.size
    return share < _PHOTO_BELOW or (share < _SMOOTH_BELOW and rough_px > _MOST_ROUGH_PX)


def label_photo(
    srgb_8bit: NDArray[np.uint8], face: Face, label: int
) -> tuple[NDArray[np.uint8], Ramp, Finding]:
    """Return the pixels that are not dark, smoothed, under one label, their range of colours, and a remark."""
    blurred = np.asarray(cv2.blur(srgb_8bit, (_BLUR_PX, _BLUR_PX)), np.uint8)
    light = SRGB_TO_XYZ[1].astype(np.float32)
    table = srgb_8bit_to_xyz_d65(np.repeat(np.arange(256)[:, None], 3, axis=1))[:, 1]
    bright = sum(light[c] * table.astype(np.float32)[blurred[..., c]] for c in range(3))
    # CIE 15:2018, 8.2.1.1: L* = 903.3 Y for the darkest.
    lit = np.asarray(bright >= DARK_LIGHTNESS / 903.3).view(np.uint8)
    lit = cv2.morphologyEx(lit, cv2.MORPH_OPEN, np.ones((_BLUR_PX, _BLUR_PX), np.uint8))
    labels = np.where(lit == 1, label, FACE).astype(np.uint8)
    shown = blurred[labels != FACE]
    shown = shown[scattered(len(shown), len(shown) // _SAMPLE)]
    if not len(shown):
        shown = blurred.reshape(-1, 3)[:1]
    order = np.argsort(shown.astype(int).sum(axis=1), kind="stable")
    ends = [shown[order[int(q * (len(order) - 1))]].astype(float) for q in (0.02, 0.5, 0.98)]
    ramp = Ramp(regions=(), start_rgb=ends[0], middle_rgb=ends[1], end_rgb=ends[2])
    message = (
        "hardly anything in the picture is flat, as in a photograph: all that is not dark was taken as one mixed "
        f"area on the face {face.srgb}. Redraw it in flat colours to get zones"
    )
    return labels, ramp, Finding(code="zones.photograph", where="artwork", message=message)
