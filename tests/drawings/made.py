"""Made-up faces, boxes and LED rows for the cut drawings' tests."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from marquee.box.cut import plan_cut
from marquee.project_cut import CutSettings
from marquee.values import Aperture, Box, Chain, Path_mm, TargetColour, Wall, Zone, ZoneMap
from marquee.values_cut import CutPlan

Inside = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.bool_]]
THICKNESS, HEIGHT = 3.0, 40.0


def coverage(
    inside: Inside, size_mm: tuple[float, float], mm_per_px: float, fine: int = 5
) -> NDArray[np.float64]:
    """Return the share of each pixel that lies inside, from fine × fine samples of it."""
    columns, rows = round(size_mm[0] / mm_per_px), round(size_mm[1] / mm_per_px)
    x = (np.arange(columns * fine) + 0.5) * mm_per_px / fine
    y = (np.arange(rows * fine) + 0.5) * mm_per_px / fine
    hit = inside(x[None, :], y[:, None])
    return np.asarray(hit.reshape(rows, fine, columns, fine).mean(axis=(1, 3)))


def face(
    lit: NDArray[np.float64], mm_per_px: float, *, shares: bool = True, name: str = "lamp"
) -> ZoneMap:
    """Return a zone map of one zone; without `shares` only whole pixels are known."""
    import cv2

    count, label = cv2.connectedComponents((lit >= 0.5).astype(np.uint8), connectivity=8)
    ids = (label - 1).astype(np.int32)
    zone = np.where(ids >= 0, 0, -1).astype(np.int16)
    apertures = tuple(
        Aperture(
            id=a,
            zone=0,
            colour=0,
            area_mm2=float((ids == a).sum() * mm_per_px**2),
            bbox_mm=(0, 0, 1, 1),
            centroid_mm=(0, 0),
        )
        for a in range(count - 1)
    )
    colour = TargetColour(
        name="amber",
        srgb="#ffaa00",
        xyz=(0.4, 0.4, 0.1),
        lab_d65=(70, 20, 70),
        origin="artwork",
    )
    return ZoneMap(
        zone_of_px=zone,
        aperture_of_px=ids,
        mm_per_px=mm_per_px,
        face_srgb="#000000",
        colours=(colour,),
        zones=(
            Zone(
                id=0,
                name=name,
                kind="solid",
                mode="steady",
                colours=(0,),
                apertures=tuple(range(count - 1)),
                area_mm2=float(lit.sum() * mm_per_px**2),
                bbox_mm=(0, 0, 1, 1),
            ),
        ),
        apertures=apertures,
        adjacent=(),
        lit_8bit=np.rint(lit * 255).astype(np.uint8) if shares else None,
        lit_mm_per_px=mm_per_px if shares else 0.0,
    )


def box(
    *paths: Path_mm, size: tuple[float, float] = (300.0, 120.0), thickness: float = THICKNESS
) -> Box:
    """Return a box with the walls given by their centre lines."""
    walls = tuple(
        Wall(id=k, zones=(0, 1), path_mm=path, length_mm=length(path))
        for k, path in enumerate(paths)
    )
    return Box(
        width_mm=size[0],
        height_mm=size[1],
        depth_mm=HEIGHT,
        wall_thickness_mm=thickness,
        wall_gap_mm=0.0,
        walls=walls,
        cells=(),
    )


def length(path: Path_mm) -> float:
    """Return a path's length [mm]."""
    return float(np.hypot(*np.diff(np.array(path), axis=0).T).sum())


def rows(*places_y: float, width: float = 300.0, pitch: float = 10.0) -> Chain:
    """Return a chain of straight rows, every other one running back."""
    x = np.arange(pitch / 2, width, pitch)
    xs = [x if k % 2 == 0 else x[::-1] for k in range(len(places_y))]
    count = len(places_y) * len(x)
    return Chain(
        arrangement="strip",
        pitch_mm=pitch,
        x_mm=np.concatenate(xs) if xs else np.zeros(0),
        y_mm=np.repeat(np.array(places_y, float), len(x)),
        zone=np.zeros(count, np.int16),
        row=np.repeat(np.arange(len(places_y)), len(x)).astype(np.int16),
    )


def blank(size: tuple[float, float] = (300.0, 120.0)) -> ZoneMap:
    """Return a face with one round opening in its corner."""
    lit = coverage(lambda x, y: np.hypot(x - 20, y - 20) < 8, size, 0.5, fine=4)
    return face(lit, 0.5)


def circle(x: float, y: float, radius: float, points: int = 240) -> Path_mm:
    """Return a closed path about a circle whose polygon has the circle's length."""
    turn = 2 * np.pi * np.arange(points) / points
    grown = radius * (np.pi / points) / np.sin(np.pi / points)
    ring = [(float(x + grown * np.cos(t)), float(y + grown * np.sin(t))) for t in turn]
    return (*ring, ring[0])


def planned(
    made: Box, chain: Chain | None = None, zone_map: ZoneMap | None = None, **settings: object
) -> CutPlan:
    """Return the cut plan with some settings stated."""
    zones = blank((made.width_mm, made.height_mm)) if zone_map is None else zone_map
    stated = CutSettings.model_validate(settings)
    return plan_cut(zones, made, rows(width=made.width_mm) if chain is None else chain, stated)
