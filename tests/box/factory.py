"""Zone maps and parts drawn to measure for the tests of walls and LEDs."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.values import (
    Adjacency,
    Aperture,
    Part,
    TargetColour,
    Zone,
    ZoneMap,
    read_only,
)

Draw = Callable[[NDArray[np.int16]], None]


def blank(width_mm: float, height_mm: float, mm_per_px: float = 0.25) -> NDArray[np.int16]:
    return np.full((round(height_mm / mm_per_px), round(width_mm / mm_per_px)), -1, np.int16)


def rect(
    labels: NDArray[np.int16], zone: int, box_mm: Sequence[float], mm_per_px: float = 0.25
) -> None:
    x0, y0, x1, y1 = (round(v / mm_per_px) for v in box_mm)
    labels[y0:y1, x0:x1] = zone


def disc(
    labels: NDArray[np.int16],
    zone: int,
    centre_mm: tuple[float, float],
    radius_mm: float,
    mm_per_px: float = 0.25,
) -> None:
    height, width = labels.shape
    y, x = np.mgrid[0:height, 0:width]
    off = np.hypot((x + 0.5) * mm_per_px - centre_mm[0], (y + 0.5) * mm_per_px - centre_mm[1])
    labels[off <= radius_mm] = zone


def polygon(
    labels: NDArray[np.int16],
    zone: int,
    corners_mm: Sequence[tuple[float, float]],
    mm_per_px: float = 0.25,
) -> None:
    mask = np.zeros(labels.shape, np.uint8)
    corners = np.round((np.array(corners_mm) / mm_per_px - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(mask, [corners], 1, shift=4)
    labels[mask > 0] = zone


def zone_map(labels: NDArray[np.int16], mm_per_px: float = 0.25) -> ZoneMap:
    """Return the map of labelled pixels; apertures are the connected parts of each zone."""
    count = int(labels.max()) + 1
    aperture_of_px = np.full(labels.shape, -1, np.int32)
    apertures: list[Aperture] = []
    members: list[list[int]] = [[] for _ in range(count)]
    for zone in range(count):
        number, part, stats, centres = cv2.connectedComponentsWithStats(
            (labels == zone).astype(np.uint8), connectivity=8
        )
        for k in range(1, number):
            x, y, w, h, area = (float(v) for v in stats[k])
            box = tuple(v * mm_per_px for v in (x, y, x + w, y + h))
            aperture_of_px[part == k] = len(apertures)
            members[zone].append(len(apertures))
            apertures.append(
                Aperture(
                    id=len(apertures),
                    zone=zone,
                    colour=zone,
                    area_mm2=area * mm_per_px**2,
                    bbox_mm=(box[0], box[1], box[2], box[3]),
                    centroid_mm=(
                        (float(centres[k, 0]) + 0.5) * mm_per_px,
                        (float(centres[k, 1]) + 0.5) * mm_per_px,
                    ),
                )
            )
    colours = tuple(
        TargetColour(
            name=f"c{k}", srgb="#808080", xyz=(0.2, 0.2, 0.2), lab_d65=(50, 0, 0), origin="artwork"
        )
        for k in range(count)
    )
    zones = tuple(
        Zone(
            id=k,
            name=f"zone {k}",
            kind="solid",
            mode="steady",
            colours=(k,),
            apertures=tuple(members[k]),
            area_mm2=float((labels == k).sum()) * mm_per_px**2,
            bbox_mm=(0.0, 0.0, 1.0, 1.0),
        )
        for k in range(count)
    )
    adjacent: tuple[Adjacency, ...] = ()
    return ZoneMap(
        zone_of_px=read_only(labels),
        aperture_of_px=read_only(aperture_of_px),
        mm_per_px=mm_per_px,
        face_srgb="#000000",
        colours=colours,
        zones=zones,
        apertures=tuple(apertures),
        adjacent=adjacent,
    )


def part(package_mm: float | None = 5.0) -> Part:
    return Part(
        name="test part",
        title="test part",
        channels=("R", "G", "B"),
        byte_order=("G", "R", "B"),
        protocol="one-wire",
        supply_v=5.0,
        supply_max_v=None,
        package_mm=package_mm,
        leds_per_pixel=1,
        intensity_cd=None,
        intensity_spread=None,
        dominant_nm=None,
        dominant_range_nm=None,
        fwhm_nm=None,
        white_xy=None,
        response=tuple(k / 255 for k in range(256)),
        response_measured=False,
        current_law="sum",
        channel_current_a=None,
        channel_current_max_a=None,
        dark_current_a=None,
        min_regulation_v=None,
        global_bits=0,
        bit_ns=None,
        latch_us=None,
        clock_hz=None,
        logic_high_v=None,
        half_angle_deg=None,
        operating_c=None,
    )
