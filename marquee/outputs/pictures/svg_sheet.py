"""A sheet that also writes itself as SVG: the same drawing, sharp at any size."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray
from typing_extensions import override  # comes with pydantic; in typing from 3.12

from marquee.outputs.pictures.png import png_bytes
from marquee.outputs.pictures.sheet import Sheet
from marquee.outputs.pictures.style import LIGHT, Rgb, Theme, hex_of

_ANCHORS = {"left": "start", "centre": "middle", "right": "end"}


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


class SvgSheet(Sheet):
    """A `Sheet` whose shapes and text are kept as SVG elements (SVG 1.1) beside its pixels."""

    def __init__(self, width_px: int, height_px: int, theme: Theme = LIGHT) -> None:
        super().__init__(width_px, height_px, theme)
        self._elements: list[str] = []

    @override
    def paste(self, pixels: NDArray[np.uint8], x: int, y: int) -> None:
        """Lay an RGB array down; in the SVG it is an embedded PNG."""
        super().paste(pixels, x, y)
        data = base64.b64encode(png_bytes(pixels)).decode("ascii")
        self._elements.append(
            f'<image x="{x}" y="{y}" width="{pixels.shape[1]}" height="{pixels.shape[0]}"'
            f' xlink:href="data:image/png;base64,{data}"/>'
        )

    @override
    def bar(self, x: int, y: int, width: int, height: int, colour: Rgb) -> None:
        """Fill a rectangle of whole pixels."""
        super().bar(x, y, width, height, colour)
        self._elements.append(
            f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="{hex_of(colour)}"/>'
        )

    @override
    def line(
        self,
        points: Sequence[tuple[float, float]],
        colour: Rgb,
        width: int = 1,
        halo: Rgb | None = None,
    ) -> None:
        """Draw a smooth line through points [px], on a wider one in `halo` if given."""
        super().line(points, colour, width, halo)
        path = " ".join(f"{_number(x)},{_number(y)}" for x, y in points)
        for stroke, across in ((halo, width + 2), (colour, width)):
            if stroke is not None:
                self._elements.append(
                    f'<polyline points="{path}" fill="none" stroke="{hex_of(stroke)}" stroke-width="{across}"/>'
                )

    @override
    def shape(self, points: Sequence[tuple[float, float]], colour: Rgb) -> None:
        """Fill a smooth polygon."""
        super().shape(points, colour)
        path = " ".join(f"{_number(x)},{_number(y)}" for x, y in points)
        self._elements.append(f'<polygon points="{path}" fill="{hex_of(colour)}"/>')

    @override
    def dot(self, x: float, y: float, radius: float, colour: Rgb, width: int = 0) -> None:
        """Draw a smooth disc, or a ring if given a line width."""
        super().dot(x, y, radius, colour, width)
        if width <= 0:
            self._elements.append(
                f'<circle cx="{_number(x)}" cy="{_number(y)}" r="{_number(radius)}" fill="{hex_of(colour)}"/>'
            )

    def svg(self) -> str:
        """Return the sheet as SVG, text last as on the pixels; each line keeps its measured width."""
        texts = [self._text(line_number) for line_number in range(len(self._lines))]
        return "\n".join(
            [
                '<?xml version="1.0" encoding="UTF-8"?>',
                '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
                f' width="{self.width_px}" height="{self.height_px}"'
                f' viewBox="0 0 {self.width_px} {self.height_px}">',
                f'<rect width="{self.width_px}" height="{self.height_px}" fill="{hex_of(self.theme.paper)}"/>',
                *self._elements,
                '<g font-family="DejaVu Sans, Verdana, sans-serif" xml:space="preserve">',
                *texts,
                "</g>",
                "</svg>",
                "",
            ]
        )

    def _text(self, number: int) -> str:
        line = self._lines[number]
        looks, (x, y) = line.looks, line.baseline
        colour = self.theme.ink if looks.colour is None else looks.colour
        halo = (
            ""
            if looks.halo is None
            else f' stroke="{hex_of(looks.halo)}" stroke-width="4" paint-order="stroke"'
        )
        bold = ' font-weight="bold"' if looks.bold else ""
        return (
            f'<text x="{_number(x)}" y="{_number(y)}" font-size="{looks.size_px}" fill="{hex_of(colour)}"'
            f' text-anchor="{_ANCHORS[looks.align]}" textLength="{_number(line.box.x1 - line.box.x0)}"'
            f"{bold}{halo}>{escape(line.box.text)}</text>"
        )
