"""Seconds and memory of the light model, and how both grow; run by hand, asserts nothing.

Three jobs: a sign of 20 sealed cells with 324 LEDs, a small sign of six zones through the pipeline's own call, and one
open box with 1,000 LEDs, 400 × 150 elements and 4 channels. Then the open box with LEDs and elements doubled.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from marquee.box.light import transfer_light
from marquee.box.light_scene import Barrier, Grid, Ring, Scene
from marquee.box.light_solve import illuminate
from tests.box.light_made import settings, strip_box, strip_chain, strip_map

BASE = Scene(
    width_mm=600,
    height_mm=201,
    depth_mm=30,
    floor_reflectance=0.8,
    rim_reflectance=0.8,
    barrier_reflectance=0.8,
    diffuser_reflectance=0.4,
    led_xy_mm=np.zeros((0, 2)) + 1,
    led_cd=np.zeros((0, 1)),
    grid=Grid(x0_mm=1.5, y0_mm=1.5, dx_mm=3, dy_mm=3, nx=200, ny=67),
)


def cells_scene(across: int, down: int, leds: int, gap_mm: float) -> Scene:
    """Return a 600 × 201 × 30 mm box of equal cells, one channel a cell, LEDs spread evenly."""
    width, height = 600.0, 201.0
    bars: list[Ring] = [
        ((x - 1, 0.0), (x + 1, 0.0), (x + 1, height), (x - 1, height))
        for x in _inner(width, across)
    ]
    bars.extend(
        ((0.0, y - 1), (width, y - 1), (width, y + 1), (0.0, y + 1)) for y in _inner(height, down)
    )
    rows = round((leds * height / width) ** 0.5 / down) * down
    columns = leds // rows
    x, y = np.meshgrid(
        (np.arange(columns) + 0.5) * width / columns, (np.arange(rows) + 0.5) * height / rows
    )
    xy = np.stack([x.ravel(), y.ravel()], axis=1)
    cell = (xy[:, 0] * across / width).astype(int) + across * (xy[:, 1] * down / height).astype(
        int
    )
    return replace(
        BASE,
        led_xy_mm=xy,
        led_cd=np.eye(across * down)[cell],
        barriers=(Barrier(footprints_mm=tuple(bars), gap_mm=gap_mm),),
    )


def open_scene(leds: int, nx: int, ny: int) -> Scene:
    """Return an open 600 × 225 × 30 mm box with four channels in upright bands."""
    columns = round((leds * 600 / 225) ** 0.5)
    rows = -(-leds // columns)
    x, y = np.meshgrid(
        (np.arange(columns) + 0.5) * 600 / columns, (np.arange(rows) + 0.5) * 225 / rows
    )
    xy = np.stack([x.ravel(), y.ravel()], axis=1)[:leds]
    return replace(
        BASE,
        height_mm=225,
        led_xy_mm=xy,
        led_cd=np.eye(4)[(xy[:, 0] * 4 / 600).astype(int)],
        grid=Grid(x0_mm=300 / nx, y0_mm=112.5 / ny, dx_mm=600 / nx, dy_mm=225 / ny, nx=nx, ny=ny),
    )


def _inner(size: float, parts: int) -> list[float]:
    return [size * k / parts for k in range(1, parts)]


def _small_sign() -> None:
    transfer_light(
        strip_map(6, 380, 100),
        strip_box(6, 380, 100, depth_mm=40.0, gap_mm=1.0),
        strip_chain(6, 380, 100, pitch_mm=1000 / 60),
        settings(depth_mm=40.0),
    )


def _time(name: str, job: Callable[[], object]) -> None:
    start_s = time.process_time()
    job()
    spent_s = time.process_time() - start_s
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name:60s} {spent_s:7.2f} s CPU   peak so far {peak_mb:6.0f} MB")


def main() -> None:
    """Time each job once, smallest first, so that the peak belongs to the job that raised it."""
    _small_sign()  # imports
    _time("380 x 100 x 40 mm, 6 zones, gap 1 mm", _small_sign)
    for gap_mm in (0.0, 1.0):
        scene = cells_scene(10, 2, 324, gap_mm)
        leds = len(scene.led_xy_mm)
        _time(
            f"600 x 201 x 30 mm, 20 cells, {leds} LEDs, gap {gap_mm:g} mm",
            partial(illuminate, scene),
        )
    for leds, nx, ny in ((500, 283, 106), (1000, 400, 150), (2000, 566, 212)):
        scene = open_scene(leds, nx, ny)
        _time(
            f"open box, {leds} LEDs, {nx} x {ny} elements, 4 channels",
            partial(illuminate, scene),
        )


if __name__ == "__main__":
    main()
