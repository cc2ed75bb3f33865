"""Notches: where a strip passes under a wall."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from marquee.values import Box, Chain


def with_slots(box: Box, chain: Chain) -> Box:
    """Return the box with each wall's `slots_mm` set: distances along its path where a run of strip passes under it.

    Parameters
    ----------
    box : Box
    chain : Chain
        Only straight runs of strip count; boards end at walls and jumpers are wires.
    """
    import shapely

    if chain.arrangement != "strip":
        return box
    xy = np.stack([chain.x_mm, chain.y_mm], axis=1)
    runs = [
        shapely.LineString(xy[chain.row == run])
        for run in np.unique(chain.row)
        if (chain.row == run).sum() > 1
    ]
    walls = []
    for wall in box.walls:
        path = shapely.LineString(wall.path_mm)
        meets = [
            shapely.get_coordinates(path.intersection(run)) for run in runs if path.intersects(run)
        ]
        places = {round(path.project(shapely.Point(p)), 3) for points in meets for p in points}
        walls.append(replace(wall, slots_mm=tuple(sorted(places))))
    return replace(box, walls=tuple(walls))
