"""Where walls stand over lit apertures, so that their tops must be tapered to a knife edge."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from marquee.box.cut_runs import Floats, Run
from marquee.values_cut import Opening

if TYPE_CHECKING:
    from shapely import STRtree

Side = Literal["left", "right"]
# (from, to, side) along a run [mm].
Stretch = tuple[float, float, Side]

# Less cover than this is not seen [mm²]; stretches nearer than this are one [mm] (common practice, no source).
_COVER_MM2, _JOIN_MM = 0.02, 3.0


def opening_shapes(openings: tuple[Opening, ...]) -> STRtree:
    """Return the openings as shapes that can be searched."""
    import shapely

    # A fitted outline may touch itself within its tolerance, which polygon arithmetic would refuse.
    return shapely.STRtree(
        [
            shapely.make_valid(
                shapely.Polygon(
                    np.array(o.outline.flat_mm), [np.array(h.flat_mm) for h in o.holes]
                )
            )
            for o in openings
        ]
    )


def stretches_over(run: Run, tree: STRtree, thickness_mm: float) -> list[Stretch]:
    """Return where either half of a run's thickness stands over one of the face's `opening_shapes`."""
    import shapely

    lit = tree.geometries
    if not len(lit):
        return []
    at, xy = run.stations_mm, run.xy_mm
    steps = np.diff(xy, axis=0)
    ways = steps / np.hypot(*steps.T)[:, None]
    found: list[Stretch] = []
    sides: tuple[tuple[Side, float], ...] = (("left", 1.0), ("right", -1.0))
    for side, sign in sides:
        beside = sign * np.stack([ways[:, 1], -ways[:, 0]], axis=1) * thickness_mm / 2
        corners = np.stack([xy[:-1], xy[1:], xy[1:] + beside, xy[:-1] + beside], axis=1)
        halves = np.asarray(shapely.polygons(corners))
        spans: list[tuple[float, float]] = []
        for k, number in sorted(zip(*tree.query(halves, "intersects").tolist(), strict=True)):
            for part in shapely.get_parts(shapely.intersection(halves[k], lit[number])):
                if shapely.area(part) > _COVER_MM2:
                    along = at[k] + (shapely.get_coordinates(part) - xy[k]) @ ways[k]
                    spans.append((float(along.min()), float(along.max())))
        found += [(a, b, side) for a, b in _joined(spans)]
    return sorted(found)


def _joined(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if joined and low - joined[-1][1] < _JOIN_MM:
            joined[-1] = (joined[-1][0], max(high, joined[-1][1]))
        else:
            joined.append((low, high))
    return joined


def path_points(xy: Floats) -> tuple[tuple[float, float], ...]:
    """Return a path as plain numbers."""
    return tuple((float(x), float(y)) for x, y in xy)
