"""The sheet a picture is laid out on: smooth shapes, then text that never lands on other text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from marquee.outputs.pictures.png import png_bytes
from marquee.outputs.pictures.style import (
    BODY_PX,
    LIGHT,
    MARGIN_PX,
    SMALL_PX,
    TITLE_PX,
    Rgb,
    Theme,
    font,
    round_number,
    shorten,
    text_width,
)
from marquee.units import format_length

Align = Literal["left", "centre", "right"]
# cv2 draws in sixteenths of a pixel; its pixel centres lie on whole numbers, ours on halves.
_SHIFT = 4
_ANCHORS = {"left": "ls", "centre": "ms", "right": "rs"}


@dataclass(frozen=True, slots=True, kw_only=True)
class TextBox:
    """A line of text and the rectangle it takes [px]."""

    text: str
    x0: float
    y0: float
    x1: float
    y1: float
    size_px: int

    def meets(self, other: TextBox, gap_px: float = 0.0) -> bool:
        """Return whether the two rectangles overlap or come nearer than `gap_px`."""
        return (
            self.x0 < other.x1 + gap_px
            and other.x0 < self.x1 + gap_px
            and self.y0 < other.y1 + gap_px
            and other.y0 < self.y1 + gap_px
        )

    def is_crossed(self, start: tuple[float, float], end: tuple[float, float]) -> bool:
        """Return whether a line passes through the rectangle."""
        corners = (round(self.x0), round(self.y0))
        size = (round(self.x1 - self.x0), round(self.y1 - self.y0))
        ends = [(round(x), round(y)) for x, y in (start, end)]
        return bool(cv2.clipLine((*corners, *size), *ends)[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Lettering:
    """How a line of text looks; no colour means the theme's ink, a halo lifts it off a busy ground."""

    size_px: int = BODY_PX
    bold: bool = False
    align: Align = "left"
    colour: Rgb | None = None
    halo: Rgb | None = None


PLAIN = Lettering()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    box: TextBox
    baseline: tuple[float, float]
    looks: Lettering


def sixteenths(points: Sequence[tuple[float, float]] | NDArray[np.float64]) -> NDArray[np.int32]:
    """Return pixel coordinates in the fixed-point form cv2 draws at."""
    scaled = (np.asarray(points, float) - 0.5) * (1 << _SHIFT)
    rounded: NDArray[np.int32] = np.rint(scaled).astype(np.int32)
    return rounded


def filled(height_px: int, width_px: int, colour: Rgb) -> NDArray[np.uint8]:
    """Return pixels (height_px, width_px, 3) all of one colour."""
    pixels = np.empty((height_px, width_px, 3), np.uint8)
    # Row by row: several times faster than pixel by pixel.
    pixels.reshape(height_px, 3 * width_px)[:] = np.tile(np.array(colour, np.uint8), width_px)
    return pixels


class Sheet:
    """Pixels being laid out, and every piece of text put on them so far."""

    def __init__(self, width_px: int, height_px: int, theme: Theme = LIGHT) -> None:
        self.theme = theme
        self.width_px, self.height_px = width_px, height_px
        self.pixels = filled(height_px, width_px, theme.paper)
        self._lines: list[_Line] = []
        self._barred: list[tuple[tuple[float, float], tuple[float, float]]] = []

    @property
    def texts(self) -> tuple[TextBox, ...]:
        """Every line of text on the sheet."""
        return tuple(line.box for line in self._lines)

    # --- shapes --------------------------------------------------------------------------------

    def paste(self, pixels: NDArray[np.uint8], x: int, y: int) -> None:
        """Lay an RGB array down with its top left corner at (x, y)."""
        self.pixels[y : y + pixels.shape[0], x : x + pixels.shape[1]] = pixels

    def bar(self, x: int, y: int, width: int, height: int, colour: Rgb) -> None:
        """Fill a rectangle of whole pixels."""
        self.pixels[max(y, 0) : y + height, max(x, 0) : x + width] = colour

    def frame(self, x: int, y: int, width: int, height: int, colour: Rgb) -> None:
        """Draw a one-pixel outline just outside a rectangle of whole pixels."""
        self.bar(x - 1, y - 1, width + 2, 1, colour)
        self.bar(x - 1, y + height, width + 2, 1, colour)
        self.bar(x - 1, y - 1, 1, height + 2, colour)
        self.bar(x + width, y - 1, 1, height + 2, colour)

    def line(
        self,
        points: Sequence[tuple[float, float]],
        colour: Rgb,
        width: int = 1,
        halo: Rgb | None = None,
    ) -> None:
        """Draw a smooth line through points [px], on a wider one in `halo` if given."""
        path = [sixteenths(points)]
        if halo is not None:
            cv2.polylines(self.pixels, path, False, halo, width + 2, cv2.LINE_AA, _SHIFT)
        cv2.polylines(self.pixels, path, False, colour, width, cv2.LINE_AA, _SHIFT)

    def shape(self, points: Sequence[tuple[float, float]], colour: Rgb) -> None:
        """Fill a smooth polygon."""
        cv2.fillPoly(self.pixels, [sixteenths(points)], colour, cv2.LINE_AA, _SHIFT)

    def ring(self, x: float, y: float, radius: float, colour: Rgb, width: int) -> None:
        """Draw a smooth ring of the given line width."""
        turn = np.linspace(0, 2 * np.pi, 49)
        points = np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1)
        self.line(points.tolist(), colour, width)

    def dot(self, x: float, y: float, radius: float, colour: Rgb, width: int = 0) -> None:
        """Draw a smooth disc, or a ring if given a line width."""
        if width > 0:
            self.ring(x, y, radius, colour, width)
            return
        centre = sixteenths([(x, y)])[0].tolist()
        radius_fixed = round(radius * (1 << _SHIFT))
        cv2.circle(self.pixels, centre, radius_fixed, colour, -1, cv2.LINE_AA, _SHIFT)

    # --- text ----------------------------------------------------------------------------------

    def measure(self, x: float, y: float, text: str, looks: Lettering = PLAIN) -> TextBox:
        """Return the rectangle a line of text with its middle at height `y` would take."""
        width = text_width(text, looks.size_px, bold=looks.bold)
        left = x - {"left": 0.0, "centre": width / 2, "right": width}[looks.align]
        half = 0.6 * looks.size_px
        return TextBox(
            text=text,
            x0=left,
            y0=y - half,
            x1=left + width,
            y1=y + half,
            size_px=looks.size_px,
        )

    def text(
        self,
        x: float,
        y: float,
        text: str,
        looks: Lettering = PLAIN,
        most_px: float | None = None,
    ) -> TextBox:
        """Put a line of text with its middle at height `y`, shortened to `most_px`; return its rectangle."""
        if most_px is not None:
            text = shorten(text, most_px, looks.size_px, bold=looks.bold)
        box = self.measure(x, y, text, looks)
        # Baseline below the middle by half the height of a capital: 0.73 em in this face.
        baseline = (x, y + 0.365 * looks.size_px)
        self._lines.append(_Line(box=box, baseline=baseline, looks=looks))
        return box

    def bar_line(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Keep text that asks for a free place off this line."""
        self._barred.append((start, end))

    def is_free(self, box: TextBox, gap_px: float = 2.0) -> bool:
        """Return whether a rectangle lies on the sheet and clear of all text and barred lines so far."""
        inside = (
            box.x0 >= 2
            and box.y0 >= 2
            and box.x1 <= self.width_px - 2
            and box.y1 <= self.height_px - 2
        )
        return (
            inside
            and not any(box.meets(line.box, gap_px) for line in self._lines)
            and not any(box.is_crossed(*line) for line in self._barred)
        )

    # --- furniture -----------------------------------------------------------------------------

    def heading(self, title: str, subtitle: str, note: str = "") -> int:
        """Put title, subtitle and a large note at the right; return the height below them."""
        right, room = self.width_px - MARGIN_PX, self.width_px - 2 * MARGIN_PX
        below = room
        if note:
            box = self.text(right, 40, note, Lettering(size_px=22, bold=True, align="right"))
            room = int(box.x0 - MARGIN_PX - 24)
        self.text(MARGIN_PX, 40, title, Lettering(size_px=TITLE_PX, bold=True), room)
        self.text(MARGIN_PX, 70, subtitle, Lettering(colour=self.theme.muted), below)
        return HEADING_PX

    def scale_bar(
        self, x: int, y: int, px_per_mm: float, most_px: float, looks: Lettering = PLAIN
    ) -> TextBox:
        """Draw a bar of a round length, exact to the pixel, with the length beside it."""
        length_mm = round_number(most_px / px_per_mm)
        length_px = max(1, round(length_mm * px_per_mm))
        self.bar(x, y - 2, length_px, 4, self.theme.ink)
        for end in (x, x + length_px - 1):
            self.bar(end, y - 7, 1, 14, self.theme.ink)
        return self.text(x + length_px + 10, y, format_length(length_mm), looks)

    # --- result --------------------------------------------------------------------------------

    def finished(self) -> NDArray[np.uint8]:
        """Return the pixels with the text on them."""
        image = Image.fromarray(self.pixels)
        pen = ImageDraw.Draw(image)
        for line in self._lines:
            looks = line.looks
            pen.text(
                line.baseline,
                line.box.text,
                font=font(looks.size_px, bold=looks.bold),
                fill=self.theme.ink if looks.colour is None else looks.colour,
                anchor=_ANCHORS[looks.align],
                stroke_width=0 if looks.halo is None else 2,
                stroke_fill=looks.halo,
            )
        return np.asarray(image)

    def png(self) -> bytes:
        """Return the sheet as a PNG without date, software or other notes: same sheet, same bytes."""
        return png_bytes(self.finished())


# Height a heading takes.
HEADING_PX = 96
# Height of one row of a table and of its head.
ROW_PX = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A table's column: head, width [px] and how its cells stand."""

    head: str
    width_px: int
    align: Align = "left"


def table_height(rows: int) -> int:
    """Return the height of a table with that many rows [px]."""
    return ROW_PX * (rows + 1) + 6


def draw_table(
    sheet: Sheet,
    x: int,
    y: int,
    columns: Sequence[Column],
    rows: Sequence[Sequence[str | tuple[Rgb, ...]]],
) -> int:
    """Draw a table with its top left corner at (x, y); return the height below it.

    A cell is text, or colours to be shown as a swatch.
    """
    head = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    _row(sheet, x, y, columns, [column.head for column in columns], head)
    width = sum(column.width_px for column in columns)
    sheet.bar(x, y + ROW_PX, width, 1, sheet.theme.rule)
    for number, row in enumerate(rows, 1):
        _row(sheet, x, y + 4 + ROW_PX * number, columns, row, PLAIN)
    return y + table_height(len(rows))


def _row(
    sheet: Sheet,
    x: int,
    y: int,
    columns: Sequence[Column],
    row: Sequence[str | tuple[Rgb, ...]],
    looks: Lettering,
) -> None:
    middle = y + ROW_PX // 2
    for column, cell in zip(columns, row, strict=True):
        if isinstance(cell, str):
            room = column.width_px - 14
            place = x + {"left": 0.0, "centre": room / 2, "right": room}[column.align]
            sheet.text(place, middle, cell, replace(looks, align=column.align), room)
        else:
            draw_swatch(sheet, x, middle, cell)
        x += column.width_px


def draw_swatch(sheet: Sheet, x: int, middle: int, colours: Sequence[Rgb]) -> None:
    """Draw a swatch 26 by 14 px of one colour, or of several side by side."""
    sheet.frame(x, middle - 7, 26, 14, sheet.theme.muted)
    edges = [x + round(26 * i / len(colours)) for i in range(len(colours) + 1)]
    for colour, left, right in zip(colours, edges, edges[1:], strict=False):
        sheet.bar(left, middle - 7, right - left, 14, colour)
