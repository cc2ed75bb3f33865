"""Islands: opaque face that would fall out, and the shortest bridges that hold it."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from marquee.box.cut_curves import polygon_ring
from marquee.errors import Finding
from marquee.project_cut import CutSettings
from marquee.values import Point
from marquee.values_cut import Bridge, Island, Opening, Ring

if TYPE_CHECKING:
    import shapely
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

# An island is held at places this far apart along its edge at the closest [mm]; its second bridge leaves it at
# least this far round from the first, seen from its middle [degrees] (common practice, no source).
_STEP_MM, _ROUND_DEGREES = 0.5, 100.0
# Steps of an edge whose middles are nearest to a place are tried for the nearest.
_STEPS_TRIED = 4
# Islands narrower than this many bridge widths take one bridge (common practice, no source).
_SINGLE_WIDTHS = 3.0
_MOST_LISTED = 12
# A bridge that runs through its own island for longer than this is none [mm].
_ACROSS_MM = 0.05


@dataclass(slots=True, eq=False)
class _Loose:
    opening: int
    hole: int
    shape: shapely.Polygon
    edge: Floats
    bridges: tuple[Bridge, ...] = ()


def find_islands(
    openings: tuple[Opening, ...], width_mm: float, height_mm: float, settings: CutSettings
) -> tuple[tuple[Island, ...], tuple[Finding, ...]]:
    """Return the islands with their bridges, those of the left first, and what to say about them.

    Specks smaller than a bridge's width squared are told, not held. Each island is tied to the face, or to an island already tied, by the shortest links: two, on sides away from
    each other, or one where the island is narrow.
    """
    found = _loose(openings)
    # What is smaller than a bridge is wide cannot be held by one.
    least_mm2 = settings.bridge_width_mm**2
    loose = [item for item in found if item.shape.area >= least_mm2]
    specks = [item for item in found if item.shape.area < least_mm2]
    told = (_specks(specks, least_mm2),) if specks else ()
    if not loose:
        return (), told
    held = _frame(openings, width_mm, height_mm)
    _tie(loose, held, settings.bridge_width_mm)
    loose.sort(key=lambda i: (i.edge[:, 0].min(), i.edge[:, 1].min()))
    islands = tuple(
        Island(
            id=number,
            opening=item.opening,
            outline_mm=openings[item.opening].holes[item.hole].flat_mm,
            area_mm2=float(item.shape.area),
            bridges=item.bridges,
        )
        for number, item in enumerate(loose)
    )
    return islands, (_finding(islands, settings), *told)


def _specks(specks: list[_Loose], least_mm2: float) -> Finding:
    places = sorted(tuple(np.round(item.edge.mean(axis=0)).tolist()) for item in specks)
    listed = ", ".join(f"({x:.0f}, {y:.0f})" for x, y in places[:_MOST_LISTED])
    more = len(places) - _MOST_LISTED
    count = len(specks)
    return Finding(
        code="cut.speck",
        where="face",
        message=f"{count} speck{'' if count == 1 else 's'} of face smaller than {least_mm2:.3g} mm² inside openings (at {listed}"
        f" mm{f' and {more} more' if more > 0 else ''}) fall{'s' if count == 1 else ''} out: paint them over "
        "in the artwork to save the cuts; a dot of tape on the diffuser keeps one that matters",
    )


def _loose(openings: tuple[Opening, ...]) -> list[_Loose]:
    import shapely

    outlines = [shapely.make_valid(shapely.Polygon(np.array(o.outline.flat_mm))) for o in openings]
    tree = shapely.STRtree(outlines)
    found = []
    for number, opening in enumerate(openings):
        for k, hole in enumerate(opening.holes):
            shape = shapely.make_valid(shapely.Polygon(np.array(hole.flat_mm)))
            inner = [int(i) for i in tree.query(shape, "contains") if int(i) != number]
            solid = shapely.difference(shape, shapely.union_all([outlines[i] for i in inner]))
            edge = shapely.get_coordinates(
                shapely.segmentize(shapely.LinearRing(hole.flat_mm), _STEP_MM)
            )
            largest = max(shapely.get_parts(solid), key=lambda p: p.area, default=None)
            if isinstance(largest, shapely.Polygon):
                found.append(_Loose(number, k, largest, edge[:-1]))
    return found


def _frame(openings: tuple[Opening, ...], width_mm: float, height_mm: float) -> BaseGeometry:
    """Return the face without everything inside its openings."""
    import shapely

    outlines = [shapely.make_valid(shapely.Polygon(np.array(o.outline.flat_mm))) for o in openings]
    return shapely.difference(shapely.box(0, 0, width_mm, height_mm), shapely.union_all(outlines))


class _Holder:
    """What can hold islands, with its edges by place."""

    def __init__(self, shape: BaseGeometry) -> None:
        import shapely
        from scipy.spatial import cKDTree

        self.shape = shape
        self.bounds = np.array(shape.bounds)
        rings = shapely.segmentize(shapely.get_rings(shapely.get_parts(shape)), _STEP_MM)
        xy, ring = shapely.get_coordinates(rings, return_index=True)
        self._steps = np.flatnonzero(ring[1:] == ring[:-1])
        self._xy = xy
        # A place on an edge is nearest to the middle of its own step, or of one beside it.
        self._middles = cKDTree((xy[self._steps] + xy[self._steps + 1]) / 2)

    def off_mm(self, places: Floats) -> Floats:
        """Return how far (n, 2) places outside are from the shape [mm]."""
        _, near = self._middles.query(places, k=_STEPS_TRIED)
        step = self._steps[np.minimum(near, len(self._steps) - 1)]
        start, way = self._xy[step], self._xy[step + 1] - self._xy[step]
        to = places[:, None] - start
        share = (to * way).sum(axis=2) / np.maximum((way * way).sum(axis=2), 1e-18)
        miss = to - np.clip(share, 0, 1)[..., None] * way
        return np.asarray(np.hypot(miss[..., 0], miss[..., 1]).min(axis=1))

    def apart_mm(self, places: Floats) -> float:
        """Return a distance to the shape below that of every place, from the boxes about both [mm]."""
        low, high = places.min(axis=0), places.max(axis=0)
        gap = np.maximum(np.maximum(self.bounds[:2] - high, low - self.bounds[2:]), 0)
        return float(np.hypot(*gap))


def _tie(loose: list[_Loose], held: BaseGeometry, width_mm: float) -> None:
    """Give bridges to islands, nearest to what is held first, which then holds others in turn."""
    waiting = list(range(len(loose)))
    frame = _Holder(held)
    lengths = {k: frame.off_mm(loose[k].edge) for k in waiting}
    holders = {k: [frame] for k in waiting}
    while waiting:
        k = min(waiting, key=lambda i: (round(float(lengths[i].min()), 6), i))
        waiting.remove(k)
        loose[k].bridges = _bridges(loose[k], holders[k], lengths[k].round(4), width_mm)
        own = _Holder(loose[k].shape)
        for other in waiting:
            nearest = float(lengths[other].min())
            if own.apart_mm(loose[other].edge) >= nearest:
                continue
            off = own.off_mm(loose[other].edge)
            if off.min() < nearest:
                lengths[other] = np.minimum(lengths[other], off)
                holders[other].append(own)


def _bridges(
    island: _Loose, holders: list[_Holder], lengths: Floats, width_mm: float
) -> tuple[Bridge, ...]:
    places = island.edge
    first = max(_shortest(island, holders, lengths), 0)
    chosen = [first]
    middle = np.array(island.shape.centroid.coords[0])
    spread = places - middle
    narrow = float(min(np.ptp(places[:, 0]), np.ptp(places[:, 1])))
    if narrow >= _SINGLE_WIDTHS * width_mm:
        a, b = np.arctan2(*spread[first][::-1]), np.arctan2(spread[:, 1], spread[:, 0])
        round_degrees = np.degrees(np.abs((b - a + np.pi) % (2 * np.pi) - np.pi))
        far = np.where(round_degrees >= _ROUND_DEGREES, lengths, np.inf)
        second = _shortest(island, holders, far)
        chosen += [second] if second >= 0 else []
    return tuple(
        Bridge(start_mm=_point(start), end_mm=_point(end), width_mm=width_mm)
        for start, end in (np.array(_link(places[k], holders).coords, np.float64) for k in chosen)
    )


def _link(place: Floats, holders: list[_Holder]) -> shapely.LineString:
    """Return the shortest line from a place to what holds."""
    import shapely

    lines = [shapely.shortest_line(shapely.Point(place), holder.shape) for holder in holders]
    return min(lines, key=lambda line: float(line.length))


def _shortest(island: _Loose, holders: list[_Holder], lengths: Floats) -> int:
    """Return where the shortest link starts that does not cut across the island itself, -1 if all do or are endless."""
    import shapely

    for k in np.argsort(lengths, kind="stable").tolist():
        if not np.isfinite(lengths[k]):
            break
        link = _link(island.edge[k], holders)
        if shapely.length(shapely.intersection(link, island.shape)) <= _ACROSS_MM:
            return int(k)
    return -1


def _point(xy: Floats) -> Point:
    return float(xy[0]), float(xy[1])


def _finding(islands: tuple[Island, ...], settings: CutSettings) -> Finding:
    places = []
    for island in islands[:_MOST_LISTED]:
        xy = np.array(island.outline_mm)
        x, y = (xy.min(axis=0) + xy.max(axis=0)) / 2
        places.append(f"I{island.id} at ({x:.0f}, {y:.0f})")
    more = len(islands) - len(places)
    listed = f"{', '.join(places)} mm" + (f" and {more} more" if more else "")
    count, bridges = len(islands), sum(len(i.bridges) for i in islands)
    held = (
        f"are held by {bridges} bridges of {settings.bridge_width_mm:g} mm that the cut lines leave"
        if settings.bridges == "cut"
        else f"would fall out: leave the {bridges} bridges of {settings.bridge_width_mm:g} mm proposed in face.svg uncut "
        '(or state bridges = "cut" under [cut]), or glue the islands to the diffuser'
    )
    return Finding(
        code="cut.island",
        where="face",
        message=f"{count} island{'' if count == 1 else 's'} of the face inside openings ({listed}) {held}",
    )


def bridge_shape(bridge: Bridge) -> shapely.Polygon:
    """Return the bridge's area, a little longer than its link, so that it joins what it holds."""
    import shapely

    a, b = np.array(bridge.start_mm), np.array(bridge.end_mm)
    way = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    # Edges curve away from the link's ends: half its width reaches them.
    reach = bridge.width_mm / 2
    line = shapely.LineString([a - reach * way, b + reach * way])
    shape = shapely.buffer(line, bridge.width_mm / 2, cap_style="flat")
    assert isinstance(shape, shapely.Polygon)  # noqa: S101 -- a buffered line is one
    return shape


def leave_bridges(
    openings: tuple[Opening, ...], islands: tuple[Island, ...]
) -> tuple[Opening, ...]:
    """Return the openings with the bridges left standing; an opening may become several."""
    import shapely

    by_opening: dict[int, list[BaseGeometry]] = {}
    solid = [
        shapely.make_valid(
            shapely.Polygon(np.array(o.outline.flat_mm), [np.array(h.flat_mm) for h in o.holes])
        )
        for o in openings
    ]
    bridges = [bridge_shape(b) for island in islands for b in island.bridges]
    if not bridges:
        return openings
    near, which = shapely.STRtree(solid).query(bridges, "intersects")
    for k, o in zip(near.tolist(), which.tolist(), strict=True):
        by_opening.setdefault(o, []).append(bridges[k])
    result: list[Opening] = []
    for number, opening in enumerate(openings):
        if number not in by_opening:
            result.append(opening)
            continue
        rest = shapely.difference(solid[number], shapely.union_all(by_opening[number]))
        result += [
            dataclasses.replace(
                opening,
                outline=_polygon_ring(part.exterior),
                holes=tuple(_polygon_ring(hole) for hole in part.interiors),
                area_mm2=float(part.area),
            )
            for part in shapely.get_parts(rest)
            if isinstance(part, shapely.Polygon) and part.area > 0.05
        ]
    return tuple(result)


def _polygon_ring(ring: shapely.LinearRing) -> Ring:
    import shapely

    return polygon_ring(shapely.get_coordinates(ring)[:-1])
