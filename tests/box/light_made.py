from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_beam import exponent_of
from marquee.box.light_scene import Barrier, Grid, Notch, Scene
from marquee.project import BoxSettings
from marquee.values import (
    Box,
    Chain,
    Drive,
    Point,
    TargetColour,
    Wall,
    Zone,
    ZoneDrive,
    ZoneMap,
)

DATA = Path(__file__).parents[1] / "data" / "lightbox"


def reference(case: str) -> tuple[Scene, dict[str, NDArray[Any]]]:
    """Return a path-traced case as the model's scene, and its arrays."""
    told = json.loads((DATA / f"{case}.json").read_text())
    with np.load(DATA / f"{case}.npz") as file:
        arrays = {key: file[key] for key in file.files}
    size, share, g = told["box"], told["reflectance"], told["grid"]
    scene = Scene(
        width_mm=size["w"],
        height_mm=size["h"],
        depth_mm=size["depth"],
        floor_reflectance=share["back"],
        rim_reflectance=share["walls"],
        barrier_reflectance=share["barriers"],
        diffuser_reflectance=share["diffuser_under"],
        led_xy_mm=np.array([[led["x"], led["y"]] for led in told["leds"]], float),
        led_cd=np.array([led["cd"] for led in told["leds"]], float),
        led_z_mm=told["led"]["z"],
        led_window_mm=told["led"]["size"],
        led_exponent=exponent_of(told["led"].get("half_angle_deg", 60.0)),
        notches=tuple(
            Notch(at_mm=(x, y), width_mm=width, height_mm=height)
            for b in told["barriers"]
            for x, y, width, height in b.get("notches", ())
        ),
        barriers=tuple(
            Barrier(
                footprints_mm=tuple(tuple((x, y) for x, y in quad) for quad in b["quads"]),
                gap_mm=b["gap"],
            )
            for b in told["barriers"]
        ),
        grid=Grid(
            x0_mm=g["x0"], y0_mm=g["y0"], dx_mm=g["dx"], dy_mm=g["dy"], nx=g["nx"], ny=g["ny"]
        ),
    )
    return scene, arrays


def open_scene(
    width_mm: float,
    height_mm: float,
    depth_mm: float,
    leds: list[Point],
    *,
    reflectance: float = 0.0,
    diffuser: float = 0.0,
    element_mm: float = 1.0,
    barriers: tuple[Barrier, ...] = (),
    exponent: float = 1.0,
) -> Scene:
    """Return a box with one channel, LEDs of 1 cd, all surfaces alike but the diffuser."""
    nx, ny = round(width_mm / element_mm), round(height_mm / element_mm)
    dx, dy = width_mm / nx, height_mm / ny
    return Scene(
        width_mm=width_mm,
        height_mm=height_mm,
        depth_mm=depth_mm,
        floor_reflectance=reflectance,
        rim_reflectance=reflectance,
        barrier_reflectance=reflectance,
        diffuser_reflectance=diffuser,
        led_xy_mm=np.array(leds, float).reshape(-1, 2),
        led_cd=np.ones((len(leds), 1)),
        grid=Grid(x0_mm=dx / 2, y0_mm=dy / 2, dx_mm=dx, dy_mm=dy, nx=nx, ny=ny),
        barriers=barriers,
        led_exponent=exponent,
    )


def strip_map(zones: int, width_mm: float, height_mm: float, *, mm_per_px: float = 0.5) -> ZoneMap:
    """Return equal upright bands side by side, 4 mm of opaque face around each."""
    w, h = round(width_mm / mm_per_px), round(height_mm / mm_per_px)
    margin, step = round(4 / mm_per_px), w // zones
    of_px = np.full((h, w), -1, np.int16)
    for k in range(zones):
        of_px[margin : h - margin, k * step + margin : (k + 1) * step - margin] = k
    return ZoneMap(
        zone_of_px=of_px,
        aperture_of_px=of_px.astype(np.int32),
        mm_per_px=mm_per_px,
        face_srgb="#000000",
        colours=(),
        zones=tuple(
            Zone(
                id=k,
                name=f"band {k}",
                kind="solid",
                mode="steady",
                colours=(),
                apertures=(k,),
                area_mm2=float((of_px == k).sum()) * mm_per_px**2,
                bbox_mm=(0.0, 0.0, width_mm, height_mm),
            )
            for k in range(zones)
        ),
        apertures=(),
        adjacent=(),
    )


def strip_box(
    zones: int, width_mm: float, height_mm: float, *, depth_mm: float = 30.0, gap_mm: float = 0.0
) -> Box:
    """Return a box with straight walls between equal bands."""
    step = width_mm / zones
    walls = tuple(
        Wall(
            id=k,
            zones=(k, k + 1),
            path_mm=(((k + 1) * step, 0.0), ((k + 1) * step, height_mm)),
            length_mm=height_mm,
        )
        for k in range(zones - 1)
    )
    return Box(
        width_mm=width_mm,
        height_mm=height_mm,
        depth_mm=depth_mm,
        wall_thickness_mm=2.0,
        wall_gap_mm=gap_mm,
        walls=walls,
        cells=(),
    )


def strip_chain(zones: int, width_mm: float, height_mm: float, *, pitch_mm: float = 15.0) -> Chain:
    """Return LEDs on a square pitch, centred in each band."""
    step = width_mm / zones
    nx, ny = max(1, int(step // pitch_mm)), max(1, int(height_mm // pitch_mm))
    x = (np.arange(nx) - (nx - 1) / 2) * pitch_mm + step / 2
    y = (np.arange(ny) - (ny - 1) / 2) * pitch_mm + height_mm / 2
    one_x, one_y = (a.ravel() for a in np.meshgrid(x, y))
    return Chain(
        arrangement="board",
        pitch_mm=pitch_mm,
        x_mm=np.concatenate([one_x + k * step for k in range(zones)]),
        y_mm=np.tile(one_y, zones),
        zone=np.repeat(np.arange(zones), len(one_x)).astype(np.int16),
        row=np.zeros(zones * len(one_x), np.int16),
    )


def drive_of(xyz_cd: list[tuple[float, float, float]], white_cd: float = 1.0) -> Drive:
    """Return a drive whose zones' LEDs emit `xyz_cd`; nothing else in it matters to the light stage."""
    colour = TargetColour(
        name="", srgb="#ffffff", xyz=(0.95, 1.0, 1.09), lab_d65=(100.0, 0.0, 0.0), origin="artwork"
    )
    one = ZoneDrive(
        zone=0,
        target=colour,
        exact=(1.0, 1.0, 1.0),
        codes=(255, 255, 255),
        global_code=None,
        predicted_xyz=colour.xyz,
        predicted_lab_d65=colour.lab_d65,
        delta_e_2000=0.0,
        band_delta_e_2000=None,
        in_gamut=True,
        intensity_xyz_cd=(0.95, 1.0, 1.09),
    )
    return Drive(
        policy="keep",
        brightness=1.0,
        white_xy=(0.3127, 0.3290),
        zones=tuple(replace(one, zone=k, intensity_xyz_cd=v) for k, v in enumerate(xyz_cd)),
        hue_cycle=None,
        limiting_zone=None,
        white_intensity_cd=white_cd,
        gamma_codes=tuple(range(256)),
    )


def settings(**changes: Any) -> BoxSettings:
    """Return box settings with some of them changed, by their field names."""
    return BoxSettings().model_copy(update={"depth_mm": 30.0, **changes})
