"""Trace box cases with photons.c, by hand: python -m tests.bench.trace_photons MILLIONS CASE …; writes each .npz.

A case may give `half_angle_deg` of its LEDs and, in a barrier, `notches` [[x, y, width, height], …] that pierce it
along x. Elements that touch a footprint get zone -1; zones are numbered by the upright walls left of them.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).parents[1] / "data" / "lightbox"


def quads_of(case: dict[str, Any]) -> list[tuple[float, float, list[list[float]]]]:
    """Return (top, bottom, corners) of every block of wall, cut up around notches."""
    blocks = []
    depth = case["box"]["depth"]
    for barrier in case["barriers"]:
        top = depth - barrier["gap"]
        for quad in barrier["quads"]:
            notches = sorted(barrier.get("notches", []), key=lambda n: n[1])
            if not notches:
                blocks.append((top, 0.0, quad))
                continue
            xs, ys = [p[0] for p in quad], [p[1] for p in quad]
            low, high, y = min(xs), max(xs), min(ys)
            for _, middle, width, height in notches:
                a, b = middle - width / 2, middle + width / 2
                blocks.append((top, 0.0, [[low, y], [high, y], [high, a], [low, a]]))
                blocks.append((top, height, [[low, a], [high, a], [high, b], [low, b]]))
                y = b
            blocks.append((top, 0.0, [[low, y], [high, y], [high, max(ys)], [low, max(ys)]]))
    return blocks


def trace(name: str, millions: int, seed: int, program: Path) -> None:
    """Trace one case and write its arrays."""
    case = json.loads((HERE / f"{name}.json").read_text())
    box, rho, g = case["box"], case["reflectance"], case["grid"]
    half = case["led"].get("half_angle_deg", 60.0)
    m = 1.0 if half == 60 else -math.log(2) / math.log(math.cos(math.radians(half)))
    channels = len(case["leds"][0]["cd"])
    text = [
        f"{millions}e6 {box['w']} {box['h']} {box['depth']} {rho['back']} {rho['walls']} {rho['barriers']}",
        f"{rho['diffuser_under']} {case['led']['z']} {case['led']['size']} {seed} {len(case['leds'])} {channels}",
        *(f"{led['x']} {led['y']} " + " ".join(map(str, led["cd"])) for led in case["leds"]),
    ]
    blocks = quads_of(case)
    text.append(str(len(blocks)))
    for top, bottom, quad in blocks:
        text.append(f"{top} {bottom} " + " ".join(f"{x} {y}" for x, y in quad))
    text.append(f"{g['x0']} {g['y0']} {g['dx']} {g['dy']} {g['nx']} {g['ny']}")
    found = subprocess.run(
        [str(program), repr(m)], input="\n".join(text).encode(), capture_output=True, check=True
    )
    lux = np.frombuffer(found.stdout).reshape(channels, g["ny"], g["nx"])
    np.savez_compressed(
        HERE / f"{name}.npz", E=lux.astype(np.float32), zone=zones_of(case).astype(np.int8)
    )


def zones_of(case: dict[str, Any]) -> np.ndarray:
    """Return each element's cell, -1 where it touches a wall."""
    from scipy import ndimage

    g = case["grid"]
    x = g["x0"] + g["dx"] * np.arange(g["nx"])
    y = g["y0"] + g["dy"] * np.arange(g["ny"])
    blocked = np.zeros((g["ny"], g["nx"]), bool)
    for barrier in case["barriers"]:
        for quad in barrier["quads"]:
            xs, ys = [p[0] for p in quad], [p[1] for p in quad]
            over_x = (x + g["dx"] / 2 > min(xs)) & (x - g["dx"] / 2 < max(xs))
            over_y = (y + g["dy"] / 2 > min(ys)) & (y - g["dy"] / 2 < max(ys))
            blocked |= over_y[:, None] & over_x
    zone, _ = ndimage.label(~blocked)
    return np.asarray(zone) - 1


def main() -> None:
    """Compile the tracer and trace the cases named."""
    with tempfile.TemporaryDirectory() as folder:
        program = Path(folder) / "photons"
        subprocess.run(
            ["gcc", "-O3", "-o", str(program), str(HERE / "photons.c"), "-lm"], check=True
        )
        millions = int(sys.argv[1])
        for seed, name in enumerate(sys.argv[2:], 1):
            trace(name, millions, seed, program)


if __name__ == "__main__":
    main()
