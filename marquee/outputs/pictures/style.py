"""The pictures' shared look: colours, type, and names made safe to show."""

from __future__ import annotations

import importlib.util
import math
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from PIL import ImageFont

from marquee.errors import printable
from marquee.units import format_length

Rgb = tuple[int, int, int]

# All pictures are this wide; text is never smaller than SMALL_PX on them.
WIDTH_PX = 1200
MARGIN_PX = 32
TITLE_PX, BODY_PX, SMALL_PX = 26, 14, 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """Colours of a sheet: what it is printed on, text, quiet text, hairlines, emphasis."""

    paper: Rgb
    ink: Rgb
    muted: Rgb
    rule: Rgb
    accent: Rgb


LIGHT = Theme(
    paper=(255, 255, 255),
    ink=(24, 28, 36),
    muted=(90, 98, 110),
    rule=(212, 216, 222),
    accent=(176, 42, 32),
)
DARK = Theme(
    paper=(16, 17, 20),
    ink=(224, 226, 230),
    muted=(150, 155, 164),
    rule=(58, 61, 68),
    accent=(255, 176, 96),
)
# The opaque face in plans: a mid-grey with fine stripes, so that neither black, grey nor white zones drown in it.
FACE, FACE_STRIPE = (122, 126, 132), (110, 114, 120)
WALL = (36, 40, 48)

# Longest stretch of a name that is looked at at all.
_LONGEST = 160
# Stands for a character the font cannot draw.
_MISSING = "□"


@lru_cache(maxsize=32)
def font(size_px: int, *, bold: bool = False) -> ImageFont.FreeTypeFont:
    """Return DejaVu Sans, which comes with matplotlib, so that no system font is needed."""
    # The package's folder is found without importing the package.
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or spec.origin is None:  # pragma: no cover -- a declared dependency
        raise ModuleNotFoundError("matplotlib")
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    path = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name
    return ImageFont.truetype(str(path), size_px, layout_engine=ImageFont.Layout.BASIC)


@lru_cache(maxsize=4096)
def _drawable(character: str) -> bool:
    # U+FFFF is no character: what is drawn for it is what is drawn for every missing one.
    shape = font(BODY_PX)
    return bytes(shape.getmask(character)) != bytes(shape.getmask("\uffff"))


def plain(text: str) -> str:
    """Return a maker's text as one drawable line: controls escaped, characters beyond the font boxed."""
    line = printable(unicodedata.normalize("NFC", text[:_LONGEST]))
    return "".join(c if c == " " or _drawable(c) else _MISSING for c in line)


def plain_long(text: str) -> str:
    """Return a long text, to be wrapped, as `plain` returns short ones."""
    return "".join(plain(text[at : at + _LONGEST]) for at in range(0, len(text), _LONGEST))


@lru_cache(maxsize=4096)
def text_width(text: str, size_px: int, *, bold: bool = False) -> float:
    """Return how wide a line of text comes out [px]."""
    return float(font(size_px, bold=bold).getlength(text))


def shorten(text: str, width_px: float, size_px: int, *, bold: bool = False) -> str:
    """Return `text`, its end replaced by an ellipsis where it is wider than `width_px`."""
    if text_width(text, size_px, bold=bold) <= width_px:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        fits = text_width(text[:middle].rstrip() + "…", size_px, bold=bold) <= width_px
        low, high = (middle, high) if fits else (low, middle - 1)
    return text[:low].rstrip() + "…" if low else "…"


def rgb(colour: str) -> Rgb:
    """Return the three bytes of ``#rrggbb``."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def hex_of(colour: Rgb) -> str:
    """Return ``#rrggbb`` of three bytes."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def mix(first: Rgb, second: Rgb, share: float) -> Rgb:
    """Return `first` with `share` (0 to 1) of it replaced by `second`, in encoded sRGB."""
    red, green, blue = (round(a + (b - a) * share) for a, b in zip(first, second, strict=True))
    return red, green, blue


def lightness(colour: Rgb) -> float:
    """Return CIE L* of a screen colour."""
    from marquee.colour.spaces import srgb_8bit_to_lab_d65

    return float(srgb_8bit_to_lab_d65(colour)[0])


def ink_on(colour: Rgb) -> Rgb:
    """Return near-black or white, whichever reads better on `colour`."""
    return LIGHT.ink if lightness(colour) > 55 else (255, 255, 255)


def round_number(most: float) -> float:
    """Return the largest 1, 2 or 5 times a power of ten that is not above `most`, which is above 0."""
    power: float = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most * (1 + 1e-9))


def size_text(width_mm: float, height_mm: float) -> str:
    """Return a face's size as shown in subtitles."""
    return f"{format_length(width_mm).removesuffix(' mm')} × {format_length(height_mm)}"


def grouped(value: float) -> str:
    """Return a whole number with thin spaces between thousands."""
    return f"{value:,.0f}".replace(",", "\u2009")
