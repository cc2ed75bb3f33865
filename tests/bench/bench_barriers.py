"""How long the walls are against the equal-distance partition and a minimum cut. Run: python -m tests.bench.bench_barriers.

The cut is made by scipy's maximum flow on the whole face at about 1 mm, with the 16-neighbour weights of Boykov and
Kolmogorov (ICCV 2003); it is exact for two zones. For more, each zone cut from all others and half the sum is a
lower bound of any partition (every wall borders two zones). A flow with these weights measures straight lines
0 to 3 % short, so a ratio up to 1.03 may be the shortest there is.
"""

import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_flow

from marquee.box.barriers import draw_network
from marquee.box.ground import Ground, survey
from marquee.box.network import network_of_labels
from marquee.box.relax import relax
from marquee.box.taut import Shores
from tests.box.factory import zone_map

DATA = Path(__file__).parent.parent / "data" / "box"
MM_PER_PX = {"demo": 1 / 6}
REACH_MM = 2.5
STEPS = ((1, 0), (2, 1), (1, 1), (1, 2), (0, 1), (-1, 2), (-1, 1), (-2, 1))


def least_cut_mm(inner: NDArray[np.bool_], outer: NDArray[np.bool_], step_mm: float) -> float:
    """Return the shortest border between two sets of pixels by maximum flow [mm]."""
    height, width = inner.shape
    node = np.arange(height * width).reshape(height, width)
    source, sink = height * width, height * width + 1
    node = np.where(inner, source, np.where(outer, sink, node))
    angle = np.array([np.arctan2(dy, dx) for dx, dy in STEPS])
    gap = np.diff(np.concatenate([[angle[-1] - np.pi], angle, [np.pi]]))
    weight = (gap[:-1] + gap[1:]) / 4 / np.hypot(*np.array(STEPS, float).T)
    rows, columns, units = [], [], []
    for (dx, dy), w in zip(STEPS, weight, strict=True):
        a = node[: height - dy, max(0, -dx) : width - max(0, dx)].ravel()
        b = node[dy:, max(0, dx) : width - max(0, -dx)].ravel()
        apart = a != b
        rows += [a[apart], b[apart]]
        columns += [b[apart], a[apart]]
        units.append(np.full(2 * int(apart.sum()), round(w * 10_000), np.int32))
    graph = csr_array(
        (np.concatenate(units), (np.concatenate(rows), np.concatenate(columns))),
        shape=(height * width + 2,) * 2,
    )
    graph.sum_duplicates()
    return float(maximum_flow(graph, source, sink).flow_value) / 10_000 * step_mm


def lower_bound_mm(ground: Ground) -> float:
    """Return a length no partition of the coarse face falls below [mm]."""
    every = max(1, round(1.25 / ground.step_mm))
    land = ground.land[every // 2 :: every, every // 2 :: every]
    step_mm = ground.step_mm * every
    zones = np.unique(land[land >= 0])
    if len(zones) == 2:
        return least_cut_mm(land == zones[0], land == zones[1], step_mm)
    return sum(least_cut_mm(land == z, (land >= 0) & (land != z), step_mm) for z in zones) / 2


def equal_distance_mm(ground: Ground) -> float:
    """Return the length of the equal-distance partition, its staircases smoothed by a local average [mm]."""
    network = network_of_labels(ground.nearest, ground)
    total = 0.0
    for line in network.lines:
        path = line.path_mm
        if len(path) > 20:
            kernel = np.ones(9) / 9
            middle = np.stack([np.convolve(path[:, i], kernel, "valid") for i in (0, 1)], axis=1)
            path = np.vstack([path[:1], middle, path[-1:]])
        total += float(np.hypot(*np.diff(path, axis=0).T).sum())
    return total


def main() -> None:
    """Print a row for each picture."""
    print("picture   zones  walls mm  equal-distance   taut from it   lower bound   seconds")
    for path in sorted(DATA.glob("*.png")):
        labels = np.asarray(Image.open(path)).astype(np.int16) - 1
        zones = zone_map(labels, MM_PER_PX.get(path.stem, 0.25))
        start = time.process_time()
        ground = survey(zones, REACH_MM)
        ours = draw_network(ground).total_mm
        taken = time.process_time() - start
        medial = equal_distance_mm(ground)
        pulled = network_of_labels(ground.nearest, ground)
        relax(pulled, ground, Shores(ground))
        bound = lower_bound_mm(ground)
        print(
            f"{path.stem:9} {len(zones.zones):5} {ours:9.1f} {medial:9.1f} ({ours / medial:.2f})"
            f" {pulled.total_mm:9.1f} ({ours / pulled.total_mm:.3f}) {bound:8.1f} ({ours / bound:.3f}) {taken:6.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
