"""How long the walls are against the least any partition can have. Run: python -m tests.bench.bench_barriers.

The bound is that of `least_partition` on the land of the same clearance, sampled at about 1.25 mm. It measures
straight lines 0 to 1.3 % short, never long, so that a ratio up to 1.013 may be the shortest there is; sampling the land's
outline adds up to half a pixel a corner either way. Ends with 1 where a ratio is above the limit.
"""

import time
from pathlib import Path

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
MM_PER_PX = {"demo": 1 / 6}
REACH_MM = 2.5
LIMIT = 1.05
_SAMPLE_MM = 1.25


def bound_of(ground: Ground, sample_mm: float = _SAMPLE_MM) -> Bound:
    """Return the bound on the length of partitions of the sampled face."""
    every = max(1, round(sample_mm / ground.step_mm))
    at = slice(every // 2, None, every)
    return least_partition(ground.land[at, at], ground.nearest[at, at], ground.step_mm * every)


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
