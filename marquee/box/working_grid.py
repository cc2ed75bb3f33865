"""The zones on a grid fine enough for walls and small enough for seconds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.values import ZoneMap
from marquee.values_pixels import Enlarged, as_given

Labels = NDArray[np.int32]

# Fine enough for gaps of half a millimetre.
_FINEST_PX, COARSEST_MM = 1_500_000, 0.5


def working_grid(zone_map: ZoneMap) -> tuple[Labels, float]:
    """Return (ny, nx) zone ids, -1 where nothing is lit, and the size of a pixel [mm]."""
    of_px, mm = as_given(zone_map, "zone_of_px"), zone_map.mm_per_px
    height, width = of_px.shape
    size = height * width
    if size > _FINEST_PX:
        shrink = int(np.ceil(np.sqrt(size / _FINEST_PX)))
        small = (
            _shrunk_blocks(of_px, shrink)
            if isinstance(of_px, Enlarged)
            else _shrunk(of_px, shrink)
        )
        return small, mm * shrink
    enlarge = max(1, int(np.ceil(mm / COARSEST_MM)))
    while enlarge > 1 and size * enlarge**2 > _FINEST_PX:
        enlarge -= 1
    grid = np.repeat(np.repeat(zone_map.zone_of_px, enlarge, axis=0), enlarge, axis=1)
    return grid.astype(np.int32), mm / enlarge


def _shrunk(of_px: NDArray[np.int16], shrink: int) -> Labels:
    """Return blocks' zones: lit where any pixel is lit, so that walls never come nearer than asked.

    Of several zones the one at the block's middle counts, else the last.
    """
    height, width = of_px.shape
    rows, columns = -(-height // shrink), -(-width // shrink)
    largest = np.full((rows, columns), -1, np.int32)
    for dy in range(shrink):
        for dx in range(shrink):
            part = of_px[dy::shrink, dx::shrink]
            view = largest[: part.shape[0], : part.shape[1]]
            np.maximum(view, part, out=view)
    middle = of_px[shrink // 2 :: shrink, shrink // 2 :: shrink]
    view = largest[: middle.shape[0], : middle.shape[1]]
    np.copyto(view, middle, where=middle >= 0)
    return largest


def _shrunk_blocks(of_px: Enlarged, shrink: int) -> Labels:
    """Return the same from a map held coarse, without making it in full."""
    height, width = of_px.shape
    rows, columns = -(-height // shrink), -(-width // shrink)
    coarse = of_px.coarse.astype(np.int32)
    # Blocks in which no pixel differs from those around it see whole blocks of the coarse map.
    largest = coarse
    for axis, (count, most) in enumerate(((rows, height), (columns, width))):
        first = np.arange(count) * shrink
        low, high = first // of_px.factor, np.minimum(first + shrink, most) - 1
        high = high // of_px.factor
        seen = np.take(largest, low, axis)
        for step in range(1, int((high - low).max()) + 1):
            np.maximum(seen, np.take(largest, np.minimum(low + step, high), axis), out=seen)
        largest = seen
    y, x = (np.arange(shrink // 2, most, shrink) // of_px.factor for most in (height, width))
    middle = coarse.take(y, 0).take(x, 1)
    np.copyto(largest[: len(y), : len(x)], middle, where=middle >= 0)
    _set_mixed(largest, of_px, shrink)
    return largest


def _set_mixed(largest: Labels, of_px: Enlarged, shrink: int) -> None:
    """Set blocks with pixels of their own from all their pixels."""
    height, width = of_px.shape
    block = np.unique(
        (of_px.place // width) // shrink * largest.shape[1] + of_px.place % width // shrink
    )
    row, column = np.divmod(block, largest.shape[1])
    across = np.arange(shrink)
    y = row[:, None, None] * shrink + across[:, None]
    x = column[:, None, None] * shrink + across
    y, x = np.broadcast_arrays(y, x)
    outside = (y >= height) | (x >= width)
    ids = _looked_up(of_px, np.minimum(y, height - 1), np.minimum(x, width - 1))
    ids[outside] = -1
    middle = ids[:, shrink // 2, shrink // 2]
    largest[row, column] = np.where(middle >= 0, middle, ids.max(axis=(1, 2)))


def _looked_up(of_px: Enlarged, y: NDArray[np.intp], x: NDArray[np.intp]) -> Labels:
    """Return the ids of single pixels."""
    ids = of_px.coarse[y // of_px.factor, x // of_px.factor].astype(np.int32)
    flat = y * of_px.shape[1] + x
    at = np.minimum(np.searchsorted(of_px.place, flat), len(of_px.place) - 1)
    own = of_px.place[at] == flat
    ids[own] = of_px.own[at[own]]
    return ids
