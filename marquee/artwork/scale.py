"""Artwork finer than the work needs: worked on coarser, with the result brought back to every pixel."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.apertures import Cutouts
from marquee.artwork.enlarged import enlargement
from marquee.artwork.labels import Labels

# Coverage keeps edges to a tenth of a pixel, so pixels of 0.3 mm do for what a saw or laser cuts.
_WORK_MM = 0.3
_WORK_PX = 3_000_000
_MOST_REPEATS = 16


def work_factor(srgb_8bit: NDArray[np.uint8], mm_per_px: float) -> tuple[int, bool]:
    """Return by how many pixels a side to reduce, and whether the picture merely repeats its pixels.

    Parameters
    ----------
    srgb_8bit : (height_px, width_px, 3) uint8
    mm_per_px : float
    """
    repeats = _repeats(srgb_8bit)
    if repeats > 1:
        return repeats, True
    least = enlargement(srgb_8bit)
    if srgb_8bit.shape[0] * srgb_8bit.shape[1] <= _WORK_PX * least**2:
        return least, False
    return max(least, int(_WORK_MM / mm_per_px + 1e-9)), False


def _repeats(srgb_8bit: NDArray[np.uint8]) -> int:
    """Return k where the picture consists of k × k blocks of one colour, as enlarging by repetition gives."""
    factor = 0
    for axis in (0, 1):
        size = srgb_8bit.shape[axis]
        # A few lines across tell most pictures at once; the whole is asked only where they do not.
        for step in (max(1, srgb_8bit.shape[1 - axis] // 16), 1):
            lines = srgb_8bit[:, ::step] if axis == 0 else srgb_8bit[::step]
            changes = _changes(lines, axis)
            factor = int(np.gcd.reduce([factor, size, *changes.tolist()]))
            if factor == 1:
                return 1
    return factor if 1 < factor <= _MOST_REPEATS else 1


def _changes(lines: NDArray[np.uint8], axis: int) -> NDArray[np.int64]:
    if axis == 0:
        differs = (lines[1:] != lines[:-1]).any(axis=(1, 2))
    else:
        differs = (lines[:, 1:] != lines[:, :-1]).any(axis=(0, 2))
    return np.flatnonzero(differs) + 1


def reduce_picture(
    picture: NDArray[np.uint8], factor: int, *, repeated: bool
) -> NDArray[np.uint8]:
    """Return the picture, of one channel or three, at 1/factor of its pixels a side."""
    if factor == 1:
        return picture
    if repeated:
        return np.ascontiguousarray(picture[::factor, ::factor])
    height, width = picture.shape[:2]
    rows, columns = height // factor, width // factor
    # Whole blocks first, then the incomplete ones at the right and lower border.
    cuts_y = [(0, rows * factor, rows), (rows * factor, height, int(height % factor > 0))]
    cuts_x = [(0, columns * factor, columns), (columns * factor, width, int(width % factor > 0))]
    bands = [
        np.concatenate([_shrunk(picture[y0:y1, x0:x1], m, n) for x0, x1, n in cuts_x if n], axis=1)
        for y0, y1, m in cuts_y
        if m
    ]
    return np.concatenate(bands, axis=0) if len(bands) > 1 else bands[0]


def _shrunk(part: NDArray[np.uint8], rows: int, columns: int) -> NDArray[np.uint8]:
    """Return the part's mean colours in so many rows and columns."""
    return np.asarray(cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def full_size(
    cutouts: Cutouts,
    zone_of_px: NDArray[np.int16],
    zone_of: NDArray[np.int16],
    labels: Labels,
    srgb_8bit: NDArray[np.uint8],
    factor: int,
    *,
    repeated: bool,
) -> tuple[NDArray[np.int32], NDArray[np.int16]]:
    """Return aperture and zone ids for every pixel of the full picture, its own edges followed.

    Parameters
    ----------
    cutouts, labels
        Of the reduced picture.
    zone_of_px : (rows, columns) int16
        Zone ids of the reduced picture.
    zone_of : (apertures + 1,) int16
        Zone of each aperture, the last -1 for the face.
    srgb_8bit : (height_px, width_px, 3) uint8
        The full picture.
    factor : int
    repeated : bool
    """
    if factor == 1:
        return cutouts.of_px, zone_of_px
    height, width = srgb_8bit.shape[:2]
    size = (zone_of_px.shape[1] * factor, zone_of_px.shape[0] * factor)
    full, zone_full = (
        np.ascontiguousarray(
            cv2.resize(small, size, interpolation=cv2.INTER_NEAREST)[:height, :width]
        )
        for small in (cutouts.of_px, zone_of_px)
    )
    if not repeated:
        place, ids = _followed_edges(cutouts, labels, srgb_8bit, factor)
        full.ravel()[place] = ids
        zone_full.ravel()[place] = zone_of[ids]
    return full, zone_full


def _followed_edges(
    cutouts: Cutouts, labels: Labels, srgb_8bit: NDArray[np.uint8], factor: int
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Return the full pixels in shared reduced ones, and the id of the side whose colour each is nearer to."""
    ids, lit = cutouts.of_px.ravel(), labels.label_of_px.ravel()
    shared = np.flatnonzero((labels.other >= 0) & (labels.lost > 0.02))
    own_px, other_px = labels.index[shared], labels.other[shared]
    plain = (lit[own_px] < len(labels.rgb)) & (lit[other_px] < len(labels.rgb))
    plain &= ids[own_px] != ids[other_px]
    plain &= (ids[own_px] >= 0) == (lit[own_px] > 0)  # specks taken away stay away
    own_px, other_px = own_px[plain], other_px[plain]
    own_rgb = labels.rgb[lit[own_px]].astype(np.float32)
    other_rgb = labels.rgb[lit[other_px]].astype(np.float32)
    # Nearer to the one than to the other: on one side of the plane half way between them.
    normal = other_rgb - own_rgb
    limit = ((other_rgb**2 - own_rgb**2).sum(axis=1)) / 2
    height, width = srgb_8bit.shape[:2]
    y, x = np.divmod(own_px, labels.label_of_px.shape[1])
    places, chosen = [], []
    pixels = srgb_8bit.reshape(-1, 3)
    for dy in range(factor):
        for dx in range(factor):
            to_y, to_x = y * factor + dy, x * factor + dx
            inside = (to_y < height) & (to_x < width)
            place = (to_y * width + to_x)[inside]
            side = np.einsum("ij,ij->i", pixels[place].astype(np.float32), normal[inside])
            mine = side <= limit[inside]
            places.append(place)
            chosen.append(np.where(mine, ids[own_px[inside]], ids[other_px[inside]]))
    return np.concatenate(places), np.concatenate(chosen)
