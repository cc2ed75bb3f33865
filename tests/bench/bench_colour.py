"""How long 1,000 colours take, against a plain loop over colour-science. Run: python -m tests.bench.bench_colour.

The loop does the same job the obvious way for 20 of the colours: drives by the inverse matrix, every triple of
codes within two of the exact ones, colour-science for Lab and CIEDE2000, one call per zone.
"""

import itertools
import os
import time
from collections.abc import Callable

import numpy as np

from marquee.colour.drive import drive_for
from marquee.colour.target import target_from_srgb_8bit
from marquee.project import ColourSettings
from marquee.values import TargetColour
from tests.colour.made import reference_part

COUNT, LOOP_COUNT, LIMIT_S = 1000, 20, 1.0
PARTS = {"RGB": "rgb_linear", "RGB, own curve": "rgb_ws2812b", "RGBW": "rgbw_neutral"}


def seconds(job: Callable[[], object], runs: int = 5) -> float:
    """Return the least processor time of several runs [s]: one thread, whatever else the machine does."""
    taken = []
    for _ in range(runs):
        start = time.process_time()
        job()
        taken.append(time.process_time() - start)
    return min(taken)


def plain_loop(targets: list[TargetColour]) -> list[float]:
    """Return the least CIEDE2000 of each target, by colour-science, one triple of codes at a time."""
    os.environ["COLOUR_SCIENCE__FILTER_USAGE_WARNINGS"] = "1"
    import colour

    _, emission = reference_part("rgb_linear")
    columns = np.array(emission.xyz_cd)
    white, xy = 1.03588346, np.array([0.3127, 0.3290])
    found = []
    for target in targets:
        wanted = colour.XYZ_to_Lab(np.array(target.xyz), illuminant=xy)
        exact = np.clip(np.array(target.xyz) * white @ np.linalg.inv(columns), 0, 1) * 255
        ranges = [
            range(max(int(c) - 2, 0), min(int(np.ceil(c)) + 2, 255) + 1) for c in exact.tolist()
        ]
        errors = []
        for codes in itertools.product(*ranges):
            lab = colour.XYZ_to_Lab(np.array(codes) / 255 @ columns / white, illuminant=xy)
            errors.append(float(colour.difference.delta_E_CIE2000(wanted, lab)))
        found.append(min(errors))
    return found


def main() -> int:
    """Print the times and the ratio; 1 if a limit is missed."""
    rng = np.random.default_rng(1)
    targets = [target_from_srgb_8bit(rgb, "c") for rgb in rng.integers(0, 256, (COUNT, 3))]
    late = False
    for title, name in PARTS.items():
        for spread in (None, (0.7, 1.4)):
            part, emission = reference_part(name, intensity_spread=spread)
            taken = seconds(
                lambda part=part, emission=emission: drive_for(  # type: ignore[misc]
                    targets, part, emission, ColourSettings(), limited_by="white"
                )
            )
            with_band = "" if spread is None else " with band"
            print(f"{title}{with_band}: {COUNT} colours in {taken:.3f} s (limit {LIMIT_S:g} s)")
            late = late or taken > LIMIT_S
    part, emission = reference_part("rgb_linear")
    ours = seconds(
        lambda: drive_for(targets, part, emission, ColourSettings(), limited_by="white")
    )
    plain_loop(targets[:1])
    start = time.process_time()
    theirs = plain_loop(targets[:LOOP_COUNT])
    loop = (time.process_time() - start) / LOOP_COUNT * COUNT
    solved = drive_for(targets[:LOOP_COUNT], part, emission, ColourSettings(), limited_by="white")
    gap = max(
        zone.delta_e_2000 - best
        for zone, best in zip(solved.zones, theirs, strict=True)
        if zone.in_gamut
    )
    print(f"plain colour-science loop: {loop:.1f} s for {COUNT}, {loop / ours:.0f} times as long")
    print(f"our CIEDE2000 is at most {gap:.6f} above the loop's")
    return 1 if late else 0


if __name__ == "__main__":
    raise SystemExit(main())
