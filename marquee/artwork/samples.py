"""A loaded picture to RGB in sRGB and alpha: a few rows at a time, so that copies stay in the processor's cache."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from marquee.artwork.lent import Lent
from marquee.artwork.png import PngHeader
from marquee.artwork.tone import as_rgb, srgb_conversion
from marquee.errors import Finding
from marquee.values import read_only
from marquee.values_pixels import Padded

_ROWS = 64
_WITH_ALPHA = frozenset({"LA", "La", "PA", "RGBA", "RGBa"})


def read_samples(
    image: Image.Image, lent: Lent | None, header: PngHeader | None, where: str
) -> tuple[NDArray[np.uint8] | Padded, NDArray[np.uint8] | None, list[Finding]]:
    """Return RGB in sRGB, (height_px, width_px, 3), alpha (height_px, width_px) or None, and remarks.

    Parameters
    ----------
    image : Image.Image
        Loaded, in one of the modes that can be read.
    lent : Lent or None
        The array the pixels lie in, if they do; they stay there if nothing is to be done to them.
    header : PngHeader or None
        What a PNG file says of its samples.
    where : str
        The file, for remarks.
    """
    info: dict[str, Any] = {str(key): value for key, value in image.info.items()}
    alpha: NDArray[np.uint8] | None = None
    if image.mode.startswith("I;16"):
        image, alpha = _grey_16bit(image, header)
    key = header.transparent if header else None
    if key is not None and header is not None and header.bit_depth == 16:
        # Pillow keeps the high byte of 16-bit samples but not of the transparent value.
        image.info["transparency"] = tuple(v >> 8 for v in key) if len(key) == 3 else key[0] >> 8
    convert, findings = srgb_conversion(info, where)
    if lent is not None and convert is as_rgb:
        alpha = None if image.mode == "RGB" else _fourth(lent.rgbx)
        return Padded(rgbx=read_only(lent.rgbx)), alpha, findings
    rgb = np.empty((image.height, image.width, 3), np.uint8)
    split = alpha is None and (image.mode in _WITH_ALPHA or "transparency" in image.info)
    if split:
        alpha = np.empty((image.height, image.width), np.uint8)
    for top in range(0, image.height, _ROWS):
        strip = image.crop((0, top, image.width, min(top + _ROWS, image.height)))
        if split and alpha is not None:
            strip = strip if strip.mode == "RGBA" else strip.convert("RGBA")
            alpha[top : top + _ROWS] = np.asarray(strip.getchannel("A"))
        if strip.mode not in {"L", "RGB"}:
            strip = strip.convert("RGB")
        rgb[top : top + _ROWS] = np.asarray(convert(strip))
    return read_only(rgb), alpha, findings


def _fourth(rgba: NDArray[np.uint8]) -> NDArray[np.uint8]:
    import cv2

    return np.asarray(cv2.extractChannel(rgba, 3), np.uint8)


def _grey_16bit(
    image: Image.Image, header: PngHeader | None
) -> tuple[Image.Image, NDArray[np.uint8] | None]:
    """Return 8-bit grey, rounded (Pillow's own conversion clips to white), and alpha of a clear value."""
    values = np.asarray(image).astype(np.uint32)
    grey = ((values * 255 + 32767) // 65535).astype(np.uint8)
    alpha = None
    if header is not None and header.transparent is not None:
        alpha = np.where(values == header.transparent[0], 0, 255).astype(np.uint8)
    return Image.fromarray(grey), alpha
