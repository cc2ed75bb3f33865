"""The layers that are pictures: the artwork, and luminance and bleed in bands with their legends."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from marquee.outputs.pictures.canvas import View, fit_view
from marquee.outputs.pictures.light import contour_levels
from marquee.outputs.pictures.luminance import map_over, nearest_of
from marquee.outputs.report.shapes import contour_paths
from marquee.plan import Plan
from marquee.values_pixels import shrunk_picture

Bytes = NDArray[np.uint8]
_ARTWORK_PX = (1100, 900)
_MAP_PX = (560, 420)
# A lossless artwork larger than this is sent as JPEG [bytes].
_MOST_PNG = 160_000
_JPEG_QUALITY = 85
# The scale ends at this quantile of the lit elements, so that one hot spot does not flatten the rest.
_TOP_QUANTILE = 0.995
# Shares at which bleed's bands part; 3 % is where a warning starts (common practice, no source).
_BLEED_LEVELS = (0.003, 0.01, 0.03, 0.1, 0.3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One step of a legend: its colour and what it stands for."""

    colour: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Contour:
    """A line of equal luminance, its value, and where that is written."""

    level: str
    path: str
    places: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LightMap:
    """A map as a picture over the whole face, its legend, and its contours where it has any."""

    picture: str
    bands: tuple[Band, ...]
    contours: tuple[Contour, ...] = ()


def artwork_picture(plan: Plan) -> str:
    """Return the artwork as a data URI, no wider than a screen shows it."""
    art = plan.artwork
    view = fit_view((art.width_px, art.height_px), _ARTWORK_PX, 0, 0)
    if view.width_px < art.width_px:
        pixels = shrunk_picture(art, "srgb_8bit", (view.width_px, view.height_px))
    else:
        pixels = art.srgb_8bit
    image = Image.fromarray(np.ascontiguousarray(pixels))
    content = _encoded(image, "PNG")
    if len(content) <= _MOST_PNG:
        return _uri("png", content)
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=_JPEG_QUALITY, subsampling=0)
    return _uri("jpeg", stream.getvalue())


def luminance_map(plan: Plan) -> LightMap:
    """Return the diffuser's luminance as driven, in bands with a labelled line between each two."""
    view = _map_view(plan)
    values = map_over(plan, view, plan.light.luminance_xyz[..., 1])
    lit = plan.light.luminance_xyz[..., 1][plan.transfer.zone_of_element >= 0]
    top = float(np.quantile(lit, _TOP_QUANTILE)) if len(lit) else float(values.max())
    levels = contour_levels(top)
    return LightMap(
        picture=_banded(values, levels),
        bands=_bands(levels, [f"{level:g}" for level in levels], " cd/m²"),
        contours=tuple(
            Contour(level=f"{level:g}", path=path, places=tuple(places))
            for level, path, places in contour_paths(values, levels, view)
            if path
        ),
    )


def bleed_map(plan: Plan) -> LightMap:
    """Return the share of the light that comes from other zones' LEDs."""
    values = map_over(plan, _map_view(plan), _foreign_share(plan))
    names = [f"{100 * level:g}" for level in _BLEED_LEVELS]
    return LightMap(
        picture=_banded(values, _BLEED_LEVELS), bands=_bands(_BLEED_LEVELS, names, " %")
    )


def _foreign_share(plan: Plan) -> NDArray[np.float32]:
    known = plan.light.foreign_share
    lit = plan.transfer.zone_of_element >= 0
    if known is None or not lit.any():
        return np.zeros(lit.shape, np.float32)
    # Carried on behind opaque face, so that the map runs up to the apertures' edges.
    return known[nearest_of(lit)]


def _map_view(plan: Plan) -> View:
    return fit_view((plan.zone_map.width_mm, plan.zone_map.height_mm), _MAP_PX, 0, 0)


def _colours(count: int) -> Bytes:
    """Return (count, 3) RGB from dark to light: cividis, even in lightness for every kind of colour vision."""
    grey = np.linspace(24, 245, count).round().astype(np.uint8)[:, None]
    bgr = cv2.applyColorMap(grey, cv2.COLORMAP_CIVIDIS)[:, 0]
    return np.asarray(bgr[:, ::-1], np.uint8)


def _banded(values: NDArray[np.float32], levels: Sequence[float]) -> str:
    image = Image.fromarray(np.digitize(values, levels).astype(np.uint8), "P")
    image.putpalette(_colours(len(levels) + 1).tobytes())
    return _uri("png", _encoded(image, "PNG"))


def _bands(levels: Sequence[float], names: Sequence[str], unit: str) -> tuple[Band, ...]:
    colours = ["#{:02x}{:02x}{:02x}".format(*c) for c in _colours(len(levels) + 1).tolist()]
    if not levels:
        return (Band(colour=colours[0], text=f"0{unit}"),)
    texts = [f"below {names[0]}{unit}"]
    texts += [f"{low} to {high}{unit}" for low, high in pairwise(names)]
    texts.append(f"{names[-1]}{unit} and above")
    return tuple(Band(colour=c, text=t) for c, t in zip(colours, texts, strict=True))


def _encoded(image: Image.Image, form: str) -> bytes:
    stream = io.BytesIO()
    image.save(stream, form, compress_level=6)
    return stream.getvalue()


def _uri(kind: str, content: bytes) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(content).decode('ascii')}"
