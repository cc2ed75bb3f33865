"""Light that strays between zones: from photographs of one zone alone, or by colour in one of all zones."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import SRGB_TO_XYZ
from marquee.photo.predict import element_places_mm, emitted_y
from marquee.photo.signal import BURNT_SHARE, Signal
from marquee.photo.values import Array, PairBleed, Sight
from marquee.plan import Plan

# Colours must differ by this angle (radian, in linear camera colours) to be told apart. Ours, no source.
_LEAST_ANGLE = 0.2
_LEAST_ELEMENTS = 4
# A second colour is believed where it leaves less than this share of what the zone's own leaves. Ours, no source.
_BETTER = 0.7


def bleed_alone(one: Signal, read: Array, plan: Plan) -> tuple[PairBleed, ...]:
    """Return the shares of the other zones' light that a zone photographed alone sends them.

    What arrives is measured against the source's own light, and weighed as the plan drives both zones.

    Parameters
    ----------
    one : Signal
        The photograph of one zone alone, lens darkening taken off.
    read : (zones, elements)
        Illuminance per candela of each zone's LEDs, as a photograph has it.
    plan : Plan
        The plan.
    """
    source = one.sight.state.number
    owner = plan.transfer.zone_of_element.ravel()
    cd = emitted_y(plan)
    own = _usable(one.measured, owner == source)
    if len(own) < _LEAST_ELEMENTS or one.measured[own].mean() <= 0:
        return ()
    # Measured light in the plan's units.
    scale = cd[source] * read[source, own].mean() / one.measured[own].mean()
    found = []
    for zone in plan.zone_map.zones:
        at = _usable(one.measured, owner == zone.id)
        if zone.id == source or len(at) < _LEAST_ELEMENTS or cd[zone.id] <= 0:
            continue
        strayed = one.measured[at] * scale
        expected = cd[source] * read[source, at]
        rest = float((cd @ read[:, at]).mean() - expected.mean())
        found.append(_pair(plan, zone.id, source, at, (strayed, expected), rest, by_colour=False))
    return tuple(found)


def _usable(values: Array, where: NDArray[np.bool_]) -> NDArray[np.intp]:
    return np.flatnonzero(where & np.isfinite(values))


def _pair(
    plan: Plan,
    zone: int,
    source: int,
    at: NDArray[np.intp],
    light: tuple[Array, Array],
    rest: float,
    *,
    by_colour: bool,
) -> PairBleed:
    """Return a pair's shares from foreign light (measured, expected) by element and the rest of the zone's light."""
    strayed, expected = (max(float(one.mean()), 0.0) for one in light)
    wall, place = _wall(plan, zone, source, at, np.maximum(light[0] - light[1], 0.0))
    return PairBleed(
        zone=zone,
        source=source,
        measured=strayed / max(strayed + rest, 1e-12),
        predicted=expected / max(expected + rest, 1e-12),
        wall=wall,
        at_mm=place,
        by="colour" if by_colour else "alone",
    )


def _wall(
    plan: Plan, zone: int, source: int, at: NDArray[np.intp], excess: Array
) -> tuple[int | None, tuple[float, float]]:
    """Return the wall between two zones nearest to where the most light comes through, and the place on it."""
    import shapely

    places = element_places_mm(plan.transfer, at)
    strongest = np.argsort(-excess, kind="stable")[: max(len(at) // 10, 3)]
    weight = np.maximum(excess[strongest], 1e-12)
    spot = shapely.Point(*(places[strongest] * weight[:, None]).sum(axis=0) / weight.sum())
    walls = [w for w in plan.box.walls if set(w.zones) == {zone, source} and len(w.path_mm) > 1]
    if not walls:
        return None, (float(spot.x), float(spot.y))
    lines = [shapely.LineString(wall.path_mm) for wall in walls]
    nearest = min(range(len(walls)), key=lambda k: lines[k].distance(spot))
    on = lines[nearest].interpolate(lines[nearest].project(spot))
    return walls[nearest].id, (float(on.x), float(on.y))


def bleed_by_colour(sight: Sight, read: Array, plan: Plan) -> tuple[PairBleed, ...]:
    """Return what a photograph of all zones as planned shows of strayed light, where two zones' colours differ.

    A zone's own colour is the median of its elements', so that only light which reaches parts of it shows: what comes
    through a gap or for want of a wall, not what spreads over all of it. Each element is laid out as its zone's colour
    and one other's; the other zone that explains a zone's elements best is believed.
    """
    owner = plan.transfer.zone_of_element.ravel()
    flat = sight.light.reshape(-1, 3)
    good = np.isfinite(flat).all(axis=1) & (sight.burnt.ravel() <= BURNT_SHARE)
    places = {
        zone.id: at
        for zone in plan.zone_map.zones
        if len(at := np.flatnonzero(good & (owner == zone.id))) >= _LEAST_ELEMENTS
    }
    colours = {zone: one for zone, at in places.items() if (one := _colour(flat[at])) is not None}
    cd = emitted_y(plan)
    found = []
    for zone, own in colours.items():
        at = places[zone]
        tries = [
            (*_split(flat[at], own, other), source)
            for source, other in colours.items()
            if source != zone and _angle(own, other) >= _LEAST_ANGLE
        ]
        if not tries:
            continue
        misfit, share, source = min(tries, key=lambda one: one[0])
        if misfit > _BETTER * float(np.sqrt(np.mean(np.square(_rest(flat[at], own))))):
            continue
        whole = cd @ read[:, at]
        expected = cd[source] * read[source, at]
        strayed = (share + float(np.median(expected / whole))) * whole
        rest = float((whole - strayed).mean())
        found.append(_pair(plan, zone, source, at, (strayed, expected), rest, by_colour=True))
    return tuple(found)


def _colour(light: Array) -> Array | None:
    """Return the median colour of elements, of unit luminance."""
    luminance = light @ SRGB_TO_XYZ[1]
    lit = luminance > 0
    if not lit.any():
        return None
    colour = np.median(light[lit] / luminance[lit, None], axis=0)
    return np.asarray(colour / (colour @ SRGB_TO_XYZ[1]), float)


def _rest(light: Array, own: Array) -> Array:
    return np.asarray(light - np.outer(light @ own / (own @ own), own), float)


def _angle(a: Array, b: Array) -> float:
    cosine = a @ b / max(float(np.linalg.norm(a) * np.linalg.norm(b)), 1e-12)
    return float(np.arccos(np.clip(cosine, -1, 1)))


def _split(light: Array, own: Array, other: Array) -> tuple[float, Array]:
    """Return the rms misfit of rows laid out as two colours, and the share of luminance of `other` in each."""
    basis = np.stack([own, other], axis=1)
    solved = np.linalg.lstsq(basis, light.T, rcond=None)[0].T
    misfit = float(np.sqrt(np.mean(np.square(light - solved @ basis.T))))
    return misfit, solved[:, 1] / np.maximum(solved.sum(axis=1), 1e-12)
