"""Seams that drawing programs leave where shapes meet inside a pixel: what lies below leaks through."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.edges import Edges

# A pixel is a seam when its colour is this near (codes) to one that painting over gives.
_FIT_CODES = 10.0
# A thin stroke has pixels it fills; of a seam nearly all pixels are leaks.
_SEAM_SHARE = 0.85
_STEPS = 32
_FEWEST_PX = 4
# Art with more unexplained pixels than this is no drawing; it has no seams to speak of.
_MOST_PX = 60_000
_MOST_BELOW = 12


def explain_seams(
    srgb_8bit: NDArray[np.uint8],
    label_of_px: NDArray[np.uint8],
    edges: Edges,
    colours: NDArray[np.float64],
) -> Edges:
    """Return the edges with those seams explained that are shared by two shapes and let a third colour through.

    A shape that covers the part a of a pixel is painted over another covering the rest, each as if its edge
    were independent of the other's: a A + (1 - a) ((1 - a) B + a C), C what lies below. (Porter and Duff,
    Compositing Digital Images, Computer Graphics 18(3), 1984: the operator "over".)

    Parameters
    ----------
    srgb_8bit : (height_px, width_px, 3) uint8
    label_of_px : (height_px, width_px) uint8
        Flat pixels' labels.
    edges : Edges
    colours : (n, 3)
        Codes of label 0 (face), 1, 2 …
    """
    odd = np.flatnonzero(~edges.explained)
    if not 0 < odd.size <= _MOST_PX:
        return edges
    group = _groups(label_of_px.shape, edges.index[odd])
    two = edges.far[odd] >= 0
    seam, top_share = np.zeros(odd.size, bool), np.zeros(odd.size)
    calm = cv2.blur(srgb_8bit, (3, 3)).reshape(-1, 3)
    sides = [calm[edges.near[odd[two]]].astype(float), calm[edges.far[odd[two]]].astype(float)]
    pixel = srgb_8bit.reshape(-1, 3)[edges.index[odd[two]]].astype(float)
    misfit, share = _best_share(pixel, sides[0], sides[1], colours[:_MOST_BELOW])
    seam[two], top_share[two] = misfit <= _FIT_CODES, share
    sizes = np.bincount(group)
    found = np.bincount(group, weights=seam)
    whole = (found >= _SEAM_SHARE * sizes) & (sizes >= _FEWEST_PX)
    seam &= whole[group]
    explained, shares = edges.explained.copy(), edges.share.copy()
    explained[odd[seam]] = True
    shares[odd[seam]] = top_share[seam]
    return replace(edges, explained=explained, share=shares)


def _groups(shape: tuple[int, ...], index: NDArray[np.int64]) -> NDArray[np.int64]:
    mask = np.zeros(shape, np.uint8)
    mask.ravel()[index] = 1
    _, labels = cv2.connectedComponents(mask, connectivity=8)
    return np.asarray(labels.ravel()[index], np.int64) - 1


def _best_share(
    pixel: NDArray[np.float64],
    near: NDArray[np.float64],
    far: NDArray[np.float64],
    below: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return each pixel's least misfit [codes] and the near side's share that gives it."""
    least = np.full(len(pixel), np.inf)
    share = np.zeros(len(pixel))
    for a in np.linspace(0, 1, _STEPS + 1):
        for top, under, near_share in ((near, far, a), (far, near, 1 - a)):
            rest = pixel - a * top - (1 - a) ** 2 * under
            for leak in below:
                misfit = ((rest - a * (1 - a) * leak) ** 2).sum(axis=1)
                better = misfit < least
                least[better], share[better] = misfit[better], near_share
    return np.sqrt(least), share
