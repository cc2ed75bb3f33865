"""Colours too finely interleaved for walls: found, joined into mixed areas, with the reason."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.apertures import Cutouts

# A band between two others of less than 1.5 walls' width has at least two thirds of it behind walls
# (common practice, no source); room is counted from its middle, so half of that.
_ROOM_WALLS = 0.75
_FEWEST_BANDS = 3
# Work is done on a coarser grid than this only where pixels are finer.
_GRID_MM = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Interleaved:
    """Apertures (indices) too finely interleaved, `colours` their labels, `width_mm` the bands' width."""

    apertures: tuple[int, ...]
    colours: tuple[int, ...]
    width_mm: float


def find_interleaved(
    cutouts: Cutouts, mm_per_px: float, wall_thickness_mm: float, first_ramp: int
) -> list[Interleaved]:
    """Return groups of apertures that walls of this thickness cannot part.

    A band counts when the part of the face nearest to it is everywhere narrower than 1.5 walls: so an outline
    round a letter does not count, which has the face beside it to widen into.
    """
    if len(set(cutouts.label.tolist())) < 2:
        return []
    step = max(1, int(_GRID_MM / mm_per_px))
    grid_mm = mm_per_px * step
    ids = np.ascontiguousarray(cutouts.of_px[::step, ::step])
    nearest, off_mm = nearest_owner(ids, grid_mm)
    pairs = _near_pairs(nearest, off_mm, wall_thickness_mm)
    pairs = pairs[cutouts.label[pairs[:, 0]] != cutouts.label[pairs[:, 1]]]
    if not len(pairs):
        return []
    involved = np.unique(pairs)
    limit_mm = _ROOM_WALLS * wall_thickness_mm
    wide = _border_distance(cutouts.label[nearest]) * grid_mm >= limit_mm
    narrow = np.zeros(len(cutouts.label), bool)
    narrow[involved] = True
    narrow[nearest[wide & (off_mm <= limit_mm)]] = False
    narrow &= cutouts.label <= first_ramp
    if not narrow.any():
        return []
    inner = _border_distance(ids) * grid_mm
    slim = np.ones(len(narrow), bool)
    slim[ids[(inner >= limit_mm) & (ids >= 0)]] = False
    thin = np.append(narrow, False)[ids]  # -1 reads the last entry
    radius = np.zeros(len(narrow))
    np.maximum.at(radius, ids[thin], inner[thin])
    return _groups(cutouts, pairs, narrow, radius, slim)


def nearest_owner(
    ids: NDArray[np.int32], mm_per_px: float
) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """Return for every pixel the id (not -1) nearest to it and the distance [mm] to that."""
    off = (ids < 0).astype(np.uint8)
    distance, cells = cv2.distanceTransformWithLabels(
        off, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.full(int(cells.max()) + 1, -1, np.int32)
    lit = off == 0
    table[cells[lit]] = ids[lit]
    return table[cells], (distance * mm_per_px).astype(np.float32)


def _near_pairs(
    nearest: NDArray[np.int32], off_mm: NDArray[np.float32], gap_mm: float
) -> NDArray[np.int64]:
    """Return pairs of ids less than a gap apart, each once, (n, 2)."""
    found = []
    for a, b, d_a, d_b in (
        (nearest[:, :-1], nearest[:, 1:], off_mm[:, :-1], off_mm[:, 1:]),
        (nearest[:-1], nearest[1:], off_mm[:-1], off_mm[1:]),
    ):
        meet = (a != b) & (d_a + d_b < gap_mm) & (a >= 0) & (b >= 0)
        found.append(np.stack([np.minimum(a, b)[meet], np.maximum(a, b)[meet]], axis=1))
    return np.unique(np.vstack(found), axis=0).astype(np.int64)


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
