"""Artwork finer than the work needs: worked on coarser, with the result brought back to every pixel."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from marquee.artwork.apertures import Cutouts
from marquee.artwork.enlarged import enlargement
from marquee.artwork.labels import Labels
from marquee.values import read_only
from marquee.values_pixels import Enlarged

# Coverage keeps edges to a tenth of a pixel, so pixels of 0.3 mm do for what a saw or laser cuts.
_WORK_MM = 0.3
_WORK_PX = 3_000_000
_MOST_REPEATS = 16
_ROWS = 32


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
    """Return the picture, of one channel or three, at 1/factor of its pixels a side.

    Of a picture with four channels the first three are returned.
    """
    if repeated and factor > 1:
        picture, factor = np.ascontiguousarray(picture[::factor, ::factor]), 1
    if picture.ndim == 3 and picture.shape[2] == 4:
        return _reduced_fours(picture, factor)
    if factor == 1:
        return picture
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


def _reduced_fours(picture: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """Return the first three of four channels, reduced; some rows at a time, so that they stay in the cache."""
    height, width = picture.shape[:2]
    if factor == 1:
        return np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGBA2RGB), np.uint8)
    laid = Image.frombuffer("RGBX", (width, height), picture, "raw", "RGBX", 0, 1)
    reduced = np.empty((-(-height // factor), -(-width // factor), 3), np.uint8)
    for row in range(0, len(reduced), _ROWS):
        top, bottom = row * factor, min(height, (row + _ROWS) * factor)
        # Takes a quarter less time than OpenCV's on four channels, and sees to incomplete blocks.
        part = np.asarray(laid.reduce(factor, (0, top, width, bottom)))
        cv2.cvtColor(part, cv2.COLOR_RGBA2RGB, dst=reduced[row : row + _ROWS])
    return reduced


def _shrunk(part: NDArray[np.uint8], rows: int, columns: int) -> NDArray[np.uint8]:
    """Return the part's mean colours in so many rows and columns."""
    return np.asarray(cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def full_size(
    cutouts: Cutouts,
    zone_of_px: NDArray[np.int16],
    zone_of: NDArray[np.int16],
    labels: Labels,
    picture: NDArray[np.uint8],
    factor: int,
    *,
    repeated: bool,
) -> tuple[NDArray[np.int32] | Enlarged, NDArray[np.int16] | Enlarged]:
    """Return aperture and zone ids for every pixel of the full picture, its own edges followed.

    Parameters
    ----------
    cutouts, labels
        Of the reduced picture.
    zone_of_px : (rows, columns) int16
        Zone ids of the reduced picture.
    zone_of : (apertures + 1,) int16
        Zone of each aperture, the last -1 for the face.
    picture : (height_px, width_px, 3 or 4) uint8
        The full picture.
    factor : int
    repeated : bool
    """
    if factor == 1:
        return read_only(cutouts.of_px), read_only(zone_of_px)
    place, own = np.zeros(0, np.int64), np.zeros(0, np.int32)
    if not repeated:
        place, own = _followed_edges(cutouts, labels, picture, factor)
    maps = ((cutouts.of_px, own), (zone_of_px, zone_of[own]))
    made = [
        Enlarged(
            coarse=read_only(coarse),
            factor=factor,
            shape=(picture.shape[0], picture.shape[1]),
            place=read_only(place),
            own=read_only(ids),
        )
        for coarse, ids in maps
    ]
    return made[0], made[1]


def _followed_edges(
    cutouts: Cutouts, labels: Labels, picture: NDArray[np.uint8], factor: int
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Return the full pixels in shared reduced ones that are nearer to the other side's colour, and that side's id.

    In rising order.
    """
    ids, lit = cutouts.of_px.ravel(), labels.label_of_px.ravel()
    # Less than half a full pixel to lose: none of the full pixels is mostly the other side's.
    shared = np.flatnonzero((labels.other >= 0) & (labels.lost > 0.5 / factor**2))
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
    height, width = picture.shape[:2]
    y, x = np.divmod(own_px, labels.label_of_px.shape[1])
    first, id_of_other = y * (factor * width) + x * factor, ids[other_px]
    places, chosen = [], []
    pixels = picture.reshape(-1, picture.shape[2])
    for dy in range(factor):
        for dx in range(factor):
            inside = (y * factor + dy < height) & (x * factor + dx < width)
            place = first + (dy * width + dx)
            place[~inside] = 0
            codes = pixels.take(place, axis=0).astype(np.float32)
            theirs = inside & (np.einsum("ij,ij->i", codes[:, :3], normal) > limit)
            places.append(place[theirs])
            chosen.append(id_of_other[theirs])
    place, own = np.concatenate(places), np.concatenate(chosen)
    order = np.argsort(place, kind="stable")
    return place[order], own[order]
