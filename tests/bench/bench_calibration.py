"""What calibrating buys on 200 simulated benches. Run: python -m tests.bench.bench_calibration [benches].

Each bench has its own true part, 24 pairs of random colours of which a tenth are slips, and 24 unseen colours;
see tests/calibration/simulated.py. Ends with status 1 where a bar is missed.
"""

import sys
import time

import numpy as np

from marquee.colour.parts import load_part
from tests.calibration.scored import scores
from tests.calibration.simulated import linear_part

# Bars: mean CIEDE2000 over benches and unseen colours after so many pairs.
BARS = {1: 5.0, 3: 3.5, 6: 2.5, 12: 1.7, 24: 1.4}


def main(benches: int) -> int:
    """Print the table for two responses and return 1 where a bar is missed."""
    missed = False
    for name, part in (("linear", linear_part()), ("ws2812b's own", load_part("ws2812b"))):
        start = time.perf_counter()
        found = np.array([scores(part, seed, (0, *BARS)) for seed in range(benches)])
        taken = time.perf_counter() - start
        print(f"response {name}, {benches} benches, {taken:.0f} s")
        print(
            f"{'pairs':>6} {'bar':>5} {'mean':>6} {'median':>7} {'90 %':>6} {'worse than none':>16}"
        )
        for number, count in enumerate((0, *BARS)):
            column = found[:, number]
            bar = BARS.get(count)
            worse = int((column > found[:, 0]).sum())
            print(
                f"{count:>6} {'' if bar is None else bar:>5} {column.mean():>6.2f} {np.median(column):>7.2f} "
                f"{np.percentile(column, 90):>6.2f} {worse:>16}"
            )
            missed |= bar is not None and column.mean() > bar
    return int(missed)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
