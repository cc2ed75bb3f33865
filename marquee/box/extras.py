"""Single LEDs on jumpers for cells the rows miss."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.chambers import Chambers
from marquee.box.ground import Floats
from marquee.errors import Finding
from marquee.values import ZoneMap

_MOST_PLACES = 4


def add_extras(
    chambers: Chambers,
    zone_map: ZoneMap,
    xy_mm: Floats,
    cell: NDArray[np.intp],
    run: NDArray[np.int64],
) -> tuple[Floats, NDArray[np.intp], NDArray[np.int64], list[Finding]]:
    """Return the chain with an LED in every cell that had none, where one fits, and remarks on them.

    It sits at the cell's pole of inaccessibility, the place farthest from its walls, and joins the chain
    where that adds least wire and crosses nothing.
    """
    added: dict[int, list[Floats]] = {}
    refused: dict[int, list[Floats]] = {}
    for missing in sorted(set(chambers.needy.tolist()) - set(cell.tolist())):
        zone, place = int(chambers.zone[missing]), _pole(chambers, missing)
        if chambers.holding(place[None])[0] != missing:
            refused.setdefault(zone, []).append(place)
            continue
        added.setdefault(zone, []).append(place)
        xy_mm, cell, run = _insert(xy_mm, cell, run, place, missing)
    findings = [_no_room(zone_map, chambers, z, places) for z, places in sorted(refused.items())]
    findings += [_extra(zone_map, z, places) for z, places in sorted(added.items())]
    return xy_mm, cell, run, findings


def _no_room(zone_map: ZoneMap, chambers: Chambers, zone: int, places: list[Floats]) -> Finding:
    return Finding(
        code="leds.no-room",
        where=_where(zone_map, zone, places),
        message=f"no LED {2 * chambers.half_mm:g} mm wide fits {len(places)} cell(s), whose apertures stay dark; use a "
        "smaller package, a thinner wall, or light them with a neighbour (an override with its name)",
    )


def _extra(zone_map: ZoneMap, zone: int, places: list[Floats]) -> Finding:
    return Finding(
        code="leds.extra",
        where=_where(zone_map, zone, places),
        message=f"the places at this pitch miss {len(places)} cell(s); one extra LED on a jumper lights each. A smaller "
        "pitch would reach more of them",
    )


def _where(zone_map: ZoneMap, zone: int, places: list[Floats]) -> str:
    shown = "; ".join(f"{x:.0f}, {y:.0f} mm" for x, y in places[:_MOST_PLACES])
    more = len(places) - _MOST_PLACES
    return f"'{zone_map.zones[zone].name}', {shown}" + (f" and {more} more" if more > 0 else "")


def _pole(chambers: Chambers, cell: int) -> Floats:
    import shapely

    shape = chambers.shapes[cell]
    line = shapely.maximum_inscribed_circle(shape, tolerance=0.05)
    return np.asarray(shapely.get_coordinates(line)[0])


def _insert(
    xy_mm: Floats,
    cell: NDArray[np.intp],
    run: NDArray[np.int64],
    place: Floats,
    to_cell: int,
) -> tuple[Floats, NDArray[np.intp], NDArray[np.int64]]:
    """Return the chain with the place put where it adds least length and crosses no link."""
    n = len(xy_mm)
    if n == 0:
        return place[None], np.array([to_cell], np.intp), np.zeros(1, np.int64)
    to = np.hypot(*(xy_mm - place).T)
    link = np.hypot(*np.diff(xy_mm, axis=0).T)
    cost = np.concatenate([to[:1], to[:-1] + to[1:] - link, to[-1:]])
    best = int(np.argmin(cost))
    for k in np.argsort(cost, kind="stable")[:200].tolist():
        if not _crosses(xy_mm, k, place):
            best = k
            break
    new_run = _split_runs(run, best)
    return (
        np.insert(xy_mm, best, place, axis=0),
        np.insert(cell, best, to_cell),
        new_run,
    )


def _split_runs(run: NDArray[np.int64], at: int) -> NDArray[np.int64]:
    """Return run numbers with a run of one put before LED `at`, a run it interrupts being split."""
    pieces = [run[:at], np.array([-1]), run[at:] + (run.max() + 2)]
    joined = np.concatenate(pieces)
    changes = np.concatenate([[0], (np.diff(joined) != 0).astype(np.int64)])
    return np.asarray(np.cumsum(changes))


def _crosses(xy_mm: Floats, at: int, place: Floats) -> bool:
    starts, ends = xy_mm[:-1], xy_mm[1:]
    keep = np.ones(len(starts), bool)
    if 0 < at < len(xy_mm):
        keep[at - 1] = False
    for neighbour in (at - 1, at):
        if not 0 <= neighbour < len(xy_mm):
            continue
        tip = xy_mm[neighbour]
        touching = (starts == tip).all(axis=1) | (ends == tip).all(axis=1)
        if _any_crossing(starts[keep & ~touching], ends[keep & ~touching], tip, place):
            return True
    return False


def _any_crossing(starts: Floats, ends: Floats, p: Floats, q: Floats) -> bool:
    def side(a: Floats, b: Floats, c: Floats) -> Floats:
        return np.asarray(
            (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
            - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
        )

    one, two = side(starts, ends, p[None]), side(starts, ends, q[None])
    three, four = side(p[None], q[None], starts), side(p[None], q[None], ends)
    return bool(((one * two <= 0) & (three * four <= 0)).any())
