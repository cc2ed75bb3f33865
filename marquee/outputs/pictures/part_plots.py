"""The two plots of an LED part: where its colours lie in the CIE 1976 diagram, and light against code."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from marquee.colour.adapt import observed_white_xyz
from marquee.colour.constants import SRGB_TO_XYZ
from marquee.colour.observer import DEFAULT_OBSERVER, locus_xyz
from marquee.colour.spaces import srgb_encode, xyy_to_xyz, xyz_to_uv_prime
from marquee.outputs.pictures.sheet import Lettering, Sheet
from marquee.outputs.pictures.style import SMALL_PX, Rgb
from marquee.values import Emission, Part

LOCUS: Rgb = (110, 116, 126)
SCREEN: Rgb = (70, 104, 168)
LINEAR: Rgb = (120, 128, 140)
GRID: Rgb = (228, 231, 235)
_WHITE: Rgb = (255, 255, 255)
# Range of the diagram; left of 0 only labels lie.
_U_LEAST, _U_MOST, _V_MOST = -0.06, 0.65, 0.62
_LABELLED_NM = (440, 460, 470, 480, 490, 500, 510, 520, 540, 560, 580, 600, 620, 680)
_LEAST_LIGHT = 1e-4
INK: dict[str, Rgb] = {
    "R": (204, 40, 36),
    "G": (24, 140, 60),
    "B": (36, 84, 200),
    "A": (214, 134, 20),
}

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """A plot's rectangle on the sheet [px]."""

    x: int
    y: int
    width_px: int
    height_px: int


def diagram_place(plot: Plot, uv: Array) -> tuple[float, float]:
    """Return where u′, v′ lies on the sheet in a plot of `draw_diagram` [px]."""
    return (
        plot.x + (float(uv[0]) - _U_LEAST) / (_U_MOST - _U_LEAST) * plot.width_px,
        plot.y + plot.height_px - float(uv[1]) / _V_MOST * plot.height_px,
    )


def draw_diagram(sheet: Sheet, plot: Plot, part: Part, emission: Emission | None) -> None:
    """Draw locus, sRGB, the part's channels and gamut, and D65, as the emission's observer has them."""
    observer = DEFAULT_OBSERVER if emission is None else emission.observer

    def at(uv: Array) -> tuple[float, float]:
        return diagram_place(plot, uv)

    places = None if emission is None else xyz_to_uv_prime(np.array(emission.xyz_cd))
    corners = None if places is None else hull(places)
    if corners is not None:
        sheet.paste(_tinted(sheet, plot, corners), plot.x, plot.y)
    _diagram_grid(sheet, plot)
    locus = xyz_to_uv_prime(locus_xyz(np.arange(390.0, 701.0), observer))
    sheet.line([at(p) for p in (*locus, locus[0])], LOCUS, 2)
    if observer == DEFAULT_OBSERVER:  # sRGB is defined for this observer only
        screen = xyz_to_uv_prime(SRGB_TO_XYZ.T)
        dashed(sheet, [at(p) for p in (*screen, screen[0])], SCREEN)
    if corners is not None:
        sheet.line([at(p) for p in (*corners, corners[0])], sheet.theme.ink, 2)
    if places is not None:
        for channel, place in zip(part.channels, places, strict=True):
            _mark_channel(sheet, at(place), channel)
    white = at(xyz_to_uv_prime(observed_white_xyz("D65", observer)))
    sheet.line([(white[0] - 6, white[1]), (white[0] + 6, white[1])], sheet.theme.ink, 1)
    sheet.line([(white[0], white[1] - 6), (white[0], white[1] + 6)], sheet.theme.ink, 1)
    _near(sheet, white, "D65", Lettering(size_px=SMALL_PX, align="centre", halo=_WHITE))
    _label_locus(sheet, at, observer)
    sheet.frame(plot.x, plot.y, plot.width_px, plot.height_px, LOCUS)


def hull(places: Array) -> Array:
    """Return the corners (m, 2) of what channels at u′, v′ places (n, 2) can mix, in order round it."""
    import cv2

    corners: Array = cv2.convexHull(places.astype(np.float32)).reshape(-1, 2).astype(np.float64)
    return corners if len(places) > 2 else places


def draw_response(sheet: Sheet, plot: Plot, part: Part) -> None:
    """Draw relative light against code, both logarithmic, beside light in proportion to code."""
    low, decades = np.log10(_LEAST_LIGHT), -np.log10(_LEAST_LIGHT)

    def at(code: float, light: float) -> tuple[float, float]:
        across = np.log10(code) / np.log10(255.0)
        up = (np.log10(max(light, _LEAST_LIGHT)) - low) / decades
        return plot.x + float(across) * plot.width_px, plot.y + float(1 - up) * plot.height_px

    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted, align="centre")
    right = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted, align="right")
    for code in (1, 2, 4, 8, 16, 32, 64, 128, 255):
        x, _ = at(code, 1)
        sheet.line([(x, plot.y), (x, plot.y + plot.height_px)], GRID, 1)
        sheet.text(x, plot.y + plot.height_px + 14, f"{code}", quiet)
    for light, text in (
        (1, "100 %"),
        (0.1, "10 %"),
        (0.01, "1 %"),
        (1e-3, "0.1 %"),
        (1e-4, "0.01 %"),
    ):
        _, y = at(1, light)
        sheet.line([(plot.x, y), (plot.x + plot.width_px, y)], GRID, 1)
        sheet.text(plot.x - 8, y, text, right)
    sheet.text(
        plot.x + plot.width_px / 2,
        plot.y + plot.height_px + 36,
        "code",
        Lettering(bold=True, align="centre"),
    )
    sheet.text(plot.x - 8, plot.y - 22, "light", Lettering(bold=True, align="right"))
    dashed(sheet, [at(1, 1 / 255), at(255, 1)], LINEAR)
    lit = [code for code in range(1, 256) if part.response[code] > 0]
    points = [at(code, part.response[code]) for code in lit]
    sheet.line(points, sheet.theme.accent, 2)
    for code, (x, y) in zip(lit, points, strict=True):
        if code <= 24:  # the steps themselves, where they lie apart
            sheet.dot(x, y, 3.2, sheet.theme.accent)
    dark = [code for code in range(1, 256) if part.response[code] == 0]
    for code in dark:
        sheet.dot(*at(code, 0.0), 5, sheet.theme.accent, 1)
    if dark:
        x, y = at(dark[-1], 0.0)
        sheet.text(x + 12, y - 12, "no light", Lettering(size_px=SMALL_PX, halo=_WHITE))
    sheet.frame(plot.x, plot.y, plot.width_px, plot.height_px, LOCUS)


def dashed(sheet: Sheet, points: list[tuple[float, float]], colour: Rgb) -> None:
    """Draw a dashed line through points [px]."""
    for start, end in pairwise(np.array(points)):
        count = max(1, round(float(np.hypot(*(end - start))) / 11))
        for i in range(count):
            a, b = (start + (end - start) * (i + share) / count for share in (0.0, 0.6))
            sheet.line([(float(a[0]), float(a[1])), (float(b[0]), float(b[1]))], colour, 2)


def _tinted(sheet: Sheet, plot: Plot, corners: Array) -> NDArray[np.uint8]:
    """Return the plot's ground with the gamut in pale colours, as a screen can show them."""
    ys, xs = np.mgrid[0 : plot.height_px, 0 : plot.width_px]
    u = _U_LEAST + (xs + 0.5) / plot.width_px * (_U_MOST - _U_LEAST)
    v = (plot.height_px - ys - 0.5) / plot.height_px * _V_MOST
    # CIE 15:2018, 8.1, turned round: x = 9u′/(6u′ − 16v′ + 12), y = 4v′/(6u′ − 16v′ + 12).
    scale = 6 * u - 16 * v + 12
    xyz = xyy_to_xyz(np.stack([9 * u / scale, 4 * v / scale, np.ones_like(u)], axis=-1))
    linear = np.clip(xyz @ np.linalg.inv(SRGB_TO_XYZ).T, 0, None)
    linear /= linear.max(axis=-1, keepdims=True)
    shown = 255 * (0.42 * srgb_encode(linear) + 0.58)
    inside = _inside(corners, u, v)[..., None]
    return np.where(inside, np.rint(shown), np.array(sheet.theme.paper)).astype(np.uint8)


def _inside(corners: Array, u: Array, v: Array) -> NDArray[np.bool_]:
    sides = []
    for (u0, v0), (u1, v1) in pairwise((*corners, corners[0])):
        sides.append((u1 - u0) * (v - v0) - (v1 - v0) * (u - u0))
    cross = np.stack(sides)
    return np.asarray((cross >= 0).all(axis=0) | (cross <= 0).all(axis=0), bool)


def _diagram_grid(sheet: Sheet, plot: Plot) -> None:
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted, align="centre")
    bottom = plot.y + plot.height_px
    for i in range(7):
        x = plot.x + (i / 10 - _U_LEAST) / (_U_MOST - _U_LEAST) * plot.width_px
        y = bottom - i / 10 / _V_MOST * plot.height_px
        sheet.text(x, bottom + 14, f"{i / 10:.1f}", quiet)
        sheet.line([(x, plot.y), (x, bottom)], GRID, 1)
        if i:
            sheet.line([(plot.x, y), (plot.x + plot.width_px, y)], GRID, 1)
            sheet.text(plot.x - 18, y, f"{i / 10:.1f}", quiet)
    looks = Lettering(bold=True, align="centre")
    sheet.text(plot.x + plot.width_px / 2, bottom + 36, "u′", looks)
    sheet.text(plot.x - 18, plot.y - 22, "v′", looks)


def _mark_channel(sheet: Sheet, place: tuple[float, float], channel: str) -> None:
    ink = INK.get(channel)
    sheet.dot(*place, 6, sheet.theme.ink)
    sheet.dot(*place, 4.2, _WHITE if ink is None else ink)
    _near(sheet, place, channel, Lettering(bold=True, align="centre", halo=_WHITE))


def _near(sheet: Sheet, place: tuple[float, float], text: str, looks: Lettering) -> None:
    aside = sheet.measure(0, 0, text, looks).x1 + 12
    for dx, dy in ((aside, 0), (0, 18), (-aside, 0), (0, -18), (aside, 14), (-aside, -14)):
        if sheet.is_free(sheet.measure(place[0] + dx, place[1] + dy, text, looks)):
            sheet.text(place[0] + dx, place[1] + dy, text, looks)
            return


def _label_locus(sheet: Sheet, at: Callable[[Array], tuple[float, float]], observer: str) -> None:
    quiet = Lettering(size_px=SMALL_PX, colour=LOCUS, align="centre", halo=_WHITE)
    middle = np.array([0.2, 0.42])
    places = xyz_to_uv_prime(locus_xyz(np.array(_LABELLED_NM, float), observer))
    for wavelength_nm, uv in zip(_LABELLED_NM, places, strict=True):
        out = (uv - middle) / np.hypot(*(uv - middle))
        x, y = at(uv)
        sheet.line([(x, y), (x + 5 * out[0], y - 5 * out[1])], LOCUS, 1)
        text = f"{wavelength_nm}"
        box = sheet.measure(x + 20 * out[0], y - 14 * out[1], text, quiet)
        if sheet.is_free(box):
            sheet.text(x + 20 * out[0], y - 14 * out[1], text, quiet)
