"""A minimum cut of the face on a coarse grid: the walls' course before they are pulled taut."""

from __future__ import annotations

from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from marquee.box.ground import Labels
from marquee.parallel import run_all

# Neighbours within two steps, half of them: the other half are their opposites.
_REACH_PX = 2
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


@cache
def _neighbours() -> tuple[NDArray[np.intp], Labels]:
    """Return (16, 2) steps to all neighbours, rows and columns, in reading order, and their links' capacities."""
    found = [
        (sign * dy, sign * dx, round(weight * _UNITS_PER_STEP))
        for (dx, dy), weight in zip(_STEPS, _weights(), strict=True)
        for sign in (1, -1)
    ]
    table = np.array(sorted(found))
    return table[:, :2].astype(np.intp), table[:, 2].astype(np.int32)


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
    count = int(np.count_nonzero(movable))
    if not count:
        return labels
    graph = csr_array(_links(labels, movable, zone), shape=(count + 2, count + 2))
    flow = maximum_flow(graph, count, count + 1).flow
    # Every link is there both ways, so that the flow has the places of the graph.
    left: csr_array = csr_array(
        (graph.data > flow.data, graph.indices, graph.indptr), shape=graph.shape
    )
    left.eliminate_zeros()
    kept = breadth_first_order(left, count, return_predecessors=False)
    grown = np.ones(count + 2, bool)
    grown[kept] = False
    new = labels.copy()
    new[movable] = np.where(grown[:count], zone, labels[movable])
    return new


def _links(labels: Labels, movable: NDArray[np.bool_], zone: int) -> tuple[Labels, Labels, Labels]:
    """Return directed links as data, indices and indptr of a sparse matrix.

    Its rows are the movable places, the source and the sink: a place on the source's side stays as it is, one on the
    sink's becomes `zone`.
    """
    steps, units = _neighbours()
    lined = np.pad(labels, _REACH_PX, constant_values=-1)
    number = np.full(lined.shape, -1, np.int32)
    inner = number[_REACH_PX:-_REACH_PX, _REACH_PX:-_REACH_PX]
    count = int(np.count_nonzero(movable))
    inner[movable] = np.arange(count, dtype=np.int32)
    place = np.flatnonzero(number >= 0)
    beside = place[:, None] + steps @ (lined.shape[1], 1)
    q, of_q, of_p = number.ravel()[beside], lined.ravel()[beside], lined.ravel()[place][:, None]
    moves = q >= 0
    # Unlike neighbours cost one border whatever one of them does and none if both become the zone (Kolmogorov, Zabih,
    # IEEE Trans. PAMI 26(2), 2004): a link from one of them to the other, and from there to the sink.
    to_q = moves & (of_p <= of_q)
    to_sink = np.where(moves, of_p > of_q, of_q == zone) @ units
    from_source = (~moves & (of_q == of_p)) @ units
    source, sink = np.int32(count), np.int32(count + 1)
    fed, drained = from_source > 0, to_sink > 0
    columns = np.concatenate([q, np.tile([source, sink], (count, 1))], axis=1, dtype=np.int32)
    nothing = np.zeros((count, 1), np.int32)
    capacity = np.concatenate([np.where(to_q, units, 0), nothing, to_sink[:, None]], axis=1)
    # Links without capacity stand for the way back.
    used = np.concatenate([moves, fed[:, None], drained[:, None]], axis=1)
    ends = np.cumsum([*np.count_nonzero(used, axis=1), fed.sum(), drained.sum()])
    return (
        np.concatenate([capacity[used], from_source[fed], nothing[drained, 0]], dtype=np.int32),
        np.concatenate(
            [columns[used], np.flatnonzero(fed), np.flatnonzero(drained)], dtype=np.int32
        ),
        np.append(0, ends).astype(np.int32),
    )
