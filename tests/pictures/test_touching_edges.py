"""Touching colours in lit.png: the edge shown is the artwork's own straight one, where a knife-edged wall parts them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

import marquee
from marquee.outputs.pictures.canvas import View
from marquee.outputs.pictures.lit import expose

PX_PER_MM, HEIGHT_MM = 4, 60


def edge_mm(y_mm: float) -> float:
    """Return where red meets blue at a height: a line leaning by one in four."""
    return 70.0 - y_mm / 4


def test_touching_colours_meet_on_the_line_they_were_drawn_with(tmp_path: Path) -> None:
    picture = Image.new("RGB", (120 * PX_PER_MM, HEIGHT_MM * PX_PER_MM), "black")
    draw = ImageDraw.Draw(picture)
    top, bottom = 8.0, HEIGHT_MM - 8.0
    middle = [(edge_mm(top), top), (edge_mm(bottom), bottom)]
    for colour, side_mm in (("#d6402b", 12.0), ("#2a6fb8", 108.0)):
        corners = [*middle, (side_mm, bottom), (side_mm, top)]
        draw.polygon([(x * PX_PER_MM, y * PX_PER_MM) for x, y in corners], colour)
    picture.save(tmp_path / "pair.png")
    plan = marquee.plan(tmp_path / "pair.png", width="120mm")
    scale = 3.0
    view = View(x=0, y=0, width_px=360, height_px=180, px_per_mm=scale)
    pixels = expose(plan, view).pixels.astype(int)
    for row in range(30, 150, 7):
        line = pixels[row]
        bluer = np.flatnonzero((line[:, 2] > line[:, 0]) & (line.max(axis=1) > 30))
        drawn = edge_mm((row + 0.5) / scale) * scale
        # A pixel of the picture and one of the artwork.
        assert abs(bluer[0] - drawn) < 1 + scale / PX_PER_MM
