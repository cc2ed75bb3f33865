"""Single LEDs on jumpers for cells the rows miss."""

from __future__ import annotations

import numpy as np

from marquee.box.chambers import Chambers
from marquee.box.ground import Floats
from marquee.box.laid import Laid, with_single
from marquee.box.rows import Pattern, held_wholly
from marquee.errors import Finding
from marquee.values import ZoneMap

_MOST_PLACES = 4
_LEVEL, _UPRIGHT = np.array([1.0, 0.0]), np.array([0.0, 1.0])


def add_extras(
    chambers: Chambers, zone_map: ZoneMap, pattern: Pattern, laid: Laid
) -> tuple[Laid, list[Finding]]:
    """Return the chain with an LED in every cell that had none, where one fits, and remarks on them.

    It sits at the cell's pole of inaccessibility, the place farthest from its walls, and joins the chain
    where that adds least wire and crosses nothing. Where one address lights several LEDs, they lie in a line about it,
    upright or level.
    """
    added: dict[int, list[Floats]] = {}
    refused: dict[int, list[Floats]] = {}
    for missing in sorted(set(chambers.needy.tolist()) - set(laid.cell.tolist())):
        zone, place = int(chambers.zone[missing]), _pole(chambers, missing)
        lines = np.vstack([pattern.members(place[None], way) for way in (_LEVEL, _UPRIGHT)])
        fits = np.flatnonzero(held_wholly(chambers, lines) == missing)
        if not len(fits):
            refused.setdefault(zone, []).append(place)
            continue
        added.setdefault(zone, []).append(place)
        laid = with_single(laid, place, missing, lines[fits[0]])
    findings = [
        _no_room(zone_map, chambers, pattern, z, places) for z, places in sorted(refused.items())
    ]
    findings += [_extra(zone_map, z, places) for z, places in sorted(added.items())]
    return laid, findings


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
