"""Single LEDs on jumpers for cells the rows miss."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.chambers import Chambers
from marquee.box.ground import Floats
from marquee.box.laid import Laid
from marquee.box.rows import Pattern, held_wholly
from marquee.errors import Finding
from marquee.values import ZoneMap

_MOST_PLACES = 4
# Lines of LEDs are tried at so many places of a cell about, and turned by so many angles.
_TRIED, _TURNS = 1500, 12
# Packages that lie askew keep clear of each other by their diagonal.
_DIAGONAL = float(np.sqrt(2))


def find_extras(
    chambers: Chambers, zone_map: ZoneMap, pattern: Pattern, lit: NDArray[np.intp]
) -> tuple[list[Laid], list[Finding]]:
    """Return addresses for every cell not among those `lit`, where one fits, and remarks on them.

    A single LED sits at the cell's pole of inaccessibility, the place farthest from its walls. Where one address lights
    several LEDs, they lie in a line turned as the cell allows: an LED for each pitch² or pitch along, lines far apart.
    """
    added: dict[int, list[Laid]] = {}
    refused: dict[int, list[Floats]] = {}
    for missing in sorted(set(chambers.needy.tolist()) - set(lit.tolist())):
        zone, place = int(chambers.zone[missing]), _pole(chambers, missing)
        lines = place[None, None] if pattern.group == 1 else _lines(chambers, missing, pattern)
        lines = lines[held_wholly(chambers, lines) == missing]
        if len(lines):
            added.setdefault(zone, []).append(
                Laid(
                    xy_mm=lines.mean(axis=1),
                    cell=np.full(len(lines), missing, np.intp),
                    leds_mm=lines,
                )
            )
        else:
            refused.setdefault(zone, []).append(place)
    findings = [
        _no_room(zone_map, chambers, pattern, z, places) for z, places in sorted(refused.items())
    ]
    findings += [_extra(zone_map, pattern, z, laid) for z, laid in sorted(added.items())]
    singles = [
        laid.taken(np.array([k]))
        for own in added.values()
        for laid in own
        for k in range(len(laid.cell))
    ]
    return singles, findings


def _lines(chambers: Chambers, cell: int, pattern: Pattern) -> Floats:
    """Return (lines, group, 2) places of LEDs in lines that fit a cell, far from each other; none if none fits."""
    import shapely

    shape = chambers.shapes[cell]
    x0, y0, x1, y1 = shapely.bounds(shape)
    step = max(1.0, float(np.sqrt(shape.area / _TRIED)))
    x, y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    places = np.stack([x.ravel(), y.ravel()], axis=1)
    places = places[chambers.cell_for(places, chambers.holding(places)) == cell]
    angles = np.arange(_TURNS) * np.pi / _TURNS
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    lines = np.concatenate([pattern.members(places, way) for way in ways])
    lines = lines[held_wholly(chambers, lines) == cell]
    # One LED for each pitch along a cell narrower than the pitch.
    width_mm = min(pattern.pitch_mm, 2 * shape.area / shape.length)
    wanted = max(1, round(shape.area / (pattern.group * pattern.pitch_mm * width_mm)))
    chosen: list[Floats] = []
    if len(lines):
        middle = lines.mean(axis=(0, 1))
        # The first one farthest out, so that the others have room beside it.
        off = np.hypot(*(lines.mean(axis=1) - middle).T)
        chosen.append(lines[int(np.argmax(off))])
    while chosen and len(chosen) < wanted:
        apart = np.min([_apart_mm(lines, one) for one in chosen], axis=0)
        farthest = int(np.argmax(apart))
        if apart[farthest] < 2 * chambers.half_mm * _DIAGONAL:
            break
        chosen.append(lines[farthest])
    return np.array(chosen).reshape(-1, pattern.group, 2)


def _apart_mm(lines: Floats, one: Floats) -> Floats:
    """Return how near each line's LEDs come to those of one."""
    off = lines[:, :, None] - one
    return np.asarray(np.hypot(off[..., 0], off[..., 1]).min(axis=(1, 2)), float)


def _no_room(
    zone_map: ZoneMap, chambers: Chambers, pattern: Pattern, zone: int, places: list[Floats]
) -> Finding:
    size = f"{2 * chambers.half_mm:g} mm wide"
    what = f"LED {size}" if pattern.group == 1 else f"line of {pattern.group} LEDs {size}"
    return Finding(
        code="leds.no-room",
        where=_where(zone_map, zone, places),
        message=f"no {what} fits {len(places)} cell(s), whose apertures stay dark; use a "
        "smaller package, a thinner wall, or light them with a neighbour (an override with its name)",
    )


def _extra(zone_map: ZoneMap, pattern: Pattern, zone: int, laid: list[Laid]) -> Finding:
    count = sum(len(one.cell) for one in laid)
    how = (
        "one extra LED on a jumper lights each"
        if pattern.group == 1
        else f"{count} addresses of {pattern.group} LEDs each on jumpers, turned to fit, light them: lay them by leds.png"
    )
    return Finding(
        code="leds.extra",
        where=_where(zone_map, zone, [one.xy_mm.mean(axis=0) for one in laid]),
        message=f"the places at this pitch miss {len(laid)} cell(s); {how}. A smaller pitch would reach more of them",
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
