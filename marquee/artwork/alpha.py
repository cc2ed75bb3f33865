"""Transparent artwork laid on black, with edge pixels given the colour of what they are the edge of."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.edges import nearest_with

# Colours beside transparency are often mixed with whatever lay behind when the file was made; within this
# reach of opaque pixels, theirs is taken instead.
_FRINGE_PX = 3
# Up to so many half-clear pixels are gone through one by one; more are no edges but a fade.
_MOST_SINGLE_PX = 1_000_000


def lay_on_black(srgb_8bit: NDArray[np.uint8], alpha_8bit: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the picture on black, in codes, with as many channels as it came with.

    Parameters
    ----------
    srgb_8bit : (height_px, width_px, 3 or 4) uint8
        Colours not multiplied by alpha.
    alpha_8bit : (height_px, width_px) uint8
    """
    laid = np.asarray(cv2.copyTo(srgb_8bit, alpha_8bit), np.uint8)  # black where alpha is 0
    # One less in eight bits turns 0 to 255: what is left below 254 is half clear.
    partly = np.flatnonzero(np.subtract(alpha_8bit, np.uint8(1)) < 254)
    if not partly.size:
        return laid
    source = partly
    if partly.size <= _MOST_SINGLE_PX:
        opaque = cv2.compare(alpha_8bit, 255, cv2.CMP_EQ)
        found = nearest_with(opaque, partly, np.full(partly.size, 255, np.uint8), _FRINGE_PX)
        source = np.where(found < 0, partly, found)
    elif (alpha_8bit == 255).any():
        source = _nearest_opaque(alpha_8bit, partly)
    weight = alpha_8bit.ravel()[partly].astype(np.float32)[:, None] / np.float32(255)
    channels = srgb_8bit.shape[2]
    laid.reshape(-1, channels)[partly] = np.rint(srgb_8bit.reshape(-1, channels)[source] * weight)
    return laid


def _nearest_opaque(alpha_8bit: NDArray[np.uint8], partly: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return for each pixel the nearest opaque one in reach, itself where there is none."""
    clear = cv2.compare(alpha_8bit, 255, cv2.CMP_NE)
    distance, cells = cv2.distanceTransformWithLabels(
        clear, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    # Cells are numbered from 1 in the order of the opaque pixels they belong to.
    place = np.concatenate([np.zeros(1, np.int64), np.flatnonzero(clear.ravel() == 0)])
    near = distance.ravel()[partly] <= _FRINGE_PX
    return np.where(near, place[cells.ravel()[partly]], partly)
