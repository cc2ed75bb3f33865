"""How long the walls are against the least any partition can have. Run: python -m tests.bench.bench_barriers.

The bound is that of `least_partition` on the land of the same clearance, sampled at 1.25 mm or a tenth of the usual
part of the land. It measures straight lines 0 to 1.3 % short, never long, so that a ratio up to 1.013 may be the
shortest there is; sampling moves the land's outline up to half a sample a corner, and each corner of a ring is cut short
by about two thirds of one. Of 85 windows of 5 by 6 mm the bound falls with the sample in a straight line: 1150 mm at 2 mm,
1441 at 1.25, 1613 at 0.8, 1668 at 0.53, 1729 at 0.27, where the shortest rings, known exactly, are 1723 and the walls 1726
(`tests/box/test_least_walls.py` checks such windows). Ends with 1 where a ratio is above the limit.
"""

import time
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from marquee.box.barriers import draw_network
from marquee.box.ground import Ground, survey
from marquee.box.network import network_of_labels
from marquee.box.relax import relax
from marquee.box.taut import Shores
from tests.bench.least_partition import Bound, least_partition
from tests.box.factory import zone_map

DATA = Path(__file__).parent.parent / "data" / "box"
MM_PER_PX = {"demo": 1 / 6, "rocket": 2 / 7, "windows": 4 / 15}
REACH_MM = 2.5
LIMIT = 1.05
_SAMPLE_MM, _SAMPLES_ACROSS = 1.25, 10


def bound_of(ground: Ground, sample_mm: float | None = None) -> Bound:
    """Return the bound on the length of partitions of the sampled face."""
    every = max(1, round((sample_mm or fitting_sample_mm(ground)) / ground.step_mm))
    at = slice(every // 2, None, every)
    return least_partition(ground.land[at, at], ground.nearest[at, at], ground.step_mm * every)


def fitting_sample_mm(ground: Ground) -> float:
    """Return a sample ten of which fit across the usual connected part of the land [mm]."""
    sizes_px: list[float] = []
    for zone in ground.zones:
        own = (ground.land == zone).astype(np.uint8)
        sizes_px += np.sqrt(
            cv2.connectedComponentsWithStats(own)[2][1:, cv2.CC_STAT_AREA]
        ).tolist()
    return min(_SAMPLE_MM, float(np.median(sizes_px)) * ground.step_mm / _SAMPLES_ACROSS)


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


def main() -> int:
    """Print a row for each picture; 1 if any is above the limit."""
    print(
        "picture   zones  walls mm  equal-distance   taut from it  lower bound  walls/bound  seconds"
    )
    worst = 0.0
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
        bound = bound_of(ground)
        worst = max(worst, ours / bound.least_mm)
        print(
            f"{path.stem:9} {len(zones.zones):5} {ours:9.1f} {medial:9.1f} ({ours / medial:.2f})"
            f" {pulled.total_mm:9.1f} ({ours / pulled.total_mm:.3f}) {bound.least_mm:9.1f}"
            f" {ours / bound.least_mm:12.3f} {taken:10.2f}",
            flush=True,
        )
    return int(worst > LIMIT)


if __name__ == "__main__":
    raise SystemExit(main())
