"""Colours too finely interleaved for walls: found, joined into mixed areas, with the reason."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.apertures import Cutouts
from marquee.artwork.nearest import Nearest
from marquee.artwork.runs import present

# A band between two others of less than 1.5 walls' width has at least two thirds of it behind walls
# (common practice, no source); room is counted from its middle, so half of that.
_ROOM_WALLS = 0.75
_FEWEST_BANDS = 3
_KEY = 1 << 32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Interleaved:
    """Apertures (indices) too finely interleaved, `colours` their labels, `width_mm` the bands' width."""

    apertures: tuple[int, ...]
    colours: tuple[int, ...]
    width_mm: float


def find_interleaved(
    cutouts: Cutouts, nearest: Nearest, wall_thickness_mm: float, first_ramp: int
) -> list[Interleaved]:
    """Return groups of apertures that walls of this thickness cannot part.

    A band counts when the part of the face nearest to it is everywhere narrower than 1.5 walls: so an outline
    round a letter does not count, which has the face beside it to widen into.
    """
    if len(set(cutouts.label.tolist())) < 2:
        return []
    grid_mm, off_mm = nearest.grid_mm, nearest.off_mm
    ids = np.ascontiguousarray(cutouts.of_px[:: nearest.step, :: nearest.step])
    pairs = _near_pairs(nearest, wall_thickness_mm)
    pairs = pairs[cutouts.label[pairs[:, 0]] != cutouts.label[pairs[:, 1]]]
    if not len(pairs):
        return []
    involved = np.unique(pairs)
    limit_mm = _ROOM_WALLS * wall_thickness_mm
    count = len(cutouts.label)
    # Labels are bytes (`Labels`).
    shares = _border_distance(cutouts.label.astype(np.uint8)[nearest.owner])
    wide = (shares * np.float32(grid_mm) >= limit_mm) & (off_mm <= limit_mm)
    narrow = np.zeros(count, bool)
    narrow[involved] = True
    narrow &= ~present(nearest.owner, wide, count)
    narrow &= cutouts.label <= first_ramp
    if not narrow.any():
        return []
    inner = _border_distance(ids) * np.float32(grid_mm)
    slim = ~present(ids, inner >= limit_mm, count)
    thin = np.append(narrow, False)[ids]  # -1 reads the last entry
    radius = np.zeros(len(narrow))
    np.maximum.at(radius, ids[thin], inner[thin])
    return _groups(cutouts, pairs, narrow, radius, slim)


def _near_pairs(nearest: Nearest, gap_mm: float) -> NDArray[np.int64]:
    """Return pairs of ids less than a gap apart, each once, (n, 2)."""
    near = (nearest.gap_mm < gap_mm) & (nearest.first >= 0)
    low, high = nearest.first[near].astype(np.int64), nearest.second[near].astype(np.int64)
    keys = np.unique(low * _KEY + high)
    return np.stack(np.divmod(keys, _KEY), axis=1)


def _border_distance(parts: NDArray[np.generic]) -> NDArray[np.float32]:
    """Return each pixel's distance [px] to where the parts' values change."""
    inner = np.ones(parts.shape, np.uint8)
    inner[:, 1:] &= (parts[:, 1:] == parts[:, :-1]).view(np.uint8)
    inner[1:] &= (parts[1:] == parts[:-1]).view(np.uint8)
    return np.asarray(cv2.distanceTransform(inner, cv2.DIST_L2, 5), np.float32)


def _groups(
    cutouts: Cutouts,
    pairs: NDArray[np.int64],
    narrow: NDArray[np.bool_],
    radius: NDArray[np.float64],
    slim: NDArray[np.bool_],
) -> list[Interleaved]:
    group = np.arange(len(narrow))
    inner = pairs[narrow[pairs].all(axis=1)]
    _unite(group, inner)
    joined = []
    for head in np.unique(group[narrow]).tolist():
        members = np.flatnonzero(narrow & (group == head))
        colours = set(cutouts.label[members].tolist())
        if len(members) < _FEWEST_BANDS or len(colours) < 2:
            continue
        width = float(np.median(2 * radius[members]))
        joined.append((_with_ends(members, pairs, slim), width))
    return _by_colours(cutouts, joined)


def _with_ends(
    members: NDArray[np.int64], pairs: NDArray[np.int64], slim: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Return the bands with the slim ones they touch: the outermost have the face beside them."""
    inside = np.zeros(len(slim), bool)
    inside[members] = True
    while True:
        touch = pairs[inside[pairs].any(axis=1)].ravel()
        ends = touch[slim[touch] & ~inside[touch]]
        if not ends.size:
            return np.flatnonzero(inside)
        inside[ends] = True


def _unite(group: NDArray[np.int64], pairs: NDArray[np.int64]) -> None:
    """Give all ids joined by pairs the smallest of their numbers."""
    while True:
        low = np.minimum(group[pairs[:, 0]], group[pairs[:, 1]])
        before = group.copy()
        np.minimum.at(group, pairs[:, 0], low)
        np.minimum.at(group, pairs[:, 1], low)
        group[:] = group[group]
        if np.array_equal(before, group):
            return


def _by_colours(
    cutouts: Cutouts, groups: list[tuple[NDArray[np.int64], float]]
) -> list[Interleaved]:
    """Return groups with those of mostly the same colours made one (the letters of a word)."""
    made: list[tuple[set[int], set[int], list[float]]] = []
    for members, width in groups:
        colours = set(cutouts.label[members].tolist())
        for known, apertures, widths in made:
            if 2 * len(known & colours) >= len(known | colours):
                known.update(colours)
                apertures.update(members.tolist())
                widths.append(width)
                break
        else:
            made.append((colours, set(members.tolist()), [width]))
    return [
        Interleaved(
            apertures=tuple(sorted(apertures)),
            colours=tuple(sorted(colours)),
            width_mm=float(np.median(widths)),
        )
        for colours, apertures, widths in made
    ]
