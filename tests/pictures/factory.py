"""A small synthetic plan in the real dataclasses: shapes whose places, areas and light are known by construction."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from marquee.plan import Plan
from marquee.project import make_project
from marquee.values import (
    Adjacency,
    Aperture,
    Artwork,
    Box,
    Cell,
    Chain,
    FirmwareBudget,
    Light,
    Path_mm,
    TargetColour,
    Transfer,
    Wall,
    Zone,
    ZoneLight,
    ZoneMap,
)
from tests.pictures import electrics

# Zone colours: amber, deep blue (a dark lit colour), off-white, and the three of the mixed band.
COLOURS = ("#f59c1a", "#14204a", "#e8f0f0", "#d6402b", "#2fa84f", "#2f6fd6")
NAMES = ("Emblem ring", "Emblem disc", "Word mark", "Stripes")
# Luminance of the light map behind each zone [cd/m²], flat but for one hot spot behind the word mark.
LUMINANCE = (240.0, 20.0, 400.0, 120.0)
HOT = 2.0
MATRIX = np.array(  # linear sRGB to XYZ (D65): IEC 61966-2-1, equation 7 inverted, 4 digits
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)


@lru_cache(maxsize=32)
def synthetic_plan(
    *,
    size_mm: tuple[float, float] = (600.0, 150.0),
    mm_per_px: float = 0.4,
    names: tuple[str, ...] = NAMES,
    file: str = "arcade night.png",
) -> Plan:
    """Return a plan of an emblem (ring and disc), five word-mark blocks and a striped band."""
    zone_of_px, aperture_of_px = _drawn(size_mm, mm_per_px)
    zone_map = _zone_map(zone_of_px, aperture_of_px, mm_per_px, names)
    box = _box(size_mm)
    chain = _chain(zone_map)
    transfer, light = _light(zone_map)
    project = make_project(
        {"artwork": {"file": "artwork.png", "width": f"{size_mm[0]}mm"}}, "test"
    )
    return Plan(
        project=project,
        artwork=_artwork(zone_map, file),
        part=electrics.part(),
        zone_map=zone_map,
        box=box,
        chain=chain,
        transfer=transfer,
        drive=electrics.drive(zone_map),
        light=light,
        power=electrics.power(chain.count),
        constants=electrics.constants(zone_map, chain),
        budget=FirmwareBudget(
            controller="atmega328p",
            flash_bytes=900,
            ram_bytes=500,
            frame_ms=4.0,
            max_frames_per_s=200.0,
        ),
        findings=(),
    )


def scene(size_mm: tuple[float, float]) -> tuple[tuple[float, float, float], float]:
    """Return the emblem's centre and outer radius, and the left end of the word mark [mm]."""
    width, height = size_mm
    radius = min(0.42 * height, 0.16 * width)
    centre_x = radius + 0.03 * width
    return (centre_x, height / 2, radius), centre_x + radius + 0.05 * width


def _blocks(size_mm: tuple[float, float]) -> list[tuple[float, float, float, float]]:
    (_, middle, radius), left = scene(size_mm)
    right = 0.97 * size_mm[0]
    step = (right - left) / 5
    return [
        (left + i * step, middle - 0.8 * radius, left + (i + 0.75) * step, middle + 0.1 * radius)
        for i in range(5)
    ]


def _band(size_mm: tuple[float, float]) -> tuple[float, float, float, float]:
    (_, middle, radius), left = scene(size_mm)
    return left, middle + 0.4 * radius, 0.97 * size_mm[0], middle + 0.8 * radius


def _drawn(
    size_mm: tuple[float, float], mm_per_px: float
) -> tuple[NDArray[np.int16], NDArray[np.int32]]:
    width_px, height_px = (round(s / mm_per_px) for s in size_mm)
    x = (np.arange(width_px) + 0.5)[None, :] * mm_per_px
    y = (np.arange(height_px) + 0.5)[:, None] * mm_per_px
    (cx, cy, radius), _ = scene(size_mm)
    away = np.hypot(x - cx, y - cy)
    zone = np.full((height_px, width_px), -1, np.int16)
    aperture = np.full((height_px, width_px), -1, np.int32)
    shapes = [
        (0, 0, (away < radius) & (away > 0.6 * radius)),
        (1, 1, away < 0.6 * radius - 1.0),
    ]
    for i, (x0, y0, x1, y1) in enumerate(_blocks(size_mm)):
        shapes.append((2, 2 + i, (x > x0) & (x < x1) & (y > y0) & (y < y1)))
    x0, y0, x1, y1 = _band(size_mm)
    shapes.append((3, 7, (x > x0) & (x < x1) & (y > y0) & (y < y1)))
    for zone_id, aperture_id, inside in shapes:
        zone[inside] = zone_id
        aperture[inside] = aperture_id
    return zone, aperture


def _zone_map(
    zone_of_px: NDArray[np.int16],
    aperture_of_px: NDArray[np.int32],
    mm_per_px: float,
    names: tuple[str, ...],
) -> ZoneMap:
    apertures = []
    for i in range(8):
        rows, columns = np.nonzero(aperture_of_px == i)
        apertures.append(
            Aperture(
                id=i,
                zone=int(zone_of_px[rows[0], columns[0]]),
                colour=min(i, 2) if i < 7 else -1,
                area_mm2=len(rows) * mm_per_px**2,
                bbox_mm=(
                    float(columns.min() * mm_per_px),
                    float(rows.min() * mm_per_px),
                    float((columns.max() + 1) * mm_per_px),
                    float((rows.max() + 1) * mm_per_px),
                ),
                centroid_mm=(
                    float((columns.mean() + 0.5) * mm_per_px),
                    float((rows.mean() + 0.5) * mm_per_px),
                ),
            )
        )
    zones = []
    for i, name in enumerate(names):
        own = [a for a in apertures if a.zone == i]
        boxes = np.array([a.bbox_mm for a in own])
        mixed = i == 3
        zones.append(
            Zone(
                id=i,
                name=name,
                kind="mixed" if mixed else "solid",
                mode="hue-cycle" if mixed else "steady",
                colours=(3, 4, 5) if mixed else (i,),
                apertures=tuple(a.id for a in own),
                area_mm2=sum(a.area_mm2 for a in own),
                bbox_mm=(
                    float(boxes[:, 0].min()),
                    float(boxes[:, 1].min()),
                    float(boxes[:, 2].max()),
                    float(boxes[:, 3].max()),
                ),
                reason="3 colours in 2 mm stripes, wall 3 mm" if mixed else "",
            )
        )
    return ZoneMap(
        zone_of_px=zone_of_px,
        aperture_of_px=aperture_of_px,
        mm_per_px=mm_per_px,
        face_srgb="#000000",
        colours=tuple(
            TargetColour(
                name=f"colour {i}",
                srgb=c,
                xyz=_xyz(c),
                lab_d65=(60.0, 0.0, 0.0),
                origin="artwork",
                area_mm2=100.0,
            )
            for i, c in enumerate(COLOURS)
        ),
        zones=tuple(zones),
        apertures=tuple(apertures),
        adjacent=(
            Adjacency(zones=(0, 1), gap_mm=1.0, touching=True),
            Adjacency(zones=(0, 2), gap_mm=30.0, touching=False),
            Adjacency(zones=(2, 3), gap_mm=18.9, touching=False),
        ),
    )


def _box(size_mm: tuple[float, float]) -> Box:
    width, height = size_mm
    (cx, cy, radius), left = scene(size_mm)
    angles = np.linspace(0, 2 * np.pi, 65)

    def ring(r: float) -> Path_mm:
        return tuple(
            (float(cx + r * c), float(cy + r * s))
            for c, s in zip(np.cos(angles), np.sin(angles), strict=True)
        )

    split, shelf = (cx + radius + left) / 2, cy + 0.25 * radius
    inner = 0.6 * radius - 0.5
    half = 1.5
    walls = (
        Wall(id=0, zones=(0, 1), path_mm=ring(inner), length_mm=2 * np.pi * inner),
        Wall(
            id=1,
            zones=(0, 2),
            path_mm=((split, 0.0), (split, height)),
            length_mm=height,
            slots_mm=(0.3 * height,),
        ),
        Wall(
            id=2,
            zones=(2, 3),
            path_mm=((split, shelf), (width, shelf)),
            length_mm=width - split,
        ),
    )
    cells = (
        _cell(0, _rectangle(0, 0, split - half, height), (ring(inner + half),)),
        _cell(1, ring(inner - half)),
        _cell(2, _rectangle(split + half, 0, width, shelf - half)),
        _cell(3, _rectangle(split + half, shelf + half, width, height)),
    )
    return Box(
        width_mm=width,
        height_mm=height,
        depth_mm=40.0,
        wall_thickness_mm=3.0,
        wall_gap_mm=0.0,
        walls=walls,
        cells=cells,
    )


def _rectangle(x0: float, y0: float, x1: float, y1: float) -> Path_mm:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _cell(zone: int, outline: Path_mm, holes: tuple[Path_mm, ...] = ()) -> Cell:
    return Cell(id=zone, zone=zone, outline_mm=outline, holes_mm=holes, area_mm2=100.0)


def _chain(zone_map: ZoneMap) -> Chain:
    pitch = 1000 / 60
    rows = np.arange(pitch / 2 + 4, zone_map.height_mm, 2 * pitch)
    columns = np.arange(pitch / 2, zone_map.width_mm, pitch)
    x, y, row = [], [], []
    for number, height in enumerate(rows):
        x += list(columns if number % 2 == 0 else columns[::-1])
        y += [height] * len(columns)
        row += [number] * len(columns)
    xs, ys = np.array(x), np.array(y)
    zone = zone_map.zone_of_px[
        (ys / zone_map.mm_per_px).astype(int), (xs / zone_map.mm_per_px).astype(int)
    ]
    return Chain(
        arrangement="strip",
        pitch_mm=pitch,
        x_mm=xs,
        y_mm=ys,
        zone=zone.astype(np.int16),
        row=np.array(row, np.int16),
    )


def _light(zone_map: ZoneMap) -> tuple[Transfer, Light]:
    step = 2.0
    x = np.arange(step / 2, zone_map.width_mm, step)
    y = np.arange(step / 2, zone_map.height_mm, step)
    owner = zone_map.zone_of_px[
        np.ix_((y / zone_map.mm_per_px).astype(int), (x / zone_map.mm_per_px).astype(int))
    ]
    xyz = np.zeros((len(y), len(x), 3), np.float32)
    (cx, _, radius), left = scene((zone_map.width_mm, zone_map.height_mm))
    # Light fills whole cells, so that sampling between elements never meets an aperture's edge.
    gx, gy = np.meshgrid(x, y)
    cell = np.where(gx > (cx + radius + left) / 2, 2, 0)
    cell = np.where((cell == 2) & (gy > zone_map.height_mm / 2 + 0.25 * radius), 3, cell)
    cell = np.where(np.hypot(gx - cx, gy - zone_map.height_mm / 2) < 0.6 * radius - 0.5, 1, cell)
    for zone, level in enumerate(LUMINANCE):
        colour = MATRIX @ _linear(COLOURS[zone])
        xyz[cell == zone] = level * colour / colour[1]
    x0, y0, x1, y1 = _blocks((zone_map.width_mm, zone_map.height_mm))[2]
    hot = (gx > x0) & (gx < (x0 + x1) / 2) & (gy > y0) & (gy < (y0 + y1) / 2)
    xyz[hot] *= HOT
    transfer = Transfer(
        x_mm=x,
        y_mm=y,
        lux_per_cd=np.ones((4, len(y), len(x)), np.float32),
        zone_of_element=owner,
        diffuser_transmittance=0.5,
        self_lux_per_cd=np.ones(4),
    )
    zones = tuple(
        ZoneLight(
            zone=i,
            luminance_cd_m2=level,
            min_over_mean=0.8,
            min_over_max=0.5,
            worst_mm=zone_map.apertures[min(i, 2)].centroid_mm,
            bleed=0.01,
            bleed_from=(((i + 1) % 4, 0.01),),
            bleed_delta_e_2000=0.4,
        )
        for i, level in enumerate(LUMINANCE)
    )
    return transfer, Light(luminance_xyz=xyz, zones=zones)


def _xyz(colour: str) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in MATRIX @ _linear(colour))
    return x, y, z


def _linear(colour: str) -> NDArray[np.float64]:
    encoded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    # IEC 61966-2-1, equations 5 and 6.
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def _artwork(zone_map: ZoneMap, file: str) -> Artwork:
    table = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in COLOURS], np.uint8)
    pixels = np.zeros((*zone_map.zone_of_px.shape, 3), np.uint8)
    lit = zone_map.zone_of_px >= 0
    pixels[lit] = table[zone_map.zone_of_px[lit]]
    band = zone_map.zone_of_px == 3
    columns = np.nonzero(band)[1]
    pixels[band] = table[3 + (columns * zone_map.mm_per_px // 2).astype(int) % 3]
    return Artwork(
        srgb_8bit=pixels,
        alpha_8bit=None,
        mm_per_px=zone_map.mm_per_px,
        file=file,
        sha256="0" * 64,
    )
