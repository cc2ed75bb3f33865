"""Gaps between touching colours: as wide as they were drawn, and the same wherever they are told."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from marquee.artwork.read import read_artwork
from marquee.artwork.zones import find_zones
from marquee.box.barriers import build_box
from marquee.project import ArtworkSettings, BoxSettings, ZoneSettings

PX_PER_MM, FINER = 6, 7


def drawn(folder: Path, gap_mm: float, lean: float) -> Path:
    """Return a picture 120 × 50 mm of two colours parted by a gap of this width, leaning by `lean`."""
    scale = PX_PER_MM * FINER
    image = Image.new("RGB", (120 * scale, 50 * scale))
    draw = ImageDraw.Draw(image)
    half = gap_mm / 2 * math.hypot(1, lean)
    for colour, side, far in (("#d6402b", -half, 8.0), ("#2a6fb8", half, 112.0)):
        corners = [(60 - lean * 6 + side, 6.0), (60 - lean * 44 + side, 44.0), (far, 44.0)]
        draw.polygon([(x * scale, y * scale) for x, y in (*corners, (far, 6.0))], colour)
    path = folder / "pair.png"
    image.resize((120 * PX_PER_MM, 50 * PX_PER_MM), Image.Resampling.BOX).save(path)
    return path


@pytest.mark.parametrize("lean", [0.0, 0.25, -0.6])
@pytest.mark.parametrize("gap_mm", [0.5, 1.0, 2.0, 2.3, 2.5])
def test_a_gap_is_told_as_wide_as_it_was_drawn(tmp_path: Path, gap_mm: float, lean: float) -> None:
    stated = ArtworkSettings.model_validate({"file": "pair.png", "width": "120mm"})
    artwork = read_artwork(drawn(tmp_path, gap_mm, lean), stated)
    zones = find_zones(artwork, ZoneSettings(), (), 3.0)
    box = build_box(zones, BoxSettings())
    # A third of a pixel: edges are read from pixels they share.
    within = 1 / PX_PER_MM / 3
    assert [a.gap_mm for a in zones.adjacent] == pytest.approx([gap_mm], abs=within)
    assert [g.gap_mm for g in box.gaps] == pytest.approx([gap_mm], abs=within)
