"""Strip: straight rows of LEDs at the strip's pitch, laid over the box and cut where they light nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from marquee.box.chambers import Chambers
from marquee.box.ground import Floats

# A dark stretch this long is cut out of the strip and bridged by a jumper, for less it stays
# (common practice, no source: a jumper is three wires with six joints).
_CUT_OUT_LEDS = 4
# Shifts tried when a cell gets no LED, in parts of the pitch and of the row spacing.
_ALONG_PARTS, _ACROSS_PARTS = 8, 9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """LEDs row by row: places, row numbers, which cell lights each (-1 none), and how far they were shifted."""

    xy_mm: Floats
    row: np.ndarray
    cell: np.ndarray
    on_wall: int
    spacing_mm: float
    shift_mm: tuple[float, float]


def lay_rows(chambers: Chambers, pitch_mm: float) -> Rows:
    """Return the rows of strip whose LEDs reach most cells, shifted no more than that takes.

    Rows run along the longer side of the face, spaced near the pitch, centred in the box; they are shifted where
    that lights cells the centred rows miss, or keeps whole stretches off walls.

    Parameters
    ----------
    chambers : Chambers
    pitch_mm : float
        LED spacing along the strip [mm].
    """
    best = _rows(chambers, pitch_mm, (0.0, 0.0))
    least = _badness(best, chambers)
    for shift in _shifts(chambers, pitch_mm, best.spacing_mm):
        rows = _rows(chambers, pitch_mm, shift)
        bad = _badness(rows, chambers)
        if bad < least:
            best, least = rows, bad
    return best


def _badness(rows: Rows, chambers: Chambers) -> tuple[int, float]:
    """Return the cells missed, then LEDs that light none; an LED is worth a shift of 1 mm across or 4 mm along."""
    missed = len(set(chambers.needy.tolist()) - set(rows.cell.tolist()))
    along, across = rows.shift_mm
    return missed, abs(across) + abs(along) / 4 - int((rows.cell >= 0).sum())


def _shifts(chambers: Chambers, pitch_mm: float, spacing_mm: float) -> list[tuple[float, float]]:
    """Return shifts along and across the rows, smallest first."""
    half_along, half_across = _ALONG_PARTS // 2, _ACROSS_PARTS // 2
    room = max(0.0, spacing_mm / 2 - chambers.half_mm)
    shifts = [
        (i / _ALONG_PARTS * pitch_mm, j / half_across * room)
        for i in range(-half_along, half_along)
        for j in range(-half_across, half_across + 1)
    ]
    return sorted(shifts, key=lambda s: (abs(s[0]) + abs(s[1]), s))


def _rows(chambers: Chambers, pitch_mm: float, shift: tuple[float, float]) -> Rows:
    upright = chambers.height_mm > chambers.width_mm
    along_mm, across_mm = (
        (chambers.height_mm, chambers.width_mm)
        if upright
        else (chambers.width_mm, chambers.height_mm)
    )
    count = max(1, round(across_mm / pitch_mm))
    spacing = across_mm / count
    across = (np.arange(count) + 0.5) * spacing + shift[1]
    places = _along(along_mm, pitch_mm, chambers.half_mm, shift[0])
    a, c = np.meshgrid(places, across)
    xy = np.stack([c.ravel(), a.ravel()] if upright else [a.ravel(), c.ravel()], axis=1)
    holding = chambers.holding(xy)
    return Rows(
        xy_mm=xy,
        row=np.repeat(np.arange(count), len(places)),
        cell=chambers.cell_for(xy, holding),
        on_wall=int((holding < 0).sum()),
        spacing_mm=spacing,
        shift_mm=shift,
    )


def _along(length_mm: float, pitch_mm: float, half_mm: float, shift_mm: float) -> Floats:
    """Return the LED places of a row: centred, then shifted, as many as fit between the rims."""
    middle = length_mm / 2 + shift_mm
    count = int(np.floor((length_mm - 2 * half_mm) / pitch_mm + 1e-9)) + 1
    first = middle - (count - 1) / 2 * pitch_mm
    places = first + pitch_mm * np.arange(-1, count + 1)
    return np.asarray(places[(places >= half_mm - 1e-9) & (places <= length_mm - half_mm + 1e-9)])


def cut_rows(rows: Rows) -> tuple[Floats, np.ndarray, np.ndarray]:
    """Return places, cells and run numbers in chain order: dark ends and long dark stretches cut away.

    Each row starts at the end nearer to where the row before it stopped, so that wires between them stay
    short and cross nothing.
    """
    order: list[np.ndarray] = []
    runs: list[int] = []
    run = 0
    last = np.zeros(2)
    for row in np.unique(rows.row):
        ids = np.flatnonzero(rows.row == row)
        pieces = _pieces(ids, rows.cell[ids] >= 0)
        if not pieces:
            continue
        ends = rows.xy_mm[[pieces[0][0], pieces[-1][-1]]]
        if np.hypot(*(ends[0] - last)) > np.hypot(*(ends[1] - last)):
            pieces = [piece[::-1] for piece in reversed(pieces)]
        last = rows.xy_mm[pieces[-1][-1]]
        for piece in pieces:
            order.append(piece)
            runs += [run] * len(piece)
            run += 1
    chosen = np.concatenate(order) if order else np.zeros(0, np.intp)
    return rows.xy_mm[chosen], rows.cell[chosen], np.array(runs, np.int64)


def _pieces(ids: np.ndarray, lit: np.ndarray) -> list[np.ndarray]:
    """Return the stretches of a row to keep."""
    on = np.flatnonzero(lit)
    if not len(on):
        return []
    breaks = np.flatnonzero(np.diff(on) > _CUT_OUT_LEDS) + 1
    return [ids[group[0] : group[-1] + 1] for group in np.split(on, breaks)]
