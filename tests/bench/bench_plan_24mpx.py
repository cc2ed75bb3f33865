"""A whole plan of 24-megapixel artwork against Pillow's decoding of it. Run: python -m tests.bench.bench_plan_24mpx."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from PIL import Image

from tests.bench.bench_zones import draw
from tests.bench.watched import environment, run

ROUNDS = 3


def decoding_s(path: Path) -> float:
    """Return the least processor time Pillow takes to decode a file."""
    taken = []
    for _ in range(ROUNDS + 2):
        start = time.process_time()
        with Image.open(path) as image:
            image.load()
        taken.append(time.process_time() - start)
    return min(taken)


def main() -> None:
    """Print times and memory of the plan and their ratio to decoding, beside those of the same face at 1.5 Mpx."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        large, small = folder / "large.png", folder / "small.png"
        draw("flat", large)
        with Image.open(large) as image:
            image.reduce(4).save(small)
        around = environment(folder)
        for path in (small, large):
            decoded_s = decoding_s(path)
            command = [sys.executable, "-m", "marquee", "plan", str(path)]
            command += [
                "--width",
                "600mm",
                "--out",
                str(folder / path.stem),
                "--no-cache",
                "--controller",
                "atmega2560",
            ]
            costs = [run(command, around) for _ in range(ROUNDS)]
            memory = run(command, around, memory=True)
            cpu_s, wall_s = min(c.cpu_s for c in costs), min(c.wall_s for c in costs)
            print(
                f"{path.stem}: decoding {decoded_s:.2f} s, plan {cpu_s:.2f} s CPU ({cpu_s / decoded_s:.1f} ×), "
                f"{wall_s:.2f} s wall ({wall_s / decoded_s:.1f} ×), peak {memory.peak_mb:.0f} MB of all processes"
            )


if __name__ == "__main__":
    main()
