"""National flags as other programs draw them: colours, regions and areas of their public construction."""

from __future__ import annotations

from functools import cache
from math import pi
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from marquee.artwork.zones import find_zones
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65
from marquee.project import ZoneSettings
from marquee.values import ZoneMap
from tests.artwork.drawing import as_artwork, codes

DATA = Path(__file__).parents[1] / "data" / "artwork" / "flags"
BORDER_PX = 40
WHOLE = 640 * 480
CROSS = 2 * 300 * 90 - 90 * 90
DISC = pi * (194.9 * 0.76554) ** 2

# Fill, connected regions, area [SVG units²]: from the drawings' fills and coordinates (see the data's README).
FLAGS: dict[str, list[tuple[str, int, float]]] = {
    "fr": [("#000091", 1, WHOLE / 3), ("#ffffff", 1, WHOLE / 3), ("#e1000f", 1, WHOLE / 3)],
    # The black band is opaque face.
    "de": [("#ff0000", 1, WHOLE / 3), ("#ffcc00", 1, WHOLE / 3)],
    "ee": [("#1791ff", 1, WHOLE / 3), ("#ffffff", 1, WHOLE / 3)],
    "ro": [("#00319c", 1, WHOLE / 3), ("#ffde00", 1, WHOLE / 3), ("#de2110", 1, WHOLE / 3)],
    "at": [("#c8102e", 2, WHOLE * 2 / 3), ("#ffffff", 1, WHOLE / 3)],
    "jp": [("#ffffff", 1, WHOLE - DISC), ("#bc002d", 1, DISC)],
    "bd": [("#006a4e", 1, WHOLE - pi * 160**2), ("#f42a41", 1, pi * 160**2)],
    "ch": [("#ff0000", 1, WHOLE - CROSS), ("#ffffff", 1, CROSS)],
    "fi": [
        ("#ffffff", 4, WHOLE - 131 * 640 - 130.95 * 349),
        ("#002f6c", 1, 131 * 640 + 130.95 * 349),
    ],
    # A cross of 60 upon one of 120 units.
    "no": [
        ("#ed2939", 4, WHOLE - 120 * 1000),
        ("#ffffff", 4, 120 * 1000 - 60 * 1060),
        ("#002664", 1, 60 * 1060),
    ],
    "la": [
        ("#ce1126", 2, 640 * (480 - 241.4)),
        ("#002868", 1, 640 * 241.4 - pi * 103.4**2),
        ("#ffffff", 1, pi * 103.4**2),
    ],
    "th": [
        ("#f4f5f8", 2, 640 * (80 + 77.5)),
        ("#2d2a4a", 1, 640 * 160),
        ("#a51931", 2, 640 * 162.5),
    ],
}


@cache
def zones_of(name: str) -> ZoneMap:
    flag = np.asarray(Image.open(DATA / f"{name}.png").convert("RGB"))
    framed = np.pad(flag, ((BORDER_PX, BORDER_PX), (BORDER_PX, BORDER_PX), (0, 0)))
    return find_zones(as_artwork(framed, 400.0), ZoneSettings(face="#000000"), (), 3.0)


@pytest.mark.parametrize("name", sorted(FLAGS))
def test_flag_s_fills_regions_and_areas_are_found(name: str) -> None:
    zones = zones_of(name)
    assert len(zones.colours) == len(FLAGS[name])
    found = np.array([c.lab_d65 for c in zones.colours])
    mm_per_unit = zones.mm_per_px * 1187 / 640
    for fill, regions, area in FLAGS[name]:
        distance = delta_e_2000(srgb_8bit_to_lab_d65(codes(fill))[None], found)
        k = int(distance.argmin())
        assert distance[k] < 1.0
        assert sum(a.colour == k for a in zones.apertures) == regions
        # Seams one pixel wide may go to either side: 1 % is more than they hold.
        assert zones.colours[k].area_mm2 == pytest.approx(area * mm_per_unit**2, rel=0.01)


@pytest.mark.parametrize("name", sorted(FLAGS))
def test_no_flag_of_plain_construction_is_mixed(name: str) -> None:
    assert {z.kind for z in zones_of(name).zones} == {"solid"}
    assert len(zones_of(name).zones) == len(FLAGS[name])


@pytest.mark.parametrize("name", sorted(set(FLAGS) - {"ee"}))
def test_regions_that_meet_are_called_touching(name: str) -> None:
    assert min(p.gap_mm for p in zones_of(name).adjacent) < 2 * zones_of(name).mm_per_px
    assert any(p.touching for p in zones_of(name).adjacent)


def test_a_black_band_between_two_colours_is_their_gap() -> None:
    (pair,) = zones_of("ee").adjacent
    band_mm = 160 * zones_of("ee").mm_per_px * 1187 / 640
    assert pair.gap_mm == pytest.approx(band_mm, abs=zones_of("ee").mm_per_px)
    assert not pair.touching
