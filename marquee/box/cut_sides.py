"""The box's four sides as flat parts, with the places where walls meet them."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from marquee.box.cut_runs import SAME_MM
from marquee.box.cut_strips import calm_place, piece_letter
from marquee.values import Box, Point
from marquee.values_cut import End, EndKind, Mark, Strip


@dataclass(frozen=True, slots=True)
class _Side:
    """A side: its name, its ends' places on the rim's inside, and its neighbours' names."""

    name: str
    start: Point
    end: Point
    before: str
    after: str
    over_mm: float  # how far it goes on beyond the inside at both ends


def box_sides(box: Box, strips: tuple[Strip, ...], most_mm: float) -> tuple[Strip, ...]:
    """Return the sides as strips, clockwise as seen from the front, their inner faces on the strips' right side.

    They stand around the box's inside, from the LED plane up to the diffuser. The upper and the lower one are longer by
    the sheet's thickness at both ends; the others stand between them. Longer ones than `most_mm` are divided.
    """
    w, h, t = box.width_mm, box.height_mm, box.wall_thickness_mm
    sides = (
        _Side("S-top", (0.0, 0.0), (w, 0.0), "S-left", "S-right", t),
        _Side("S-right", (w, 0.0), (w, h), "S-top", "S-bottom", 0.0),
        _Side("S-bottom", (w, h), (0.0, h), "S-right", "S-left", t),
        _Side("S-left", (0.0, h), (0.0, 0.0), "S-bottom", "S-top", 0.0),
    )
    return tuple(piece for side in sides for piece in _pieces(side, box, strips, most_mm))


def _pieces(side: _Side, box: Box, strips: tuple[Strip, ...], most_mm: float) -> list[Strip]:
    a, b = np.array(side.start), np.array(side.end)
    inside = float(np.hypot(*(b - a)))
    way = (b - a) / inside
    # The middle of the side's thickness lies outside of the rim.
    out = np.array([way[1], -way[0]]) * box.wall_thickness_mm / 2
    length = inside + 2 * side.over_mm
    marks = [(at + side.over_mm, part) for at, part in _met(side, strips)]
    cuts = _cuts(length, most_mm, [at for at, _ in marks])
    edges = [0.0, *cuts, length]
    names = [side.name + (f"-{piece_letter(k)}" if cuts else "") for k in range(len(edges) - 1)]
    pieces = []
    for k, (low, high) in enumerate(itertools.pairwise(edges)):
        ends = [a + out + way * (place - side.over_mm) for place in (low, high)]
        pieces.append(
            Strip(
                part=names[k],
                walls=(),
                path_mm=tuple((float(x), float(y)) for x, y in ends),
                run_mm=high - low,
                folds_mm=0.0,
                length_mm=high - low,
                height_mm=box.depth_mm,
                start=_end(side.before if k == 0 else "", names, k - 1),
                end=_end(side.after if k == len(names) - 1 else "", names, k + 1),
                folds=(),
                slots=(),
                notches=(),
                outline_mm=(
                    (0.0, 0.0),
                    (high - low, 0.0),
                    (high - low, box.depth_mm),
                    (0.0, box.depth_mm),
                ),
                marks=tuple(Mark(at_mm=at - low, part=p) for at, p in marks if low <= at < high),
            )
        )
    return pieces


def _end(corner: str, names: list[str], neighbour: int) -> End:
    kind: EndKind = "butt" if corner else "in-line"
    return End(kind=kind, meets=corner or names[neighbour])


def _met(side: _Side, strips: tuple[Strip, ...]) -> list[tuple[float, str]]:
    """Return (place from the side's start, part) of the strips that end at the rim there."""
    a, b = np.array(side.start), np.array(side.end)
    way = (b - a) / float(np.hypot(*(b - a)))
    found = []
    for strip in strips:
        for end, place in ((strip.start, strip.path_mm[0]), (strip.end, strip.path_mm[-1])):
            off = np.array(place) - a
            if end.kind == "rim" and abs(float(off @ np.array([-way[1], way[0]]))) < SAME_MM:
                found.append((float(off @ way), strip.part))
    return sorted(found)


def _cuts(length_mm: float, most_mm: float, busy: list[float]) -> list[float]:
    count = int(np.ceil(length_mm / most_mm - 1e-9))
    return [
        calm_place(length_mm * i / count, length_mm / count, busy, most_mm)
        for i in range(1, count)
    ]
