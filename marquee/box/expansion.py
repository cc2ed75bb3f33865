"""A minimum cut of the face on a coarse grid: the walls' course before they are pulled taut."""

from __future__ import annotations

from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from marquee.box.ground import Floats, Labels
from marquee.parallel import run_all

# Neighbours within two steps, half of them: the other half are their opposites.
_STEPS = ((1, 0), (2, 1), (1, 1), (1, 2), (0, 1), (-1, 2), (-1, 1), (-2, 1))
# Capacities are whole numbers of this share of a grid step.
_UNITS_PER_STEP = 1000
_MOST_SWEEPS, _FEW_ZONES = 3, 12


@cache
def _weights() -> tuple[float, ...]:
    """Return the length each cut link stands for, in grid steps.

    w = δ²·Δφ / (2·|e|) for links of 16 directions (Boykov, Kolmogorov, Computing geodesics and minimal surfaces
    via graph cuts, ICCV 2003, equation 2 for the Euclidean metric), Δφ the angle to the links on either side.
    """
    angle = np.array([np.arctan2(dy, dx) for dx, dy in _STEPS])
    gap = np.diff(np.concatenate([[angle[-1] - np.pi], angle, [np.pi]]))
    share = (gap[:-1] + gap[1:]) / 2
    length = np.hypot(*np.array(_STEPS, float).T)
    return tuple((share / (2 * length)).tolist())


def cut_labels(land: Labels, start: Labels) -> Labels:
    """Return labels of low border length by expansion moves, each an exact minimum cut.

    Two zones are cut exactly; of more, each expansion is the best of its kind (Boykov, Veksler, Zabih, IEEE
    Trans. PAMI 23(11), 2001); they start once from `start` and once from one zone all over, and the shorter counts.

    Parameters
    ----------
    land : (ny, nx) int32
        Zone ids that stay, -1 where free.
    start : (ny, nx) int32
        A zone everywhere.
    """
    zones = np.unique(land[land >= 0]).tolist()
    if len(zones) < 2:
        return start
    largest = int(np.argmax(np.bincount(land[land >= 0])))
    over = np.where(land >= 0, land, largest).astype(np.int32)
    if len(zones) == 2:
        return _expanded(over, land, next(z for z in zones if z != largest))
    if len(zones) > _FEW_ZONES:
        return _swept(start, land, zones)
    swept: list[Labels] = run_all([partial(_swept, first, land, zones) for first in (start, over)])
    return min(swept, key=_border)


def _swept(start: Labels, land: Labels, zones: list[int]) -> Labels:
    """Return the labels after each zone in turn was expanded, until no expansion shortens borders."""
    labels = start
    settled: set[int] = set()
    for _ in range(_MOST_SWEEPS if len(zones) <= _FEW_ZONES else 1):
        for zone in zones:
            if zone in settled:
                continue
            new = _expanded(labels, land, zone)
            if (new == labels).all():
                settled.add(zone)
            else:
                settled = {zone}
                labels = new
        if len(settled) == len(zones):
            break
    return labels


def _border(labels: Labels) -> float:
    """Return the length of all borders between unlike labels, in grid steps."""
    height, width = labels.shape
    total = 0.0
    for (dx, dy), weight in zip(_STEPS, _weights(), strict=True):
        here = labels[: height - dy, max(0, -dx) : width - max(0, dx)]
        there = labels[dy:, max(0, dx) : width - max(0, -dx)]
        total += weight * float(np.count_nonzero(here != there))
    return total


def _expanded(labels: Labels, land: Labels, zone: int) -> Labels:
    """Return the labels with `zone` grown into free places where that shortens borders most."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import breadth_first_order, maximum_flow

    movable = (land < 0) & (labels != zone)
    count = int(movable.sum())
    if not count:
        return labels
    number = np.full(labels.shape, -1, np.int64)
    number[movable] = np.arange(count)
    source, sink = count, count + 1
    rows, columns, capacity = _links(labels, number, zone, source, sink)
    units = np.round(capacity * _UNITS_PER_STEP).astype(np.int32)
    graph = csr_array((units, (rows, columns)), shape=(count + 2, count + 2))
    graph.sum_duplicates()
    graph = csr_array(
        (
            graph.data.astype(np.int32),
            graph.indices.astype(np.int32),
            graph.indptr.astype(np.int32),
        ),
        shape=graph.shape,
    )
    flow = maximum_flow(graph, source, sink).flow
    left: csr_array = csr_array(graph - flow)
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    kept = breadth_first_order(left, source, return_predecessors=False)
    grown = np.ones(count + 2, bool)
    grown[kept] = False
    new = labels.copy()
    new[movable] = np.where(grown[:count], zone, labels[movable])
    return new


def _links(
    labels: Labels, number: NDArray[np.int64], zone: int, source: int, sink: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Return directed links: from the source side stays as it is, on the sink side becomes `zone`."""
    height, width = labels.shape
    found: list[tuple[NDArray[np.int64], NDArray[np.int64], float]] = []
    for (dx, dy), weight in zip(_STEPS, _weights(), strict=True):
        here = (slice(max(0, -dy), height - max(0, dy)), slice(max(0, -dx), width - max(0, dx)))
        there = (slice(max(0, dy), height - max(0, -dy)), slice(max(0, dx), width - max(0, -dx)))
        for a, b in ((here, there), (there, here)):
            found += [
                (r, c, weight) for r, c in _one_way(labels, number, zone, (a, b), (source, sink))
            ]
    rows = np.concatenate([r for r, _, _ in found])
    columns = np.concatenate([c for _, c, _ in found])
    return rows, columns, np.concatenate([np.full(len(r), w) for r, _, w in found])


def _one_way(
    labels: Labels,
    number: NDArray[np.int64],
    zone: int,
    places: tuple[tuple[slice, slice], tuple[slice, slice]],
    ends: tuple[int, int],
) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Return links p → q, p → sink and source → p for every movable p and its neighbour q one way off."""
    p, q = number[places[0]], number[places[1]]
    of_p, of_q = labels[places[0]], labels[places[1]]
    moves = p >= 0
    both = moves & (q >= 0)
    same = both & (of_p == of_q)
    # Unlike neighbours cost one border whatever one of them does and none if both become the zone
    # (Kolmogorov, Zabih, IEEE Trans. PAMI 26(2), 2004); each pair is met both ways, so one way each is taken.
    unlike = both & (of_p < of_q)
    beside_zone = moves & (q < 0) & (of_q == zone)
    beside_same = moves & (q < 0) & (of_q == of_p)
    full = np.full_like(p, ends[0])
    last = np.full_like(p, ends[1])
    return [
        (p[same], q[same]),
        (p[unlike], q[unlike]),
        (q[unlike], last[unlike]),
        (p[beside_zone], last[beside_zone]),
        (full[beside_same], p[beside_same]),
    ]
