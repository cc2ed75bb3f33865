"""LEDs off the rows, in cells so narrow that the face's rows light them unevenly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.board import spread_in
from marquee.box.chambers import Chambers
from marquee.box.ground import Floats
from marquee.box.quick_light import QuickLight, Singles

# Cells whose zone is less even than this by the estimate are tried; singles take the rows' place where that makes the
# zone more even by so much (judgement: each single is cut off, turned and wired by hand).
_EVEN_ENOUGH, _LEAST_GAIN = 0.7, 0.08
_MOST_SINGLES = 24
# Rows' LEDs are few below this share of one for each pitch²; they also give way to so much more light (judgement).
_FEW, _BRIGHTER = 0.5, 1.4
# Straight pieces tried in a cell: places across and shifts along.
_LINES, _PHASES = 7, 4
# Places are moved by less and less while that evens the light out [mm].
_STEPS_MM = (4.0, 2.0, 1.0)
_MOST_ROUNDS = 4
_AROUND = np.stack([np.cos(np.arange(8) * np.pi / 4), np.sin(np.arange(8) * np.pi / 4)], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loose:
    """LEDs of one cell off the rows, and its zone's estimated evenness with rows and with them.

    `straight` if they are one piece of strip along the rows' direction, else they are cut off one by one.
    """

    cell: int
    xy_mm: Floats
    straight: bool
    rows_even: float
    even: float


def loose_leds(
    chambers: Chambers,
    quick: QuickLight,
    pitch_mm: float,
    placed: tuple[Floats, NDArray[np.intp], Floats],
) -> list[Loose]:
    """Return LEDs off the rows for the cells they light more evenly than the rows' do.

    A cell is asked if it is narrower than the pitch on average (twice its area over its outline), and its zone uneven or
    the rows' LEDs in it few, which would dim all zones where they keep their mutual lightness. It gets a straight piece
    of strip of its own, or singles if those are clearly more even: spread evenly, one for each pitch² that needs light,
    then moved while the cell gains.

    Parameters
    ----------
    chambers : Chambers
    quick : QuickLight
    pitch_mm : float
    placed : (n, 2), (n,), (2,)
        The rows' LEDs, their cells, and the rows' direction.
    """
    xy, cell, way = placed
    light = np.zeros(quick.count, np.float32)
    for k, asked in quick.cells.items():
        own = xy[cell == k]
        if len(own):
            light[asked.first : asked.first + len(asked.points)] = quick.lux(k, own).sum(axis=0)
    found = []
    for k, asked in quick.cells.items():
        shape = chambers.shapes[k]
        if 2 * shape.area / shape.length >= pitch_mm:
            continue
        at = int(np.searchsorted(quick.zones, asked.zone))
        before = float(quick.evenness(light)[at])
        few = (cell == k).sum() < _FEW * shape.area / pitch_mm**2
        if before >= _EVEN_ENOUGH and not few:
            continue
        here = slice(asked.first, asked.first + len(asked.points))
        best: Loose | None = None
        for straight in (True, False):
            places = (
                _straight(chambers, quick, k, (pitch_mm, way))
                if straight
                else _singles(chambers, quick, k, pitch_mm)
            )
            if places is None:
                continue
            tried = light.copy()
            tried[here] = quick.lux(k, places).sum(axis=0)
            after = float(quick.evenness(tried)[at])
            brighter = few and tried[here].mean() > _BRIGHTER * light[here].mean()
            gains = after >= (before if best is None else best.even) + _LEAST_GAIN
            if gains or (best is None and brighter and after >= before - _LEAST_GAIN / 4):
                best = Loose(cell=k, xy_mm=places, straight=straight, rows_even=before, even=after)
        if best is not None:
            light[here] = quick.lux(k, best.xy_mm).sum(axis=0)
            found.append(best)
    return found


def _straight(
    chambers: Chambers, quick: QuickLight, cell: int, strip: tuple[float, Floats]
) -> Floats | None:
    """Return the most even straight piece of strip in a cell along the rows' direction, None if two LEDs do not fit."""
    import shapely

    pitch_mm, way = strip
    x0, y0, x1, y1 = shapely.bounds(chambers.shapes[cell])
    low, high = ((y0, y1), (x0, x1)) if way[1] else ((x0, x1), (y0, y1))
    best, most = None, -1.0
    for across in np.linspace(*high, _LINES + 2)[1:-1]:
        for shift in np.arange(_PHASES) / _PHASES * pitch_mm:
            along = np.arange(low[0] + shift, low[1], pitch_mm)
            line = np.stack([along, np.full(len(along), across)], axis=1)
            line = line[:, ::-1] if way[1] else line
            fits = np.flatnonzero(chambers.cell_for(line, chambers.holding(line)) == cell)
            if len(fits) < 2 or np.ptp(fits) != len(fits) - 1:
                continue
            even = float(_even(quick.lux(cell, line[fits]).sum(axis=0)))
            if even > most:
                best, most = line[fits], even
    return best


def _singles(chambers: Chambers, quick: QuickLight, cell: int, pitch_mm: float) -> Floats | None:
    spread = spread_in(chambers, cell, pitch_mm)
    if not 2 <= len(spread) <= _MOST_SINGLES:
        return None
    return _moved(chambers, quick, cell, spread)


def _moved(chambers: Chambers, quick: QuickLight, cell: int, places: Floats) -> Floats:
    """Return the places after moves that make the cell's light more even."""
    places, each = places.copy(), quick.lux(cell, places)
    for step in _STEPS_MM:
        for _ in range(_MOST_ROUNDS):
            changed = False
            for i in range(len(places)):
                there = places[i] + step * _AROUND
                there = there[chambers.holding(there) == cell]
                if not len(there):
                    continue
                lux = quick.lux(cell, there)
                all_lux = each.sum(axis=0)
                tried = _even(all_lux - each[i] + lux)
                best = int(np.argmax(tried))
                if tried[best] > _even(all_lux) + 0.002:
                    places[i], each[i] = there[best], lux[best]
                    changed = True
            if not changed:
                break
    return places


def _even(lux: Singles) -> Singles:
    return np.asarray(lux.min(axis=-1) / np.maximum(lux.max(axis=-1), 1e-9), np.float32)
