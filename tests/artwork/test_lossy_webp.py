"""Artwork kept as lossy WebP, whose noise is smoother than JPEG's, drawn with exact truth (drawing.py)."""

from __future__ import annotations

import io

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from tests.artwork.drawing import emblem
from tests.artwork.test_drawn_kinds import check, zones_of

COLOURS = {
    "dark": ("#ff9a1e", "#18b8d8", "#000000"),
    "light": ("#0a5ad2", "#d01c2e", "#f4f4f0"),
}


def webp(picture: NDArray[np.uint8], quality: int) -> NDArray[np.uint8]:
    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "WEBP", quality=quality)
    return np.asarray(Image.open(buffer).convert("RGB"))


@pytest.mark.parametrize("face", ["dark", "light"])
@pytest.mark.parametrize("px_per_mm", [4, 6])
@pytest.mark.parametrize("quality", [60, 80])
def test_lossy_webp_gives_no_more_colours_than_were_drawn(
    face: str, px_per_mm: int, quality: int
) -> None:
    art = emblem(px_per_mm, *COLOURS[face])
    check(art, zones_of(art, webp(art.paint(), quality)))
