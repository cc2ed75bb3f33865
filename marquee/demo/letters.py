"""The demo's shapes: capital letters from straight strokes and bowls, stars and the comet's tail, in mm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Points = tuple[tuple[float, float], ...]

# All in cap heights: thickness of a stroke, space between letters, width of the word space.
STROKE, GAP, WORD_SPACE = 0.2, 0.17, 0.34
_ROUND = 2.6  # exponent of the superellipse that O is: rounder than an ellipse at the shoulders


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A closed polygon, painted, or cut out of what was painted before it."""

    points: Points
    hole: bool = False


def word(
    text: str, top_left: tuple[float, float], width_mm: float, cap_mm: float
) -> list[Outline]:
    """Return the outlines of a word in capitals, its letters spread to fill a width.

    Parameters
    ----------
    text : str
        Letters B, H, L, O, R, W and spaces.
    top_left : (x, y)
        Of the first letter [mm].
    width_mm, cap_mm : float
        Of the whole word, and the letters' height [mm].
    """
    widths = [WORD_SPACE if c == " " else _LETTERS[c][0] for c in text]
    spare = width_mm / cap_mm - sum(widths) - GAP * (len(text) - 1)
    extra = spare / (len(text) - 1)  # the gaps take up what the letters leave
    x, outlines = 0.0, []
    for c, width in zip(text, widths, strict=True):
        if c != " ":
            outlines += [
                _placed(outline, x, top_left, cap_mm) for outline in _LETTERS[c][1](width)
            ]
        x += width + GAP + extra
    return outlines


def star(x_mm: float, y_mm: float, radius_mm: float) -> Outline:
    """Return a four-pointed star whose sides curve in towards the middle."""
    angle = np.linspace(0.0, 2 * np.pi, 240, endpoint=False)
    c, s = np.cos(angle), np.sin(angle)
    # A superellipse of exponent 0.7 is a star with drawn-in sides.
    x = x_mm + radius_mm * np.sign(c) * np.abs(c) ** (2 / 0.7)
    y = y_mm + radius_mm * np.sign(s) * np.abs(s) ** (2 / 0.7)
    return Outline(points=tuple(zip(x.tolist(), y.tolist(), strict=True)))


def tapered(left: float, right: float, y_mm: float, head: float, tip: float) -> Outline:
    """Return a long drop lying on its side: half circles of radius `head` and `tip`, joined."""
    turn = np.linspace(np.pi / 2, 3 * np.pi / 2, 181)
    xs = np.concatenate([left + head * np.cos(turn), right - tip * np.cos(turn)])
    ys = np.concatenate([y_mm + head * np.sin(turn), y_mm - tip * np.sin(turn)])
    return Outline(points=tuple(zip(xs.tolist(), ys.tolist(), strict=True)))


def _placed(outline: Outline, x: float, top_left: tuple[float, float], cap_mm: float) -> Outline:
    points = tuple(
        (top_left[0] + (x + px) * cap_mm, top_left[1] + py * cap_mm) for px, py in outline.points
    )
    return Outline(points=points, hole=outline.hole)


def _box(x0: float, y0: float, x1: float, y1: float) -> Outline:
    return Outline(points=((x0, y0), (x1, y0), (x1, y1), (x0, y1)))


def _bowl(width: float, top: float, bottom: float, *, hole: bool) -> Outline:
    """Return a D: straight on the left, half a circle (or as near as its width allows) on the right."""
    inset = STROKE if hole else 0.0
    x0, x1, y0, y1 = inset, width - inset, top + inset, bottom - inset
    radius_y = (y1 - y0) / 2
    radius_x = min(radius_y * 1.05, x1 - x0)
    turn = np.linspace(-np.pi / 2, np.pi / 2, 181)
    xs = x1 - radius_x + radius_x * np.cos(turn)
    ys = (y0 + y1) / 2 + radius_y * np.sin(turn)
    arc = tuple(zip(xs.tolist(), ys.tolist(), strict=True))
    return Outline(points=((x0, y0), *arc, (x0, y1)), hole=hole)


def _b(width: float) -> list[Outline]:
    middle = 0.5 + STROKE / 2 - 0.02  # the upper bowl is a little smaller, as the eye wants it
    upper = width * 0.93
    return [
        _bowl(upper, 0, middle, hole=False),
        _bowl(width, middle - STROKE, 1, hole=False),
        _bowl(upper, 0, middle, hole=True),
        _bowl(width, middle - STROKE, 1, hole=True),
    ]


def _h(width: float) -> list[Outline]:
    bar = 0.5 - STROKE / 2 - 0.01
    return [
        _box(0, 0, STROKE, 1),
        _box(width - STROKE, 0, width, 1),
        _box(0, bar, width, bar + STROKE * 0.94),
    ]


def _l(width: float) -> list[Outline]:
    return [_box(0, 0, STROKE, 1), _box(0, 1 - STROKE * 0.94, width, 1)]


def _o(width: float) -> list[Outline]:
    # Round letters overshoot the cap line a little, as type does.
    return [
        _superellipse(width / 2, width / 2, 0.515, hole=False),
        _superellipse(width / 2, width / 2 - STROKE * 1.03, 0.515 - STROKE * 0.95, hole=True),
    ]


def _superellipse(centre_x: float, radius_x: float, radius_y: float, *, hole: bool) -> Outline:
    angle = np.linspace(0.0, 2 * np.pi, 720, endpoint=False)
    c, s = np.cos(angle), np.sin(angle)
    xs = centre_x + radius_x * np.sign(c) * np.abs(c) ** (2 / _ROUND)
    ys = 0.5 + radius_y * np.sign(s) * np.abs(s) ** (2 / _ROUND)
    return Outline(points=tuple(zip(xs.tolist(), ys.tolist(), strict=True)), hole=hole)


def _r(width: float) -> list[Outline]:
    bottom, thick = 0.6, STROKE * 1.2
    knee = width * 0.40
    return [
        _bowl(width * 0.96, 0, bottom, hole=False),
        _bowl(width * 0.96, 0, bottom, hole=True),
        _box(0, 0, STROKE, 1),
        Outline(
            points=(
                (knee, bottom - STROKE / 2),
                (knee + thick, bottom - STROKE / 2),
                (width * 1.02, 1),
                (width * 1.02 - thick, 1),
            )
        ),
    ]


def _w(width: float) -> list[Outline]:
    thick = STROKE * 1.14
    step = (width - thick) / 4
    return [
        Outline(points=((top, 0), (top + thick, 0), (foot + thick, 1), (foot, 1)))
        for top, foot in (
            (0.0, step),
            (2 * step, step),
            (2 * step, 3 * step),
            (4 * step, 3 * step),
        )
    ]


# Width [cap heights] and drawing of each letter there is.
_LETTERS: dict[str, tuple[float, Callable[[float], list[Outline]]]] = {
    "B": (0.74, _b),
    "H": (0.77, _h),
    "L": (0.57, _l),
    "O": (0.93, _o),
    "R": (0.75, _r),
    "W": (1.24, _w),
}
