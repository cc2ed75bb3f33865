"""How a drawing is divided over pages of paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

# Short and long side of the sheets [mm]: ISO 216:2007, A4; ANSI/ASME Y14.1 size A (8.5 × 11 in).
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
# Left free at each edge, which printers cannot reach (common practice, no source); for the heading above the
# work, and for the check bar below it [mm].
EDGE_MM, HEAD_MM, FOOT_MM = 8.0, 20.0, 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """The part of the drawing on one page: grid name such as B3, and what it shows [mm]."""

    name: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tiling:
    """All pages of a drawing; `page_mm` is (width, height), the overlap that of neighbours."""

    page_mm: tuple[float, float]
    overlap_mm: float
    columns: int
    rows: int
    tiles: tuple[Tile, ...]


def tile_drawing(
    width_mm: float, height_mm: float, paper: Literal["A4", "Letter"], overlap_mm: float
) -> Tiling:
    """Return the pages that cover a drawing, upright or lying, whichever takes fewer (lying if the same)."""
    short, long = PAPERS_MM[paper]
    options = [
        _tiled(width_mm, height_mm, page, overlap_mm) for page in ((long, short), (short, long))
    ]
    return min(options, key=lambda t: len(t.tiles))


def _tiled(width: float, height: float, page: tuple[float, float], overlap: float) -> Tiling:
    free = (page[0] - 2 * EDGE_MM, page[1] - 2 * EDGE_MM - HEAD_MM - FOOT_MM)
    columns, rows = (
        _count(size, room, overlap) for size, room in ((width, free[0]), (height, free[1]))
    )
    tiles = []
    for row in range(rows):
        for column in range(columns):
            x, y = column * (free[0] - overlap), row * (free[1] - overlap)
            tiles.append(
                Tile(
                    name=f"{_letters(row)}{column + 1}",
                    x_mm=x,
                    y_mm=y,
                    width_mm=min(free[0], width - x),
                    height_mm=min(free[1], height - y),
                )
            )
    return Tiling(page_mm=page, overlap_mm=overlap, columns=columns, rows=rows, tiles=tuple(tiles))


def _count(size: float, room: float, overlap: float) -> int:
    if size <= room + 1e-9:
        return 1
    return math.ceil((size - overlap) / (room - overlap) - 1e-9)


def _letters(row: int) -> str:
    return ("" if row < 26 else _letters(row // 26 - 1)) + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[row % 26]
