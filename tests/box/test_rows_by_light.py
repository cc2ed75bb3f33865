"""Rows laid by the light they give: by the light model, against rows spread evenly."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from marquee.box.barriers import build_box
from marquee.box.leds import place_leds
from marquee.box.light import transfer_light
from marquee.project import BoxSettings, LedSettings
from marquee.values import Box, Chain, ZoneMap
from tests.box.factory import blank, part, rect, zone_map
from tests.box.test_leds import busy, placed


def test_rows_laid_by_the_light_are_no_less_even_than_plain_ones() -> None:
    # By the light model (checked against path tracing in test_light_cases), against rows spread evenly about the middle.
    zones, box, chain = placed(busy())
    plain = plain_rows(box, 1000 / 60)
    worst = [least_even(zones, box, c) for c in (chain, plain)]
    assert worst[0] > worst[1]


def plain_rows(box: Box, pitch_mm: float) -> Chain:
    count = round(box.height_mm / pitch_mm)
    columns = int((box.width_mm - 5) / pitch_mm) + 1
    x = box.width_mm / 2 + (np.arange(columns) - (columns - 1) / 2) * pitch_mm
    y = (np.arange(count) + 0.5) * box.height_mm / count
    xy = np.stack([a.ravel() for a in np.meshgrid(x, y)], axis=1)
    zone = np.full(len(xy), -1, np.int16)
    packages = shapely.box(xy[:, 0] - 2.5, xy[:, 1] - 2.5, xy[:, 0] + 2.5, xy[:, 1] + 2.5)
    for cell in box.cells:
        zone[shapely.contains(shapely.Polygon(cell.outline_mm, cell.holes_mm), packages)] = (
            cell.zone
        )
    return Chain(
        arrangement="strip",
        pitch_mm=pitch_mm,
        x_mm=xy[:, 0].copy(),
        y_mm=xy[:, 1].copy(),
        zone=zone,
        row=np.repeat(np.arange(count), columns).astype(np.int16),
    )


def least_even(zones: ZoneMap, box: Box, chain: Chain) -> float:
    transfer = transfer_light(zones, box, chain, BoxSettings())
    shares = []
    for zone in zones.zones:
        lux = transfer.lux_per_cd[zone.id][transfer.zone_of_element == zone.id]
        shares.append(float(lux.min() / lux.max()))
    return min(shares)


@pytest.mark.parametrize("reflectance", [0.02, 0.5])
def test_rows_are_laid_for_the_paint_the_box_has(reflectance: float) -> None:
    # By the light model: a lit wave between two lit rims, in a box whose paint sends less on than the usual white's
    # 0.8 and so evens less out. Clearly more even, 0.05, than the rows laid for white paint.
    labels = blank(300, 100)
    for i in range(300):
        y = int(50 + 30 * np.sin(i / 30))
        rect(labels, 0, (i, y - 8, i + 1, y + 8))
    rect(labels, 1, (0, 0, 300, 8))
    rect(labels, 2, (0, 92, 300, 100))
    zones = zone_map(labels)
    inside = BoxSettings.model_validate({"depth": "25mm", "reflectance": reflectance})
    box = build_box(zones, inside)

    def evenness(laid_for: BoxSettings | None) -> float:
        chain = place_leds(zones, box, part(), LedSettings(), laid_for)
        light = transfer_light(zones, box, chain, inside)
        own = [light.lux_per_cd[k][light.zone_of_element == k] for k in range(3)]
        return float(np.mean([lux.min() / lux.max() for lux in own]))

    assert evenness(inside) > evenness(None) + 0.05
