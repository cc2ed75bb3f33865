"""CPU time (all threads) of the five pictures of every plan, by artwork size. Run: python -m tests.bench.bench_pictures."""

import resource
import time

from marquee.outputs.pictures.barriers import barriers_picture
from marquee.outputs.pictures.leds import leds_picture
from marquee.outputs.pictures.lit import lit_picture
from marquee.outputs.pictures.overview import overview_picture
from marquee.outputs.pictures.zones import zones_picture
from tests.pictures.factory import synthetic_plan

LIMIT_S = 2.0
PICTURES = (overview_picture, zones_picture, barriers_picture, leds_picture, lit_picture)
SIZES = {"0.6 Mpx, 4:1": (600.0, 150.0, 0.4), "24 Mpx, 3:2": (600.0, 400.0, 0.1)}


def main() -> int:
    """Print seconds by picture and in all; 1 if the limit is missed."""
    missed = False
    for name, (width_mm, height_mm, mm_per_px) in SIZES.items():
        plan = synthetic_plan(size_mm=(width_mm, height_mm), mm_per_px=mm_per_px)
        before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        total = 0.0
        for picture in PICTURES:
            start = time.process_time()
            size = len(picture(plan))
            taken = time.process_time() - start
            total += taken
            print(f"{name}: {picture.__name__:18} {taken:.3f} s CPU, {size / 1000:.0f} kB")
        grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb) / 1000
        print(
            f"{name}: five pictures {total:.2f} s CPU (limit {LIMIT_S} s), memory +{grown_mb:.0f} MB"
        )
        missed = missed or total > LIMIT_S
    return int(missed)


if __name__ == "__main__":
    raise SystemExit(main())
