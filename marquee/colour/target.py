"""Colours as makers state them, in any usual form, to XYZ under D65."""

from __future__ import annotations

import difflib
import math
import re
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from marquee.colour.adapt import adaptation_matrix, parse_white, white_xyz
from marquee.colour.constants import D50_ICC_XYZ, D65_XYZ
from marquee.colour.spaces import (
    hex_of_srgb_8bit,
    lab_to_xyz,
    srgb_8bit_to_xyz_d65,
    xyy_to_xyz,
    xyz_to_lab,
    xyz_to_srgb_8bit,
)
from marquee.errors import QuantityError
from marquee.values import TargetColour

__all__ = [
    "parse_white",
    "target_from_lab",
    "target_from_srgb_8bit",
    "target_from_text",
    "target_from_xyY",
    "target_from_xyz",
]

Origin = Literal["artwork", "palette"]
_HEX = re.compile(r"#([0-9a-fA-F]{3}|[0-9a-fA-F]{6})")
_BARE_HEX = re.compile(r"([0-9a-fA-F]{3}|[0-9a-fA-F]{6})")
# One valid example of each form of CSS Color Module Level 4.
_EXAMPLES = {
    "rgb": "rgb(214 64 43)",
    "hsl": "hsl(7 67% 50%)",
    "hwb": "hwb(7 17% 16%)",
    "lab": "lab(48% 62 43)",
    "lch": "lch(48% 75 35)",
    "oklab": "oklab(58% 0.16 0.09)",
    "oklch": "oklch(58% 0.19 30)",
    "color": "color(display-p3 0.78 0.29 0.21)",
}
_FORMS = "write it like #d6402b, rgb(214 64 43), lab(48% 62 43) or oklch(58% 0.19 30)"
# 8-bit encoding of a* and b* in the ICC profile connection space: ICC.1:2022, 6.3.4.2.
_AB_RANGE = (-128.0, 127.0)
# Rounding in the stated digits puts white a hair above 1 and saturated colours a hair below 0.
_SLACK = 2e-3
# Instruments give tristimulus values for Y = 100; nothing but such values lies above this.
_PERCENT_ABOVE = 1.5
_D50_TO_D65 = adaptation_matrix(D50_ICC_XYZ, D65_XYZ)


def target_from_text(
    text: str, name: str, where: str, *, origin: Origin = "palette"
) -> TargetColour:
    """Return the target a colour in CSS Color Module Level 4 syntax means.

    Parameters
    ----------
    text : str
        Such as ``#d6402b``, ``rgb()``, ``hsl()``, ``lab()`` (D50 by definition), ``lch()``, ``oklab()``,
        ``oklch()``, ``color(display-p3 …)``, ``color(xyz-d65 …)`` or a CSS colour name.
    name : str
        What the maker calls it.
    where : str
        The option or field, for messages.
    origin : str
        Whether it was found in the artwork or stated in a palette.

    Raises
    ------
    QuantityError
        Not a colour (with the nearest valid form), transparent, or out of the range its form has.

    Examples
    --------
    >>> target_from_text("#f00", "red", "--palette").srgb
    '#ff0000'
    """
    word = text.strip()
    if match := _HEX.fullmatch(word):
        digits = match[1] if len(match[1]) == 6 else "".join(2 * c for c in match[1])
        rgb = tuple(int(digits[i : i + 2], 16) for i in (0, 2, 4))
        return _target(srgb_8bit_to_xyz_d65(rgb), name, origin)
    return _target(_css_xyz(word, where), name, origin)


def target_from_srgb_8bit(
    rgb: ArrayLike, name: str, *, origin: Origin = "artwork", area_mm2: float = 0.0
) -> TargetColour:
    """Return the target of an 8-bit sRGB triple, as pixels have it."""
    return _target(srgb_8bit_to_xyz_d65(rgb), name, origin, area_mm2)


def target_from_lab(
    lab: ArrayLike, white: str, name: str, where: str, *, adaptation: str = "bradford"
) -> TargetColour:
    """Return the target of a CIELAB colour under a stated white, adapted to D65.

    Parameters
    ----------
    lab : (3,)
        L* 0 to 100, a* and b* −128 to 127.
    white : str
        As `parse_white` takes it; D50 means the ICC profile connection space's, as in print guides.

    Raises
    ------
    QuantityError
        Out of range, a colour no surface or light can have, or an unknown white.
    """
    white_of_lab = white_xyz(white, where)
    values = _three(lab, "Lab", where)
    _check_lab(values, where)
    xyz = adaptation_matrix(white_of_lab, D65_XYZ, adaptation) @ lab_to_xyz(values, white_of_lab)
    return _target(_real(xyz, f"lab {_words(values)} under {white}", where), name, "palette")


def target_from_xyY(  # noqa: N802 -- the space's own name
    xyY: ArrayLike, white: str, name: str, where: str, *, adaptation: str = "bradford"
) -> TargetColour:
    """Return the target of a chromaticity and a luminance relative to white, seen under a stated white.

    Parameters
    ----------
    xyY : (3,)
        CIE 1931 x, y and Y, 1 = the white's luminance.
    white : str
        As `parse_white` takes it.

    Raises
    ------
    QuantityError
        Out of range, or an unknown white.
    """
    white_of_xyY = white_xyz(white, where)
    values = _three(xyY, "xyY", where)
    x, y, Y = values
    if not (x >= 0 and y > 0 and x + y <= 1):
        raise QuantityError(
            where,
            f"x, y = {x:g}, {y:g} is no chromaticity",
            "x and y lie between 0 and 1 and x + y is at most 1",
        )
    if not 0 <= Y <= 1 + _SLACK:
        raise QuantityError(
            where,
            f"Y = {Y:g} is outside 0 to 1",
            f"give it as a share of white's luminance, such as {min(max(Y / 100, 0.0), 1.0):.4g}",
        )
    xyz = adaptation_matrix(white_of_xyY, D65_XYZ, adaptation) @ xyy_to_xyz(values)
    return _target(_real(xyz, f"xyY {_words(values)}", where), name, "palette")


def target_from_xyz(
    xyz: ArrayLike, white: str, name: str, where: str, *, adaptation: str = "bradford"
) -> TargetColour:
    """Return the target of tristimulus values relative to a stated white with Y = 1.

    Raises
    ------
    QuantityError
        Negative, above white, or an unknown white.
    """
    values = _three(xyz, "XYZ", where)
    if values[1] > _PERCENT_ABOVE:
        raise QuantityError(
            where,
            f"Y = {values[1]:g} is above white's 1",
            f"divide all three by 100: [{', '.join(f'{v / 100:.4g}' for v in values)}]",
        )
    adapted = adaptation_matrix(white_xyz(white, where), D65_XYZ, adaptation) @ values
    return _target(_real(adapted, f"xyz {_words(values)}", where), name, "palette")


def _target(
    xyz: NDArray[np.float64], name: str, origin: Origin, area_mm2: float = 0.0
) -> TargetColour:
    X, Y, Z = (float(v) for v in xyz)
    L, a, b = (float(v) for v in xyz_to_lab(xyz, D65_XYZ))
    return TargetColour(
        name=name,
        srgb=hex_of_srgb_8bit(xyz_to_srgb_8bit(xyz)),
        xyz=(X, Y, Z),
        lab_d65=(L, a, b),
        origin=origin,
        area_mm2=area_mm2,
    )


def _css_xyz(word: str, where: str) -> NDArray[np.float64]:
    import coloraide

    try:
        colour = coloraide.Color(word)
    except ValueError:
        raise QuantityError(where, f"'{word}' is not a colour", _nearest_form(word)) from None
    if colour.alpha() < 1:
        raise QuantityError(
            where, f"'{word}' is transparent", "a light cannot be; state the opaque colour"
        )
    coords = [0.0 if math.isnan(v) else float(v) for v in colour.coords()]
    space = colour.space()
    if space in {"lab", "lch"}:
        # CSS takes D50 from its 4-digit chromaticity, print guides from ICC; the two lie 2e-5 apart in
        # XYZ. One D50 for both, so that a guide's figures mean the same typed either way.
        lab = np.array(_lab_coords(coords, space))
        _check_lab(lab, where)
        return _real(_D50_TO_D65 @ lab_to_xyz(lab, D50_ICC_XYZ), f"'{word}'", where)
    bounded = re.match(r"(rgb|hsl|hwb)a?\(", word, re.IGNORECASE) is not None
    linear = colour.convert("srgb").coords()
    if bounded and not all(-1e-9 <= v <= 1 + 1e-9 for v in linear):
        raise QuantityError(
            where,
            f"'{word}' is out of range",
            "rgb() takes 0 to 255 or 0% to 100%; for wider colours use color(display-p3 …)",
        )
    plain = coloraide.Color(space, coords)
    return _real(np.array(plain.convert("xyz-d65").coords(), float), f"'{word}'", where)


def _lab_coords(coords: list[float], space: str) -> list[float]:
    L, second, third = coords
    if space == "lab":
        return coords
    hue = math.radians(third)
    return [L, second * math.cos(hue), second * math.sin(hue)]


def _check_lab(lab: NDArray[np.float64], where: str) -> None:
    low, high = _AB_RANGE
    L, a, b = lab
    near_L, near_a, near_b = np.clip(lab, [0, low, low], [100, high, high])
    mend = f"the nearest in range is lab({near_L:.4g}% {near_a:.4g} {near_b:.4g})"
    if near_L != L:
        raise QuantityError(where, f"L = {L:g} is outside 0 to 100", mend)
    if (near_a, near_b) != (a, b):
        raise QuantityError(where, f"a, b = {a:g}, {b:g} is outside {low:g} to {high:g}", mend)


def _real(xyz: NDArray[np.float64], shown: str, where: str) -> NDArray[np.float64]:
    if not np.isfinite(xyz).all() or xyz.min() < -_SLACK:
        raise QuantityError(
            where, f"{shown} is a colour no light can have", "check its numbers and its white"
        )
    if xyz[1] > 1 + _SLACK:
        raise QuantityError(
            where, f"{shown} is brighter than white", "lightness ends at white: 100 % or Y = 1"
        )
    return np.maximum(xyz, 0.0)


def _three(values: ArrayLike, form: str, where: str) -> NDArray[np.float64]:
    try:
        array = np.asarray(values, float)
    except (TypeError, ValueError):
        array = np.empty(0)
    if array.shape != (3,) or not np.isfinite(array).all():
        raise QuantityError(where, f"{form} needs three numbers", "such as [48, 62, 43]")
    return array


def _words(values: NDArray[np.float64]) -> str:
    return " ".join(f"{v:g}" for v in values)


def _nearest_form(word: str) -> str:
    if _BARE_HEX.fullmatch(word):
        return f"did you mean #{word}?"
    if word.startswith("#"):
        return "a hex colour has 3 or 6 digits, such as #d6402b"
    head = re.match(r"[a-z]*", word.lower())
    family = difflib.get_close_matches(head[0] if head else "", _EXAMPLES, n=1, cutoff=0.7)
    if family and "(" in word:
        return f"write {family[0]}() like {_EXAMPLES[family[0]]}"
    from coloraide.css import color_names

    near = difflib.get_close_matches(word.lower(), color_names.name2val_map, n=1, cutoff=0.7)
    return f"did you mean {near[0]}?" if near else _FORMS
