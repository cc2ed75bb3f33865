"""A plan with far more in it than a sheet has room for: a chequer of touching zones, many walls, dense LEDs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from marquee.plan import Plan
from marquee.values import (
    Adjacency,
    Aperture,
    Cell,
    Chain,
    TargetColour,
    Wall,
    Zone,
    ZoneLight,
)
from tests.pictures.factory import synthetic_plan


def crowded_plan(columns: int = 12, rows: int = 5, pitch_mm: float = 5.0) -> Plan:
    """Return a 600 × 150 mm plan of columns × rows zones half a millimetre apart."""
    plan = synthetic_plan()
    step_x, step_y = 600 / columns, 150 / rows
    zone_of_px = np.full(plan.zone_map.zone_of_px.shape, -1, np.int16)
    zones, apertures, colours, cells, adjacent = [], [], [], [], []
    walls: list[Wall] = []
    scale = plan.zone_map.mm_per_px
    for i in range(columns * rows):
        x0, y0 = (i % columns) * step_x + 0.4, (i // columns) * step_y + 0.4
        x1, y1 = x0 + step_x - 0.8, y0 + step_y - 0.8
        window = tuple(round(v / scale) for v in (y0, y1, x0, x1))
        zone_of_px[window[0] : window[1], window[2] : window[3]] = i
        box = (x0, y0, x1, y1)
        area = (x1 - x0) * (y1 - y0)
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        apertures.append(
            Aperture(id=i, zone=i, colour=i, area_mm2=area, bbox_mm=box, centroid_mm=middle)
        )
        zones.append(
            Zone(
                id=i,
                name=f"pane {i} of the great chequer above the door",
                kind="solid",
                mode="steady",
                colours=(i,),
                apertures=(i,),
                area_mm2=area,
                bbox_mm=box,
            )
        )
        colours.append(
            TargetColour(
                name=f"shade {i}",
                srgb=f"#{(i * 37) % 256:02x}{(i * 91) % 256:02x}{(i * 53) % 256:02x}",
                xyz=(0.3, 0.3, 0.3),
                lab_d65=(60.0, 0.0, 0.0),
                origin="artwork",
            )
        )
        cells.append(
            Cell(id=i, zone=i, outline_mm=((x0, y0), (x1, y0), (x1, y1), (x0, y1)), area_mm2=area)
        )
        if i % columns:
            edge = x0 - 0.4
            path = ((edge, y0), (edge, y1))
            walls.append(Wall(id=len(walls), zones=(i - 1, i), path_mm=path, length_mm=y1 - y0))
            adjacent.append(Adjacency(zones=(i - 1, i), gap_mm=0.8, touching=True))
    x, y = np.meshgrid(np.arange(2.5, 600, pitch_mm), np.arange(6, 150, 12.0))
    zone = zone_of_px[(y / scale).astype(int), (x / scale).astype(int)]
    lights = tuple(
        ZoneLight(
            zone=i,
            luminance_cd_m2=100.0,
            min_over_mean=0.8,
            min_over_max=0.5,
            worst_mm=apertures[i].centroid_mm,
            bleed=0.0,
            bleed_from=(),
            bleed_delta_e_2000=0.0,
        )
        for i in range(len(zones))
    )
    return replace(
        plan,
        zone_map=replace(
            plan.zone_map,
            zone_of_px=zone_of_px,
            aperture_of_px=zone_of_px.astype(np.int32),
            colours=tuple(colours),
            zones=tuple(zones),
            apertures=tuple(apertures),
            adjacent=tuple(adjacent),
        ),
        box=replace(plan.box, walls=tuple(walls), cells=tuple(cells)),
        chain=Chain(
            arrangement="strip",
            pitch_mm=pitch_mm,
            x_mm=x.ravel(),
            y_mm=y.ravel(),
            zone=zone.ravel().astype(np.int16),
            row=np.repeat(np.arange(x.shape[0]), x.shape[1]).astype(np.int16),
        ),
        light=replace(plan.light, zones=lights),
    )
