"""A map of ids as runs along its rows: areas, boxes and centres without touching every pixel again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Runs:
    """Runs of equal ids above 0, in reading order: `id`, `row`, first column `start`, column after it `end`."""

    id: NDArray[np.int64]
    row: NDArray[np.int64]
    start: NDArray[np.int64]
    end: NDArray[np.int64]


def find_runs(ids: NDArray[np.int32]) -> Runs:
    """Return the runs of a map (height_px, width_px) of ids, 0 being left out."""
    width = ids.shape[1]
    flat = ids.ravel()
    begins = np.empty(flat.size, bool)
    np.not_equal(flat[1:], flat[:-1], out=begins[1:])
    begins[::width] = True
    start = np.flatnonzero(begins)
    end = np.append(start[1:], flat.size)
    own = flat[start].astype(np.int64)
    lit = own > 0
    start, end = start[lit], end[lit]
    row = start // width
    return Runs(id=own[lit], row=row, start=start - row * width, end=end - row * width)


def whole_px(runs: Runs, count: int) -> NDArray[np.float64]:
    """Return the pixels of each of `count` ids."""
    return np.bincount(runs.id, runs.end - runs.start, minlength=count).astype(float)


def first_px(runs: Runs, count: int, width_px: int) -> NDArray[np.int64]:
    """Return each id's first pixel in reading order."""
    first = np.zeros(count, np.int64)
    first[runs.id[::-1]] = (runs.row * width_px + runs.start)[::-1]
    return first


def boxes(runs: Runs, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return boxes x0, y0, x1, y1 and centroids x, y [px], pixel edges counted from 0."""
    low, high = np.full((2, count), np.inf), np.full((2, count), -np.inf)
    np.minimum.at(low[0], runs.id, runs.start)
    np.minimum.at(low[1], runs.id, runs.row)
    np.maximum.at(high[0], runs.id, runs.end)
    np.maximum.at(high[1], runs.id, runs.row + 1)
    length = runs.end - runs.start
    number = np.maximum(np.bincount(runs.id, length, minlength=count), 1)
    x = np.bincount(runs.id, length * (runs.start + runs.end) / 2, minlength=count)
    y = np.bincount(runs.id, length * (runs.row + 0.5), minlength=count)
    box = np.vstack([low, high]).T
    return np.where(np.isfinite(box), box, 0.0), np.stack([x, y], axis=1) / number[:, None]


def present(ids: NDArray[np.int32], where: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """Return which of `count` ids are anywhere `where` is true; -1 is none."""
    found = np.zeros(count, bool)
    found[find_runs(np.multiply(ids + np.int32(1), where, dtype=np.int32)).id - 1] = True
    return found


def pixels_of(runs: Runs, chosen: NDArray[np.bool_], width_px: int) -> NDArray[np.int64]:
    """Return the flat indices of the chosen ids' pixels, in rising order."""
    use = np.flatnonzero(chosen[runs.id])
    length = runs.end[use] - runs.start[use]
    before = np.cumsum(length) - length
    first = runs.row[use] * width_px + runs.start[use]
    return np.asarray(np.arange(length.sum()) + np.repeat(first - before, length), np.int64)
