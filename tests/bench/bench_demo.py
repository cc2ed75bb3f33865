"""The whole `marquee demo`, imports and all. Run: python -m tests.bench.bench_demo."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.watched import Cost, environment, run

ROUNDS = 5


def main() -> None:
    """Print wall and processor time of the fastest of some runs, on all cores and on one, and the most memory."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        around = environment(folder)
        command = [sys.executable, "-m", "marquee", "demo", "--out", str(folder / "plan")]
        run(command, around)
        _tell("all cores", [run(command, around) for _ in range(ROUNDS)])
        alone = [sys.executable, "-c", ALONE, *command[3:]]
        _tell("one core", [run(alone, around) for _ in range(ROUNDS)])
        memory = run(command, around, memory=True)
    print(f"memory of all its processes at one moment: {memory.peak_mb:.0f} MB")


ALONE = """
import os
os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
from marquee.cli import main
main()
"""


def _tell(name: str, costs: list[Cost]) -> None:
    fastest = min(costs, key=lambda c: c.wall_s)
    least_s = min(c.cpu_s for c in costs)
    print(f"{name}: {fastest.wall_s:.2f} s wall, {least_s:.2f} s CPU")


if __name__ == "__main__":
    main()
