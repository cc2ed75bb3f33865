"""Connected cut-outs of one label each, with their areas taken from what edge pixels share."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.edges import FACE
from marquee.artwork.labels import Labels
from marquee.artwork.runs import Runs, boxes, find_runs, first_px, pixels_of, whole_px
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65

MOST_APERTURES = 20_000
# A speck so far surrounded by face is dust on it; otherwise it is a fault of the edge it sits on.
_DUST_SURROUND = 0.7
_STROKE_TOUCH = 0.1
# In a lossy picture parts without a flat pixel, up to so many times the smallest area, are faults of edges.
_LARGEST_FAULT = 10.0
# Lossy compression keeps one colour for each 16 × 16 pixels at worst (ITU-T T.81, 4:2:0): at an edge such a
# block is tinted by what lies beyond (measured up to this CIEDE2000).
_BLOCK_PX2, _TINT_DELTA_E = 256, 12.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dust:
    """Specks left opaque, largest first: `area_px`, `at_px` (n, 2) x, y of a pixel of each, and their `label`."""

    area_px: NDArray[np.float64]
    at_px: NDArray[np.int64]
    label: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutouts:
    """Apertures, top-left first: `of_px` (height_px, width_px) int32, -1 on the face.

    Per aperture: `label`, `area_px` (shares counted), `box` x0, y0, x1, y1 and `centre` x, y [px].
    """

    of_px: NDArray[np.int32]
    label: NDArray[np.int64]
    area_px: NDArray[np.float64]
    box: NDArray[np.float64]
    centre: NDArray[np.float64]
    dust: Dust
    capped: int = 0


def find_apertures(labels: Labels, min_px: float) -> Cutouts:
    """Return the apertures of at least `min_px` pixels; parts meeting at a corner are one."""
    ids, own = _components(labels.label_of_px)
    runs = find_runs(ids)
    area = _areas(ids, runs, labels, len(own))
    capped = 0
    limit = max(min_px, 1.0)
    if (area >= limit).sum() > MOST_APERTURES:
        capped = int((area >= limit).sum()) - MOST_APERTURES
        limit = float(np.sort(area)[-MOST_APERTURES])
    speck = area < limit
    if labels.noisy:
        speck |= _coreless(ids, runs, labels, len(own)) & (area < _LARGEST_FAULT * limit)
        speck |= _tinted_blocks(ids, own, area, labels)
    speck[0] = False
    dust = np.zeros(0, np.int64)
    place = first_px(runs, len(own), ids.shape[1])
    left_out = _dust(dust, place, ids.shape[1], own, area)
    if speck.any():
        ids, dust = _absorb(ids, runs, speck, area, limit)
        left_out = _dust(dust, place, ids.shape[1], own, area)
        runs = find_runs(ids)
        area = _areas(ids, runs, labels, len(own))
    keep = np.flatnonzero(whole_px(runs, len(own)))
    order = keep[np.argsort(first_px(runs, len(own), ids.shape[1])[keep], kind="stable")]
    table = np.full(len(own), -1, np.int32)
    table[order] = np.arange(len(order))
    box, centre = boxes(runs, len(own))
    return Cutouts(
        of_px=table.take(ids, mode="clip"),
        label=own[order],
        area_px=area[order],
        box=box[order],
        centre=centre[order],
        dust=left_out,
        capped=capped,
    )


def _components(
    label_of_px: NDArray[np.uint8],
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Return component ids per pixel (0 face) and the label of each id."""
    present = np.flatnonzero(cv2.calcHist([label_of_px], [0], None, [256], [0, 256]))
    ids = np.zeros(label_of_px.shape, np.int32)
    own = [FACE]
    for label in present[present != FACE].tolist():
        mask = (label_of_px == label).view(np.uint8)
        x, y, w, h = cv2.boundingRect(mask)
        part = np.ascontiguousarray(mask[y : y + h, x : x + w])
        count, components = cv2.connectedComponents(part, connectivity=8)
        components += np.multiply(part, len(own) - 1, dtype=np.int32)
        ids[y : y + h, x : x + w] += components
        own += [label] * (count - 1)
    return ids, np.array(own, np.int64)


def _areas(ids: NDArray[np.int32], runs: Runs, labels: Labels, count: int) -> NDArray[np.float64]:
    """Return each component's area [px]: whole pixels, less what edge pixels lose to their other side."""
    flat = ids.ravel()
    area = whole_px(runs, count)
    area -= np.bincount(flat[labels.index], labels.lost, minlength=count)
    shared = labels.other >= 0
    area += np.bincount(flat[labels.other[shared]], labels.lost[shared], minlength=count)
    area[0] = 0  # the face
    return area


def _absorb(
    ids: NDArray[np.int32],
    runs: Runs,
    speck: NDArray[np.bool_],
    area: NDArray[np.float64],
    limit: float,
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Return ids without specks, and which were dust: dust becomes face, specks on edges join what they touch."""
    height, width = ids.shape
    flat = ids.ravel().copy()
    todo = pixels_of(runs, speck, width)
    name = flat[todo]
    y, x = np.divmod(todo, width)
    lit = np.zeros(len(speck))
    around = np.zeros(len(speck))
    for dy, dx in ((-1, 0), (0, -1), (0, 1), (1, 0)):
        inside = (y + dy >= 0) & (y + dy < height) & (x + dx >= 0) & (x + dx < width)
        beside = flat[todo[inside] + dy * width + dx]
        other = beside != name[inside]
        around += np.bincount(name[inside][other], minlength=len(speck))
        on_lit = other & (beside > 0) & ~speck[beside]
        lit += np.bincount(name[inside][on_lit], minlength=len(speck))
    is_dust = speck & (lit <= (1 - _DUST_SURROUND) * np.maximum(around, 1))
    # A thin stroke on the face has no flat pixel, and hardly touches what is lit.
    stays = is_dust & (area >= limit) & (lit <= _STROKE_TOUCH * around)
    is_dust &= ~stays
    flat[todo[is_dust[name]]] = 0
    todo, y, x = (v[~(is_dust | stays)[name]] for v in (todo, y, x))
    for _ in range(64):
        if not todo.size:
            break
        took = np.zeros(todo.size, np.int32)
        for dy, dx in ((-1, 0), (0, -1), (0, 1), (1, 0), (-1, -1), (-1, 1), (1, -1), (1, 1)):
            inside = (y + dy >= 0) & (y + dy < height) & (x + dx >= 0) & (x + dx < width)
            beside = flat[np.where(inside, todo + dy * width + dx, todo)]
            took = np.where((took == 0) & (beside > 0) & ~speck[beside], beside, took)
        flat[todo[took > 0]] = took[took > 0]
        todo, y, x = (v[took == 0] for v in (todo, y, x))
    flat[todo] = 0
    return flat.reshape(ids.shape), np.flatnonzero(is_dust)


def _dust(
    chosen: NDArray[np.int64],
    place: NDArray[np.int64],
    width_px: int,
    own: NDArray[np.int64],
    area: NDArray[np.float64],
) -> Dust:
    """Return what is to be told of the components left out, `place` being each one's first pixel."""
    order = chosen[np.argsort(-area[chosen], kind="stable")]
    y, x = np.divmod(place[order], width_px)
    return Dust(area_px=area[order], at_px=np.stack([x, y], axis=1), label=own[order])


def _coreless(ids: NDArray[np.int32], runs: Runs, labels: Labels, count: int) -> NDArray[np.bool_]:
    """Return components without one flat pixel of their own, which noise makes along edges."""
    edge = np.bincount(ids.ravel()[labels.index], minlength=count)
    return np.asarray(whole_px(runs, count) == edge, bool)


def _tinted_blocks(
    ids: NDArray[np.int32], own: NDArray[np.int64], area: NDArray[np.float64], labels: Labels
) -> NDArray[np.bool_]:
    """Return components no larger than a coded block that touch a larger one of nearly their colour."""
    found = np.zeros(len(own), bool)
    small = area < _BLOCK_PX2
    plain = (own > FACE) & (own < len(labels.rgb))
    if not (small & plain).any():
        return found
    lab = srgb_8bit_to_lab_d65(labels.rgb[np.where(plain, own, FACE)])
    height, width = ids.shape
    flat = ids.ravel()
    here = np.flatnonzero((small & plain)[flat])
    y, x = np.divmod(here, width)
    for dy, dx in ((-1, 0), (0, -1), (0, 1), (1, 0)):
        inside = (y + dy >= 0) & (y + dy < height) & (x + dx >= 0) & (x + dx < width)
        own_id, other = flat[here[inside]], flat[here[inside] + dy * width + dx]
        meet = plain[other] & ~small[other]
        pairs = np.unique(np.stack([own_id[meet], other[meet]], axis=1), axis=0)
        near = delta_e_2000(lab[pairs[:, 0]], lab[pairs[:, 1]]) < _TINT_DELTA_E
        found[pairs[near, 0]] = True
    return found
