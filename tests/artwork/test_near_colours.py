"""Two colours CIEDE2000 2, 5 and 10 apart: from ten on kept apart, below perhaps joined, never cut up or lost."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from marquee.artwork.zones import find_zones
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65
from marquee.project import ZoneSettings
from marquee.values import ZoneMap
from tests.artwork.drawing import Drawing, as_artwork, codes

FIRST = ("#d81e2c", "#2346d2", "#1fa64a", "#ffb000", "#808080", "#ffffff")
# Blocks of 45 × 40 and 60 × 40 mm: the whole, the first without its disc of 8 mm, the second.
BLOCK_MM2, DISC_MM2, SECOND_MM2 = 1800.0, np.pi * 64, 2400.0


def partner(first: str, difference: float, channel: int) -> str | None:
    """Return the colour that differs in one channel by nearly so much, if codes allow."""
    rgb = codes(first)
    others = np.repeat(rgb[None], 120, axis=0)
    others[:, channel] += np.arange(1, 121) * (-1 if rgb[channel] > 128 else 1)
    others = others[(others >= 0).all(axis=1) & (others <= 255).all(axis=1)]
    off = np.abs(
        delta_e_2000(srgb_8bit_to_lab_d65(rgb)[None], srgb_8bit_to_lab_d65(others)) - difference
    )
    if off.min() > 0.3:
        return None
    return "#" + "".join(f"{int(c):02x}" for c in others[int(off.argmin())])


PAIRS = [
    (first, second, difference)
    for first in FIRST
    for difference in (2, 5, 10)
    for channel in range(3)
    if (second := partner(first, difference, channel))
]


def zones_of(first: str, second: str, quality: int | None = None) -> ZoneMap:
    art = Drawing(120, 50, 4)
    art.box(first, 5, 5, 50, 45)
    art.box(second, 50, 5, 110, 45)
    art.disc(second, 25, 25, 8)
    picture = art.paint()
    if quality is not None:
        to = io.BytesIO()
        Image.fromarray(picture).save(to, "JPEG", quality=quality)
        picture = np.asarray(Image.open(to))
    return find_zones(as_artwork(picture, 120.0), ZoneSettings(), (), 3.0)


@pytest.mark.parametrize(("first", "second", "difference"), PAIRS)
def test_near_colours_are_whole_areas(first: str, second: str, difference: int) -> None:
    zones = zones_of(first, second)
    areas = sorted(a.area_mm2 for a in zones.apertures)
    apart = [DISC_MM2, BLOCK_MM2 - DISC_MM2, SECOND_MM2]
    joined = [BLOCK_MM2 + SECOND_MM2]
    assert areas == pytest.approx(apart if len(zones.colours) == 2 else joined, rel=0.01)
    assert len(zones.colours) == 2 or difference < 10


@pytest.mark.parametrize(("first", "second", "difference"), PAIRS)
def test_compressed_near_colours_stay_lit(first: str, second: str, difference: int) -> None:
    zones = zones_of(first, second, quality=75)
    lit = sum(z.area_mm2 for z in zones.zones)
    # Colour is kept at half resolution in blocks of 16 pixels: 1 % of the area is a tenth of a millimetre round it.
    assert lit == pytest.approx(BLOCK_MM2 + SECOND_MM2, rel=0.01)
    assert len(zones.colours) >= 2 or difference < 10


# Greys and whites hardly differ in brightness from what is 10 away from them: there compression is not noticed.
@pytest.mark.parametrize(
    ("first", "second"), [(f, s) for f, s, d in PAIRS if d == 10 and f in FIRST[:4]]
)
def test_compressed_colours_ten_apart_are_not_cut_into_slivers(first: str, second: str) -> None:
    zones = zones_of(first, second, quality=75)
    areas = sorted(a.area_mm2 for a in zones.apertures)
    # The disc's edge runs through blocks of 4 mm tinted by both: 5 % of it is a tenth of a millimetre.
    assert areas == pytest.approx([DISC_MM2, BLOCK_MM2 - DISC_MM2, SECOND_MM2], rel=0.05)
    assert len(zones.colours) == 2
