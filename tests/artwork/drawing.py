"""Artwork drawn with known truth: supersampled label maps, from which areas and counts are taken."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from marquee.values import Artwork

FINE = 4


def codes(hex_text: str) -> NDArray[np.float64]:
    return np.array([int(hex_text[i : i + 2], 16) for i in (1, 3, 5)], float)


def decode(value: NDArray[np.float64]) -> NDArray[np.float64]:
    v = value / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def encode(light: NDArray[np.float64]) -> NDArray[np.float64]:
    v = np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055
    )
    return v * 255


@dataclass
class Drawing:
    """A label map in fine pixels; label 0 is the face, label k the k-th colour."""

    width_mm: float
    height_mm: float
    px_per_mm: float
    colours: list[str] = field(default_factory=lambda: ["#000000"])

    def __post_init__(self) -> None:
        self.width_px = round(self.width_mm * self.px_per_mm)
        self.height_px = round(self.height_mm * self.px_per_mm)
        self._map = Image.new("L", (self.width_px * FINE, self.height_px * FINE), 0)
        self._pen = ImageDraw.Draw(self._map)

    @property
    def labels(self) -> NDArray[np.uint8]:
        return np.asarray(self._map)

    def replace(self, labels: NDArray[np.uint8], colours: list[str]) -> None:
        self._map = Image.fromarray(labels)
        self._pen = ImageDraw.Draw(self._map)
        self.colours = colours

    def colour(self, hex_text: str) -> int:
        if hex_text not in self.colours:
            self.colours.append(hex_text)
        return self.colours.index(hex_text)

    def _fine(self, points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
        scale = self.px_per_mm * FINE
        return [(x * scale, y * scale) for x, y in points]

    def polygon(self, hex_text: str, *points: tuple[float, float]) -> None:
        self._pen.polygon(self._fine(points), fill=self.colour(hex_text))

    def box(self, hex_text: str, x0: float, y0: float, x1: float, y1: float) -> None:
        (a, b), (c, d) = self._fine([(x0, y0), (x1, y1)])
        self._pen.rectangle(
            (round(a), round(b), round(c) - 1, round(d) - 1), fill=self.colour(hex_text)
        )

    def disc(self, hex_text: str, x: float, y: float, radius: float) -> None:
        (a, b), (c, d) = self._fine([(x - radius, y - radius), (x + radius, y + radius)])
        self._pen.ellipse((a, b, c, d), fill=self.colour(hex_text))

    def line(self, hex_text: str, width_mm: float, *points: tuple[float, float]) -> None:
        """Draw a stroke with round ends and joints."""
        fine = self._fine(points)
        scale = self.px_per_mm * FINE
        for start, end in pairwise(fine):
            a, b = np.array(start), np.array(end)
            across = np.array([b[1] - a[1], a[0] - b[0]]) / max(np.hypot(*(b - a)), 1e-9)
            side = across * width_mm * scale / 2
            quad = [tuple(p) for p in (a + side, b + side, b - side, a - side)]
            self._pen.polygon(quad, fill=self.colour(hex_text))
        for x, y in points:
            self.disc(hex_text, x, y, width_mm / 2)

    def word(self, hex_text: str, x: float, y: float, size: float, stroke: float) -> None:
        """Draw five letters made of strokes."""
        s = size
        for k, shape in enumerate(_GLYPHS):
            left = x + k * s * 0.95
            for path in shape:
                self.line(hex_text, stroke, *[(left + px * s, y + py * s) for px, py in path])

    def paint(self, *, linear: bool = False) -> NDArray[np.uint8]:
        """Return the picture with anti-aliased edges."""
        picture = np.zeros((self.height_px, self.width_px, 3))
        for label, hex_text in enumerate(self.colours):
            part = self.cover(label)[..., None]
            colour = codes(hex_text)
            picture += part * (decode(colour) if linear else colour)
        return np.rint(encode(picture) if linear else picture).clip(0, 255).astype(np.uint8)

    def cover(self, label: int) -> NDArray[np.float64]:
        own = (self.labels == label).astype(np.uint8) * 255
        small = cv2.resize(
            own.astype(np.float32), (self.width_px, self.height_px), interpolation=cv2.INTER_AREA
        )
        return np.asarray(small, float) / 255

    def truth(self) -> list[tuple[str, float, float, float]]:
        """Colour, area [mm²] and centre [mm] of every aperture."""
        scale = self.px_per_mm * FINE
        found = []
        for label, hex_text in enumerate(self.colours):
            if label == 0:
                continue
            count, _, stats, centre = cv2.connectedComponentsWithStats(
                (self.labels == label).astype(np.uint8), connectivity=8
            )
            for k in range(1, count):
                area = float(stats[k, cv2.CC_STAT_AREA]) / scale**2
                found.append((hex_text, area, *((centre[k] + 0.5) / scale).tolist()))
        return found


_GLYPHS: list[list[list[tuple[float, float]]]] = [
    [[(0.05, 1), (0.35, 0), (0.65, 1)], [(0.15, 0.65), (0.55, 0.65)]],
    [[(0.05, 0), (0.05, 1), (0.6, 1)]],
    [[(0.35 + 0.3 * np.cos(t), 0.5 + 0.5 * np.sin(t)) for t in np.linspace(0, 2 * np.pi, 33)]],
    [[(0.05, 1), (0.05, 0), (0.6, 1), (0.6, 0)]],
    [
        [
            (0.6 - 0.3 * (1 + np.sin(t)) * 0.8, 0.5 - 0.5 * np.cos(t))
            for t in np.linspace(0.3, np.pi - 0.3, 17)
        ]
    ],
]


def as_artwork(
    picture: NDArray[np.uint8], width_mm: float, alpha: NDArray[np.uint8] | None = None
) -> Artwork:
    return Artwork(
        srgb_8bit=np.ascontiguousarray(picture),
        alpha_8bit=alpha,
        mm_per_px=width_mm / picture.shape[1],
        file="drawn.png",
        sha256="",
    )


def softened(
    art: Drawing, label: int, sigma_mm: float, strength: float, shift_mm: float = 0
) -> NDArray[np.float64]:
    """Return one colour's cover blurred and shifted down right: a glow's or a shadow's strength."""
    px = art.px_per_mm
    soft = cv2.GaussianBlur(art.cover(label).astype(np.float32), (0, 0), sigma_mm * px)
    move = np.array([[1, 0, shift_mm * px], [0, 1, shift_mm * px]], np.float32)
    moved = cv2.warpAffine(soft, move, (soft.shape[1], soft.shape[0]))
    return np.asarray(strength * moved[..., None], float)


def laid_over(art: Drawing, under: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Return the drawing's colours over a picture that shows where its face is."""
    picture = art.cover(0)[..., None] * under
    for label in range(1, len(art.colours)):
        picture = picture + art.cover(label)[..., None] * codes(art.colours[label])
    return np.rint(picture).clip(0, 255).astype(np.uint8)


def striped(width_mm: float, *, upright: bool = False) -> Drawing:
    """Draw a word in four colours of stripes, and a white bar."""
    art = Drawing(400, 120, 4)
    art.word("#808080", 25, 25, 48, 9)
    word = art.labels
    place = np.arange(word.shape[1 if upright else 0]) / (4 * FINE)
    stripe = (place / width_mm).astype(int) % 4 + 1
    stripes = np.where(word > 0, stripe[None, :] if upright else stripe[:, None], 0)
    art.replace(stripes.astype(np.uint8), ["#000000", "#d81e2c", "#ffd21f", "#1fa64a", "#2346d2"])
    art.box("#ffffff", 25, 95, 380, 108)
    return art


def emblem(
    px_per_mm: float, first: str = "#ff9a1e", second: str = "#18b8d8", face: str = "#000000"
) -> Drawing:
    """Draw a badge with holes and rings, a word, and a bar, in two colours."""
    art = Drawing(400, 120, px_per_mm, [face])
    art.disc(first, 62, 60, 45)
    art.disc(face, 48, 50, 12)
    art.disc(face, 78, 50, 12)
    art.disc(second, 48, 50, 8)
    art.disc(second, 78, 50, 8)
    art.disc(face, 48, 50, 3)
    art.disc(face, 78, 50, 3)
    art.polygon(face, (57, 70), (69, 70), (63, 84))
    art.word(second, 130, 30, 45, 6)
    art.box(first, 130, 95, 370, 103)
    return art


def jpeg(picture: NDArray[np.uint8], quality: int, subsampling: int = 2) -> NDArray[np.uint8]:
    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "JPEG", quality=quality, subsampling=subsampling)
    return np.asarray(Image.open(buffer).convert("RGB"))


def enlarged(
    picture: NDArray[np.uint8], factor: int, kernel: Image.Resampling
) -> NDArray[np.uint8]:
    image = Image.fromarray(picture)
    return np.asarray(image.resize((image.width * factor, image.height * factor), kernel))
