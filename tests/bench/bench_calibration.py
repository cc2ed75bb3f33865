"""What calibrating buys on 200 simulated benches. Run: python -m tests.bench.bench_calibration [benches].

Each bench has its own true part, up to 24 pairs of which a tenth are slips, and 24 unseen colours: see
tests/calibration/simulated.py. Ends with status 1 where a bar is missed.
"""

import sys
import time

import numpy as np

from marquee.colour.parts import load_part
from tests.calibration.scored import advised_scores, scores
from tests.calibration.simulated import linear_part

# Bars: mean CIEDE2000 over benches and unseen colours after so many pairs.
BARS = {1: 5.0, 3: 3.5, 6: 2.5, 12: 1.7, 24: 1.4}
COUNTS = (0, *BARS)


def main(benches: int) -> int:
    """Print a table for each case and return 1 where a bar is missed."""
    cases = (
        ("linear response, random colours", linear_part(), scores, COUNTS),
        # There are 13 colours to ask for.
        ("linear response, the colours asked for", linear_part(), advised_scores, COUNTS[:-1]),
        ("ws2812b's response, random colours", load_part("ws2812b"), scores, COUNTS),
    )
    missed = False
    for name, part, method, counts in cases:
        start = time.perf_counter()
        found = np.array([method(part, seed, counts) for seed in range(benches)])
        print(f"{name}, {benches} benches, {time.perf_counter() - start:.0f} s")
        print(
            f"{'pairs':>6} {'bar':>5} {'mean':>6} {'median':>7} {'90 %':>6} {'worse':>6} {'by > 1':>7}"
        )
        for count, column in zip(counts, found.T, strict=True):
            bar = BARS.get(count)
            worse = column - found[:, 0]
            print(
                f"{count:>6} {'' if bar is None else bar:>5} {column.mean():>6.2f} {np.median(column):>7.2f} "
                f"{np.percentile(column, 90):>6.2f} {(worse > 0).sum():>6} {(worse > 1).sum():>7}",
                flush=True,
            )
            missed |= bar is not None and column.mean() > bar
    return int(missed)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
