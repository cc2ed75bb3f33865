"""Transparent artwork laid on black, with edge pixels given the colour of what they are the edge of."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

# Colours beside transparency are often mixed with whatever lay behind when the file was made; within this
# reach of opaque pixels, theirs is taken instead.
_FRINGE_PX = 3.0


def lay_on_black(srgb_8bit: NDArray[np.uint8], alpha_8bit: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the picture (height_px, width_px, 3) uint8 on black, in codes.

    Parameters
    ----------
    srgb_8bit : (height_px, width_px, 3) uint8
        Colours not multiplied by alpha.
    alpha_8bit : (height_px, width_px) uint8
    """
    solid = srgb_8bit
    partly = (alpha_8bit > 0) & (alpha_8bit < 255)
    if partly.any():
        solid = _without_fringe(srgb_8bit, alpha_8bit, partly)
    weight = cv2.merge([alpha_8bit] * 3)
    return np.asarray(cv2.multiply(solid, weight, scale=1 / 255), np.uint8)


def _without_fringe(
    srgb_8bit: NDArray[np.uint8], alpha_8bit: NDArray[np.uint8], partly: NDArray[np.bool_]
) -> NDArray[np.uint8]:
    clear = (alpha_8bit < 255).view(np.uint8)
    if clear.all():
        return srgb_8bit
    distance, cells = cv2.distanceTransformWithLabels(
        clear, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    opaque = np.flatnonzero(clear.ravel() == 0)
    place = np.zeros(int(cells.max()) + 1, np.int64)
    place[cells.ravel()[opaque]] = opaque
    near = np.flatnonzero((partly & (distance <= _FRINGE_PX)).ravel())
    solid = srgb_8bit.copy()
    solid.reshape(-1, 3)[near] = srgb_8bit.reshape(-1, 3)[place[cells.ravel()[near]]]
    return solid
