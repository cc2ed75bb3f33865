"""LEDs off the rows, in cells so narrow that the face's rows light them unevenly or hardly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.board import spread_in
from marquee.box.chambers import Chambers
from marquee.box.ground import Floats
from marquee.box.quick_light import QuickLight, Singles

# A zone is asked if it is less even than this by the estimate, or if a cell of it has few LEDs; light counts for more up
# to this share of the brightest. A cell changes for a gain of so much of it, less where it is dark with the rows
# (judgement: each single is cut off, turned and wired by hand); of ways nearly as good the one with the fewest LEDs is
# taken.
_EVEN_ENOUGH, _NEARLY = 0.7, 0.03
_LEAST_GAIN, _DARK, _LEAST_GAIN_DARK = 0.2, 0.3, 0.08
# Rows' LEDs are few below this share of one for each pitch²; they also give way to so much more light, and twice the
# light is worth so much evenness (judgement: a dim cell dims all zones where they keep their mutual lightness).
_FEW, _BRIGHTER, _TWICE_WORTH = 0.5, 1.4, 0.05
_MOST_SINGLES = 48
# Straight pieces tried in a cell: places across and shifts along.
_LINES, _PHASES = 7, 4
# Places are moved by less and less while that evens the light out [mm].
_STEPS_MM = (4.0, 2.0, 1.0)
_MOST_ROUNDS = 4
_AROUND = np.stack([np.cos(np.arange(8) * np.pi / 4), np.sin(np.arange(8) * np.pi / 4)], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loose:
    """LEDs of one cell off the rows, and darkest over brightest in that cell with rows and with them (estimates).

    `straight` if they are one piece of strip along the rows' direction, else they are cut off one by one. `brighter` is
    how many times the rows' light they give, infinite where those give none.
    """

    cell: int
    xy_mm: Floats
    straight: bool
    rows_even: float
    even: float
    brighter: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Way:
    """One way to light a cell: `places` off the rows, None for the rows' LEDs, and the light it gives its apertures."""

    places: Floats | None
    straight: bool
    low: float
    high: float
    mean: float

    @property
    def count(self) -> int:
        return 0 if self.places is None else len(self.places)


def loose_leds(
    chambers: Chambers,
    quick: QuickLight,
    pitch_mm: float,
    placed: tuple[Floats, NDArray[np.intp], Floats],
    *,
    singles: bool = True,
) -> list[Loose]:
    """Return LEDs off the rows for the cells they light better than the rows' do.

    A cell is asked if it is narrower than the pitch on average (twice its area over its outline), and its zone uneven or
    the rows' LEDs in it few. It may get a straight piece of strip of its own, or singles: one for each pitch² that needs
    light, or one for each pitch along it, spread evenly, then moved while the cell gains. All cells of a zone are
    decided on together, since a zone is as even as its darkest cell is beside its brightest.

    Parameters
    ----------
    chambers : Chambers
    quick : QuickLight
    pitch_mm : float
    placed : (n, 2), (n,), (2,)
        The rows' LEDs, their cells, and the rows' direction.
    singles : bool
        Whether LEDs may be cut off one by one, not only pieces of strip laid.
    """
    xy, cell, way = placed
    members: dict[int, list[int]] = {}
    for k, asked in quick.cells.items():
        members.setdefault(asked.zone, []).append(k)
    found = []
    for cells in members.values():
        rows = {k: _by_rows(quick, k, xy[cell == k]) for k in cells}
        narrow = [k for k in cells if _width_mm(chambers, k) < pitch_mm]
        few = {
            k
            for k in narrow
            if rows_few(int((cell == k).sum()), chambers.shapes[k].area, pitch_mm)
        }
        low, high = min(r.low for r in rows.values()), max(r.high for r in rows.values())
        if not narrow or (low >= _EVEN_ENOUGH * high and not few):
            continue
        ways = {k: [rows[k]] for k in cells}
        for k in narrow:
            ways[k] += _off_rows(chambers, quick, k, (pitch_mm, way), singles=singles)
        weight = np.array([len(quick.cells[k].points) for k in cells], float)
        chosen = _together(
            [ways[k] for k in cells], weight / weight.sum(), [k in few for k in cells]
        )
        found += [
            _told(k, rows[k], one) for k, one in zip(cells, chosen, strict=True) if one.count
        ]
    return sorted(found, key=lambda one: one.cell)


def rows_few(count: int, area_mm2: float, pitch_mm: float) -> bool:
    """Return whether rows left a cell of this area with few LEDs."""
    return count < _FEW * area_mm2 / pitch_mm**2


def _together(ways: list[list[_Way]], weight: Floats, few: Sequence[bool]) -> list[_Way]:
    """Return a way for each cell of a zone: that brightest light beside which their darkest together are worth most."""
    best, most = [w[0] for w in ways], -np.inf
    rows_mean = sum(w[0].mean * share for w, share in zip(ways, weight, strict=True))
    rows_high = max(w[0].high for w in ways)
    for high in [rows_high, *sorted({way.high for several in ways for way in several})]:
        allowed = [[w for w in several if w.high <= high * (1 + 1e-6)] for several in ways]
        if high <= 0 or not all(allowed):
            continue
        chosen = [_pick(a, w[0], high, f) for a, w, f in zip(allowed, ways, few, strict=True)]
        low = np.array([one.low for one in chosen]) / high
        changed = np.array([one.count > 0 for one in chosen])
        worth = float((np.minimum(low, _EVEN_ENOUGH) * weight).sum())
        worth -= _LEAST_GAIN_DARK / 2 * float(weight[changed].sum())
        if any(few):
            mean = sum(one.mean * share for one, share in zip(chosen, weight, strict=True))
            twice = np.log2(max(mean, 1e-9) / max(rows_mean, 1e-9))
            worth += _TWICE_WORTH * float(np.clip(twice, -1, 1))
        if worth > most + 1e-9:
            best, most = chosen, worth
    return best


def _pick(allowed: list[_Way], rows: _Way, high: float, few: bool) -> _Way:
    """Return a cell's way where the zone's brightest light is `high`."""
    best = max(w.low for w in allowed)
    if rows.high <= high * (1 + 1e-6):
        gain = _LEAST_GAIN_DARK if rows.low < _DARK * high else _LEAST_GAIN
        enough = rows.low >= _EVEN_ENOUGH * high or best < rows.low + gain * high
        brighter = [
            w
            for w in allowed
            if w.mean > _BRIGHTER * rows.mean
            and w.low * rows.high >= (rows.low - 0.02 * rows.high) * w.high
        ]
        if enough and not (few and brighter):
            return rows
        if enough:
            allowed, best = brighter, max(w.low for w in brighter)
    near = [w for w in allowed if w.low >= best - _NEARLY * high]
    return min(near, key=lambda w: (w.count, not w.straight, -w.low))


def _told(cell: int, rows: _Way, chosen: _Way) -> Loose:
    assert chosen.places is not None  # noqa: S101 -- ways without places are the rows'
    return Loose(
        cell=cell,
        xy_mm=chosen.places,
        straight=chosen.straight,
        rows_even=rows.low / rows.high if rows.high > 0 else 0.0,
        even=chosen.low / chosen.high,
        brighter=chosen.mean / rows.mean if rows.mean > 0 else np.inf,
    )


def _width_mm(chambers: Chambers, cell: int) -> float:
    """Return a cell's mean width: of a long channel, twice its area over its outline."""
    shape = chambers.shapes[cell]
    return float(2 * shape.area / shape.length)


def _by_rows(quick: QuickLight, cell: int, own: Floats) -> _Way:
    if not len(own):
        return _Way(places=None, straight=False, low=0.0, high=0.0, mean=0.0)
    lux = quick.lux(cell, own).sum(axis=0)
    return _Way(
        places=None,
        straight=False,
        low=float(lux.min()),
        high=float(lux.max()),
        mean=float(lux.mean()),
    )


def _off_rows(
    chambers: Chambers,
    quick: QuickLight,
    cell: int,
    strip: tuple[float, Floats],
    *,
    singles: bool,
) -> Iterator[_Way]:
    pitch_mm, _ = strip
    tried: set[int] = set()
    straight = _straight(chambers, quick, cell, strip)
    several = [] if straight is None else [(straight, True)]
    closer_mm = float(np.sqrt(pitch_mm * _width_mm(chambers, cell)))
    for spacing in (pitch_mm, closer_mm) if singles else ():
        spread = _kept_clear(spread_in(chambers, cell, spacing), _clear_mm(chambers))
        if 2 <= len(spread) <= _MOST_SINGLES and len(spread) not in tried:
            tried.add(len(spread))
            several.append((_moved(chambers, quick, cell, spread), False))
    for places, is_straight in several:
        lux = quick.lux(cell, places).sum(axis=0)
        yield _Way(
            places=places,
            straight=is_straight,
            low=float(lux.min()),
            high=float(lux.max()),
            mean=float(lux.mean()),
        )


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


def _moved(chambers: Chambers, quick: QuickLight, cell: int, places: Floats) -> Floats:
    """Return the places after moves that make the cell's light more even; packages keep clear of each other, askew too."""
    places, each = places.copy(), quick.lux(cell, places)
    for step in _STEPS_MM:
        for _ in range(_MOST_ROUNDS):
            changed = False
            for i in range(len(places)):
                there = places[i] + step * _AROUND
                there = there[chambers.holding(there) == cell]
                others = np.delete(places, i, axis=0)
                off = np.hypot(*(there[:, None] - others).transpose(2, 0, 1))
                there = there[off.min(axis=1, initial=np.inf) >= _clear_mm(chambers)]
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


def _clear_mm(chambers: Chambers) -> float:
    """Return how far apart packages keep clear of each other however they are turned: their diagonal."""
    return float(2 * chambers.half_mm * np.sqrt(2))


def _kept_clear(places: Floats, clear_mm: float) -> Floats:
    """Return the places without those that lie too near to one kept before."""
    kept: list[Floats] = []
    for place in places:
        if all(np.hypot(*(place - other)) >= clear_mm for other in kept):
            kept.append(place)
    return np.array(kept).reshape(-1, 2)


def _even(lux: Singles) -> Singles:
    return np.asarray(lux.min(axis=-1) / np.maximum(lux.max(axis=-1), 1e-9), np.float32)
