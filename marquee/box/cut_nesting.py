"""Strips laid out on sheets, and the cut lines with the kerf in the waste."""

from __future__ import annotations

import math
from dataclasses import dataclass

from marquee.project_cut import CutSettings
from marquee.values import Path_mm
from marquee.values_cut import Placed, Sheet, Strip


@dataclass(slots=True, eq=False)
class _Row:
    sheet: int
    y_mm: float
    height_mm: float
    used_mm: float


def nest(strips: tuple[Strip, ...], settings: CutSettings) -> tuple[Sheet, ...]:
    """Return sheets with every strip on one of them: rows filled with the highest and longest first, first row that fits.

    Rows run along the sheet's longer side; on the last sheets across it, where that saves a sheet. A sheet grows beyond
    the stated size only for a strip that fits on none.
    """
    if not strips:
        return ()
    border = settings.sheet_margin_mm + kerf_in_walls_mm(settings) / 2
    across, up = sheet_mm(settings)
    width = max(across, max(s.length_mm for s in strips) + 2 * border)
    height = max(up, max(s.height_mm for s in strips) + 2 * border)
    order = sorted(
        range(len(strips)), key=lambda k: (-strips[k].height_mm, -strips[k].length_mm, k)
    )
    along = _laid(strips, order, (width, height), settings)
    best = along
    for kept in range(len(along) - 1, -1, -1):
        left = {placed.strip for sheet in along[kept:] for placed in sheet.parts}
        if max(strips[k].length_mm for k in left) > height - 2 * border + 1e-9:
            break
        rest = [k for k in order if k in left]
        tried = along[:kept] + _laid(strips, rest, (height, width), settings)
        if len(tried) < len(best):
            best = tried
    return tuple(best)


def _laid(
    strips: tuple[Strip, ...],
    order: list[int],
    size_mm: tuple[float, float],
    settings: CutSettings,
) -> list[Sheet]:
    """Return sheets of a size with the strips on them, in rows along its first side, taken in order."""
    kerf = kerf_in_walls_mm(settings)
    border, gap = settings.sheet_margin_mm + kerf / 2, settings.part_gap_mm + kerf
    width, height = size_mm
    rows: list[_Row] = []
    placed: list[list[Placed]] = []
    for k in order:
        strip = strips[k]
        row = _row_for(strip, rows, width, height, border, gap)
        while len(placed) <= row.sheet:
            placed.append([])
        x = row.used_mm
        row.used_mm += strip.length_mm + gap
        cut = offset(strip.outline_mm, kerf / 2)
        moved = tuple((px + x, py + row.y_mm) for px, py in cut)
        placed[row.sheet].append(Placed(strip=k, x_mm=x, y_mm=row.y_mm, cut_mm=moved))
    return [Sheet(width_mm=width, height_mm=height, parts=tuple(p)) for p in placed]


def _row_for(
    strip: Strip, rows: list[_Row], width: float, height: float, border: float, gap: float
) -> _Row:
    for row in rows:
        fits_high = strip.height_mm <= row.height_mm + 1e-9
        if fits_high and row.used_mm + strip.length_mm <= width - border + 1e-9:
            return row
    sheet, y = 0, border
    if rows:
        last = rows[-1]
        sheet, y = last.sheet, last.y_mm + last.height_mm + gap
        if y + strip.height_mm > height - border + 1e-9:
            sheet, y = last.sheet + 1, border
    rows.append(_Row(sheet, y, strip.height_mm, border))
    return rows[-1]


def sheet_mm(settings: CutSettings) -> tuple[float, float]:
    """Return the stated sheet's longer and shorter side [mm]."""
    sides = (settings.sheet_width_mm, settings.sheet_height_mm)
    return max(sides), min(sides)


def kerf_in_walls_mm(settings: CutSettings) -> float:
    """Return the kerf that wall cut lines make up for [mm]; 0 where none is wanted."""
    return 0.0 if settings.compensate == "none" else settings.kerf_mm


def most_length_mm(settings: CutSettings) -> float:
    """Return the longest part that fits on a sheet, at least 20 mm."""
    free = sheet_mm(settings)[0] - 2 * settings.sheet_margin_mm - kerf_in_walls_mm(settings)
    return max(free, 20.0)


def offset(path: Path_mm, by_mm: float) -> Path_mm:
    """Return a closed path moved outwards (inwards where negative), corners kept sharp."""
    import shapely

    if math.isclose(by_mm, 0.0):
        return path
    moved = shapely.buffer(shapely.Polygon(path), by_mm, join_style="mitre", mitre_limit=5.0)
    if moved.is_empty:
        return ()
    largest = max(shapely.get_parts(moved), key=lambda p: p.area)
    ring = shapely.get_exterior_ring(shapely.normalize(largest))
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(ring)[::-1][:-1])
