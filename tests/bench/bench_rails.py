"""How long networks and designs take. Run: python -m tests.bench.bench_rails.

Each time is the median of several runs after one to warm up; the plain loop solves the same network as a
dense nodal matrix with numpy.
"""

import statistics
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from marquee.power.circuit import solve_json
from marquee.power.design import plan_power
from marquee.project import PowerSettings
from tests.power.make import make_chain, make_part

SIZES = (100, 300, 1000, 3000, 10_000)


def seconds(job: Callable[[], object], runs: int = 5) -> float:
    """Return the median of several runs [s], one more before them to warm up."""
    job()
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def network(count: int, *, knee: bool) -> dict[str, Any]:
    """Return a chain fed every hundred LEDs."""
    feeds = [
        {"at": f"after {k}", "ohm_per_m_20c": 0.02, "length_m": 1.0}
        for k in range(0, count + 1, 100)
    ]
    return {
        "supply_v": 5.0,
        "n_leds": count,
        "pitch_m": 1 / 60,
        "rail_pos_ohm_per_m": 0.185,
        "rail_gnd_ohm_per_m": 0.185,
        "i_led_a": 0.05,
        "sink": {"kind": "knee", "v_lo": 2.5, "v_hi": 4.6} if knee else {"kind": "constant"},
        "feeds": feeds,
    }


def dense(count: int) -> None:
    """Solve a matrix of the same size, as a plain nodal solver would."""
    size = 2 * count
    matrix = (
        np.diag(np.full(size, 2.0))
        - np.diag(np.ones(size - 1), 1)
        - np.diag(np.ones(size - 1), -1)
    )
    np.linalg.solve(matrix, np.ones(size))


def main() -> None:
    """Print the table."""
    print("LEDs     constant     knee    dense numpy   whole design")
    part = make_part()
    for count in SIZES:
        constant = seconds(partial(solve_json, network(count, knee=False)))
        knee = seconds(partial(solve_json, network(count, knee=True)))
        plain = (
            f"{1000 * seconds(partial(dense, count), 1):8.1f} ms"
            if count <= 3000
            else "       –   "
        )
        chain = make_chain(count, rows=max(1, count // 50))
        design = seconds(partial(plan_power, chain, part, None, PowerSettings()), 1)
        print(
            f"{count:6d} {1000 * constant:8.1f} ms {1000 * knee:7.1f} ms {plain} {1000 * design:9.0f} ms"
        )


if __name__ == "__main__":
    main()
