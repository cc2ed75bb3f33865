"""How far a picture was enlarged: such a picture holds no more than its smaller original, which reads better."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

# Where halving and doubling again changes edges by less than this (codes, root mean square), the pixels between
# were made up (measured: up to 8 for JPEG pictures enlarged by any kernel, from 22 on for those that were not).
_SAME_CODES = 10.0
_EDGE_CODES = 24
_TILE_PX, _TILES, _SPARSE = 240, 5, 8
_FEWEST_EDGE_PX = 200
_MOST = 6


def enlargement(srgb_8bit: NDArray[np.uint8]) -> int:
    """Return by how much a side the picture can be reduced without losing anything of its edges, 1 if not at all.

    Parameters
    ----------
    srgb_8bit : (height_px, width_px, 3 or 4) uint8
    """
    tiles = _busiest(srgb_8bit)
    found = 1
    for factor in range(2, _MOST + 1):
        lost = [_lost(tile, factor) for tile in tiles]
        edge_px = sum(n for n, _ in lost)
        if edge_px < _FEWEST_EDGE_PX or sum(s for _, s in lost) > edge_px * _SAME_CODES**2:
            break
        found = factor
    return found


def _busiest(srgb_8bit: NDArray[np.uint8]) -> list[NDArray[np.uint8]]:
    """Return the tiles with the most edges in them, judged by every eighth pixel."""
    height, width = srgb_8bit.shape[:2]
    if height < _TILE_PX or width < _TILE_PX:
        return [srgb_8bit[: height // 2 * 2, : width // 2 * 2]]
    rows, columns = height // _TILE_PX, width // _TILE_PX
    whole = srgb_8bit[: rows * _TILE_PX : _SPARSE, : columns * _TILE_PX : _SPARSE, 1]
    sparse = np.ascontiguousarray(whole).astype(np.int16)
    size = _TILE_PX // _SPARSE
    change = np.zeros(sparse.shape, np.int16)
    change[:, 1:] = np.abs(np.diff(sparse, axis=1)) > _EDGE_CODES
    busy = change.reshape(rows, size, columns, size).sum(axis=(1, 3)).ravel()
    order = np.argsort(-busy, kind="stable")[:_TILES]
    return [
        srgb_8bit[y * _TILE_PX : (y + 1) * _TILE_PX, x * _TILE_PX : (x + 1) * _TILE_PX]
        for y, x in (divmod(int(k), columns) for k in order)
    ]


def _lost(tile: NDArray[np.uint8], factor: int) -> tuple[int, float]:
    """Return how many pixels are at edges, and the sum of squares of what they lose by reducing."""
    height, width = (n // factor * factor for n in tile.shape[:2])
    if not height or not width:
        return 0, 0.0
    part = np.ascontiguousarray(tile[:height, :width, :3])
    size = (width // factor, height // factor)
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    back = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
    span = cv2.morphologyEx(part, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    edge = _widest(span) > _EDGE_CODES
    off = _widest(cv2.absdiff(part, back))[edge].astype(float)
    return int(edge.sum()), float((off**2).sum())


def _widest(channels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    first, second, third = cv2.split(channels)
    return np.asarray(cv2.max(cv2.max(first, second), third), np.uint8)
