"""Where a picture is flat: noise measured, flat regions found, their colours gathered."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.runs import Runs, find_runs, pixels_of, whole_px
from marquee.artwork.scatter import scattered
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65

# A neighbourhood of 3 × 3 pixels is flat when it spans at most TOL_CALM codes; up to _TOL_NOISY where noise
# is measured, as in a lossily compressed picture.
TOL_CALM, _TOL_NOISY = 3, 20
# Second differences of so many codes near edges are noise (measured, 95th percentile: JPEG quality 95 gives 5, lossy
# WebP quality 80 gives 4, glows at most 2).
_NOISY_BEND = 3.5
# Steepest steady ramp (span over three pixels) and largest bend that still count as smooth.
_RAMP_SPAN, _BEND_CODES = 48, 3
# A step of this many codes is an edge, round which lossy compression leaves its noise.
_EDGE_CODES = 24
# Lossy compression works in blocks of 8 pixels (ITU-T T.81), so its noise reaches that far from an edge.
_BLOCK_PX = 8
# How much further off thin parts of a noisy picture may be (measured on JPEG quality 60, 4:2:0).
_THIN_DELTA_E = 10.0
_SAMPLE_PX = 150_000
_ROWS = 128
_MOST_REGIONS = 4096


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flatness:
    """The picture's flat pixels: `region_of_px` (height_px, width_px) int32, 0 where it is not flat.

    `tol` is the span of codes still called flat, `edge_px` how far the middle of an edge is from flat pixels.
    Per region, index 0 unused: `count` pixels, `mean` (n, 3) sRGB codes, `spread` their standard deviation,
    `trend` the part of it that neighbours share, so that noise counts nothing and a ramp everything.
    """

    region_of_px: NDArray[np.int32]
    tol: int
    edge_px: float
    count: NDArray[np.int64]
    mean: NDArray[np.float64]
    spread: NDArray[np.float64]
    trend: NDArray[np.float64]
    box: NDArray[np.int64]
    thick: NDArray[np.bool_]


def find_flat(srgb_8bit: NDArray[np.uint8]) -> Flatness:
    """Return flat regions: 4-connected pixels whose neighbourhoods hardly change, or change at a steady rate."""
    return measure_regions(srgb_8bit, find_even(srgb_8bit))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Even:
    """Masks uint8 of pixels that hardly change over `tol` codes (`flat`), and of those on steady ramps as well."""

    tol: int
    flat: NDArray[np.uint8]
    mask: NDArray[np.uint8]

    @property
    def share(self) -> float:
        """Share of the picture's pixels that lie in flat regions."""
        return float(np.count_nonzero(self.mask) / self.mask.size)


def find_even(srgb_8bit: NDArray[np.uint8]) -> Even:
    """Return where the picture is flat, without its regions."""
    span, bend = _span_and_bend(srgb_8bit)
    tol = _tolerance(span, bend)
    flat = (span <= tol).view(np.uint8)
    # In a lossy picture colour bleeds over edges in ramps of its own; there only the flat test holds.
    mask = flat | _smooth(span, bend) if tol == TOL_CALM else flat
    return Even(tol=tol, flat=flat, mask=mask)


def measure_regions(srgb_8bit: NDArray[np.uint8], even: Even) -> Flatness:
    """Return the flat regions with what is to be known of each."""
    count, regions = cv2.connectedComponents(even.mask, connectivity=4)
    runs = find_runs(regions)
    sizes = whole_px(runs, count).astype(np.int64)
    sizes[0] = regions.size - sizes.sum()
    mean, spread, trend = _region_colours(srgb_8bit, regions, sizes, runs)
    return Flatness(
        region_of_px=regions,
        tol=even.tol,
        edge_px=_edge_reach(even.mask),
        count=sizes,
        mean=mean,
        spread=spread,
        trend=trend,
        box=_boxes(runs, count),
        thick=_thick(even.flat, regions, count) if even.tol > TOL_CALM else sizes > 0,
    )


def _boxes(runs: Runs, count: int) -> NDArray[np.int64]:
    """Return x, y, width, height of each region."""
    box = np.zeros((count, 4), np.int64)
    box[:, 0] = np.iinfo(np.int64).max
    np.minimum.at(box[:, 0], runs.id, runs.start)
    np.maximum.at(box[:, 2], runs.id, runs.end)
    # In reading order: a region's last run is its lowest, and backwards its first is what stays.
    box[runs.id, 3] = runs.row + 1
    box[runs.id[::-1], 1] = runs.row[::-1]
    box[0, :2] = 0
    box[:, 2:] -= box[:, :2]
    return box


def _span_and_bend(srgb_8bit: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Return both a few rows at a time, with one more on either side, so that what is between stays in the cache."""
    height, width = srgb_8bit.shape[:2]
    span, bend = (np.empty((height, width), np.uint8) for _ in range(2))
    for top in range(0, height, _ROWS):
        bottom, first = min(top + _ROWS, height), max(0, top - 1)
        part = srgb_8bit[first : bottom + 1]
        span[top:bottom] = _span(part)[top - first : bottom - first]
        bend[top:bottom] = _bend(part)[top - first : bottom - first]
    return span, bend


def _span(srgb_8bit: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the largest channel's span of codes in each 3 × 3 neighbourhood."""
    return _widest(cv2.morphologyEx(srgb_8bit, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)))


def _bend(srgb_8bit: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the largest second difference of codes along x or y: noise and edges bend, ramps do not."""
    second = np.array([[1, -2, 1]], np.float32)
    along, down = (
        _widest(cv2.convertScaleAbs(cv2.filter2D(srgb_8bit, cv2.CV_16S, kernel)))
        for kernel in (second, second.T)
    )
    return np.asarray(cv2.max(along, down), np.uint8)


def _widest(channels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    first, second, third = cv2.split(channels)
    return np.asarray(cv2.max(cv2.max(first, second), third), np.uint8)


def _tolerance(span: NDArray[np.uint8], bend: NDArray[np.uint8]) -> int:
    """Return the span to call flat, from the noise near edges but not on them."""
    edge = (span > _EDGE_CODES).view(np.uint8)
    near = cv2.dilate(edge, np.ones((2 * _BLOCK_PX + 1,) * 2, np.uint8))
    close = cv2.dilate(edge, np.ones((5, 5), np.uint8))
    band = near & ~close
    if np.count_nonzero(band) < 100:
        band = 1 - edge
    if not band.any():
        return _TOL_NOISY
    if _percentile(bend, band, 95) < _NOISY_BEND:
        return TOL_CALM  # what changes there is a glow or a gradient, not noise
    return int(np.clip(_percentile(span, band, 90), TOL_CALM + 1, _TOL_NOISY))


def _percentile(codes: NDArray[np.uint8], mask: NDArray[np.uint8], percent: float) -> float:
    """Return a percentile of the masked codes, as `numpy.percentile` does, by counting them."""
    below = np.cumsum(cv2.calcHist([codes], [0], mask, [256], [0, 256]).ravel().astype(np.int64))
    place = percent / 100 * (int(below[-1]) - 1)
    low, high = np.searchsorted(below, [int(place), int(np.ceil(place))], side="right")
    return float(low + (high - low) * (place % 1))


def _smooth(span: NDArray[np.uint8], bend: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return pixels on steady ramps at least three pixels wide, as glows and gradients are."""
    around = cv2.dilate(bend, np.ones((3, 3), np.uint8))
    steady = ((span <= _RAMP_SPAN) & (around <= _BEND_CODES)).view(np.uint8)
    return np.asarray(
        cv2.morphologyEx(steady, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8
    )


def _edge_reach(flat: NDArray[np.uint8]) -> float:
    """Return the distance [px] from the middle of a usual edge to flat pixels."""
    distance = cv2.distanceTransform(1 - flat, cv2.DIST_L2, 3)
    ridge = distance[
        (distance > 0) & (distance >= cv2.dilate(distance, np.ones((3, 3), np.uint8)))
    ]
    if not ridge.size:
        return 1.0
    # As numpy.percentile has it, which loads numpy's masked arrays on its way.
    place = 0.75 * (ridge.size - 1)
    low, high = int(place), min(int(place) + 1, ridge.size - 1)
    parted = np.partition(ridge, [low, high])
    return float(parted[low] + (parted[high] - parted[low]) * (place - low))


def _thick(flat: NDArray[np.uint8], regions: NDArray[np.int32], count: int) -> NDArray[np.bool_]:
    inner = cv2.erode(flat, np.ones((_BLOCK_PX - 1,) * 2, np.uint8))
    thick = np.zeros(count, bool)
    thick[find_runs(np.multiply(regions, inner, dtype=np.int32)).id] = True
    return thick


def _region_colours(
    srgb_8bit: NDArray[np.uint8], regions: NDArray[np.int32], sizes: NDArray[np.int64], runs: Runs
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return per region mean, spread and trend; large regions from a sample of their pixels."""
    labels = regions.ravel()
    step = max(1, int(sizes[1:].sum() // _SAMPLE_PX)) if len(sizes) > 1 else labels.size
    small = sizes < 64 * step
    small[0] = False
    grid = scattered(labels.size, step)
    grid = grid[(labels[grid] > 0) & ~small[labels[grid]]]
    picked = np.concatenate([grid, pixels_of(runs, small, regions.shape[1])])
    own = labels[picked]
    n = len(sizes)
    weight = np.maximum(np.bincount(own, minlength=n), 1).astype(float)
    pixels = srgb_8bit.reshape(-1, 3)
    mean, variance, noise = (np.zeros((n, 3)) for _ in range(3))
    before = np.maximum(picked - 1, 0)
    same = labels[before] == own
    pairs = np.maximum(np.bincount(own, weights=same, minlength=n), 1)
    # Rows are taken several times faster than indexed.
    here, beside = (pixels.take(v, axis=0).astype(float) for v in (picked, before))
    for c in range(3):
        value = np.ascontiguousarray(here[:, c])
        mean[:, c] = np.bincount(own, weights=value, minlength=n) / weight
        variance[:, c] = np.bincount(own, (value - mean[own, c]) ** 2, minlength=n) / weight
        step_up = np.where(same, value - beside[:, c], 0.0)
        noise[:, c] = np.bincount(own, step_up**2, minlength=n) / (2 * pairs)
    spread = np.sqrt(variance.sum(axis=1))
    # von Neumann, Annals of Mathematical Statistics 12, 1941: for independent noise half the mean square
    # of successive differences equals the variance; what is left over is a trend.
    trend = np.sqrt(np.maximum(variance - noise, 0).sum(axis=1))
    return mean, spread, trend


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cluster:
    """Regions of one colour: `rgb` (3,) codes, `lab` (3,) under D65, `px` flat pixels."""

    rgb: NDArray[np.float64]
    lab: NDArray[np.float64]
    px: int
    regions: NDArray[np.int64]


def gather_colours(
    flat: Flatness,
    chosen: NDArray[np.int64],
    merge_delta_e: float,
    guide_lab: NDArray[np.float64],
) -> list[Cluster]:
    """Return the colours of `chosen` regions, largest first.

    Regions join the largest colour within `merge_delta_e`; small ones may lie further off where the picture
    is noisy. Two colours that match two different colours of the palette `guide_lab` (n, 3) stay apart.
    """
    order = chosen[np.argsort(-flat.count[chosen], kind="stable")][:_MOST_REGIONS]
    lab = srgb_8bit_to_lab_d65(flat.mean[order])
    match = _guide_match(lab, guide_lab)
    left = np.arange(len(order))
    groups: list[NDArray[np.int64]] = []
    thick = flat.thick[order]
    while left.size:
        head = left[np.argmax(thick[left])]  # the largest thick one, else the largest
        near = delta_e_2000(lab[head], lab[left])
        # Lossy compression keeps colour at half resolution, so that thin parts are off by more than noise.
        limit = np.where(thick[left], merge_delta_e, merge_delta_e + _THIN_DELTA_E)
        apart = (match[left] != match[head]) & (match[left] >= 0) & (match[head] >= 0)
        joins = (near < limit) & ~apart
        joins[left == head] = True
        groups.append(left[joins])
        left = left[~joins]
    clusters = [_cluster(flat, order[g]) for g in groups]
    return sorted(clusters, key=lambda c: -c.px)


def _guide_match(lab: NDArray[np.float64], guide_lab: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return for each colour the palette colour it plainly is (within CIEDE2000 3), else -1."""
    if not len(guide_lab):
        return np.full(len(lab), -1)
    distance = delta_e_2000(lab[:, None, :], guide_lab[None, :, :])
    nearest = np.argmin(distance, axis=1)
    return np.where(distance[np.arange(len(lab)), nearest] < 3, nearest, -1)


def _cluster(flat: Flatness, regions: NDArray[np.int64]) -> Cluster:
    weight = flat.count[regions].astype(float)
    rgb = np.asarray(weight @ flat.mean[regions] / weight.sum(), float)
    return Cluster(rgb=rgb, lab=srgb_8bit_to_lab_d65(rgb), px=int(weight.sum()), regions=regions)
