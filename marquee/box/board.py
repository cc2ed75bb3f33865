"""Board: free LED places in each cell, spread evenly, and a short chain through them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from marquee.box.chambers import Chambers
from marquee.box.ground import Floats

if TYPE_CHECKING:
    import shapely

_MOST_SAMPLES = 6000
_LLOYD_ROUNDS = 40
_MOST_SWEEPS = 60


def spread_leds(
    chambers: Chambers, pitch_mm: float, group: int = 1
) -> tuple[Floats, NDArray[np.intp]]:
    """Return places and cells of free LEDs: one for each pitch² of the part of a cell that needs light.

    Places are a centroidal Voronoi tessellation of that part (Lloyd's algorithm, IEEE Trans. Information
    Theory 28(2), 1982), so that every LED has the same area to light; each stays clear of walls.

    Parameters
    ----------
    chambers : Chambers
    pitch_mm : float
        Mean spacing [mm].
    group : int
        LEDs that share an address: cells get whole groups, where that many fit.
    """
    places: list[Floats] = []
    cells: list[NDArray[np.intp]] = []
    for cell in chambers.needy.tolist():
        found = spread_in(chambers, cell, pitch_mm)
        if len(found) % group:
            whole = -(-len(found) // group) * group
            closer = spread_in(chambers, cell, pitch_mm * float(np.sqrt(len(found) / whole)))
            found = closer if len(closer) >= whole else found
        places.append(found)
        cells.append(np.full(len(found), cell, np.intp))
    if not places:
        return np.zeros((0, 2)), np.zeros(0, np.intp)
    return np.vstack(places), np.concatenate(cells)


def spread_in(chambers: Chambers, cell: int, pitch_mm: float) -> Floats:
    """Return places of free LEDs in one cell, as `spread_leds`."""
    import shapely

    shape = chambers.shapes[cell]
    step = max(0.5, min(pitch_mm / 8, 2.0), float(np.sqrt(shape.area / _MOST_SAMPLES)))
    x0, y0, x1, y1 = shapely.bounds(shape)
    x, y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    samples = _inside(shape, np.stack([x.ravel(), y.ravel()], axis=1))
    # Only what lies within half a depth of apertures needs light from above.
    samples = samples[chambers.off_mm(cell, samples) <= chambers.reach_mm / 2]
    fits = samples[chambers.holding(samples) == cell] if len(samples) else samples
    if not len(fits):
        return np.zeros((0, 2))
    count = min(max(1, round(len(samples) * step**2 / pitch_mm**2)), len(fits))
    placed = _lloyd(samples, fits, _far_apart(fits, count), step)
    return np.asarray(placed[chambers.holding(placed) == cell])


def _inside(shape: shapely.Geometry, places: Floats) -> Floats:
    import shapely

    held = np.asarray(shapely.contains_xy(shape, places[:, 0], places[:, 1]), bool)
    return np.asarray(places[held])


def _far_apart(places: Floats, count: int) -> Floats:
    """Return places each as far as can be from those before it, starting nearest the middle."""
    first = int(np.argmin(np.abs(places - places.mean(axis=0)).sum(axis=1)))
    chosen = [first]
    off = np.hypot(*(places - places[first]).T)
    for _ in range(count - 1):
        chosen.append(int(np.argmax(off)))
        off = np.minimum(off, np.hypot(*(places - places[chosen[-1]]).T))
    return places[chosen]


def _lloyd(samples: Floats, fits: Floats, seeds: Floats, step_mm: float) -> Floats:
    from scipy.spatial import cKDTree

    allowed = cKDTree(fits)
    for _ in range(_LLOYD_ROUNDS):
        _, owner = cKDTree(seeds).query(samples)
        size = np.bincount(owner, minlength=len(seeds))
        middle = (
            np.stack([np.bincount(owner, samples[:, i], len(seeds)) for i in (0, 1)], axis=1)
            / np.maximum(size, 1)[:, None]
        )
        middle[size == 0] = seeds[size == 0]
        off, nearest = allowed.query(middle)
        # Centroids that fit stay exact; others go to the nearest place that fits.
        misfit = np.asarray(off) > 0.8 * step_mm
        new = np.where(misfit[:, None], fits[nearest], middle)
        if np.abs(new - seeds).max() < 0.01:
            return np.asarray(new)
        seeds = new
    return seeds


def short_chain(xy_mm: Floats) -> NDArray[np.intp]:
    """Return an order of short total length without crossings: to and fro in bands, then 2-opt.

    A path no exchange of two links can shorten crosses itself nowhere (Croes, Operations Research 6, 1958, on
    inversions; two crossing links are always longer than the two that uncross them).
    """
    n = len(xy_mm)
    if n < 3:
        return np.arange(n)
    return shortened(xy_mm, _bands(xy_mm))


def shortened(xy_mm: Floats, order: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return an order that no exchange of two links shortens, found from this one."""
    order = order.copy()
    for _ in range(_MOST_SWEEPS):
        if not _sweep(xy_mm, order):
            break
    return order


def grouped(xy_mm: Floats, cell: NDArray[np.intp], group: int) -> tuple[Floats, NDArray[np.intp]]:
    """Return (addresses, group, 2) LEDs that share an address, neighbours of one cell, and the addresses' cells.

    LEDs of a cell that are left over by whole groups are left out.
    """
    members, cells = [np.zeros((0, group, 2))], [np.zeros(0, np.intp)]
    for k in np.unique(cell).tolist():
        own = xy_mm[cell == k]
        own = own[short_chain(own)][: len(own) // group * group]
        members.append(own.reshape(-1, group, 2))
        cells.append(np.full(len(members[-1]), k, np.intp))
    return np.concatenate(members), np.concatenate(cells)


def _bands(xy_mm: Floats) -> NDArray[np.intp]:
    low, high = xy_mm.min(axis=0), xy_mm.max(axis=0)
    upright = int((high - low)[1] > (high - low)[0])
    along, across = xy_mm[:, upright], xy_mm[:, 1 - upright]
    span = np.maximum(high - low, 1e-9)
    width = np.sqrt(2 * span[0] * span[1] / len(xy_mm)) * 0.75
    band = np.floor((across - across.min()) / max(width, 1e-9)).astype(int)
    sign = np.where(band % 2 == 0, 1.0, -1.0)
    return np.lexsort((along * sign, band))


def _sweep(xy_mm: Floats, order: NDArray[np.intp]) -> bool:
    """Reverse stretches of the path where that shortens it; return whether any did."""
    n, better = len(order), False
    for i in range(-1, n - 2):
        p = xy_mm[order]
        first = p[i + 1]
        # Links (i, i+1) and (j, j+1) become (i, j) and (i+1, j+1); an open end has no link.
        j = np.arange(i + 2, n)
        before_i = 0.0 if i < 0 else float(np.hypot(*(p[i] - first)))
        to_j = np.zeros(len(j)) if i < 0 else np.hypot(*(p[i] - p[j]).T)
        nxt = np.vstack([p[j[:-1] + 1], p[-1:]])
        link, new = np.hypot(*(p[j] - nxt).T), np.hypot(*(first - nxt).T)
        link[-1] = new[-1] = 0.0
        gain = before_i + link - to_j - new
        k = int(np.argmax(gain))
        if gain[k] > 1e-9:
            order[i + 1 : j[k] + 1] = order[i + 1 : j[k] + 1][::-1].copy()
            better = True
    return better
