"""Shaded icons of another hand: always divided, within bounds, and lit where their own transparency says."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from marquee.artwork.labels import MOST_COLOURS
from marquee.artwork.zones import find_zones
from marquee.project import ZoneSettings
from marquee.values import ZoneMap
from tests.artwork.drawing import as_artwork

DATA = Path(__file__).parents[1] / "data" / "artwork" / "icons"
NAMES = sorted(path.stem for path in DATA.glob("*.png"))
WIDTH_MM = 300.0
# Well above any code that may pass as the opaque face.
BRIGHT_CODE = 128
MIN_AREA_MM2 = ZoneSettings().min_area_mm2


def zones_of(name: str, ground: str) -> tuple[ZoneMap, np.ndarray]:
    icon = Image.open(DATA / f"{name}.png").convert("RGBA")
    pixels = np.asarray(icon)
    alpha = np.ascontiguousarray(pixels[..., 3])
    if ground == "clear":
        art = as_artwork(np.ascontiguousarray(pixels[..., :3]), WIDTH_MM, alpha)
    else:
        black = Image.new("RGBA", icon.size, "#000000")
        art = as_artwork(np.asarray(Image.alpha_composite(black, icon).convert("RGB")), WIDTH_MM)
    return find_zones(art, ZoneSettings(), (), 3.0), alpha


@pytest.mark.parametrize("ground", ["black", "clear"])
@pytest.mark.parametrize("name", NAMES)
def test_an_icon_is_divided_within_bounds(name: str, ground: str) -> None:
    zones, _ = zones_of(name, ground)
    owner = np.array([a.zone for a in zones.apertures] + [-1])
    assert (owner[zones.aperture_of_px] == zones.zone_of_px).all()
    assert 1 <= len(zones.colours) <= MOST_COLOURS
    assert min(a.area_mm2 for a in zones.apertures) >= 0.5 * MIN_AREA_MM2
    ids = np.unique(zones.aperture_of_px)
    assert set(ids[ids >= 0].tolist()) == {a.id for a in zones.apertures}
    total_mm2 = sum(a.area_mm2 for a in zones.apertures)
    assert total_mm2 == pytest.approx(sum(z.area_mm2 for z in zones.zones))


@pytest.mark.parametrize("name", NAMES)
def test_a_transparent_icon_is_lit_where_it_is_opaque_and_not_dark(name: str) -> None:
    zones, alpha = zones_of(name, "clear")
    lit = sum(z.area_mm2 for z in zones.zones) / (zones.mm_per_px**2 * alpha.size)
    # Half-clear steam shines through on black and is lit whole; edges are lit as far as they are opaque.
    assert lit <= float((alpha > 0).mean())
    rgb = np.asarray(Image.open(DATA / f"{name}.png").convert("RGBA"))[..., :3]
    bright = (alpha > 200) & (rgb.max(axis=2) > BRIGHT_CODE)
    # Specks of under a square millimetre stay opaque: 1.1 % of the busiest icon.
    assert (zones.zone_of_px[bright] >= 0).mean() > 0.98
    assert not (zones.zone_of_px[alpha == 0] >= 0).any()


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_lit_outside_an_icon_on_black(name: str) -> None:
    zones, alpha = zones_of(name, "black")
    assert not (zones.zone_of_px[alpha == 0] >= 0).any()
