"""Which zone's cell each place of the face falls to, before walls are pulled taut."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.expansion import cut_labels
from marquee.box.ground import Ground, Labels

# Pixels of the coarse grid the walls' course is chosen on: two zones are one cut, more are many. Four times as many
# give walls shorter by 0.02 % on average and at most by 0.7 % on 60 made-up pictures, for eight times the time.
_TWO_ZONES_PX, _MORE_ZONES_PX, _LEAST_PX = 12_000, 18_000, 2_500
# More zones than this are only smoothed: each would need cuts of its own.
_MOST_CUT_ZONES = 40
_MOST_ROUNDS = 12
# First blur as a share of the face's shorter side (found by trial on lettering and emblems).
_WIDEST = 0.25


def shortest_labels(ground: Ground) -> Labels:
    """Return zone ids over the working grid with borders near the shortest possible.

    On a coarse grid, threshold dynamics (Merriman, Bence, Osher 1992; several phases: Esedoḡlu, Otto, Comm. Pure
    Appl. Math. 68(5), 2015) shorten the equal-distance partition: every zone's indicator is blurred, each place
    goes to the largest, land stays its owner's. Expansion moves by minimum cuts then find what a gradual motion
    cannot, such as a wall that had better end at another side. The result is smoothed on the working grid.
    """
    count = len(ground.zones)
    share = _TWO_ZONES_PX if count == 2 else max(_MORE_ZONES_PX // max(count, 4), _LEAST_PX)
    shrink = max(1, int(np.ceil(np.sqrt(ground.land.size / share))))
    land, nearest = _coarse(ground, shrink)
    labels = np.where(land >= 0, land, nearest)
    sigma = _WIDEST * min(labels.shape)
    while sigma > 1:
        labels = _flow(labels, land, sigma)
        sigma *= 0.6
    if count <= _MOST_CUT_ZONES:
        labels = cut_labels(land, labels)
    if shrink > 1:
        height, width = ground.land.shape
        labels = np.repeat(np.repeat(labels, shrink, axis=0), shrink, axis=1)[:height, :width]
        labels = np.where(ground.land >= 0, ground.land, labels)
        labels = _flow(labels, ground.land, 1.5 * shrink, rounds=2)
    return settle(labels, ground)


def _coarse(ground: Ground, shrink: int) -> tuple[Labels, Labels]:
    if shrink == 1:
        return ground.land, ground.nearest
    height, width = ground.land.shape
    pad = ((0, -height % shrink), (0, -width % shrink))
    land = np.pad(ground.land, pad, mode="edge")
    nearest = np.pad(ground.nearest, pad, mode="edge")
    middle = shrink // 2
    blocks = land.reshape(land.shape[0] // shrink, shrink, land.shape[1] // shrink, shrink)
    # As much land as there is: more would make rings round small apertures dearer than they are.
    mostly = (blocks >= 0).mean(axis=(1, 3)) >= 0.5
    centre = land[middle::shrink, middle::shrink]
    any_land = np.where(mostly, blocks.max(axis=(1, 3)), -1)
    return np.where(mostly & (centre >= 0), centre, any_land), nearest[
        middle::shrink, middle::shrink
    ]


def _flow(labels: Labels, land: Labels, sigma: float, rounds: int = _MOST_ROUNDS) -> Labels:
    present = np.flatnonzero(np.bincount(labels.ravel())).tolist()
    for _ in range(rounds):
        new = _largest_share(labels, present, sigma)
        np.copyto(new, land, where=land >= 0)
        if np.count_nonzero(new != labels) <= 0.0005 * labels.size:
            return new
        labels = new
    return labels


def _largest_share(labels: Labels, present: list[int], sigma: float) -> Labels:
    """Return the zone with the largest share around each pixel."""
    if len(present) == 2:
        first, second = present
        return np.where(_blurred(labels == first, sigma) < 0.5, np.int32(second), np.int32(first))
    best = np.full(labels.shape, -1.0, np.float32)
    new = labels.copy()
    for zone in present:
        share = _blurred(labels == zone, sigma)
        wins = share > best
        np.copyto(best, share, where=wins)
        np.copyto(new, zone, where=wins)
    return new


def _blurred(mask: NDArray[np.bool_], sigma: float) -> NDArray[np.float32]:
    """Return the share of `mask` around each pixel; wide blurs are made on a smaller picture."""
    import cv2

    height, width = mask.shape
    shrink = min(max(1, int(sigma / 3)), height, width)
    share = mask.astype(np.float32)
    if shrink > 1:
        small = (-(-width // shrink), -(-height // shrink))
        share = cv2.resize(share, small, interpolation=cv2.INTER_AREA)
    share = cv2.GaussianBlur(share, (0, 0), sigma / shrink, borderType=cv2.BORDER_REFLECT)
    if shrink > 1:
        share = cv2.resize(share, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(share, np.float32)


def settle(labels: Labels, ground: Ground) -> Labels:
    """Return labels whose every connected part holds land of its zone, stray parts given to a neighbour."""
    import cv2

    labels = labels.copy()
    for _ in range(8):
        strays = np.zeros(labels.shape, bool)
        for zone in ground.zones:
            own = (labels == zone).astype(np.uint8)
            count, part = cv2.connectedComponents(own, connectivity=4)
            held = np.zeros(count, bool)
            held[part[ground.land == zone]] = True
            held[0] = True
            strays |= ~held[part]
        if not strays.any():
            break
        labels = _given_away(labels, strays)
    return labels


def _given_away(labels: Labels, strays: NDArray[np.bool_]) -> Labels:
    import cv2

    _, number = cv2.distanceTransformWithLabels(
        strays.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    kept = ~strays
    label_of = np.zeros(int(number.max()) + 1, np.int32)
    label_of[number[kept]] = labels[kept]
    return np.where(strays, label_of[number], labels).astype(np.int32)
