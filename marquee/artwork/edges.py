"""Pixels that are not flat: edges shared between two neighbours, and strokes too thin to be flat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.flat import TOL_CALM

UNKNOWN = 255
FACE = 0
_SHARE_BINS = 16
_FEWEST_SHARED = 200
_STEPS_AT_ONCE = 32
# Codes a pixel: no steeper ramp is taken as smooth.
_STEEPEST = 24.0
# Resampling kernels with negative lobes overshoot a step by up to this share of it (measured with Pillow's
# Lanczos and bicubic filters); pixels of such a rim are the edge's, no colour of their own.
_OVERSHOOT = 0.12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """Edge pixels and their two sides.

    `index` flat pixel indices; `near`, `far` flat indices of the nearest flat pixel and of the nearest one
    of another label (-1 where there is none in reach); `share` the near side's share of the pixel, 0 to 1;
    `explained` whether the two sides' colours make up the pixel's. `linear_light` tells whether edges were
    blended in linear light, None where too few pixels tell.
    """

    index: NDArray[np.int64]
    near: NDArray[np.int64]
    far: NDArray[np.int64]
    share: NDArray[np.float64]
    explained: NDArray[np.bool_]
    linear_light: bool | None


def split_edges(
    srgb_8bit: NDArray[np.uint8],
    label_of_px: NDArray[np.uint8],
    reach_px: int,
    tol: int,
    *,
    sharp: bool,
) -> Edges:
    """Return every unlabelled pixel's two sides and how it is shared between them.

    Blending in linear light is looked for only where edges are `sharp`: enlarging blurs them in codes.
    """
    index = np.flatnonzero(label_of_px.ravel() == UNKNOWN).astype(np.int64)
    near, far = _two_sides(label_of_px, index, reach_px)
    calm = np.asarray(cv2.blur(srgb_8bit, (3, 3)), np.uint8).reshape(-1, 3)
    raw = srgb_8bit.reshape(-1, 3)
    towards = label_of_px.ravel() if tol <= TOL_CALM else None
    both, lone = np.flatnonzero(far >= 0), np.flatnonzero((far < 0) & (near >= 0))
    pixel = raw.take(index[both], axis=0).astype(np.float32)
    here, there = (_colour_at_edge(calm, towards, index[both], s[both]) for s in (near, far))
    share = _share(pixel, here, there)
    linear_light: bool | None = False
    if sharp:
        light = _share(*(linear_codes(v) for v in (pixel, here, there)))
        linear_light = _is_linear(label_of_px, near[both], far[both], share, light)
        share = light if linear_light else share
    limit = max(20.0, 4.0 * tol)
    explained = np.zeros(index.size, bool)
    misfit = _misfit(pixel, here, there, share, linear_light=bool(linear_light))
    explained[both] = misfit <= limit
    away = raw.take(index[lone], axis=0).astype(np.float32) - _colour_at_edge(
        calm, towards, index[lone], near[lone]
    )
    explained[lone] = np.einsum("ij,ij->i", away, away) <= limit**2
    shares = np.ones(index.size)
    shares[both] = np.clip(share, 0, 1)
    return Edges(
        index=index,
        near=near,
        far=far,
        share=shares,
        explained=explained,
        linear_light=linear_light,
    )


def _colour_at_edge(
    calm: NDArray[np.uint8],
    label: NDArray[np.uint8] | None,
    index: NDArray[np.int64],
    side: NDArray[np.int64],
) -> NDArray[np.float32]:
    """Return the codes a side has at the edge pixel: on a glow or gradient they go on as they come.

    Without `label` (a noisy picture) the side's own codes serve.
    """
    here = calm.take(side, axis=0).astype(np.float32)
    if label is None:
        return here
    beyond = 2 * side - index
    inside = (side >= 0) & (beyond >= 0) & (beyond < len(calm))
    beyond = np.where(inside, beyond, side)
    inside &= label[beyond] == label[side]
    slope = np.where(inside[:, None], here - calm.take(beyond, axis=0).astype(np.float32), 0)
    return np.asarray(np.clip(here + np.clip(slope, -_STEEPEST, _STEEPEST), 0, 255), np.float32)


def _two_sides(
    label_of_px: NDArray[np.uint8], index: NDArray[np.int64], reach_px: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return flat indices of the nearest labelled pixel and the nearest of another label, else -1."""
    width = label_of_px.shape[1]
    padded = np.pad(label_of_px, reach_px, constant_values=UNKNOWN)
    stride = padded.shape[1]
    flat = padded.ravel()
    here = index + index // width * (2 * reach_px) + reach_px * (stride + 1)
    offsets = np.array(_offsets(reach_px))
    steps = offsets @ np.array([stride, 1])
    # One more, as what is added where nothing was found.
    moves = np.append(offsets @ np.array([width, 1]), 0)
    first = _first_other(flat, here, np.full(index.size, UNKNOWN, np.uint8), steps)
    near = index + moves[first]
    second = _first_other(flat, here, label_of_px.ravel()[near], steps)
    far = np.where((first < len(steps)) & (second < len(steps)), index + moves[second], -1)
    near[first == len(steps)] = -1
    return near, far


def _first_other(
    flat: NDArray[np.uint8],
    here: NDArray[np.int64],
    but: NDArray[np.uint8],
    steps: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Return the number of the first step from each place to a known label that is not `but`, their count if none."""
    back = -int(steps.min())
    result = np.full(here.size, len(steps), np.int64)
    who, place, mine = np.arange(here.size), here - back, but
    for start in range(0, len(steps), _STEPS_AT_ONCE):
        stop = min(start + _STEPS_AT_ONCE, len(steps))
        # What was found is left in the game until a row of steps is done: taking it out costs more than a step.
        best = np.zeros(who.size, np.uint8)
        found, other, known = (np.empty(who.size, kind) for kind in (np.uint8, bool, bool))
        code = other.view(np.uint8)
        for number in range(start, stop):
            # Places lie inside: clipping is only the quicker way to take.
            flat[back + int(steps[number]) :].take(place, out=found, mode="clip")
            np.not_equal(found, mine, out=other)
            np.not_equal(found, UNKNOWN, out=known)
            np.logical_and(other, known, out=other)
            np.multiply(code, np.uint8(stop - number), out=code)
            np.maximum(best, code, out=best)
        hit = np.flatnonzero(best)
        result[who[hit]] = stop - best[hit].astype(np.int64)
        left = np.flatnonzero(best == 0)
        if not left.size:
            break
        who, place, mine = who[left], place[left], mine[left]
    return result


def nearest_with(
    label_of_px: NDArray[np.uint8],
    index: NDArray[np.int64],
    wanted: NDArray[np.uint8],
    reach_px: int,
) -> NDArray[np.int64]:
    """Return for each pixel the nearest one with its wanted label, -1 where none is in reach."""
    height, width = label_of_px.shape
    labels = label_of_px.ravel()
    y, x = np.divmod(index, width)
    found = np.full(index.size, -1, np.int64)
    active = np.arange(index.size)
    for dy, dx in _offsets(reach_px):
        to_y, to_x = y[active] + dy, x[active] + dx
        inside = (to_y >= 0) & (to_y < height) & (to_x >= 0) & (to_x < width)
        place = np.where(inside, to_y * width + to_x, index[active])
        hit = inside & (labels[place] == wanted[active])
        found[active[hit]] = place[hit]
        active = active[~hit]
        if not active.size:
            break
    return found


def _offsets(reach_px: int) -> list[tuple[int, int]]:
    span = range(-reach_px, reach_px + 1)
    disc = [(dy, dx) for dy in span for dx in span if 0 < dy * dy + dx * dx <= reach_px * reach_px]
    return sorted(disc, key=lambda o: (o[0] ** 2 + o[1] ** 2, o))


def linear_codes(codes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return codes of linear light, 0 to 255, of encoded ones."""
    from marquee.colour.spaces import srgb_decode

    table = (srgb_decode(np.arange(256) / 255) * 255).astype(np.float32)
    return np.asarray(table[codes.astype(np.uint8)], np.float32)


def _share(
    pixel: NDArray[np.float32], near: NDArray[np.float32], far: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return the near side's share that fits the pixel best, a little beyond 0 to 1."""
    along = near - far
    square = np.einsum("ij,ij->i", along, along)
    share = np.einsum("ij,ij->i", pixel - far, along) / np.maximum(square, 1e-6)
    return np.asarray(np.clip(share, -_OVERSHOOT, 1 + _OVERSHOOT), np.float32)


def _misfit(
    pixel: NDArray[np.float32],
    near: NDArray[np.float32],
    far: NDArray[np.float32],
    share: NDArray[np.float32],
    *,
    linear_light: bool,
) -> NDArray[np.float64]:
    """Return how many codes the mixed colour is off the pixel's."""
    weight = share[:, None]
    if not linear_light:
        return np.asarray(np.linalg.norm(pixel - (weight * near + (1 - weight) * far), axis=1))
    from marquee.colour.spaces import srgb_encode

    mixed = np.clip(weight * linear_codes(near) + (1 - weight) * linear_codes(far), 0, 255)
    return np.asarray(np.linalg.norm(pixel - 255 * srgb_encode(mixed / 255), axis=1), float)


def _is_linear(
    label_of_px: NDArray[np.uint8],
    near: NDArray[np.int64],
    far: NDArray[np.int64],
    gamma: NDArray[np.float32],
    light: NDArray[np.float32],
) -> bool | None:
    """Return whether edges between colours and the face were blended in linear light, None if unknown."""
    labels = label_of_px.ravel()
    lit_near = (labels[near] != FACE) & (labels[far] == FACE)
    lit_far = (labels[near] == FACE) & (labels[far] != FACE)
    use = lit_near | lit_far
    lit = lit_near[use]
    return looks_linear(*(np.where(lit, s[use], 1 - s[use]) for s in (gamma, light)))


def looks_linear(
    gamma: NDArray[np.floating[Any]], light: NDArray[np.floating[Any]]
) -> bool | None:
    """Return whether lit shares of edge pixels, read from codes and from light, were blended in light.

    Edges at all angles cut pixels at all shares alike, so in the space they were blended in the shares average
    one half. None where too few pixels are shared.
    """
    off = []
    for shares in (gamma, light):
        histogram, _ = np.histogram(shares, bins=_SHARE_BINS, range=(0.1, 0.9))
        if histogram.sum() < _FEWEST_SHARED:
            return None
        # A long straight edge fills one bin with one share; it must not outvote the others.
        capped = np.minimum(histogram, 1.5 * max(1, int(np.median(histogram))))
        middle = (np.arange(_SHARE_BINS) + 0.5) / _SHARE_BINS
        off.append(abs(float(capped @ middle / capped.sum()) - 0.5))
    return off[0] > 0.025 and off[1] < off[0] - 0.01
