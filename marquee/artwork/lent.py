"""Memory lent to Pillow to decode into, an array of ours as well, so that pixels need not be copied."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

# Pillow keeps these in four bytes a pixel, as it does the mode beside, which it can lay over foreign memory.
_LAID_AS = {"RGB": "RGBX", "RGBA": "RGBA"}
# Decoders that fill the memory an image already has.
_FORMATS = frozenset({"PNG", "JPEG", "WEBP"})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lent:
    """An array `rgbx` (height_px, width_px, 4) uint8 and what Pillow calls the same memory."""

    rgbx: NDArray[np.uint8]
    core: Any

    def holds(self, image: Image.Image) -> bool:
        """Return whether the image's pixels are still those of the array."""
        return image.im is self.core


def lend_memory(image: Image.Image) -> Lent | None:
    """Give an image that is not yet loaded memory to be decoded into; None where Pillow must take its own."""
    laid_as = _LAID_AS.get(image.mode)
    if laid_as is None or image.format not in _FORMATS or "transparency" in image.info:
        return None
    rgbx = np.zeros((image.height, image.width, 4), np.uint8)
    core = Image.frombuffer(laid_as, image.size, rgbx, "raw", laid_as, 0, 1).im
    image.im = core
    return Lent(rgbx=rgbx, core=core)
