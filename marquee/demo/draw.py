"""Draw the demo's artwork: python -m marquee.demo.draw writes marquee.png beside this file.

Orb Hollow is an invented observatory games room in the invented valley town of Tarnwick Hollow; emblem, letters
and colours were made for this demo. Everything is drawn from polygons, eight times finer than the picture, so
that no font is needed and every run gives the same pixels.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageDraw

from marquee.demo import letters
from marquee.demo.letters import Outline

WIDTH_MM, HEIGHT_MM, PX_PER_MM, FINER = 380, 100, 6, 8

FACE = (0, 0, 0)
ORB = (255, 171, 46)
RING = (18, 176, 164)
LETTERS = (246, 236, 214)
# The comet's tail, in the order its stripes follow one another.
TAIL = (
    (226, 62, 74),
    (243, 124, 44),
    (247, 206, 70),
    (74, 178, 92),
    (46, 128, 214),
    (136, 84, 196),
)
STRIPE_MM = 2.0  # across a stripe
_SLANT = 0.55  # mm to the right per mm up

_ORB_AT, _ORB_RADIUS = (58.0, 50.0), 26.0
_RING_OUTER, _RING_INNER = (47.0, 15.5), (36.5, 9.0)
_RING_TILT = -20.0
# Opaque web between orb and ring: in front of the orb, and where the ring passes behind it.
_WEB_FRONT, _WEB_BACK = 4.4, 2.0
_STARS = ((17.5, 20.0, 7.5), (98.5, 81.5, 6.0), (25.0, 86.0, 5.0))
_WORD_AT, _WORD_WIDTH, _CAP = (113.0, 20.0), 255.0, 27.0
_TAIL_X, _TAIL_Y, _TAIL_ENDS = (122.0, 365.5), 71.5, (9.0, 2.5)

Mask = Image.Image


def artwork() -> NDArray[np.uint8]:
    """Return the artwork, (600, 2280, 3) uint8 sRGB, blended at edges as drawing programs blend: by code."""
    pixels = np.zeros((HEIGHT_MM * PX_PER_MM, WIDTH_MM * PX_PER_MM, 3))
    pixels += np.array(FACE, float)
    stripes = list(zip(_tail(), TAIL, strict=True))
    layers = [(_orb(), ORB), (_ring(), RING), (_word(), LETTERS), *stripes]
    for mask, colour in layers:
        # Layers do not overlap, so their shares of a pixel add up to one with the face's.
        share = np.asarray(mask.reduce(FINER), float)[..., None] / 255.0
        pixels += share * (np.array(colour, float) - np.array(FACE, float))
    return np.clip(np.rint(pixels), 0, 255).astype(np.uint8)


def artwork_png() -> bytes:
    """Return the artwork as a PNG file without any metadata."""
    buffer = io.BytesIO()
    Image.fromarray(artwork()).save(buffer, format="PNG", optimize=True)
    return buffer.getvalue()


def main() -> None:
    """Write marquee.png."""
    target = Path(__file__).with_name("marquee.png")
    target.write_bytes(artwork_png())
    print(f"{target}: {target.stat().st_size} bytes")


def _mask(*outlines: Outline) -> Mask:
    """Return a fine mask with outlines (mm) painted in turn: 255, and 0 for those marked as holes."""
    scale = PX_PER_MM * FINER
    mask = Image.new("L", (WIDTH_MM * scale, HEIGHT_MM * scale), 0)
    draw = ImageDraw.Draw(mask)
    for outline in outlines:
        points = [(x * scale - 0.5, y * scale - 0.5) for x, y in outline.points]
        draw.polygon(points, fill=0 if outline.hole else 255)
    return mask


def _tilted(axes: tuple[float, float], start: float, stop: float) -> Outline:
    """Return an ellipse about the orb, or the part of it between two angles [°], tilted as the ring is."""
    angle = np.radians(np.linspace(start, stop, 721))
    along, across = axes[0] * np.cos(angle), axes[1] * np.sin(angle)
    turn = np.radians(_RING_TILT)
    x = _ORB_AT[0] + along * np.cos(turn) - across * np.sin(turn)
    y = _ORB_AT[1] + along * np.sin(turn) + across * np.cos(turn)
    return Outline(points=tuple(zip(x.tolist(), y.tolist(), strict=True)))


def _orb() -> Mask:
    web_out = (_RING_OUTER[0] + _WEB_FRONT, _RING_OUTER[1] + _WEB_FRONT)
    web_in = (_RING_INNER[0] - _WEB_FRONT, _RING_INNER[1] - _WEB_FRONT)
    front = ImageChops.subtract(
        _mask(_tilted(web_out, 0, 180)), _mask(_tilted(web_in, 0, 180))
    )  # the ring's near half with its web
    orb = _mask(_tilted((_ORB_RADIUS, _ORB_RADIUS), 0, 360))
    stars = _mask(*(letters.star(x, y, radius) for x, y, radius in _STARS))
    return ImageChops.lighter(ImageChops.subtract(orb, front), stars)


def _ring() -> Mask:
    whole = ImageChops.subtract(
        _mask(_tilted(_RING_OUTER, 0, 360)), _mask(_tilted(_RING_INNER, 0, 360))
    )
    radius = _ORB_RADIUS + _WEB_BACK
    return ImageChops.subtract(whole, _mask(_tilted((radius, radius), 180, 360)))


def _word() -> Mask:
    return _mask(*letters.word("ORB HOLLOW", _WORD_AT, _WORD_WIDTH, _CAP))


def _tail() -> list[Mask]:
    """Return one mask a colour: slanted stripes side by side, cut to the shape of a comet's tail."""
    (left, right), (head, tip) = _TAIL_X, _TAIL_ENDS
    cut = _mask(letters.tapered(left, right, _TAIL_Y, head, tip))
    bottom, top = _TAIL_Y + head + 1, _TAIL_Y - head - 1
    lean = _SLANT * (bottom - top)
    first = left - head - lean - 1
    step = STRIPE_MM * float(np.hypot(1.0, _SLANT))
    count = int((right + tip + 1 - first) / step) + 1
    stripes: list[list[Outline]] = [[] for _ in TAIL]
    for number in range(count):
        x = first + number * step
        corners = (
            (x, bottom),
            (x + lean, top),
            (x + lean + step, top),
            (x + step, bottom),
        )
        stripes[number % len(TAIL)].append(Outline(points=corners))
    # Later colours give way to earlier ones along the shared edges, so that no pixel counts twice.
    taken = Image.new("L", cut.size, 0)
    masks = []
    for outlines in stripes:
        mask = ImageChops.subtract(ImageChops.darker(_mask(*outlines), cut), taken)
        taken = ImageChops.lighter(taken, mask)
        masks.append(mask)
    return masks


if __name__ == "__main__":
    main()
